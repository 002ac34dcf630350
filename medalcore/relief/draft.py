"""Draft of the modelling: no wall steeper than the process allows.

The least raising that does it is the upper envelope of cones: every point carries a cone
whose flank falls at the allowed slope, and the field becomes the highest of them. That is a
projection (a field that already has draft does not change), not a blur.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..grid import HeightField

IntArray = NDArray[np.int64]

_STEPS = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))
_TINY = 1e-6  # mm: less than this is not worth raising


def enforce_draft(field: HeightField, angle: float) -> HeightField:
    """Raise a height field by the least that leaves no wall steeper than `angle`.

    Parameters
    ----------
    field : HeightField
        mm.
    angle : float
        Draft from upright, radians; 0 or less changes nothing.

    Returns
    -------
    HeightField
        h(p) = max over q of h(q) − |p − q| / tan(angle), inside the mask: grey dilation by
        a cone (Serra 1982). Nowhere lower than `field`; the same object if nothing changes.
    """
    if angle <= 0.0:
        return field
    drop = field.grid.pixel / math.tan(angle)  # mm that the allowed wall falls in one pixel
    rows, cols = field.grid.shape
    wide = cols + 2
    height = np.full((rows + 2, wide), np.inf, dtype=np.float32)  # never raised outside
    height[1:-1, 1:-1] = np.where(field.mask, field.heights, np.float32(np.inf))
    inside = np.isfinite(height)
    front = _peaks(height, inside, drop)
    if len(front) == 0:
        return field
    flat = height.ravel()
    base = flat.copy()
    source = np.arange(flat.size)
    origin = front
    while len(front):
        front, origin = _spread(flat, base, source, front, origin, wide, drop)
    raised = flat.reshape(rows + 2, wide)[1:-1, 1:-1]
    return HeightField(field.grid, np.where(field.mask, raised, 0).astype(np.float32), field.mask)


def _peaks(height: NDArray[np.float32], inside: NDArray[np.bool_], drop: float) -> IntArray:
    """Return flat indices of pixels that stand too high above some neighbour."""
    rows, cols = height.shape
    tall = np.zeros(height.shape, dtype=bool)
    here, known = height[1:-1, 1:-1], inside[1:-1, 1:-1]
    for dr, dc in _STEPS:
        there = height[1 + dr : rows - 1 + dr, 1 + dc : cols - 1 + dc]
        tall[1:-1, 1:-1] |= known & (here > there + np.float32(drop * math.hypot(dr, dc) + _TINY))
    return np.flatnonzero(tall)


def _spread(
    flat: NDArray[np.float32],
    base: NDArray[np.float32],
    source: IntArray,
    front: IntArray,
    origin: IntArray,
    wide: int,
    drop: float,
) -> tuple[IntArray, IntArray]:
    """Let pixels raise their neighbours by the cones they carry; return those raised."""
    at, by, to = [], [], []
    for dr, dc in _STEPS:
        q = front + (dr * wide + dc)
        away = np.hypot(q // wide - origin // wide, q % wide - origin % wide)
        value = (base[origin] - drop * away).astype(np.float32)
        better = value > flat[q] + np.float32(_TINY)
        at.append(q[better])
        by.append(value[better])
        to.append(origin[better])
    where, value, owner = np.concatenate(at), np.concatenate(by), np.concatenate(to)
    np.maximum.at(flat, where, value)
    won = value == flat[where]
    source[where[won]] = owner[won]
    front = np.unique(where[won])
    return front, source[front]
