"""Outlines that grow at an even rate, and the plane wall faces their edges sweep.

Every edge of an outline moves along its own normal; a vertex stays where its two edges
meet (the mitre). When an edge has shrunk to nothing its neighbours meet instead. So each
edge sweeps one plane polygon, and a wall made of these polygons leans by exactly the draft
(the roof of the straight skeleton: Aichholzer, Aurenhammer, Alberts and Gärtner, *A novel
type of skeleton for polygons*, J. UCS 1 (1995)).

Only *local* events are followed here. Where parts of an outline meet that are not
neighbours (a counter closing in two halves, serifs growing together) the swept outline
crosses itself; `Sweep.is_simple` tells, and `loft` then joins wedges instead.
"""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass
from itertools import pairwise

import manifold3d as m3
import numpy as np

from .contour import Contours, FloatArray, signed_area

Face = tuple[list[int], list[int]]
"""Nodes down the left and the right side of what one edge sweeps, start and end included."""


@dataclass(frozen=True, eq=False)
class Sweep:
    """What growing by a distance did.

    Attributes
    ----------
    places : (n, 2) float64
        Nodes: where vertices began, met and ended, mm.
    reached : (n,) float64
        Distance grown when the vertex was there, mm.
    faces : tuple of (left, right)
        For every edge of the outline: node chains from its start and from its end.
    begin, end : tuple of tuple of int
        Nodes round every contour before and after; at the end some may be gone.
    """

    places: FloatArray
    reached: FloatArray
    faces: tuple[Face, ...]
    begin: tuple[tuple[int, ...], ...]
    end: tuple[tuple[int, ...], ...]

    @property
    def contours(self) -> Contours:
        """Return the outline after growing."""
        return tuple(self.places[list(ring)] for ring in self.end)

    @property
    def is_simple(self) -> bool:
        """Tell whether the grown outline neither crosses itself nor swallowed a part."""
        rings = self.contours
        if not rings:
            return True
        signed = sum(signed_area(r) for r in rings)
        if signed < 0.0:  # the surroundings of an outline that shrinks
            rings, signed = tuple(r[::-1] for r in rings), -signed
        true = m3.CrossSection(list(rings), m3.FillRule.Positive).area()
        size = sum(abs(signed_area(r)) for r in rings)
        return bool(abs(signed - true) <= 1e-6 * size + 1e-9)


def with_joins(
    points: FloatArray, limit: float, facets: float = 0.0
) -> tuple[FloatArray, FloatArray]:
    """Return a contour whose sharp corners hold extra edges of no length, and the edge normals.

    Parameters
    ----------
    points : (n, 2) float64
        Clean contour, mm.
    limit : float
        Mitres longer than this many distances get a facet across the corner, turned evenly
        between its sides; the facet leans like every other wall.
    facets : float
        Above 0: corners that open are fanned into facets of at most this angle, rad
        (a round join).

    Returns
    -------
    points : (k, 2) float64, mm
    normals : (k, 2) float64
        Outward unit normal of the edge that starts at each point.
    """
    step = np.roll(points, -1, axis=0) - points
    unit = step / np.hypot(step[:, 0], step[:, 1])[:, None]
    before = np.roll(unit, 1, axis=0)
    cross = before[:, 0] * unit[:, 1] - before[:, 1] * unit[:, 0]
    turn = np.arctan2(cross, np.sum(before * unit, axis=1))  # left turns open when growing
    normals = np.column_stack([unit[:, 1], -unit[:, 0]])
    # A mitre is 1/cos(turn/2) long; the facets of a split corner each turn by an equal part.
    widest = facets if facets > 0.0 else 2.0 * math.acos(1.0 / limit)
    extra = np.where(turn > widest, np.ceil(turn / widest).astype(np.int64) - 1, 0)
    if not extra.any():
        return points, normals
    out_points, out_normals = [], []
    for i in range(len(points)):
        parts = int(extra[i]) + 1
        first = math.atan2(-before[i, 0], before[i, 1])  # direction of the normal before
        for j in range(1, parts):
            angle = first + turn[i] * j / parts
            out_points.append(points[i])
            out_normals.append(np.array([math.cos(angle), math.sin(angle)]))
        out_points.append(points[i])
        out_normals.append(normals[i])
    return np.array(out_points), np.array(out_normals)


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
    prepared = [with_joins(c, limit, facets) for c in contours]
    starts = np.cumsum([0] + [len(p) for p, _ in prepared])
    state = _State(
        np.concatenate([p for p, _ in prepared]), np.concatenate([n for _, n in prepared]), starts
    )
    return state.run(distance)


