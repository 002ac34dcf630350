"""Areas of the plane that share their borders, as one triangulation.

Plane booleans give each area its own outlines. Here points that are the same become one,
points of one outline that lie on an edge of another are put into it, and long edges are
divided, each the same on both sides.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray

from ..errors import SolidError
from .topology import labels

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_SAME = 1e-5  # pixels within which points are one
_ON = 2e-5  # pixels from an edge within which a point lies on it


@dataclass(frozen=True, eq=False)
class Faces:
    """Areas with common points.

    Attributes
    ----------
    points : (n, 2) float64
    loops : tuple of lists of (k,) int64
        Outlines of every area: indices of points.
    """

    points: FloatArray
    loops: tuple[list[IntArray], ...]

    def edges(self, area: int) -> IntArray:
        """Return the edges of one area, (m, 2)."""
        some = [np.stack([r, np.roll(r, -1)], axis=1) for r in self.loops[area]]
        return np.concatenate(some) if some else np.zeros((0, 2), dtype=np.int64)


def joined(areas: list[m3.CrossSection], longest: float = np.inf) -> Faces:
    """Make areas that do not overlap share their points.

    Parameters
    ----------
    areas : list of plane sections
    longest : float
        Longer edges are divided.
    """
    loops = [[np.asarray(p, dtype=np.float64) for p in a.to_polygons()] for a in areas]
    flat = [p for area in loops for p in area]
    if not flat:
        return Faces(np.zeros((0, 2)), tuple([] for _ in areas))
    points, name = _merged(np.concatenate(flat))
    at = np.cumsum([0, *(len(p) for p in flat)])
    rings = [_distinct(name[a:b]) for a, b in itertools.pairwise(at)]
    rings = _divided(points, rings, _touched(points, rings))
    points, more = _halved(points, rings, longest)
    rings = _divided(points, rings, more)
    out, k = [], 0
    for area in loops:
        out.append([r for r in rings[k : k + len(area)] if len(r) >= 3])
        k += len(area)
    return Faces(points, tuple(out))


def _merged(points: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return distinct points and the name of each given one among them."""
    one: list[IntArray] = []
    two: list[IntArray] = []
    for shift in ((0.0, 0.0), (0.5, 0.0), (0.0, 0.5), (0.5, 0.5)):
        cell = np.floor(points / (2.0 * _SAME) + shift)
        order = np.lexsort((cell[:, 1], cell[:, 0]))
        same = np.all(np.diff(cell[order], axis=0) == 0.0, axis=1)
        one.append(order[:-1][same])
        two.append(order[1:][same])
    name = labels(np.concatenate(one), np.concatenate(two), len(points))
    _, first, index = np.unique(name, return_index=True, return_inverse=True)
    return points[first], index.reshape(-1)


def _distinct(ring: IntArray) -> IntArray:
    return np.asarray(ring[ring != np.roll(ring, 1)])


def _pairs(rings: list[IntArray]) -> IntArray:
    return np.concatenate([np.stack([r, np.roll(r, -1)], axis=1) for r in rings])


def _touched(points: FloatArray, rings: list[IntArray]) -> dict[tuple[int, int], list[int]]:
    """Return for edges that are not the same on both sides the points that lie on them."""
    pairs = _pairs(rings)
    key = pairs[:, 0] * len(points) + pairs[:, 1]
    back = pairs[:, 1] * len(points) + pairs[:, 0]
    odd = pairs[~np.isin(key, back)]
    ends = np.unique(odd)
    found: dict[tuple[int, int], list[int]] = {}
    place = points[ends]
    order = np.argsort(place[:, 0])
    ends, place = ends[order], place[order]
    low = np.minimum(points[odd[:, 0]], points[odd[:, 1]]) - _ON
    high = np.maximum(points[odd[:, 0]], points[odd[:, 1]]) + _ON
    first = np.searchsorted(place[:, 0], low[:, 0])
    last = np.searchsorted(place[:, 0], high[:, 0], side="right")
    for k in np.flatnonzero(last - first > 2):
        a, b = odd[k]
        some = np.arange(first[k], last[k])
        some = some[(place[some, 1] >= low[k, 1]) & (place[some, 1] <= high[k, 1])]
        some = some[(ends[some] != a) & (ends[some] != b)]
        if not len(some):
            continue
        way, off = points[b] - points[a], place[some] - points[a]
        size = float(np.hypot(*way))
        t = off @ way / size**2
        on = np.abs(off[:, 0] * way[1] - off[:, 1] * way[0]) <= _ON * size
        on &= (t > 0.0) & (t < 1.0)
        if on.any():
            found[int(a), int(b)] = ends[some[on][np.argsort(t[on])]].tolist()
    return found


def _halved(
    points: FloatArray, rings: list[IntArray], longest: float
) -> tuple[FloatArray, dict[tuple[int, int], list[int]]]:
    """Return points with those that divide long edges, and which lie on which edge."""
    if not np.isfinite(longest):
        return points, {}
    pairs = np.unique(np.sort(_pairs(rings), axis=1), axis=0)
    way = points[pairs[:, 1]] - points[pairs[:, 0]]
    count = np.ceil(np.hypot(*way.T) / longest).astype(np.int64)
    more, found, size = [points], {}, len(points)
    for k in np.flatnonzero(count > 1):
        t = np.arange(1, count[k])[:, None] / count[k]
        more.append(points[pairs[k, 0]] + t * way[k])
        new = list(range(size, size + count[k] - 1))
        a, b = pairs[k].tolist()
        found[a, b], found[b, a] = new, new[::-1]
        size += len(new)
    return np.concatenate(more), found


def _divided(
    points: FloatArray, rings: list[IntArray], found: dict[tuple[int, int], list[int]]
) -> list[IntArray]:
    if not found:
        return rings
    out = []
    for ring in rings:
        line = ring.tolist()
        made: list[int] = []
        for a, b in zip(line, [*line[1:], line[0]], strict=True):
            made.append(a)
            made += found.get((a, b), [])
        out.append(np.array(made, dtype=np.int64))
    return out


def triangles_of(faces: Faces) -> IntArray:
    """Triangulate all areas, (m, 3) indices of points, counter-clockwise."""
    made = []
    for rings in faces.loops:
        if not rings:
            continue
        name = np.concatenate(rings)
        tri = np.asarray(m3.triangulate([faces.points[r] for r in rings]), dtype=np.int64)
        made.append(name[tri.reshape(-1, 3)])
    triangles: IntArray = np.concatenate(made) if made else np.zeros((0, 3), dtype=np.int64)
    return np.asarray(triangles[np.all(triangles != np.roll(triangles, 1, axis=1), axis=1)])


def border_of(triangles: IntArray, size: int) -> list[IntArray]:
    """Return the loops round a triangulation, material on the left.

    Raises
    ------
    SolidError
        If two loops meet in a point.
    """
    start, stop = triangles.ravel(), triangles[:, [1, 2, 0]].ravel()
    rim = ~np.isin(start * size + stop, stop * size + start)
    start, stop = start[rim], stop[rim]
    if len(np.unique(start)) != len(start):
        raise SolidError("the outline of the drawing touches itself")
    after = dict(zip(start.tolist(), stop.tolist(), strict=True))
    loops = []
    while after:
        here = first = next(iter(after))
        loop = []
        while here in after:
            loop.append(here)
            here = after.pop(here)
        if here != first:
            raise SolidError("the outline of the drawing is not closed")
        loops.append(np.array(loop, dtype=np.int64))
    return loops
