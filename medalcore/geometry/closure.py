"""The proof that a mesh is closed as the file will say it: in float32 coordinates.

Independent of the boolean library, whose 'no error' is not proof: a file holds float32
numbers, and what was two points in float64 may be one there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .types import BoolArray, FloatArray, IntArray

_PASSES = 64
"""More than mending takes: closing slits takes up to 3, a line of corners as many as it has."""

_ODD = np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], dtype=np.uint64)
"""Odd multipliers of a hash, one for each coordinate."""


@dataclass(frozen=True)
class Closure:
    """What welding by float32 coordinates shows.

    Attributes
    ----------
    collapsed : int
        Triangles with two equal corners.
    flat : int
        Triangles with three different corners but no area.
    bad_edges : int
        Edges not shared by exactly two triangles running in opposite directions.
    bodies : int
        Parts connected by shared edges.
    volume_mm3 : float
        Signed volume (divergence theorem).
    genus : int
        Handles of the surface, from the Euler characteristic, summed over the bodies.
    """

    collapsed: int
    flat: int
    bad_edges: int
    bodies: int
    volume_mm3: float
    genus: int

    @property
    def is_closed(self) -> bool:
        """Tell whether it is a closed surface round a positive volume."""
        return (
            self.collapsed == 0 and self.flat == 0 and self.bad_edges == 0 and self.volume_mm3 > 0
        )


def weld(vertices: FloatArray, triangles: IntArray) -> tuple[FloatArray, IntArray]:
    """Merge vertices that are equal as float32; collapsed triangles stay in.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    triangles : (m, 3) int64

    Returns
    -------
    vertices : (k, 3) float64
        Exactly representable as float32.
    triangles : (m, 3) int64
    """
    single = np.ascontiguousarray(vertices, dtype=np.float32) + np.float32(0.0)  # −0 becomes 0
    first, inverse = _alike(single.view(np.uint32).reshape(-1, 3))
    return single[first].astype(np.float64), inverse[triangles]


def _alike(rows: NDArray[np.uint32]) -> tuple[IntArray, IntArray]:
    """Return which rows (n, 3) come first of their kind, rising, and the number of every row's.

    Rows are sorted by a hash of 64 bits; should two different ones ever share it, by themselves.
    """
    wide = rows.astype(np.uint64)
    mixed = np.bitwise_xor.reduce(wide * _ODD, axis=1)
    order = np.argsort(mixed, kind="stable")
    there = rows[order]
    new = np.append(True, np.any(there[1:] != there[:-1], axis=1))[: len(rows)]
    key = mixed[order]
    if np.any(new[1:] & (key[1:] == key[:-1])):
        order = np.lexsort(rows.T)
        there = rows[order]
        new = np.append(True, np.any(there[1:] != there[:-1], axis=1))
    first = order[new]  # of equal rows a stable sort leaves the first in front
    by = np.argsort(first)
    rank = np.empty_like(by)
    rank[by] = np.arange(len(by))
    inverse = np.empty(len(rows), dtype=np.int64)
    inverse[order] = rank[np.cumsum(new) - 1]
    return first[by], inverse


def closure(vertices: FloatArray, triangles: IntArray) -> Closure:
    """Weld by float32 coordinates and count what a printer's software would find.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    triangles : (m, 3) int64
    """
    points, tri = weld(vertices, triangles)
    same = (tri[:, 0] == tri[:, 1]) | (tri[:, 1] == tri[:, 2]) | (tri[:, 2] == tri[:, 0])
    cross = _cross(points, tri)
    flat = int(np.count_nonzero(~np.any(cross, axis=0) & ~same))
    volume = float(np.einsum("ij,ji->", points[tri[:, 0]], cross) / 6.0)
    start = tri.ravel()
    stop = np.roll(tri, -1, axis=1).ravel()
    n = len(points)
    bad, edges = _unpaired(start, stop, n)
    bodies = int(np.count_nonzero(np.bincount(_lowest(start, stop, n)[start], minlength=n)))
    euler = n - edges // 2 + len(tri)
    return Closure(int(np.count_nonzero(same)), flat, bad, bodies, volume, bodies - euler // 2)


def _unpaired(start: IntArray, stop: IntArray, count: int) -> tuple[int, int]:
    """Return how many directed edges have not one opposite of their own, and how many there are."""
    edges = np.sort(start * count + stop)
    alone = edges[1:] != edges[:-1]
    if alone.all() and np.array_equal(edges, np.sort(stop * count + start)):
        return 0, len(edges)
    directed, times = np.unique(edges, return_counts=True)
    opposite = (directed % count) * count + directed // count
    position = np.minimum(np.searchsorted(directed, opposite), len(directed) - 1)
    paired = (directed[position] == opposite) & (times == 1) & (times[position] == 1)
    return int(np.count_nonzero(~paired)), len(directed)


def _cross(points: FloatArray, tri: IntArray) -> FloatArray:
    """Return the normals of triangles, twice their area long, (3, m)."""
    x, y, z = (column[tri.T] for column in np.ascontiguousarray(points.T))
    ux, uy, uz = x[1] - x[0], y[1] - y[0], z[1] - z[0]
    vx, vy, vz = x[2] - x[0], y[2] - y[0], z[2] - z[0]
    return np.stack([uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx])


def bodies_of(triangles: IntArray) -> IntArray:
    """Return which body each triangle of a welded mesh belongs to, (m,) from 0."""
    start, stop = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    lowest = _lowest(start, stop, int(triangles.max()) + 1)
    return np.unique(lowest[triangles[:, 0]], return_inverse=True)[1].astype(np.int64)


def _lowest(start: IntArray, stop: IntArray, count: int) -> IntArray:
    """Return for each vertex the lowest of its body, by hooking it to what it can see."""
    parent = np.arange(count)
    while True:
        low = np.minimum(parent[start], parent[stop])
        new = parent.copy()
        np.minimum.at(new, parent[start], low)
        np.minimum.at(new, parent[stop], low)
        while True:  # shorten the chains
            short = new[new]
            if np.array_equal(short, new):
                break
            new = short
        if np.array_equal(new, parent):
            return parent
        parent = new


def mend(
    vertices: FloatArray, triangles: IntArray, code: IntArray
) -> tuple[FloatArray, IntArray, IntArray]:
    """Weld by float32 coordinates and take out what welding flattened.

    Collapsed triangles go; two triangles on the same corners with opposite turns (a slit
    that closed) cancel; a triangle without area gives its middle corner to the neighbour
    across its long edge. None of it moves a vertex. Whether the result is closed is for
    `closure` to say.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    triangles : (m, 3) int64
    code : (m,) int64
        Label of every triangle.

    Returns
    -------
    vertices : (k, 3) float64
        Exactly representable as float32.
    triangles : (j, 3) int64
    code : (j,) int64
    """
    points, tri = weld(vertices, triangles)
    for _ in range(_PASSES):  # each pass can uncover a little more
        before = len(tri)
        keep = (tri[:, 0] != tri[:, 1]) & (tri[:, 1] != tri[:, 2]) & (tri[:, 2] != tri[:, 0])
        tri, code = tri[keep], code[keep]
        keep = ~_folded(tri, len(points))
        tri, code = tri[keep], code[keep]
        tri, code, moved = _without_flat(points, tri, code)
        if len(tri) == before and not moved:
            break
    used = np.zeros(len(points), dtype=bool)
    used[tri] = True
    return points[used], (np.cumsum(used) - 1)[tri], code


def _folded(tri: IntArray, count: int) -> BoolArray:
    """Mark triangles that lie back to back on another with the same corners."""
    if not len(tri):
        return np.zeros(0, dtype=bool)
    ordered = np.sort(tri, axis=1)
    order = np.lexsort((ordered[:, 2], ordered[:, 0] * count + ordered[:, 1]))
    there = ordered[order]
    if np.all(np.any(there[1:] != there[:-1], axis=1)):
        return np.zeros(len(tri), dtype=bool)
    turn = np.where(_is_even(tri, ordered), 1, -1)
    _, group = np.unique(ordered, axis=0, return_inverse=True)
    group = np.ravel(group)
    total = np.bincount(group, turn)
    size = np.bincount(group)
    folded: BoolArray = (size[group] > 1) & (total[group] == 0)
    return folded


def _is_even(tri: IntArray, ordered: IntArray) -> BoolArray:
    even: BoolArray = np.zeros(len(tri), dtype=bool)
    for k in range(3):
        even |= np.all(np.roll(tri, k, axis=1) == ordered, axis=1)
    return even


def _without_flat(
    points: FloatArray, tri: IntArray, code: IntArray
) -> tuple[IntArray, IntArray, bool]:
    """Remove triangles without area by splitting the neighbour across their long edge.

    Those with the longest edges come first: where several lie on one line, their neighbours
    across may have no area either, and then every pass makes the longest edge shorter.
    """
    flat = np.flatnonzero(~np.any(_cross(points, tri), axis=0))
    if not len(flat):
        return tri, code, False
    corner = points[tri[flat]]
    reach = np.sum((np.roll(corner, -1, axis=1) - corner) ** 2, axis=2).max(axis=1)
    flat = flat[np.argsort(-reach, kind="stable")]
    faces = [tuple(t) for t in tri.tolist()]
    owner = {(t[k], t[k - 2]): i for i, t in enumerate(faces) for k in range(3)}
    gone: set[int] = set()
    new: list[tuple[int, int, int]] = []
    new_code: list[int] = []
    for i in flat.tolist():
        t = faces[i]
        length = [float(np.sum((points[t[k]] - points[t[k - 2]]) ** 2)) for k in range(3)]
        k = int(np.argmax(length))
        a, b, c = t[k], t[k - 2], t[k - 1]
        j = owner.get((b, a))
        if j is None or j in gone or i in gone or j == i:
            continue
        d = next(v for v in faces[j] if v not in (a, b))
        gone |= {i, j}
        new += [(b, c, d), (c, a, d)]
        new_code += [int(code[j])] * 2
    keep = np.ones(len(tri), dtype=bool)
    keep[list(gone)] = False
    tri = np.vstack([tri[keep], np.array(new, dtype=np.int64).reshape(-1, 3)])
    return tri, np.concatenate([code[keep], np.array(new_code, dtype=np.int64)]), bool(gone)


def inner_bodies(vertices: FloatArray, triangles: IntArray) -> BoolArray:
    """Tell which triangles belong to other bodies than the one that reaches farthest out.

    In a ring with a core those are the core's, whatever their outlines are.
    """
    body = bodies_of(triangles)
    reach = np.zeros(int(body.max()) + 1)
    corner = vertices[triangles]
    np.maximum.at(reach, body, np.hypot(corner[..., 0], corner[..., 1]).max(axis=1))
    return np.asarray(body != int(np.argmax(reach)))
