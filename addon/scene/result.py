# SPDX-License-Identifier: GPL-3.0-or-later
"""What a build gives the scene."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Result:
    """A build as the interface needs it.

    Attributes
    ----------
    vertices : (n, 3) float32, mm
    triangles : (m, 3) int32
    zone : (m,) uint8
    side : (m,) int8
    zone_names : sequence of str
    report : mapping
    """

    vertices: NDArray[np.float32]
    triangles: NDArray[np.int32]
    zone: NDArray[np.uint8]
    side: NDArray[np.int8]
    zone_names: Sequence[str]
    report: Mapping[str, Any]
