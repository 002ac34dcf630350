"""The outermost pixels of a depth map, as a modeller would finish them.

Where a form turns away steeply at its outline, the last pixels see it as high as chance has
put their centres nearer to the edge or farther from it: along the outline they alternate, and
a relief made from them has a milled fringe. There the surface is carried on from inside
instead. The depth map itself (`raster.top_surface`) is exact; this treats what sampling it
does to an outline, so all lengths are in pixels.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

FALL = 0.5
"""Pixels by which an outermost pixel may lie lower than the surface carried on to it."""

ALIKE = 4.0
"""Pixels that heights carried on from different sides may differ by and be one surface."""

BEND = 2.5
"""How many times its slope before a surface may fall towards its outline, and"""

BEND_MORE = 1.0
"""how much besides. Steeper than that it is another surface, and the slope is not carried on."""

FLATTENING = 0.7
"""What is left of a slope from pixel to pixel beyond a surface's own outline."""

_PAD = 3


def finished(smooth: FloatArray, facets: FloatArray, pixel: float) -> FloatArray:
    """Return a depth map with a clean fringe that shows all of the model.

    Nothing of the model's silhouette is lost to smoothing, and nothing is added to its box.

    Parameters
    ----------
    smooth, facets : (rows, cols) float64
        Depth of the smoothed model and of the model as it is, mm; −inf where nothing is seen.
    pixel : float
        mm.

    Returns
    -------
    heights : (rows, cols) float64
        As `smooth`, but for up to two pixels inside its outline, which are raised where they
        lie lower than the surface carried on from farther inside; carried on beyond it to
        what is seen of `facets`; −inf outside.
    """
    seen = np.isfinite(facets)
    rows, cols = np.flatnonzero(seen.any(axis=1)), np.flatnonzero(seen.any(axis=0))
    if not len(rows):
        return facets
    box = np.s_[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
    outer = np.full((seen[box].shape[0] + 2 * _PAD, seen[box].shape[1] + 2 * _PAD), -np.inf)
    wide = outer.shape[1]
    outer[_PAD:-_PAD, _PAD:-_PAD] = smooth[box]
    there = np.isfinite(outer)
    value = np.where(there, outer, np.nan).ravel() / pixel
    core = _core(there)
    fringe = np.flatnonzero(_grown_twice(core) & there & ~core)
    known = core.ravel()
    raised = value.copy()
    raised[~known] = np.nan
    for ring, height in _layers(raised, fringe, value[fringe], wide, 1.0):
        raised[ring] = np.fmax(value[ring], height - FALL)
    value = np.where(np.isnan(raised), value, raised)
    lost = np.flatnonzero(np.pad(seen[box], _PAD) & ~there)
    if len(lost):
        least = np.pad(facets[box], _PAD, constant_values=-np.inf).ravel() / pixel
        about = (np.arange(-2, 3)[:, None] * wide + np.arange(-2, 3)).ravel()
        level = least[lost[:, None] + about].max(axis=1)
        lowest = np.nanmin(value)
        cap = np.full(len(value), np.inf)
        cap[lost] = level
        for ring, height in _layers(value, lost, level, wide, FLATTENING):
            value[ring] = np.clip(height, lowest, cap[ring])
        away = lost[np.isnan(value[lost])]
        value[away] = least[away]
    out = np.full(smooth.shape, -np.inf)
    inner = value.reshape(outer.shape)[_PAD:-_PAD, _PAD:-_PAD] * pixel
    out[box] = np.where(np.isnan(inner), -np.inf, inner)
    return out


def _core(mask: BoolArray) -> BoolArray:
    """Return the pixels more than two from the outline."""
    return ~_grown_twice(~mask)


def _grown_twice(mask: BoolArray) -> BoolArray:
    """Return the mask with what is less than about two and a half pixels from it."""
    cross = mask.copy()
    cross[1:] |= mask[:-1]
    cross[:-1] |= mask[1:]
    cross[:, 1:] |= mask[:, :-1]
    cross[:, :-1] |= mask[:, 1:]
    tall = cross.copy()
    tall[1:] |= cross[:-1]
    tall[:-1] |= cross[1:]
    square = tall.copy()
    square[:, 1:] |= tall[:, :-1]
    square[:, :-1] |= tall[:, 1:]
    return square


def _layers(
    value: FloatArray, todo: IntArray, near: FloatArray, wide: int, keep: float
) -> Iterator[tuple[IntArray, FloatArray]]:
    """Yield pixels beside known ones and the heights that are carried on to them.

    Parameters
    ----------
    value : (n,) float64
        Flat map, pixels; NaN where not known. The caller fills in what it makes of a layer
        before it asks for the next.
    todo : (k,) int
        Pixels to reach.
    near : (k,) float64
        Where surfaces lie beside each other, that which is nearest to this goes on.
    wide : int
        Columns of the map.
    keep : float
        Share of the slope that is carried on.
    """
    ways = np.array([-1, 1, -wide, wide, -wide - 1, wide + 1, 1 - wide, wide - 1])
    layer = np.full(len(value), np.nan)
    while len(todo):
        first = value[todo + ways[:, None]]
        ready = ~np.isnan(first).all(axis=0)
        ring = todo[ready]
        if not len(ring):
            return
        first = first[:, ready]
        height = _one(first + keep * _slope(value, ring, first, ways), near[ready])
        for _ in range(2):  # along the outline
            layer[ring] = height
            beside = layer[ring + ways[:, None]] - height
            beside = beside[::2] + beside[1::2]  # on both sides, so that slopes stay
            beside[~(np.abs(beside) <= ALIKE)] = 0.0
            height = height + 0.25 * beside.sum(axis=0)
        layer[ring] = np.nan
        yield ring, height
        todo, near = todo[~ready], near[~ready]


def _slope(value: FloatArray, ring: IntArray, first: FloatArray, ways: IntArray) -> FloatArray:
    """Return by how much the surface goes on rising from the neighbours (8, k) of pixels."""
    second = value[ring + 2 * ways[:, None]]
    third = value[ring + 3 * ways[:, None]]
    before = np.nan_to_num(np.abs(second - third))
    most = BEND * before + BEND_MORE
    slope = np.nan_to_num(first - second)
    return np.asarray(np.clip(slope, -most, np.minimum(most, 1.0)))


def _one(heights: FloatArray, near: FloatArray) -> FloatArray:
    """Return the mean of those heights (8, k), some NaN, that are of the surface nearest."""
    off = np.abs(heights - near)
    best = np.nanargmin(off, axis=0)
    chosen = np.take_along_axis(heights, best[None], axis=0)
    alike = np.abs(heights - chosen) <= ALIKE
    return np.asarray(np.where(alike, heights, 0.0).sum(axis=0) / np.count_nonzero(alike, axis=0))
