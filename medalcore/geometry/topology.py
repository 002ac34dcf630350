"""How a model's triangles hang together: welding, open and turned edges, shells."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .types import FloatArray, Int32Array, IntArray

_BLOCK = 1 << 17
"""Points or triangles at a time where more would cost memory and win nothing."""

_MIX = ((0xBF58476D1CE4E5B9, 27), (0x94D049BB133111EB, 31))
"""Factors, and shifts after them, of the finaliser of SplitMix64 (G. Steele, D. Lea, C. Flood,
"Fast splittable pseudorandom number generators", OOPSLA 2014; values from memory). A weaker mix
will not do: coordinates that were float32 end in 29 zeros."""


@dataclass(frozen=True)
class Topology:
    """What was counted on a model.

    Attributes
    ----------
    triangles : int
        After collapsed ones were left out.
    merged : int
        Points that were equal to another and became one with it.
    collapsed : int
        Triangles with two equal corners, left out.
    open_edges : int
        Edges of one triangle only.
    crowded_edges : int
        Edges of more than two triangles.
    turned_edges : int
        Edges whose two triangles face opposite ways.
    shells : int
        Parts connected by shared points.
    inside_out : bool
        Closed and consistently turned, but facing inwards.
    """

    triangles: int
    merged: int
    collapsed: int
    open_edges: int
    crowded_edges: int
    turned_edges: int
    shells: int
    inside_out: bool

    @property
    def is_closed(self) -> bool:
        """Tell whether every edge is shared by exactly two triangles."""
        return self.open_edges == 0 and self.crowded_edges == 0

    def notes(self, name: str) -> Iterator[str]:
        """Yield what a person should know, one line each."""
        used = "the relief is read from above all the same"
        # STL never is welded, and a few equal points are nothing to tell
        if self.merged * 50 > self.triangles and not name.lower().endswith(".stl"):
            yield f"{name}: not welded; {self.merged} points equal to others were joined"
        if self.collapsed:
            yield f"{name}: {_count(self.collapsed, 'collapsed triangle')} left out"
        if self.open_edges:
            yield f"{name}: {_count(self.open_edges, 'open edge')} (holes or loose borders); {used}"
        if self.crowded_edges:
            many = _count(self.crowded_edges, "edge")
            yield f"{name}: {many} shared by more than two triangles; {used}"
        if self.turned_edges:
            many = _count(self.turned_edges, "edge")
            yield f"{name}: triangles face opposite ways across {many}; {used}"
        if self.inside_out:
            yield f"{name}: faces inwards (inside out); {used}"
        if self.shells > 1:
            yield f"{name}: {self.shells} loose shells, used together"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def welded(vertices: FloatArray, triangles: IntArray) -> tuple[FloatArray, IntArray, int]:
    """Merge points that are exactly equal, keeping the order of first appearance.

    Returns
    -------
    vertices : (k, 3) float64
    triangles : (m, 3) int64
    merged : int
        How many points fewer.
    """
    key = _hashed(vertices)
    ordered = np.sort(key)
    if not len(key) or (ordered[1:] != ordered[:-1]).all():
        return vertices + 0.0, triangles, 0
    del ordered
    first, group = _grouped(key)
    del key
    if not _same(vertices, first, group):  # two points with one key
        _, first, back = np.unique(vertices + 0.0, axis=0, return_index=True, return_inverse=True)
        group = np.ravel(back).astype(np.int32)
    order = np.argsort(first, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    faces = rank[group[triangles]]
    return vertices[first[order]] + 0.0, faces, len(vertices) - len(first)


def _hashed(vertices: FloatArray) -> NDArray[np.uint64]:
    """Return a key for every point, equal for equal ones."""
    key = np.zeros(len(vertices), dtype=np.uint64)
    for axis in range(3):
        column = vertices[:, axis] + 0.0  # −0 becomes 0
        key += column.view(np.uint64)
        key ^= key >> np.uint64(30)
        for factor, shift in _MIX:
            key *= np.uint64(factor)
            key ^= key >> np.uint64(shift)
    return key


def _grouped(key: NDArray[np.uint64]) -> tuple[IntArray, Int32Array]:
    """Return the first index with each key, and for every index the place of its key there."""
    order = np.argsort(key, kind="stable")
    key = key[order]
    new = np.concatenate([[True], key[1:] != key[:-1]])
    group = np.empty(len(key), dtype=np.int32)
    group[order] = np.cumsum(new, dtype=np.int32) - np.int32(1)
    return order[new], group


def _same(vertices: FloatArray, first: IntArray, group: Int32Array) -> bool:
    """Tell whether every point equals the first of its group."""
    blocks = (slice(i, i + _BLOCK) for i in range(0, len(vertices), _BLOCK))
    return all(np.array_equal(vertices[first[group[b]]], vertices[b]) for b in blocks)


def nearly_welded(
    vertices: FloatArray, triangles: IntArray, step: float
) -> tuple[FloatArray, IntArray, int]:
    """Merge points that are equal, or lie in one cell of a grid of `step`.

    Two grids are tried, shifted by half a cell, so that hardly any pair closer than a small
    part of `step` falls between cells. Files write one point a little differently for every
    part that has it.

    Returns
    -------
    vertices : (k, 3) float64
        Of merged points the first.
    triangles : (m, 3) int64
    merged : int
        How many points fewer.
    """
    points, faces, merged = welded(vertices, triangles)
    for shift in (0.0, 0.5):
        every = np.arange(len(points)).reshape(-1, 1)
        cells, new, fewer = welded(np.round(points / step + shift), every)
        if fewer:
            first = np.full(len(cells), len(points), dtype=np.int64)
            np.minimum.at(first, new.ravel(), every.ravel())
            points, faces, merged = points[first], new.ravel()[faces], merged + fewer
    return points, faces, merged


def topology_of(
    vertices: FloatArray, triangles: IntArray, *, merged: int = 0, collapsed: int = 0
) -> Topology:
    """Count what there is to say about a welded mesh.

    Parameters
    ----------
    vertices : (n, 3) float64
    triangles : (m, 3) int64
        Three different corners each.
    merged, collapsed : int
        Handed on.
    """
    count = len(vertices)
    start = triangles.ravel()
    stop = np.roll(triangles, -1, axis=1).ravel()
    forward = start < stop
    key = np.minimum(start, stop)
    key *= count
    key += np.maximum(start, stop)
    del stop
    key <<= 1
    key |= forward
    key.sort()
    forward = (key & 1).astype(bool)
    key >>= 1
    first = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
    times = np.diff(np.append(first, len(key)))
    key = key[first]
    pair = first[times == 2]
    turned = int(np.count_nonzero(forward[pair] == forward[pair + 1]))
    one = int(np.count_nonzero(times == 1))
    many = int(np.count_nonzero(times > 2))
    inside_out = False
    if not one and not many and not turned:
        inside_out = _volume(vertices, triangles) < 0.0
    del forward, first, times, pair
    low, high = np.divmod(key, count)
    del key
    return Topology(
        triangles=len(triangles),
        merged=merged,
        collapsed=collapsed,
        open_edges=one,
        crowded_edges=many,
        turned_edges=turned,
        shells=shells(low, high, count),
        inside_out=inside_out,
    )


def _volume(vertices: FloatArray, triangles: IntArray) -> float:
    """Return six times the volume within a closed mesh (divergence theorem)."""
    middle, total = vertices.mean(axis=0), 0.0
    for i in range(0, len(triangles), _BLOCK):
        a, b, c = (vertices[corner] - middle for corner in triangles[i : i + _BLOCK].T)
        total += float(np.einsum("ij,ij->", a, np.cross(b, c)))
    return total


def shells(start: IntArray, stop: IntArray, count: int) -> int:
    """Count parts connected by edges, given as (k,) ends among `count` points."""
    return int(np.count_nonzero(labels(start, stop, count) == np.arange(count)))


def labels(start: IntArray, stop: IntArray, count: int) -> IntArray:
    """Return for each of `count` points the lowest point it is connected to by edges.

    Parameters
    ----------
    start, stop : (k,) int64
        Ends of the edges.
    """
    parent = np.arange(count)
    while len(start):
        low = np.minimum(parent[start], parent[stop])
        high = np.maximum(parent[start], parent[stop])
        apart = low != high
        if not apart.any():
            break
        start, stop = start[apart], stop[apart]
        np.minimum.at(parent, high[apart], low[apart])
        while True:  # shorten the chains
            short = parent[parent]
            if np.array_equal(short, parent):
                break
            parent = short
    return parent
