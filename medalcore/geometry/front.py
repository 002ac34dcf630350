"""The moving front of an outline that grows: its edges, and the nodes where they meet."""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import manifold3d as m3
import numpy as np

from .arrays import cross2
from .contour import Contours, length, signed_area
from .corners import mitres, with_joins
from .types import FloatArray

Time = float | Fraction
"""A distance grown, mm."""

Rings = tuple[tuple[int, ...], ...]
"""Nodes round contours."""

_BACKWARDS = 1e-6  # mm² of an edge's sweep that rounding may turn round


@dataclass(frozen=True, eq=False)
class Sweep:
    """What growing by a distance did.

    Attributes
    ----------
    places : (n, 2) float64
        Nodes: where vertices began, met and ended, mm.
    reached : (n,) float64
        Distance grown when the vertex was there, mm.
    faces : tuple of tuple of int
        Nodes round what each edge of the outline has swept, counter-clockwise seen from
        outside while growing goes down; beginning with the start of the edge. What was swept
        before and after a stop are faces of their own.
    begin : tuple of tuple of int
        Nodes round every contour before.
    stops : tuple of tuple of tuple of int
        Nodes round every contour at each stop and at the end; some may be gone.
    rounding : float
        By how much the outlines at stops may be changed by looking at them, mm: a front that
        was followed exactly can hold parts thinner than the grid of plane sections.
    """

    places: FloatArray
    reached: FloatArray
    faces: tuple[tuple[int, ...], ...]
    begin: Rings
    stops: tuple[Rings, ...]
    rounding: float = 0.0

    @property
    def end(self) -> Rings:
        """Return the nodes round every contour after growing."""
        return self.stops[-1]

    @property
    def contours(self) -> Contours:
        """Return the outline after growing."""
        return tuple(self.places[list(ring)] for ring in self.end)

    @property
    def is_simple(self) -> bool:
        """Tell whether the front was followed rightly.

        The outline must at no stop cross itself nor have swallowed a part, and no edge may
        have swept backwards.
        """
        return self._sweeps_forwards() and all(self._is_clean(rings) for rings in self.stops)

    def _sweeps_forwards(self) -> bool:
        sizes = np.array([len(f) for f in self.faces])
        first = np.concatenate([[0], np.cumsum(sizes)[:-1]])
        here = self.places[np.fromiter((i for f in self.faces for i in f), dtype=np.int64)]
        here = here - np.repeat(here[first], sizes, axis=0)
        after = np.roll(here, -1, axis=0)
        after[np.cumsum(sizes) - 1] = here[first]
        swept = np.add.reduceat(cross2(here, after), first)
        return bool(np.all(swept > -_BACKWARDS))

    def _is_clean(self, stop: Rings) -> bool:
        rings = tuple(self.places[list(ring)] for ring in stop)
        if not rings:
            return True
        if sum(signed_area(self.places[list(r)]) for r in self.begin) < 0.0:
            rings = tuple(r[::-1] for r in rings)  # the surroundings of an outline that shrinks
        signed = sum(signed_area(r) for r in rings)
        true = m3.CrossSection(list(rings), m3.FillRule.Positive).area()
        size = sum(abs(signed_area(r)) for r in rings)
        slack = 1e-6 * size + self.rounding * length(rings) + 1e-9
        return bool(abs(signed - true) <= slack)


