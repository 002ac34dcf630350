"""Lines drawn over one another become one planar graph.

Plane booleans round each result by itself, so outlines that should share a line share it only
nearly. Here points nearer than a hair become one, lines get a point wherever another point
lies on them or another line crosses, and what is drawn twice is kept once.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..errors import SolidError
from .arrays import cross2, ragged
from .topology import labels
from .types import BoolArray, FloatArray, IntArray

_CELL = 4.0  # size of the cells that are searched, in the unit of the points
_ROUNDS = 12


@dataclass(frozen=True, eq=False)
class Graph:
    """Points, and edges between them that cross nowhere.

    Attributes
    ----------
    points : (n, 2) float64
    edges : (m, 2) int64
        Each once, the lower index first.
    on : (m, k) bool
        Which of the groups of lines that were given run along each edge.
    """

    points: FloatArray
    edges: IntArray
    on: BoolArray

    def points_on(self) -> BoolArray:
        """Return which groups of lines pass through each point, (n, k)."""
        out = np.zeros((len(self.points), self.on.shape[1]), dtype=bool)
        for end in (0, 1):
            np.logical_or.at(out, self.edges[:, end], self.on)
        return out


def planar(groups: list[list[FloatArray]], hair: float) -> Graph:
    """Make a planar graph of closed lines.

    Parameters
    ----------
    groups : list of lists of (n, 2) float64
    hair : float
        Points that are nearer than that to each other or to a line are moved together.

    Raises
    ------
    SolidError
        If lines still cross after many rounds.
    """
    loops = [loop for group in groups for loop in group]
    size = np.cumsum([0, *(len(p) for p in loops)])
    pairs = [
        np.stack([np.arange(a, b), np.append(np.arange(a + 1, b), a)], axis=1)
        for a, b in pairwise(size)
    ]
    on = np.zeros((int(size[-1]), len(groups)), dtype=bool)
    whose = np.repeat(np.arange(len(groups)), [sum(map(len, group)) for group in groups])
    on[np.arange(len(on)), whose] = True
    graph = _merged(Graph(np.concatenate(loops), np.concatenate(pairs), on), hair)
    for _ in range(_ROUNDS):
        edge, place = _meetings(graph.points, graph.edges, hair)
        if not len(edge):
            return graph
        graph = _merged(_cut(graph, edge, place), hair)
    raise SolidError("the lines of the drawing cross in more places than can be told apart")


def split(graph: Graph, longest: FloatArray) -> Graph:
    """Return the graph with edges divided evenly that are longer than allowed, (m,)."""
    way = graph.points[graph.edges[:, 1]] - graph.points[graph.edges[:, 0]]
    count = np.maximum(np.ceil(np.hypot(*way.T) / longest), 1).astype(np.int64)
    edge, step = ragged(count - 1)
    share = (step + 1) / count[edge]
    place = graph.points[graph.edges[edge, 0]] + share[:, None] * way[edge]
    return _cut(graph, edge, place)


def _merged(graph: Graph, hair: float) -> Graph:
    """Return a graph in which points nearer than a hair have become one."""
    points = graph.points
    one, two = [], []
    for shift in ((0.0, 0.0), (0.5, 0.0), (0.0, 0.5), (0.5, 0.5)):
        cell = np.floor(points / (2.0 * hair) + shift)
        order = np.lexsort((cell[:, 1], cell[:, 0]))
        same = np.all(np.diff(cell[order], axis=0) == 0.0, axis=1)
        one.append(order[:-1][same])
        two.append(order[1:][same])
    name = labels(np.concatenate(one), np.concatenate(two), len(points))
    edges = np.sort(name[graph.edges], axis=1)
    left = edges[:, 0] != edges[:, 1]
    edges, place = np.unique(edges[left], axis=0, return_inverse=True)
    on = np.zeros((len(edges), graph.on.shape[1]), dtype=bool)
    np.logical_or.at(on, place.reshape(-1), graph.on[left])
    used, index = np.unique(edges, return_inverse=True)
    return Graph(points[used], index.reshape(-1, 2), on)


def _cut(graph: Graph, edge: IntArray, place: FloatArray) -> Graph:
    """Put places (k, 2) into edges (k,)."""
    points, edges = graph.points, graph.edges
    if not len(edge):
        return graph
    start = points[edges[edge, 0]]
    along = np.einsum("ij,ij->i", place - start, points[edges[edge, 1]] - start)
    order = np.lexsort((along, edge))
    edge, place = edge[order], place[order]
    new = len(points) + np.arange(len(edge))
    first = np.append(True, edge[1:] != edge[:-1])
    last = np.append(edge[1:] != edge[:-1], True)
    whole = np.ones(len(edges), dtype=bool)
    whole[edge] = False
    pieces = [
        edges[whole],
        np.stack([np.where(first, edges[edge, 0], new - 1), new], axis=1),
        np.stack([new, edges[edge, 1]], axis=1)[last],
    ]
    on = [graph.on[whole], graph.on[edge], graph.on[edge[last]]]
    cut = np.sort(np.concatenate(pieces), axis=1)
    return Graph(np.concatenate([points, place]), cut, np.concatenate(on))


def _meetings(points: FloatArray, edges: IntArray, hair: float) -> tuple[IntArray, FloatArray]:
    """Return edges and the places at which points lie on them or other edges cross them."""
    chop, box = _chopped(points, edges, hair)
    at_cell, in_cell = _cells(box)
    cell = np.floor(points / _CELL).astype(np.int64)
    key = _key(cell[:, 0], cell[:, 1])
    order = np.argsort(in_cell, kind="stable")
    at_cell, in_cell = chop[at_cell[order]], in_cell[order]
    edge, vertex = _pairs(in_cell, key)
    on_edge = _touching(points, edges, at_cell[edge], vertex, hair)
    one, two = _pairs(in_cell, in_cell)
    one, two = at_cell[one], at_cell[two]
    crossing = _crossing(points, edges, one[one < two], two[one < two])
    return (
        np.concatenate([on_edge[0], crossing[0]]),
        np.concatenate([on_edge[1], crossing[1]]),
    )


def _chopped(points: FloatArray, edges: IntArray, hair: float) -> tuple[IntArray, FloatArray]:
    """Return short pieces of edges: whose they are, and their boxes (k, 2, 2)."""
    a, b = points[edges[:, 0]], points[edges[:, 1]]
    count = np.maximum(np.ceil(np.hypot(*(b - a).T) / _CELL), 1).astype(np.int64)
    chop, step = ragged(count)
    ends = np.stack([step, step + 1], axis=1) / count[chop][:, None]
    line = a[chop, None] + ends[:, :, None] * (b - a)[chop, None]
    return chop, np.stack([line.min(axis=1) - 2 * hair, line.max(axis=1) + 2 * hair], axis=1)


def _key(x: IntArray, y: IntArray) -> IntArray:
    return np.asarray(x * (1 << 24) + y)


def _cells(box: FloatArray) -> tuple[IntArray, IntArray]:
    """Return boxes, by index, and the cells that they lie in: up to two by two each."""
    low, high = (np.floor(box[:, k] / _CELL).astype(np.int64) for k in (0, 1))
    index = np.arange(len(box))
    out, at = [], []
    for dx in (0, 1):
        for dy in (0, 1):
            there = (low[:, 0] + dx <= high[:, 0]) & (low[:, 1] + dy <= high[:, 1])
            out.append(_key(low[:, 0] + dx, low[:, 1] + dy)[there])
            at.append(index[there])
    return np.concatenate(at), np.concatenate(out)


def _pairs(ranked: IntArray, key: IntArray) -> tuple[IntArray, IntArray]:
    """Return all pairs of places in `ranked`, which is sorted, and in `key` that are equal."""
    first = np.searchsorted(ranked, key, side="left")
    count = np.searchsorted(ranked, key, side="right") - first
    two, one = ragged(count)
    return one + first[two], two


def _touching(
    points: FloatArray, edges: IntArray, edge: IntArray, vertex: IntArray, hair: float
) -> tuple[IntArray, FloatArray]:
    both = np.unique(np.stack([edge, vertex], axis=1), axis=0)
    both = both[np.all(edges[both[:, 0]] != both[:, 1:], axis=1)]
    edge, vertex = both.T
    a = points[edges[edge, 0]]
    way, off = points[edges[edge, 1]] - a, points[vertex] - a
    size = np.einsum("ij,ij->i", way, way)
    t = np.einsum("ij,ij->i", off, way) / size
    away = np.abs(cross2(off, way))
    on = (t > 0.0) & (t < 1.0) & (away <= hair * np.sqrt(size))
    return edge[on], points[vertex[on]]


def _crossing(
    points: FloatArray, edges: IntArray, one: IntArray, two: IntArray
) -> tuple[IntArray, FloatArray]:
    if not len(one):
        return np.zeros(0, dtype=np.int64), np.zeros((0, 2))
    both = np.unique(np.stack([one, two], axis=1), axis=0)
    e, f = edges[both[:, 0]], edges[both[:, 1]]
    apart = (e[:, 0] != f[:, 0]) & (e[:, 0] != f[:, 1]) & (e[:, 1] != f[:, 0])
    both = both[apart & (e[:, 1] != f[:, 1])]
    one, two = both.T
    a, c = points[edges[one, 0]], points[edges[two, 0]]
    v, w = points[edges[one, 1]] - a, points[edges[two, 1]] - c
    turn = cross2(v, w)
    off = c - a
    safe = np.where(turn == 0.0, 1.0, turn)
    s = cross2(off, w) / safe
    t = cross2(off, v) / safe
    hit = (turn != 0.0) & (s > 0.0) & (s < 1.0) & (t > 0.0) & (t < 1.0)
    place = a[hit] + s[hit, None] * v[hit]
    return np.concatenate([one[hit], two[hit]]), np.concatenate([place, place])
