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
_FLOOR = 0.01  # mm: the floor of a filled gap stands at least this high
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
    height = np.full((field.grid.rows + 2, field.grid.cols + 2), np.inf, dtype=np.float32)
    height[1:-1, 1:-1] = np.where(field.mask, field.heights, np.float32(np.inf))
    front = _peaks(height, np.isfinite(height), drop)
    if len(front) == 0:
        return field
    _raise(height, front, drop)
    raised = np.where(field.mask, height[1:-1, 1:-1], 0).astype(np.float32)
    return HeightField(field.grid, raised, field.mask)


def fill_gaps(field: HeightField, angle: float) -> HeightField:
    """Fill the gaps of an outline that are too narrow for the walls on both sides.

    There the walls meet before they come down to the field, as they would in a die; where
    they meet the gap gets a floor. Elsewhere the mask stays as it is.

    Parameters
    ----------
    field : HeightField
        mm, with draft (`enforce_draft`).
    angle : float
        Draft from upright, radians; 0 or less changes nothing.

    Returns
    -------
    HeightField
        The mask grown by the filled places; the same object if there are none.
    """
    if angle <= 0.0:
        return field
    drop = field.grid.pixel / math.tan(angle)
    # room for the walls all round the grid, so that every one comes down to the field
    room = math.ceil(float(field.heights.max(initial=0.0)) / drop) + 2
    inside = np.pad(field.mask, room)
    height = np.pad(np.where(field.mask, field.heights, np.float32(0)), room)
    height[[0, -1]] = height[:, [0, -1]] = np.inf  # never raised
    _raise(height, _peaks(height, inside, drop), drop)
    walls = np.isfinite(height) & ~inside & (height > np.float32(_FLOOR))
    if not np.any(walls):
        return field
    # how high a wall rising from the open field would be there
    depth = np.where(walls, np.float32(-np.inf), np.float32(np.inf))
    open_field = np.isfinite(height) & ~inside & ~walls
    depth[open_field] = 0.0
    _raise(depth, np.flatnonzero(open_field & _beside(walls)), drop)
    closed = walls & (-depth > height + np.float32(1.5 * drop))
    if not np.any(closed):
        return field
    own = (slice(room, -room), slice(room, -room))
    closed = closed[own]
    filled = np.where(closed, height[own], field.heights).astype(np.float32)
    return HeightField(field.grid, filled, field.mask | closed)


def _raise(height: NDArray[np.float32], front: IntArray, drop: float) -> None:
    """Raise heights to the envelope of the cones that stand on some pixels, in place."""
    flat = height.reshape(-1)
    base = flat.copy()
    source = np.arange(flat.size)
    origin = front
    while len(front):
        front, origin = _spread(flat, base, source, front, origin, height.shape[1], drop)


def _beside(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the pixels next to those of a mask that is clear of its border."""
    near = np.zeros_like(mask)
    rows, cols = mask.shape
    for dr, dc in _STEPS:
        near[1:-1, 1:-1] |= mask[1 + dr : rows - 1 + dr, 1 + dc : cols - 1 + dc]
    return near


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
