"""A front that is split where it meets itself, followed in whole numbers.

Edges that shrink towards each other are often parallel but for a millionth; where and when
their ends meet cannot be told in floating point. Here every edge is a line of whole-number
coefficients, and each question is the sign of a determinant of two or three lines, which
whole numbers answer exactly (the exact predicates of computational geometry: Yap, *Towards
exact geometric computation*, Comput. Geom. 7 (1997)). A vertex is never more than two of the
first lines, so numbers do not grow with the number of events.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np

from .contour import Contours
from .front import Front, Sweep, Time
from .types import FloatArray

_UNIT = 2**44  # steps of a coordinate in one mm
_TURN = 2**52  # steps of a normal's component in 1
_MM = _UNIT * _TURN  # by what a line's number grows while it moves one mm
_GRID = 2e-8  # mm by which plane sections move a corner, and more
_LOOSE = 1e-13  # relative error of what floating point tells beforehand, and more

Line = tuple[int, int, int]
"""Normal and level: n·x = level + t·_MM."""


class SplittingFront(Front):
    """A front whose opening corners are watched for running into other edges.

    Raises
    ------
    ZeroDivisionError
        By `run`, if edges beside each other come to lie on parallel lines.
    """

    def __init__(self, contours: Contours, limit: float, facets: float) -> None:
        super().__init__(contours, limit, facets)
        n = len(self.normals)
        points = np.rint(np.array(self.places) * _UNIT).astype(object)
        ways = np.rint(self.normals * _TURN).astype(np.int64).astype(object)
        self.lines: list[Line] = [
            (int(a), int(b), int(a) * int(x) + int(b) * int(y))
            for (a, b), (x, y) in zip(ways, points, strict=True)
        ]
        self.stamps = [0] * n
        # What a vertex may run into: lines by when at the earliest, and exactly.
        self.perhaps: list[list[tuple[float, int]]] = [[] for _ in range(n)]
        self.coming: list[list[tuple[Fraction, int]]] = [[] for _ in range(n)]

    def run(self, distance: float, stops: Sequence[float] = ()) -> Sweep:
        """As `Front.run`."""
        return replace(super().run(distance, stops), rounding=_GRID)

    def _prepare(self) -> None:
        for vertex in range(len(self.lines)):
            self._follow(vertex, self.base[vertex], 0.0)
            self.when[vertex] = self._time(vertex)
        for vertex in range(len(self.lines)):
            self._watch(vertex, Fraction(0))

    def _follow(self, vertex: int, here: FloatArray, t: Time) -> None:
        (a, b, c), (d, e, f) = self.lines[self.prv[vertex]], self.lines[vertex]
        cross = a * e - b * d
        self.base[vertex] = (
            (c * e - f * b) / (cross * _UNIT),
            (a * f - d * c) / (cross * _UNIT),
        )
        self.velocity[vertex] = (e - b) * _TURN / cross, (a - d) * _TURN / cross

    def _place(self, vertex: int, t: Time) -> FloatArray:
        x, y, over = self._exactly(vertex, Fraction(t))
        return np.array((x / (over * _UNIT), y / (over * _UNIT)))

    def _exactly(self, vertex: int, t: Fraction) -> tuple[int, int, int]:
        """Return where a vertex is, as x, y and a denominator."""
        p, q = t.numerator * _MM, t.denominator
        (a, b, c), (d, e, f) = self.lines[self.prv[vertex]], self.lines[vertex]
        c, f = c * q + p, f * q + p
        return c * e - f * b, a * f - d * c, (a * e - b * d) * q

    def _time(self, e: int) -> Time:
        before, own, after = (self.lines[i] for i in (self.prv[e], e, self.nxt[e]))
        size, rate = _concurrence(before, own, after)
        shrinks = rate * _cross(before, own) * _cross(own, after) < 0
        return Fraction(-size, rate) if shrinks else math.inf

    def _watch(self, vertex: int, t: Time) -> None:
        self.stamps[vertex] += 1
        self.perhaps[vertex], self.coming[vertex] = [], []
        if _cross(self.lines[self.prv[vertex]], self.lines[vertex]) > 0:
            self._look(vertex, float(t))
            self._expect(vertex, Fraction(t))

    def _look(self, vertex: int, t: float) -> None:
        """Find the lines a vertex may cross, soonest last."""
        base, velocity = self.base[vertex], self.velocity[vertex]
        count = len(self.level)
        ahead = self.normals[:count] @ base - self.level  # distance before it at 0
        closing = 1.0 - self.normals[:count] @ velocity
        unsure = _LOOSE * (1.0 + np.abs(base).max() + np.abs(self.level))
        unsteady = _LOOSE * (1.0 + np.abs(velocity).max())
        with np.errstate(divide="ignore", invalid="ignore"):
            when = np.maximum((ahead - unsure) / (closing + unsteady), t)
            likely = (closing > -unsteady) & (when < self.distance)
            likely &= ahead - t * closing > -unsure - t * unsteady
        likely[[self.line[vertex], self.line[self.prv[vertex]]]] = False
        found = np.flatnonzero(likely)
        ordered = found[np.argsort(-when[found], kind="stable")]
        self.perhaps[vertex] = [(float(when[k]), int(k)) for k in ordered]

    def _expect(self, vertex: int, t: Fraction) -> None:
        """Wait for the next line that a vertex comes to from now on."""
        perhaps, coming = self.perhaps[vertex], self.coming[vertex]
        a, b = self.lines[self.prv[vertex]], self.lines[vertex]
        while perhaps and not (coming and coming[0][0] < perhaps[-1][0]):
            line = perhaps.pop()[1]
            size, rate = _concurrence(a, b, self.lines[line])
            # before it now, and coming nearer
            if rate > 0 and size * t.denominator + rate * t.numerator < 0:
                heapq.heappush(coming, (Fraction(-size, rate), line))
        if coming and coming[0][0] < self.distance:
            heapq.heappush(self.heap, (coming[0][0], 1, vertex, self.stamps[vertex]))

    def _strike(self, e: int, stamp: int, t: Time) -> None:
        """Split the front where the vertex before edge `e` runs into another edge."""
        if stamp != self.stamps[e]:
            return
        now = Fraction(t)
        _, line = heapq.heappop(self.coming[e])
        # What is next to its own two edges it meets when one of them has shrunk to nothing.
        beside = e, self.nxt[e], self.prv[e], self.prv[self.prv[e]]
        for hit in self.parts[line]:
            if self.alive[hit] and hit not in beside and self._is_on(e, hit, now):
                self._split(e, hit, self._place(e, now), now)
                return
        self._expect(e, now)

    def _is_on(self, vertex: int, hit: int, t: Fraction) -> bool:
        """Tell whether a vertex on the line of an edge is between the edge's ends."""
        a, b, _ = self.lines[hit]
        x, y, over = self._exactly(vertex, t)
        low_x, low_y, low_over = self._exactly(hit, t)
        high_x, high_y, high_over = self._exactly(self.nxt[hit], t)
        at, low, high = a * y - b * x, a * low_y - b * low_x, a * high_y - b * high_x
        return _sign(at * low_over - low * over, over * low_over) >= 0 and (
            _sign(high * over - at * high_over, over * high_over) >= 0
        )

    def _split(self, e: int, hit: int, here: FloatArray, t: Fraction) -> None:
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
        self.lines.append(self.lines[hit])
        self.stamps.append(0)
        self.perhaps.append([])
        self.coming.append([])
        self.left.append([])
        self.right.append([])
        self.group.append(self.group[hit])
        for ordered in (self.parts[line], self.group[hit]):
            ordered.insert(ordered.index(hit) + 1, new)
        self.base = np.vstack([self.base, self.base[hit]])
        self.velocity = np.vstack([self.velocity, self.velocity[hit]])
        return new


def _cross(one: Line, other: Line) -> int:
    return one[0] * other[1] - one[1] * other[0]


def _concurrence(a: Line, b: Line, c: Line) -> tuple[int, int]:
    """Return s and r of the determinant s + r·t of three lines; it is 0 where they meet.

    With lines u and v whose corner opens it is −cross(u, v) times the distance of the corner
    before the third line; over cross(a, b)·cross(b, c) it is the length of edge b.
    """
    ab, bc, ac = _cross(a, b), _cross(b, c), _cross(a, c)
    return c[2] * ab - b[2] * ac + a[2] * bc, _MM * (ab - ac + bc)


def _sign(value: int, over: int) -> int:
    """Return the sign of a fraction."""
    return ((value > 0) - (value < 0)) * (1 if over > 0 else -1)
