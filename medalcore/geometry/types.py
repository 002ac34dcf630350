"""The arrays that functions take and give: what kind of number is in them.

Their shapes and units stand in the functions' docstrings.
"""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Float32Array = NDArray[np.float32]
IntArray = NDArray[np.int64]
Int32Array = NDArray[np.int32]
IndexArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]
ByteArray = NDArray[np.uint8]
