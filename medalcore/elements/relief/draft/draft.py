"""Draft of the modelling: no wall steeper than the process allows.

The least raising that does it is the upper envelope of cones: every point carries a cone
whose flank falls at the allowed slope, and the field becomes the highest of them. That is a
projection (a field that already has draft does not change), not a blur. Points are those of
the strong inner edges, as smooth lines, all pixels, and what lies between pixels: else walls
would be ribbed with cones, and the surface between them too steep.
"""

from __future__ import annotations

import math

import numpy as np

from ....geometry.constraint_lines import Lines
from ....geometry.draft import Draft
from ....geometry.grid import HeightField
from ....geometry.slope_envelope import raise_between_pixels, raise_to_envelope
from ....geometry.types import BoolArray, Float32Array, IntArray

_STEPS = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))
_FLOOR = 0.01  # mm: the floor of a filled gap stands at least this high
_TINY = 1e-6  # mm: less than this is not worth raising


def enforce_draft(field: HeightField, angle: float, edges: Lines | None = None) -> HeightField:
    """Raise a height field by the least that leaves no wall steeper than `angle`.

    Parameters
    ----------
    field : HeightField
        mm.
    angle : float
        Draft from upright, radians; 0 or less changes nothing.
    edges : Lines, optional
        Strong inner edges of the field (`StepEdges.tops`), from which walls fall as well.

    Returns
    -------
    HeightField
        h(p) = max over q of h(q) − |p − q| / tan(angle), inside the mask: grey dilation by
        a cone (Serra 1982), q also on lines between pixels. Nowhere lower than `field`; the
        same object if nothing changes.
    """
    if angle <= 0.0:
        return field
    drop_per_pixel = Draft(angle).drop_per_pixel(field.grid.pixel)
    height = np.full((field.grid.rows + 2, field.grid.cols + 2), np.inf, dtype=np.float32)
    height[1:-1, 1:-1] = np.where(field.mask, field.heights, np.float32(np.inf))
    front = _peaks(height, np.isfinite(height), drop_per_pixel)
    if len(front) == 0:
        return field
    raise_to_envelope(height, drop_per_pixel, front, edges, 1)
    raise_between_pixels(height, drop_per_pixel)
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
    drop_per_pixel = Draft(angle).drop_per_pixel(field.grid.pixel)
    # room for the walls all round the grid, so that every one comes down to the field
    room = math.ceil(float(field.heights.max(initial=0.0)) / drop_per_pixel) + 2
    inside = np.pad(field.mask, room)
    height = np.pad(np.where(field.mask, field.heights, np.float32(0)), room)
    height[[0, -1]] = height[:, [0, -1]] = np.inf  # never raised
    raise_to_envelope(height, drop_per_pixel, _peaks(height, inside, drop_per_pixel))
    walls = np.isfinite(height) & ~inside & (height > np.float32(_FLOOR))
    if not np.any(walls):
        return field
    # how high a wall rising from the open field would be there
    depth = np.where(walls, np.float32(-np.inf), np.float32(np.inf))
    open_field = np.isfinite(height) & ~inside & ~walls
    depth[open_field] = 0.0
    raise_to_envelope(depth, drop_per_pixel, np.flatnonzero(open_field & _beside(walls)))
    closed = walls & (-depth > height + np.float32(1.5 * drop_per_pixel))
    if not np.any(closed):
        return field
    own = (slice(room, -room), slice(room, -room))
    closed = closed[own]
    filled = np.where(closed, height[own], field.heights).astype(np.float32)
    # a wall across a filled gap may reach the form on the other side
    return enforce_draft(HeightField(field.grid, filled, field.mask | closed), angle)


def _beside(mask: BoolArray) -> BoolArray:
    """Return the pixels next to those of a mask that is clear of its border."""
    near = np.zeros_like(mask)
    rows, cols = mask.shape
    for dr, dc in _STEPS:
        near[1:-1, 1:-1] |= mask[1 + dr : rows - 1 + dr, 1 + dc : cols - 1 + dc]
    return near


def _peaks(height: Float32Array, inside: BoolArray, drop_per_pixel: float) -> IntArray:
    """Return flat indices of pixels that stand too high above some neighbour."""
    rows, cols = height.shape
    tall = np.zeros(height.shape, dtype=bool)
    here, known = height[1:-1, 1:-1], inside[1:-1, 1:-1]
    for dr, dc in _STEPS:
        there = height[1 + dr : rows - 1 + dr, 1 + dc : cols - 1 + dc]
        tall[1:-1, 1:-1] |= known & (
            here > there + np.float32(drop_per_pixel * math.hypot(dr, dc) + _TINY)
        )
    return np.flatnonzero(tall)
