"""Outlines that grow at an even rate, and the plane wall faces their edges sweep.

Every edge of an outline moves along its own normal; a vertex stays where its two edges
meet (the mitre). When an edge has shrunk to nothing its neighbours meet instead. So each
edge sweeps one plane polygon, and a wall made of these polygons leans by exactly the draft
(the roof of the straight skeleton: Aichholzer, Aurenhammer, Alberts and Gärtner, *A novel
type of skeleton for polygons*, J. UCS 1 (1995)).

Most outlines only lose short edges while they grow, which is quick to follow. Where parts
meet that are not neighbours (serifs growing together, a counter closing in two halves) the
front has to be split too: that is tried only when the quick way left an outline that
crosses itself, on points moved by a millionth of a millimetre, since letters are full of
parallel and symmetrical edges that would meet all at the same moment.
"""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass, replace
from itertools import pairwise

import manifold3d as m3
import numpy as np

from .contour import Contours, FloatArray, signed_area
from .corners import mitres, with_joins

_SHIFT = 1e-6  # mm that points move by at most when the front has to be split
_BACKWARDS = 1e-6  # mm² of an edge's sweep that rounding may turn round
_TRIES = 3
_SIDE = np.array([[0.7548776662466927, 0.5698402909980532]])  # the plane's golden ratios


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
        outside while growing goes down; beginning with the start of the edge.
    begin, end : tuple of tuple of int
        Nodes round every contour before and after; at the end some may be gone.
    """

    places: FloatArray
    reached: FloatArray
    faces: tuple[tuple[int, ...], ...]
    begin: tuple[tuple[int, ...], ...]
    end: tuple[tuple[int, ...], ...]

    @property
    def contours(self) -> Contours:
        """Return the outline after growing."""
        return tuple(self.places[list(ring)] for ring in self.end)

    @property
    def is_simple(self) -> bool:
        """Tell whether the front was followed rightly.

        The grown outline must neither cross itself nor have swallowed a part, and no edge
        may have swept backwards.
        """
        return self._sweeps_forwards() and self._ends_simple()

    def _sweeps_forwards(self) -> bool:
        sizes = np.array([len(f) for f in self.faces])
        first = np.concatenate([[0], np.cumsum(sizes)[:-1]])
        here = self.places[np.fromiter((i for f in self.faces for i in f), dtype=np.int64)]
        here = here - np.repeat(here[first], sizes, axis=0)
        after = np.roll(here, -1, axis=0)
        after[np.cumsum(sizes) - 1] = here[first]
        swept = np.add.reduceat(here[:, 0] * after[:, 1] - after[:, 0] * here[:, 1], first)
        return bool(np.all(swept > -_BACKWARDS))

    def _ends_simple(self) -> bool:
        rings = self.contours
        if not rings:
            return True
        if sum(signed_area(self.places[list(r)]) for r in self.begin) < 0.0:
            rings = tuple(r[::-1] for r in rings)  # the surroundings of an outline that shrinks
        signed = sum(signed_area(r) for r in rings)
        true = m3.CrossSection(list(rings), m3.FillRule.Positive).area()
        size = sum(abs(signed_area(r)) for r in rings)
        return bool(abs(signed - true) <= 1e-6 * size + 1e-9)


def sweep(contours: Contours, distance: float, *, limit: float = 3.0, facets: float = 0.0) -> Sweep:
    """Grow clean contours by a distance and record what every edge sweeps.

    Parameters
    ----------
    contours : tuple of (n, 2) float64
        Outer ones counter-clockwise, mm.
    distance : float
        Above 0, mm. To shrink, turn the contours round (holes and outsides change places).
    limit, facets
        As `with_joins`.
    """
    swept = _Front(contours, limit, facets).run(distance)
    if swept.is_simple:
        return swept
    count = sum(len(c) for c in contours)
    ends = np.cumsum([len(c) for c in contours])[:-1]
    for number in range(_TRIES):  # what meets unluckily with one shift does not with another
        index = np.arange(1, count + 1)[:, None] + 1000 * number
        shifts = 2.0 * _SHIFT * (np.mod(index * _SIDE, 1.0) - 0.5)
        moved = tuple(c + d for c, d in zip(contours, np.split(shifts, ends), strict=True))
        swept = _SplittingFront(moved, limit, facets).run(distance)
        if swept.is_simple:
            break
    # The outline itself stays where it was.
    places = swept.places.copy()
    places[[i for ring in swept.begin for i in ring]] = np.concatenate(contours)
    return replace(swept, places=places)


class _Front:
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
            self.when = np.where(rate < -1e-12, -size / rate, np.inf).tolist()
        self.places: list[tuple[float, float]] = [tuple(p) for p in points.tolist()]
        self.reached = [0.0] * n
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
        self.heap: list[tuple[float, int, int, int]] = []

    def run(self, distance: float) -> Sweep:
        """Follow the front to a distance."""
        self.distance = distance
        self.heap = [(t, 0, e, 0) for e, t in enumerate(self.when) if t < distance]
        self._prepare()
        heapq.heapify(self.heap)
        while self.heap:
            t, kind, e, stamp = heapq.heappop(self.heap)
            if not self.alive[e]:
                continue
            if kind == 0:
                if t == self.when[e]:
                    self._collapse(e, t)
            else:
                self._strike(e, stamp, t)
        return self._finish()

    def _prepare(self) -> None:
        """Look for more than shrinking edges (a front that splits does)."""

    def _strike(self, e: int, stamp: int, t: float) -> None:
        raise NotImplementedError

    def _watch(self, vertex: int, t: float) -> None:
        """Look what a new vertex will run into (a front that splits does)."""

    def _place(self, vertex: int, t: float) -> FloatArray:
        place: FloatArray = self.base[vertex] + t * self.velocity[vertex]
        return place

    def _collapse(self, e: int, t: float) -> None:
        """Take an edge that has shrunk to nothing out of its contour."""
        a, b = self.prv[e], self.nxt[e]
        here = 0.5 * (self._place(e, t) + self._place(b, t))
        node = self._add(here, t)
        self.left[e].append(node)
        self.right[e].append(node)
        self.alive[e] = False
        self._meet(a, b, here, node, t)

    def _meet(self, a: int, b: int, here: FloatArray, node: int, t: float) -> None:
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
        self.velocity[b] = mitres(self.normals[a][None], self.normals[b][None])[0]
        self.base[b] = here - t * self.velocity[b]
        for changed in (a, b):
            self._schedule(changed, t)
        self._watch(b, t)

    def _schedule(self, e: int, t: float) -> None:
        self.when[e] = when = max(self._time(e), t)
        if when < self.distance:
            heapq.heappush(self.heap, (when, 0, e, 0))

    def _time(self, e: int) -> float:
        """Return the distance at which an edge will have shrunk to nothing."""
        b = self.nxt[e]
        for vertex in (e, b):
            if float(self.normals[vertex] @ self.normals[self.prv[vertex]]) < -1.0 + 1e-14:
                return math.inf  # face to face: the edges beside them close this one
        size = float((self.base[b] - self.base[e]) @ self.along[e])
        rate = float((self.velocity[b] - self.velocity[e]) @ self.along[e])
        return -size / rate if rate < -1e-12 else math.inf

    def _add(self, place: FloatArray, t: float) -> int:
        self.places.append((float(place[0]), float(place[1])))
        self.reached.append(t)
        return len(self.places) - 1

    def _finish(self) -> Sweep:
        left = [e for e, alive in enumerate(self.alive) if alive]
        final = {e: self._add(self._place(e, self.distance), self.distance) for e in left}
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
        faces = tuple(
            tuple(node for e in parts for node in (*self.left[e], *reversed(self.right[e])))
            for parts in self.parts
        )
        return Sweep(np.array(self.places), np.array(self.reached), faces, self.begin, tuple(rings))


class _SplittingFront(_Front):
    """A front whose opening corners are watched for running into other edges."""

    def _prepare(self) -> None:
        n = len(self.normals)
        self.stamps = [0] * n
        self.coming: list[list[tuple[float, int]]] = [[] for _ in range(n)]
        low = np.sum(self.base * self.along, axis=1)
        self.low, self.high = low, np.sum(self.base[self.nxt] * self.along, axis=1)
        before = self.normals[self.prv]
        opens = before[:, 0] * self.normals[:, 1] - before[:, 1] * self.normals[:, 0] > 1e-12
        for vertex in np.flatnonzero(opens).tolist():
            self._look(vertex, 0.0)

    def _watch(self, vertex: int, t: float) -> None:
        self.stamps[vertex] += 1
        self.coming[vertex] = []
        a, b = self.normals[self.prv[vertex]], self.normals[vertex]
        if a[0] * b[1] - a[1] * b[0] > 1e-12:
            self._look(vertex, t)

    def _look(self, vertex: int, t: float) -> None:
        """Find the lines a vertex will cross, soonest first."""
        base, velocity = self.base[vertex], self.velocity[vertex]
        count = len(self.level)
        closing = self.normals[:count] @ velocity - 1.0
        with np.errstate(divide="ignore", invalid="ignore"):
            ahead = self.normals[:count] @ base - self.level  # distance before it at 0
            when = -ahead / closing
            place = self.along[:count] @ base + when * (self.along[:count] @ velocity)
            reach = 12.0 * when + 1e-6  # an edge's ends may have moved on by then
            # A corner's own extra edges and what has just met there are not ahead of it.
            likely = (closing < -1e-12) & (ahead + t * closing > 1e-11) & (when < self.distance)
            likely &= (place > self.low - reach) & (place < self.high + reach)
        likely[[self.line[vertex], self.line[self.prv[vertex]]]] = False
        found = np.flatnonzero(likely)
        ordered = found[np.argsort(-when[found], kind="stable")]  # soonest last
        self.coming[vertex] = [(max(float(when[k]), t), int(k)) for k in ordered]
        self._expect(vertex)

    def _expect(self, vertex: int) -> None:
        if self.coming[vertex]:
            when = self.coming[vertex][-1][0]
            heapq.heappush(self.heap, (when, 1, vertex, self.stamps[vertex]))

    def _strike(self, e: int, stamp: int, t: float) -> None:
        """Split the front where the vertex before edge `e` runs into another edge."""
        if stamp != self.stamps[e] or not self.coming[e]:
            return
        _, line = self.coming[e].pop()
        here = self._place(e, t)
        at = float(self.along[line] @ here)
        for hit in self.parts[line]:
            if not self.alive[hit] or hit in (e, self.prv[e]):
                continue
            low = float(self.along[line] @ self._place(hit, t))
            high = float(self.along[line] @ self._place(self.nxt[hit], t))
            if low - 1e-10 <= at <= high + 1e-10:
                self._split(e, hit, here, t)
                return
        self._expect(e)

    def _split(self, e: int, hit: int, here: FloatArray, t: float) -> None:
        a, after = self.prv[e], self.nxt[hit]
        line = self.line[hit]
        rest = self._part(hit, line)
        self.right[rest], self.right[hit] = self.right[hit], []
        self.nxt[rest], self.prv[after] = after, rest
        node = self._add(here, t)
        self.nxt[hit] = e  # so that both contours are whole when they are looked at
        self.prv[e] = hit
        self._meet(a, rest, here, node, t)
        self._meet(hit, e, here, node, t)

    def _part(self, hit: int, line: int) -> int:
        """Add an edge on the same line, after `hit`."""
        new = len(self.nxt)
        self.nxt.append(-1)
        self.prv.append(-1)
        self.when.append(math.inf)
        self.alive.append(True)
        self.line.append(line)
        self.stamps.append(0)
        self.coming.append([])
        self.left.append([])
        self.right.append([])
        self.parts[line].insert(self.parts[line].index(hit) + 1, new)
        self.normals = np.vstack([self.normals, self.normals[hit]])
        self.along = np.vstack([self.along, self.along[hit]])
        self.base = np.vstack([self.base, self.base[hit]])
        self.velocity = np.vstack([self.velocity, self.velocity[hit]])
        return new
