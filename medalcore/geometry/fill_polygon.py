"""Triangles between closed loops: well shaped ones, whatever the loops."""

from __future__ import annotations

from collections.abc import Sequence

import manifold3d as m3
import numpy as np

from ..errors import SolidError
from .arrays import cross2
from .types import BoolArray, FloatArray, IntArray

_FLAT = 1e-4
"""mm; four points that are no farther from one plane lie in it."""


def fill_loops(points: FloatArray, loops: Sequence[IntArray]) -> IntArray:
    """Return the triangles of the region between loops, seen from above.

    Parameters
    ----------
    points : (n, 2) float64
        mm.
    loops : sequence of (k,) int64
        Outer loops counter-clockwise, inner ones clockwise.

    Returns
    -------
    triangles : (m, 3) int64
        Constrained Delaunay: no angle is smaller than it has to be.

    Raises
    ------
    SolidError
        If loops cross: their surface would fold over, which no test of edges sees.
    """
    index = np.concatenate(loops)
    found = m3.triangulate([np.ascontiguousarray(points[loop]) for loop in loops])
    triangles = index[np.asarray(found, dtype=np.int64)]
    if folds(points, triangles):
        raise SolidError("outlines of the blank cross each other: its face would fold over")
    return delaunay(points, triangles)


def fill_slope(points: FloatArray, loops: Sequence[IntArray], between: BoolArray) -> IntArray:
    """Return the triangles of a slope between loops whose straight edges hold points besides.

    The loops' corners are joined first: a triangle of three points of one edge and its
    neighbour would lie flat across a corner of the slope. Then each edge gets its points, and
    edges are flipped where four points lie in one plane.

    Parameters
    ----------
    points : (n, 3) float64
        mm; edges that are to stay straight are.
    loops
        As for `fill_loops`.
    between : (n,) bool
        Points that are no corner of a loop.

    Raises
    ------
    SolidError
        If loops cross.
    """
    plane = points[:, :2]
    triangles = fill_loops(plane, [loop[~between[loop]] for loop in loops])
    if not any(between[loop].any() for loop in loops):
        return triangles
    line, first, last = _runs(loops, between)
    while len(first):
        # Half of the points between ends at a time: few flips are left to do each time.
        middle, n = (first + last) // 2, len(points)
        key = (triangles * n + np.roll(triangles, -1, axis=1)).ravel()
        order = np.argsort(key)
        edge = order[np.searchsorted(key[order], line[first] * n + line[last])]
        _, once = np.unique(edge // 3, return_index=True)  # one edge of a triangle at a time
        t, k = edge[once] // 3, edge[once] % 3
        a, b, c = (triangles[t, (k + i) % 3] for i in range(3))
        p = line[middle[once]]
        triangles[t] = np.column_stack([a, p, c])
        triangles = delaunay(
            plane, np.vstack([triangles, np.column_stack([p, b, c])]), points[:, 2]
        )
        kept = np.ones(len(first), dtype=bool)
        kept[once] = False
        first, last = (
            np.concatenate([first[kept], first[once], middle[once]]),
            np.concatenate([last[kept], middle[once], last[once]]),
        )
        more = last - first > 1
        first, last = first[more], last[more]
    return triangles


def _runs(loops: Sequence[IntArray], between: BoolArray) -> tuple[IntArray, IntArray, IntArray]:
    """Return loops one after another, closed, and where edges with points between them run."""
    lines, first, last, count = [], [], [], 0
    for loop in loops:
        start = int(np.argmin(between[loop]))
        line = np.roll(loop, -start)
        line = np.append(line, line[0])
        corner = count + np.flatnonzero(~between[line])
        first.append(corner[:-1])
        last.append(corner[1:])
        lines.append(line)
        count += len(line)
    starts, stops = np.concatenate(first), np.concatenate(last)
    long = stops - starts > 1
    return np.concatenate(lines), starts[long], stops[long]


def folds(points: FloatArray, triangles: IntArray) -> bool:
    """Tell whether triangles over (n, 2) points fold over: some of them are turned over."""
    a, b, c = (points[triangles[:, k]] for k in range(3))
    twice = cross2(b - a, c - a)
    return bool(-twice[twice < 0.0].sum() > 1e-6 * np.abs(twice).sum())


def delaunay(
    points: FloatArray, triangles: IntArray, height: FloatArray | None = None, rounds: int = 400
) -> IntArray:
    """Flip inner edges until no triangle's circumcircle holds its neighbour's far corner.

    Lawson's flips (*Software for C1 surface interpolation*, 1977), many at a time: every
    round flips edges that are the worst of both their triangles.

    Parameters
    ----------
    height : (n,) float64, optional
        Of the points, mm: only edges are flipped whose four points lie in one plane.
    """
    tri = np.array(triangles, dtype=np.int64)
    for _ in range(rounds):
        first, second, worth = _wrong_edges(points, tri, height)
        if not len(worth):
            break
        t1, t2 = first // 3, second // 3
        best = np.zeros(len(tri))
        np.maximum.at(best, t1, worth)
        np.maximum.at(best, t2, worth)
        chosen = np.flatnonzero((best[t1] == worth) & (best[t2] == worth))
        # Equal worth may still let a triangle be taken twice: keep the first.
        _, once = np.unique(np.concatenate([t1[chosen], t2[chosen]]), return_index=True)
        taken = np.zeros(2 * len(chosen), dtype=bool)
        taken[once] = True
        chosen = chosen[taken[: len(chosen)] & taken[len(chosen) :]]
        h1, h2 = first[chosen], second[chosen]
        a = tri[h1 // 3, h1 % 3]
        b = tri[h2 // 3, h2 % 3]
        c = tri[h1 // 3, (h1 + 2) % 3]
        d = tri[h2 // 3, (h2 + 2) % 3]
        tri[h1 // 3] = np.column_stack([a, d, c])
        tri[h2 // 3] = np.column_stack([b, c, d])
    return tri


def _wrong_edges(
    points: FloatArray, tri: IntArray, height: FloatArray | None
) -> tuple[IntArray, IntArray, FloatArray]:
    """Return pairs of half-edges to flip, and how wrong they are."""
    start, stop = tri.ravel(), np.roll(tri, -1, axis=1).ravel()
    key = np.minimum(start, stop) * len(points) + np.maximum(start, stop)
    order = np.argsort(key, kind="stable")
    same = np.flatnonzero(key[order[:-1]] == key[order[1:]])
    h1, h2 = order[same], order[same + 1]
    pa, pb = points[start[h1]], points[stop[h1]]
    pc = points[tri[h1 // 3, (h1 + 2) % 3]]
    pd = points[tri[h2 // 3, (h2 + 2) % 3]]
    # Angles at the far corners that add up to more than half a turn: sin of the sum < 0.
    u, v, x, y = pa - pc, pb - pc, pb - pd, pa - pd
    cos1, sin1 = np.sum(u * v, axis=1), cross2(u, v)
    cos2, sin2 = np.sum(x * y, axis=1), cross2(x, y)
    size = np.sqrt(np.sum(u * u, 1) * np.sum(v * v, 1) * np.sum(x * x, 1) * np.sum(y * y, 1))
    wrong = -(sin1 * cos2 + cos1 * sin2) / np.maximum(size, 1e-300)
    # The new triangles must be turned like the old ones.
    left = cross2(pd - pa, pc - pa)
    right = cross2(pc - pb, pd - pb)
    scale = np.sum((pa - pb) ** 2, axis=1)
    flip = (wrong > 1e-9) & (left > 1e-12 * scale) & (right > 1e-12 * scale)
    if height is not None:
        a, b, c = start[h1], stop[h1], tri[h1 // 3, (h1 + 2) % 3]
        corner = np.column_stack([points, height])
        normal = np.cross(corner[b] - corner[a], corner[c] - corner[a])
        out = np.sum(normal * (corner[tri[h2 // 3, (h2 + 2) % 3]] - corner[a]), axis=1)
        flip &= np.abs(out) < _FLAT * np.linalg.norm(normal, axis=1)
    return h1[flip], h2[flip], wrong[flip]