class _State:
    """The moving front: edges linked round their contours, and nodes as they appear."""

    def __init__(self, points: FloatArray, normals: FloatArray, starts: np.ndarray) -> None:
        n = len(points)
        nxt = np.arange(1, n + 1)
        nxt[starts[1:] - 1] = starts[:-1]
        prv = np.empty(n, dtype=np.int64)
        prv[nxt] = np.arange(n)
        self.begin = tuple(tuple(range(a, b)) for a, b in pairwise(starts.tolist()))
        # The copies of a corner that carry its extra edges are all one node.
        alias = np.arange(n)
        for i in range(n - 1, -1, -1):
            j = int(nxt[i])
            if j > i and points[i, 0] == points[j, 0] and points[i, 1] == points[j, 1]:
                alias[i] = alias[j]
        self.begin = tuple(tuple(i for i in ring if alias[i] == i) for ring in self.begin)
        velocity = mitres(normals[prv], normals)
        along = np.column_stack([-normals[:, 1], normals[:, 0]])
        # Length of an edge is linear in the distance grown: at 0, and its rate.
        size = np.sum((points[nxt] - points) * along, axis=1)
        rate = np.sum((velocity[nxt] - velocity) * along, axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            when = np.where(rate < -1e-12, -size / rate, np.inf)
        self.when = when
        self.nxt, self.prv = nxt.tolist(), prv.tolist()
        self.normals = normals
        self.places: list[tuple[float, float]] = [tuple(p) for p in points.tolist()]
        self.reached = [0.0] * n
        # Where the vertex that starts each edge would be at distance 0, and its velocity.
        self.base = points.copy()
        self.velocity = velocity
        node = alias.tolist()
        self.faces: list[Face] = [([node[i]], [node[self.nxt[i]]]) for i in range(n)]
        self.alive = [True] * n

    def run(self, distance: float) -> Sweep:
        near = np.flatnonzero(self.when < distance)
        heap = [(float(self.when[e]), int(e)) for e in near]
        heapq.heapify(heap)
        latest = self.when
        while heap:
            t, e = heapq.heappop(heap)
            if not self.alive[e] or t != latest[e]:
                continue
            for changed in self._collapse(e, t):
                latest[changed] = max(self._time(changed), t)
                if latest[changed] < distance:
                    heapq.heappush(heap, (float(latest[changed]), changed))
        return self._finish(distance)

    def _collapse(self, e: int, t: float) -> tuple[int, ...]:
        """Take edge `e` out of its contour at distance `t`; return the edges that changed."""
        a, b = self.prv[e], self.nxt[e]
        here = 0.5 * (self.base[e] + t * self.velocity[e] + self.base[b] + t * self.velocity[b])
        node = self._add(here, t)
        for chain in self.faces[e]:
            chain.append(node)
        self.alive[e] = False
        self.faces[a][1].append(node)
        self.faces[b][0].append(node)
        self.nxt[a], self.prv[b] = b, a
        if self.nxt[b] == a:  # two edges face to face: the contour has closed
            far = self.base[a] + t * self.velocity[a]
            other = node if np.hypot(*(far - here)) < 1e-7 else self._add(far, t)
            self.faces[a][0].append(other)
            self.faces[b][1].append(other)
            self.alive[a] = self.alive[b] = False
            return ()
        self.velocity[b] = mitres(self.normals[a][None], self.normals[b][None])[0]
        self.base[b] = here - t * self.velocity[b]
        return a, b

    def _time(self, e: int) -> float:
        b = self.nxt[e]
        for vertex in (e, b):
            ahead, behind = self.normals[vertex], self.normals[self.prv[vertex]]
            if float(ahead @ behind) < -1.0 + 1e-9:
                return math.inf  # face to face: the edges beside them close this one
        along = np.array([-self.normals[e, 1], self.normals[e, 0]])
        size = float((self.base[b] - self.base[e]) @ along)
        rate = float((self.velocity[b] - self.velocity[e]) @ along)
        return -size / rate if rate < -1e-12 else math.inf

    def _add(self, place: FloatArray, t: float) -> int:
        self.places.append((float(place[0]), float(place[1])))
        self.reached.append(t)
        return len(self.places) - 1

    def _finish(self, distance: float) -> Sweep:
        left = [e for e, alive in enumerate(self.alive) if alive]
        final = {e: self._add(self.base[e] + distance * self.velocity[e], distance) for e in left}
        for e in left:
            self.faces[e][0].append(final[e])
            self.faces[self.prv[e]][1].append(final[e])
        rings, seen = [], set()
        for e in left:
            if e in seen:
                continue
            ring, at = [], e
            while at not in seen:
                seen.add(at)
                ring.append(final[at])
                at = self.nxt[at]
            rings.append(tuple(ring))
        return Sweep(
            np.array(self.places), np.array(self.reached), tuple(self.faces), self.begin,
            tuple(rings),
        )  # fmt: skip


def mitres(before: FloatArray, after: FloatArray) -> FloatArray:
    """Return how a vertex moves per distance: it stays on both of its edges, (n, 2)."""
    scale = 1.0 + np.sum(before * after, axis=1)
    return np.asarray((before + after) / np.maximum(scale, 1e-9)[:, None])
