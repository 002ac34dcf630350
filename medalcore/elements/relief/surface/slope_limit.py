"""The least moving of corners after which no triangle is steeper than allowed."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ....geometry.arrays import cross2, ragged
from ....geometry.types import FloatArray, IntArray

_SLACK = 2e-4  # of the slope: nearer is near enough
_ROUNDS = 150
_FARTHER = 1.8  # times what is asked where it takes long; sooner done, but not the least
_NEWTON = 6
_LITTLE = 1e-9  # mm
_TOLD = 1.001  # of the slope: steeper is told; at a draft of 5 degrees that is 0.005
_WIDER = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0, np.inf)


def limit_slopes(
    points: FloatArray,
    z: FloatArray,
    triangles: IntArray,
    rise_per_run: float,
    give: FloatArray,
    most: FloatArray,
    ceiling: FloatArray,
) -> FloatArray:
    """Move corners of a surface up and down until no triangle is steeper than a slope.

    Each steep triangle asks its corners for the least moves that mend it; a corner follows the
    mean of what is asked of it (simultaneous projections: Cimmino 1938), and goes no
    higher or lower than all corners about it were unless it cannot be done else.

    Parameters
    ----------
    points : (n, 2) float64
        mm.
    z : (n,) float64
        mm.
    triangles : (m, 3) int64
    rise_per_run : float
        In the units of `z` and `points`: with points in pixels, mm in a pixel.
    give : (n,) float64
        How far corners may move at first, mm.
    most : (n,) float64
        How far they may move where it cannot be done else, mm.
    ceiling : (n,) float64
        z that none is raised above, mm.

    Returns
    -------
    z : (n,) float64
    """
    first, z = z, z.copy()
    around = _around(triangles, len(points))
    low, high = first.copy(), first.copy()  # about a corner: beyond these no corner moves
    for k in range(3):
        np.minimum.at(low, triangles[:, k], first[triangles].min(axis=1))
        np.maximum.at(high, triangles[:, k], first[triangles].max(axis=1))
    ceiling = np.maximum(ceiling, first)
    low = np.where(np.isfinite(most), first - most, low)
    sides = _sides(points, triangles)
    steep = np.arange(len(triangles))
    for wider in _WIDER:
        go = 1.0 if wider == _WIDER[0] else _FARTHER
        near, free = steep, np.ones(len(points), dtype=bool)
        for _ in range(_ROUNDS):
            todo = triangles[near[_slopes(sides[near], z[triangles[near]]) > rise_per_run]]
            if not len(todo):
                break
            asked = _least_moves(points[todo], z[todo], rise_per_run * (1.0 - _SLACK))
            corner, place = np.unique(todo, return_inverse=True)
            place = place.ravel()
            total = np.bincount(place, asked.ravel())
            moved = z[corner] + go * total / np.bincount(place)
            far = np.minimum(wider * np.maximum(give[corner], _LITTLE), most[corner])
            if wider < _WIDER[-1]:
                moved = np.clip(moved, low[corner], high[corner])
            moved = np.clip(moved, first[corner] - far, first[corner] + far)
            moved = np.minimum(moved, ceiling[corner])
            some = free[corner] & (moved != z[corner])
            z[corner[some]] = moved[some]
            # a corner is asked the same again unless one beside it has moved
            free = np.zeros(len(points), dtype=bool)
            free[triangles[around(corner[some])]] = True
            near = around(np.flatnonzero(free))
        steep = np.flatnonzero(_slopes(sides, z[triangles]) > rise_per_run)
        if not len(steep):
            break
    return z


@dataclass(frozen=True)
class Steep:
    """Facets of a surface that are steeper than asked.

    Attributes
    ----------
    count : int
    area : float
        mm2, of the facets themselves.
    least : float
        Lean from upright of the steepest one, radians.
    where : (u, v)
        The middle of that one, mm.
    """

    count: int
    area: float
    least: float
    where: tuple[float, float]


def steeper(vertices: FloatArray, triangles: IntArray, angle: float) -> Steep | None:
    """Find the triangles of a finished surface that lean from upright by less than an angle.

    Parameters
    ----------
    vertices : (n, 3) float64
        mm.
    triangles : (m, 3) int64
        That look up.
    angle : float
        Radians; a slope of up to a thousandth more than its own is let pass.

    Returns
    -------
    Steep or None
        None if there are none.
    """
    corner = vertices[triangles]
    x, y, z = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]).T
    across = np.hypot(x, y)
    bad = np.flatnonzero(across * math.tan(angle) > _TOLD * z)
    if not len(bad):
        return None
    lean = np.arctan2(z[bad], across[bad])
    worst = corner[bad[np.argmin(lean)]].mean(axis=0)
    area = 0.5 * float(np.hypot(across[bad], z[bad]).sum())
    return Steep(len(bad), area, float(lean.min()), (float(worst[0]), float(worst[1])))


def _sides(points: FloatArray, triangles: IntArray) -> FloatArray:
    """Return two sides of triangles and twice their area, (m, 5)."""
    p = points[triangles]
    e1, e2 = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    det = np.maximum(np.abs(cross2(e1, e2)), 1e-18)
    return np.column_stack([e1, e2, det])


def _slopes(sides: FloatArray, z: FloatArray) -> FloatArray:
    """Return the slopes of triangles whose corners stand at z, (m, 3)."""
    x1, y1, x2, y2, det = sides.T
    d1, d2 = z[:, 1] - z[:, 0], z[:, 2] - z[:, 0]
    return np.asarray(np.hypot(d1 * y2 - d2 * y1, d2 * x1 - d1 * x2) / det)


def _least_moves(corner: FloatArray, z: FloatArray, rise_per_run: float) -> FloatArray:
    """Return the least moves of corners, (k, 3), that bring steep triangles to a slope.

    Least squares: of the gradient g the change d costs d'Md, M = sum of x x' about the middle.
    The answer is (M + c)⁻¹ M g with c such that its length is the slope (a trust region's step:
    Moré and Sorensen 1983), found along the axes of M.
    """
    x = corner - corner.mean(axis=1)[:, None]
    e1, e2 = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    d1, d2 = z[:, 1] - z[:, 0], z[:, 2] - z[:, 0]
    det = cross2(e1, e2)
    det = np.where(np.abs(det) < 1e-15, 1e-15, det)
    gx, gy = (
        (d1 * e2[:, 1] - d2 * e1[:, 1]) / det,
        (d2 * e1[:, 0] - d1 * e2[:, 0]) / det,
    )
    xx, yy, xy = (
        (x[:, :, 0] ** 2).sum(1),
        (x[:, :, 1] ** 2).sum(1),
        (x[:, :, 0] * x[:, :, 1]).sum(1),
    )
    turn = 0.5 * np.arctan2(2.0 * xy, xx - yy)
    c, s = np.cos(turn), np.sin(turn)
    half, off = 0.5 * (xx + yy), np.hypot(0.5 * (xx - yy), xy)
    wide, thin = half + off, np.maximum(half - off, 1e-15 * half)
    along, across = c * gx + s * gy, c * gy - s * gx
    pull = np.zeros(len(x))
    for _ in range(_NEWTON):
        one, two = along * wide / (wide + pull), across * thin / (thin + pull)
        size = np.maximum(np.hypot(one, two), 1e-300)
        bend = (one**2 / (wide + pull) + two**2 / (thin + pull)) / size**2
        pull = np.maximum(pull + (size / rise_per_run - 1.0) / np.maximum(bend, 1e-300), 0.0)
    one, two = (
        along * wide / (wide + pull) - along,
        across * thin / (thin + pull) - across,
    )
    dx, dy = c * one - s * two, s * one + c * two
    return np.asarray(x[:, :, 0] * dx[:, None] + x[:, :, 1] * dy[:, None])


def _around(triangles: IntArray, count: int) -> Callable[[IntArray], IntArray]:
    """Return a function from corners to the triangles round them, by index."""
    flat = triangles.ravel()
    owner = np.argsort(flat, kind="stable") // 3
    start = np.searchsorted(np.sort(flat), np.arange(count + 1))

    def found(corners: IntArray) -> IntArray:
        corner, place = ragged(start[corners + 1] - start[corners])
        held = np.zeros(len(triangles), dtype=bool)
        held[owner[start[corners][corner] + place]] = True
        return np.flatnonzero(held)

    return found
