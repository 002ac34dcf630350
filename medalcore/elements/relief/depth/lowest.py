"""The lowest point of a model that is seen from above, between the outermost pixels too.

A form that turns away at its outline, as a ball does, falls by several per cent of its depth
within the last half pixel. What a relief is scaled by must not hang on where that pixel lies.
"""

from __future__ import annotations

import numpy as np

from ....geometry.grid import Grid
from ....geometry.types import BoolArray, FloatArray, Int32Array, IntArray

_UPRIGHT = 0.01
"""Sine of the angle from upright up to which a face is a wall: its foot is not seen."""

_SHARE = 0.12
"""Share of the depth that may lie beyond the pixels; more is no form that turns away."""

_ALIKE = 0.99
"""Share of the faces seen that face one way in a model whose faces can be told by it."""


def lowest_seen(
    vertices: FloatArray,
    triangles: IntArray,
    grid: Grid,
    mask: BoolArray,
    index: Int32Array,
    pixels: tuple[float, float],
) -> float:
    """Return the lowest height of a model that is seen from above, mm.

    Parameters
    ----------
    vertices : (n, 3) float64
        mm.
    triangles : (m, 3) int64
    grid : Grid
    mask : (rows, cols) bool
        Pixels of the relief.
    index : (rows, cols) int32
        The triangle that is seen at each, −1 for none.
    pixels : two floats
        Lowest and highest of the pixels inside, mm; what is returned is at most the first.
    """
    low, high = pixels
    seen = np.unique(index[mask & (index >= 0)])
    steep = _upness(vertices, triangles[seen])
    facing = float(np.mean(steep > 0.0)) if len(seen) else 0.5
    if max(facing, 1.0 - facing) < _ALIKE:
        return low
    beneath = np.flatnonzero((vertices[:, 2][triangles] < low).any(axis=1))
    up = _upness(vertices, triangles[beneath]) * (1.0 if facing > 0.5 else -1.0)
    corners = np.unique(triangles[beneath[up > _UPRIGHT]])
    points = vertices[corners]
    points = points[points[:, 2] < low]
    col = np.rint((points[:, 0] - grid.left) / grid.pixel).astype(np.int64)
    row = np.rint((grid.top - points[:, 1]) / grid.pixel).astype(np.int64)
    inner = (row > 0) & (row < grid.rows - 1) & (col > 0) & (col < grid.cols - 1)
    points, row, col = points[inner], row[inner], col[inner]
    around = [mask[row + dr, col + dc] for dr in (-1, 0, 1) for dc in (-1, 0, 1)]
    at_outline = np.logical_or.reduce(around) & ~np.logical_and.reduce(around)
    if not at_outline.any():
        return low
    found = float(points[at_outline, 2].min())
    return found if low - found <= _SHARE * (high - found) else low


def _upness(vertices: FloatArray, triangles: IntArray) -> FloatArray:
    """Return the sine of the angle of triangles from upright, above 0 where they face up."""
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    length = np.sqrt(np.einsum("ij,ij->i", normal, normal))
    return np.asarray(normal[:, 2] / np.maximum(length, 1e-300))