class Front:
    """The moving front: edges linked round their contours, and nodes as they appear.

    An edge is known by its number; so is the vertex it starts at. What an edge sweeps lies
    between two chains of nodes, down from its start and down from its end.
    """

    def __init__(self, contours: Contours, limit: float, facets: float) -> None:
        prepared = [with_joins(c, limit, facets) for c in contours]
        points = np.concatenate([p for p, _ in prepared])
        self.normals = np.concatenate([n for _, n in prepared])
        starts = np.cumsum([0] + [len(p) for p, _ in prepared]).tolist()
        n = len(points)
        nxt = np.arange(1, n + 1)
        nxt[np.array(starts[1:]) - 1] = starts[:-1]
        prv = np.empty(n, dtype=np.int64)
        prv[nxt] = np.arange(n)
        self.nxt, self.prv = nxt.tolist(), prv.tolist()
        self.along = np.column_stack([-self.normals[:, 1], self.normals[:, 0]])
        self.level = np.sum(points * self.normals, axis=1)  # of every edge's line at 0
        # A vertex at distance t is at base + t·velocity.
        self.base = points.copy()
        self.velocity = mitres(self.normals[prv], self.normals)
        size = np.sum((points[nxt] - points) * self.along, axis=1)
        rate = np.sum((self.velocity[nxt] - self.velocity) * self.along, axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            self.when: list[Time] = np.where(rate < -1e-12, -size / rate, np.inf).tolist()
        self.places: list[tuple[float, float]] = [tuple(p) for p in points.tolist()]
        self.reached = [0.0] * n  # of every node
        # The copies of a corner that carry its extra edges are all one node.
        alias = list(range(n))
        same = np.all(points[nxt] == points, axis=1) & (nxt > np.arange(n))
        for i in np.flatnonzero(same)[::-1].tolist():
            alias[i] = alias[self.nxt[i]]
        self.begin = tuple(
            tuple(i for i in range(a, b) if alias[i] == i) for a, b in pairwise(starts)
        )
        self.left = [[alias[i]] for i in range(n)]
        self.right = [[alias[self.nxt[i]]] for i in range(n)]
        self.alive = [True] * n
        self.line = list(range(n))  # which line each edge lies on: parts of one share it
        self.parts = [[i] for i in range(n)]  # the edges on each line, in their order
        self.groups = [[i] for i in range(n)]  # those that sweep one face since the last stop
        self.group = list(self.groups)  # which of them each edge is in
        self.faces: list[tuple[int, ...]] = []
        self.heap: list[tuple[Time, int, int, int]] = []

    def run(self, distance: float, stops: Sequence[float] = ()) -> Sweep:
        """Follow the front to a distance; tell where it is at rising distances before it."""
        self.distance = distance
        self._prepare()
        self.heap += [(t, 0, e, 0) for e, t in enumerate(self.when) if t < distance]
        heapq.heapify(self.heap)
        rings = []
        for stop in (*stops, distance):
            while self.heap and self.heap[0][0] < stop:
                t, kind, e, stamp = heapq.heappop(self.heap)
                if not self.alive[e]:
                    continue
                if kind == 0:
                    if t == self.when[e]:
                        self._collapse(e, t)
                else:
                    self._strike(e, stamp, t)
            rings.append(self._stop(stop))
        places, reached = np.array(self.places), np.array(self.reached)
        return Sweep(places, reached, tuple(self.faces), self.begin, tuple(rings))

    def _prepare(self) -> None:
        """Look for more than shrinking edges (a front that splits does)."""

    def _strike(self, e: int, stamp: int, t: Time) -> None:
        raise NotImplementedError

    def _watch(self, vertex: int, t: Time) -> None:
        """Look what a new vertex will run into (a front that splits does)."""

    def _place(self, vertex: int, t: Time) -> FloatArray:
        place: FloatArray = self.base[vertex] + float(t) * self.velocity[vertex]
        return place

    def _collapse(self, e: int, t: Time) -> None:
        """Take an edge that has shrunk to nothing out of its contour."""
        a, b = self.prv[e], self.nxt[e]
        here = 0.5 * (self._place(e, t) + self._place(b, t))
        node = self._add(here, t)
        self.left[e].append(node)
        self.right[e].append(node)
        self.alive[e] = False
        self._meet(a, b, here, node, t)

    def _meet(self, a: int, b: int, here: FloatArray, node: int, t: Time) -> None:
        """Let edge `b` follow edge `a`, meeting at a node."""
        self.right[a].append(node)
        self.left[b].append(node)
        self.nxt[a], self.prv[b] = b, a
        if self.nxt[b] == a:  # two edges face to face: this contour has closed
            other = self._add(self._place(a, t), t)
            self.left[a].append(other)
            self.right[b].append(other)
            self.alive[a] = self.alive[b] = False
            return
        self._follow(b, here, t)
        for changed in (a, b):
            self._schedule(changed, t)
        self._watch(b, t)

    def _follow(self, vertex: int, here: FloatArray, t: Time) -> None:
        """Find how a new vertex will move."""
        normals = self.normals[[self.prv[vertex], vertex]]
        self.velocity[vertex] = mitres(normals[:1], normals[1:])[0]
        self.base[vertex] = here - float(t) * self.velocity[vertex]

    def _schedule(self, e: int, t: Time) -> None:
        self.when[e] = when = max(self._time(e), t)
        if when < self.distance:
            heapq.heappush(self.heap, (when, 0, e, 0))

    def _time(self, e: int) -> Time:
        """Return the distance at which an edge will have shrunk to nothing."""
        b = self.nxt[e]
        for vertex in (e, b):
            if float(self.normals[vertex] @ self.normals[self.prv[vertex]]) < -1.0 + 1e-14:
                return math.inf  # face to face: the edges beside them close this one
        size = float((self.base[b] - self.base[e]) @ self.along[e])
        rate = float((self.velocity[b] - self.velocity[e]) @ self.along[e])
        return -size / rate if rate < -1e-12 else math.inf

    def _add(self, place: FloatArray, t: Time) -> int:
        self.places.append((float(place[0]), float(place[1])))
        self.reached.append(float(t))
        return len(self.places) - 1

    def _stop(self, distance: float) -> Rings:
        """End all faces at a distance; return the nodes round the contours there."""
        left = [e for e, alive in enumerate(self.alive) if alive]
        final = {e: self._add(self._place(e, distance), distance) for e in left}
        for e in left:
            self.left[e].append(final[e])
            self.right[self.prv[e]].append(final[e])
        rings, seen = [], set()
        for e in left:
            ring, at = [], e
            while at not in seen:
                seen.add(at)
                ring.append(final[at])
                at = self.nxt[at]
            if ring:
                rings.append(tuple(ring))
        self.faces += [
            tuple(node for e in parts for node in (*self.left[e], *reversed(self.right[e])))
            for parts in self.groups
        ]
        self.groups = [[e] for e in left]
        for parts in self.groups:
            (e,) = parts
            self.group[e] = parts
            self.left[e], self.right[e] = [final[e]], [final[self.nxt[e]]]
        return tuple(rings)
