"""The least moving of corners after which no triangle is steeper than allowed."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_SLACK = 2e-4  # of the slope: nearer is near enough
_ROUNDS = 300
WIDER = (1.0, 2.0, 4.0, 8.0, 16.0, 64.0, np.inf)


def leaning(
    points: FloatArray,
    z: FloatArray,
    triangles: IntArray,
    slope: float,
    give: FloatArray,
    wider: tuple[float, ...] = WIDER,
) -> FloatArray:
    """Move corners of a surface up and down until no triangle is steeper than a slope.

    Each steep triangle asks its corners to come nearer to its middle height; a corner follows
    the mean of what is asked of it (simultaneous projections: Cimmino 1938).

    Parameters
    ----------
    points : (n, 2) float64
        mm.
    z : (n,) float64
        mm.
    triangles : (m, 3) int64
    slope : float
        Rise over run.
    give : (n,) float64
        How far corners may move at first, mm.
    wider : tuple of float
        How many times as far they may move where it cannot be done else.

    Returns
    -------
    z : (n,) float64
    """
    first, z = z, z.copy()
    around = _around(triangles, len(points))
    steep = triangles
    for times in wider:
        todo = steep
        for _ in range(_ROUNDS):
            steepness = _steepness(points, z, todo)
            over = steepness > slope
            todo = todo[over]
            if not len(todo):
                break
            own = z[todo]
            share = (slope * (1.0 - _SLACK) / steepness[over])[:, None]
            asked = (share - 1.0) * (own - own.mean(axis=1)[:, None])
            corner, place = np.unique(todo, return_inverse=True)
            place = place.ravel()
            moved = z[corner] + np.bincount(place, asked.ravel()) / np.bincount(place)
            most = times * give[corner]
            z[corner] = np.clip(moved, first[corner] - most, first[corner] + most)
            todo = around(corner)
        if not len(todo):
            return z
        steep = triangles[_steepness(points, z, triangles) > slope]
    return z


def _steepness(points: FloatArray, z: FloatArray, triangles: IntArray) -> FloatArray:
    p, h = points[triangles], z[triangles]
    e1, e2 = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    d1, d2 = h[:, 1] - h[:, 0], h[:, 2] - h[:, 0]
    det = np.maximum(np.abs(e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0]), 1e-18)
    return np.asarray(np.hypot(d1 * e2[:, 1] - d2 * e1[:, 1], d2 * e1[:, 0] - d1 * e2[:, 0]) / det)


def _around(triangles: IntArray, count: int) -> Callable[[IntArray], IntArray]:
    """Return a function from corners to the triangles round them."""
    flat = triangles.ravel()
    owner = np.argsort(flat, kind="stable") // 3
    start = np.searchsorted(np.sort(flat), np.arange(count + 1))

    def found(corners: IntArray) -> IntArray:
        sizes = start[corners + 1] - start[corners]
        begin = np.cumsum(sizes) - sizes
        at = np.arange(int(sizes.sum())) + np.repeat(start[corners] - begin, sizes)
        return np.asarray(triangles[np.unique(owner[at])])

    return found
