"""How a model's triangles hang together: welding, open and turned edges, shells."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


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
    points = vertices + 0.0  # −0 becomes 0
    bits = points.view(np.uint64)
    key = bits[:, 0] * np.uint64(0x9E3779B97F4A7C15)
    key ^= key >> np.uint64(29)
    key += bits[:, 1]
    key *= np.uint64(0xBF58476D1CE4E5B9)
    key ^= key >> np.uint64(31)
    key += bits[:, 2]
    key *= np.uint64(0x94D049BB133111EB)
    key ^= key >> np.uint64(32)
    ordered = np.sort(key)
    if not len(key) or (ordered[1:] != ordered[:-1]).all():
        return points, triangles, 0
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    inverse = np.ravel(inverse)
    if not np.array_equal(points[first[inverse]], points):  # two points with one key
        _, first, inverse = np.unique(points, axis=0, return_index=True, return_inverse=True)
        inverse = np.ravel(inverse)
    order = np.argsort(first, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return points[first[order]], rank[inverse][triangles], len(points) - len(first)


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
    key = np.minimum(start, stop) * count + np.maximum(start, stop)
    key <<= 1
    key |= forward
    key.sort()
    edge = key >> 1
    first = np.flatnonzero(np.concatenate([[True], edge[1:] != edge[:-1]]))
    times = np.diff(np.append(first, len(edge)))
    pair = first[times == 2]
    turned = int(np.count_nonzero((key[pair] & 1) == (key[pair + 1] & 1)))
    one = int(np.count_nonzero(times == 1))
    many = int(np.count_nonzero(times > 2))
    inside_out = False
    if not one and not many and not turned:
        middle = vertices.mean(axis=0)
        a, b, c = (vertices[triangles[:, k]] - middle for k in range(3))
        inside_out = float(np.einsum("ij,ij->", a, np.cross(b, c))) < 0.0
    low, high = np.divmod(edge[first], count)
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
