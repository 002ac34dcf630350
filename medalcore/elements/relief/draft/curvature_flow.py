"""Steep slopes without pixel stairs.

A cliff a few pixels wide is sampled too coarsely to be smooth: its level lines run in stairs.
They are allowed to shorten for a short while (curvature flow: Osher and Sethian 1988;
Alvarez, Lions and Morel 1992), never by more than half a pixel. What is not steep is not
touched, and neither are jumps from one pixel to the next, which `steps` draws as lines.
"""

from __future__ import annotations

import numpy as np

from ....geometry.grid import HeightField
from ....geometry.masks import away_from, grown
from ....geometry.step_edges import find_step_edges
from ....geometry.types import Float32Array, IntArray

_STEEP = 0.5  # rise over run from which a step of the grid shows
_STEP = 0.2  # square pixels of flow in one go; stable below 0.25
_GOES = 24


def smooth_level_lines(field: HeightField, tolerance: float) -> HeightField:
    """Straighten level lines on steep slopes.

    Parameters
    ----------
    field : HeightField
        mm.
    tolerance : float
        As of `step_edges.find_step_edges`, mm.

    Returns
    -------
    HeightField
        Changed only on steep slopes, by at most half of what the field rises from one
        neighbour to the next; the highest point stays. The same object if nothing is steep.
    """
    h = field.heights.copy()
    flat = h.ravel()
    pixels = _steep(field, tolerance)
    if len(pixels) == 0:
        return field
    around = _around(field.grid.shape[1])
    ring = flat[pixels[:, None] + around]
    centre = flat[pixels]
    low = np.minimum(0.5 * (centre + ring.min(axis=1)), centre)
    high = np.maximum(0.5 * (centre + ring.max(axis=1)), centre)
    for _ in range(_GOES):
        flat[pixels] = np.clip(
            flat[pixels] + np.float32(_STEP) * _flow(flat, pixels, around), low, high
        )
    top = int(np.argmax(field.heights))
    flat[top] = field.heights.ravel()[top]
    return HeightField(field.grid, h, field.mask)


def _around(cols: int) -> IntArray:
    """Return the offsets of the eight neighbours: NW, N, NE, W, E, SW, S, SE."""
    return np.array([-cols - 1, -cols, -cols + 1, -1, 1, cols - 1, cols, cols + 1])


def _steep(field: HeightField, tolerance: float) -> IntArray:
    """Return flat indices of pixels on or beside steep places, with all neighbours inside."""
    h, mask = field.heights, field.mask
    rise = np.float32(2.0 * _STEEP * field.grid.pixel)
    steep = np.zeros(h.shape, dtype=bool)
    steep[1:-1, 1:-1] = (np.abs(h[2:, 1:-1] - h[:-2, 1:-1]) > rise) | (
        np.abs(h[1:-1, 2:] - h[1:-1, :-2]) > rise
    )
    edges = np.zeros(h.shape, dtype=bool)
    found = find_step_edges(field, away_from(mask), 0.0, tolerance)
    edges.ravel()[found.high] = edges.ravel()[found.low] = True
    return np.flatnonzero(steep & away_from(mask) & ~grown(edges))


def _flow(flat: Float32Array, pixels: IntArray, around: IntArray) -> Float32Array:
    """Return the second derivative along the level line, mm per square pixel."""
    nw, n, ne, w, e, sw, s, se = (flat[pixels + k] for k in around)
    c = flat[pixels]
    x, y = np.float32(0.5) * (e - w), np.float32(0.5) * (n - s)
    xx, yy = e - 2 * c + w, n - 2 * c + s
    xy = np.float32(0.25) * (ne - nw - se + sw)
    square = x * x + y * y
    return np.asarray((xx * y * y - 2 * x * y * xy + yy * x * x) / (square + np.float32(1e-10)))
