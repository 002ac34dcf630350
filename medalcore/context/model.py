"""Triangle meshes in memory."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..geometry.types import FloatArray, IntArray

GROUP = "group:"
"""Before the name of a vertex group among the arrays of a model in a file for the worker."""


@dataclass(frozen=True, eq=False)
class Model:
    """A triangle mesh given in memory instead of as a file: open, inside out, in any units.

    Attributes
    ----------
    vertices : (n, 3) float64
    triangles : (m, 3) int64
    weights : mapping of str to (n,) array
        Vertex groups by name: how much each vertex belongs to one, 0 to 1.
    """

    vertices: FloatArray
    triangles: IntArray
    weights: Mapping[str, NDArray[np.floating]] = field(default_factory=dict)
