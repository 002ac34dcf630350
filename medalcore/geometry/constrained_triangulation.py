"""A planar graph as triangles that have all its edges.

Points first, by Delaunay (`mesh`); then each edge that is missing is brought in by turning
the edges that cross it (S. W. Sloan, "A fast algorithm for generating constrained Delaunay
triangulations", Computers & Structures 47(3), 1993).
"""

from __future__ import annotations

from collections import deque

import numpy as np

from ..errors import SolidError
from .arrays import cross2
from .planar_graph import Graph
from .triangulation import Triangulation
from .types import BoolArray, FloatArray, IntArray

_ROOM = 16.0  # pixels round the points
_TURNS = 200_000


def triangles_of(graph: Graph) -> IntArray:
    """Return triangles over the points of a graph that have all its edges, (m, 3).

    Up to the convex hull and some beyond; those beyond have corners −1 to −4.

    Raises
    ------
    SolidError
        If an edge cannot be brought in.
    """
    mesh, name = _delaunay(graph.points)
    edges = name[graph.edges]
    there = mesh.fix(edges)
    corner, twin = mesh.half_edges
    if not there.all():
        turner = _Turner(mesh.points, corner.tolist(), twin.tolist())
        for a, b in edges[~there].tolist():
            turner.bring_in(a, b)
        corner = np.array(turner.corner, dtype=np.int64)
    back = np.zeros(len(mesh.points), dtype=np.int64)
    back[:4] = -1 - np.arange(4)
    back[name] = np.arange(len(name))
    return back[corner].reshape(-1, 3)


def _delaunay(points: FloatArray) -> tuple[Triangulation, IntArray]:
    """Return a Delaunay triangulation, and the numbers that points have in it."""
    low, high = points.min(axis=0) - _ROOM, points.max(axis=0) + _ROOM
    frame = np.array([low, (high[0], low[1]), high, (low[0], high[1])])
    mesh = Triangulation(frame, np.array([(0, 1, 2), (0, 2, 3)]))
    name = np.full(len(points), -1)
    left, at = np.arange(len(points)), np.zeros(len(points), dtype=np.int64)
    while len(left):
        at[left] = mesh.locate(points[left], at[left])
        for k in left[at[left] < 0].tolist():  # the walk went round and round
            at[k] = _holding(mesh, points[k])
        left = left[np.argsort(at[left], kind="stable")]
        head = np.flatnonzero(np.diff(at[left], prepend=-1))
        middle = (head + np.append(head[1:], len(left))) // 2
        chosen = left[middle]
        alone = _alone(mesh, at[chosen])
        middle, chosen = middle[alone], chosen[alone]
        name[chosen] = len(mesh.points) + np.arange(len(chosen))
        mesh.insert(at[chosen], points[chosen])
        left = np.delete(left, middle)
    return mesh, name


def _holding(mesh: Triangulation, point: FloatArray) -> int:
    """Return the triangle that a point lies deepest in, looking at all of them."""
    corner = mesh.points[mesh.triangles]
    side = np.roll(corner, -1, axis=1) - corner
    gap = point - corner
    left = cross2(side, gap)
    return int(np.argmax((left / np.linalg.norm(side, axis=2)).min(axis=1)))


def _alone(mesh: Triangulation, triangles: IntArray) -> BoolArray:
    """Mark triangles of which no two lie beside each other; the first is marked."""
    rank = np.arange(len(triangles))
    owner = np.full(len(mesh.triangles) + 1, len(rank))
    beside = mesh.beside(triangles)
    for k in range(3):
        np.minimum.at(owner, beside[:, k], rank)
    np.minimum.at(owner, triangles, rank)
    owner[-1] = len(rank)
    mine = owner[triangles] == rank
    for k in range(3):
        mine &= (owner[beside[:, k]] == rank) | (beside[:, k] < 0)
    return np.asarray(mine)


class _Turner:
    """Half-edges as plain lists, for turning one edge after another."""

    def __init__(self, points: FloatArray, corner: list[int], twin: list[int]) -> None:
        self.x, self.y = points[:, 0].tolist(), points[:, 1].tolist()
        self.corner, self.twin = corner, twin
        self.home = [0] * len(self.x)
        for e, c in enumerate(corner):
            self.home[c] = e

    @staticmethod
    def after(e: int) -> int:
        """Return the next half-edge of the same triangle."""
        return e - 2 if e % 3 == 2 else e + 1

    def side(self, a: int, b: int, c: int) -> float:
        """Return twice the area of a triangle of points; above 0 if c lies left of a–b."""
        x, y = self.x, self.y
        return float((x[b] - x[a]) * (y[c] - y[a]) - (y[b] - y[a]) * (x[c] - x[a]))

    def bring_in(self, a: int, b: int) -> None:
        """Make a–b an edge."""
        crossing = self._crossing(a, b)
        for _ in range(_TURNS):
            if not crossing:
                return
            p, q = crossing.popleft()
            e = self._edge(p, q)
            c = self.corner[self.after(self.after(e))]
            d = self.corner[self.after(self.after(self.twin[e]))]
            if self.side(c, d, q) <= 0.0 or self.side(d, c, p) <= 0.0:
                crossing.append((p, q))  # not convex: others turn first
                continue
            self._turn(e)
            if c not in (a, b) and d not in (a, b) and self._apart(a, b, c, d):
                crossing.append((c, d))
        raise SolidError("the lines of the drawing cannot be told apart")

    def _apart(self, a: int, b: int, c: int, d: int) -> bool:
        return (self.side(a, b, c) > 0.0) != (self.side(a, b, d) > 0.0)

    def _edge(self, p: int, q: int) -> int:
        """Return the half-edge from one point to another."""
        for e in self._around(p):
            if self.corner[self.after(e)] == q:
                return e
        for e in self._around(q):  # p is a corner of the frame
            if self.corner[self.after(e)] == p:
                return self.twin[e]
        raise SolidError("the lines of the drawing cannot be told apart")

    def _crossing(self, a: int, b: int) -> deque[tuple[int, int]]:
        """Return the edges that a–b crosses, from a on, by their ends right and left of it."""
        found: deque[tuple[int, int]] = deque()
        for start in self._around(a):
            opposite = self.after(start)
            p, q = self.corner[opposite], self.corner[self.after(opposite)]
            if q == b or p == b:
                return found
            if self.side(a, b, p) < 0.0 < self.side(a, b, q) and self.side(p, q, b) < 0.0:
                e = opposite
                break
        else:
            raise SolidError("the lines of the drawing cannot be told apart")
        while True:
            found.append((self.corner[e], self.corner[self.after(e)]))
            other = self.twin[e]
            tip = self.corner[self.after(self.after(other))]
            if tip == b:
                return found
            # leave through the edge whose ends lie on both sides
            e = self.after(other) if self.side(a, b, tip) > 0.0 else self.after(self.after(other))

    def _around(self, a: int) -> list[int]:
        """Return the half-edges that leave a point."""
        out, e = [], self.home[a]
        while True:
            out.append(e)
            e = self.twin[self.after(self.after(e))]
            if e < 0 or e == out[0]:
                return out

    def _turn(self, e: int) -> None:
        """Turn the edge between two triangles."""
        corner, twin, home = self.corner, self.twin, self.home
        o = twin[e]
        e1, o1 = self.after(e), self.after(o)
        e2, o2 = self.after(e1), self.after(o1)
        a, b, c, d = corner[e], corner[o], corner[e2], corner[o2]
        outer = twin[e1], twin[e2], twin[o1], twin[o2]
        t, s = e - e % 3, o - o % 3
        # t becomes (c, a, d), s becomes (d, b, c)
        corner[t], corner[t + 1], corner[t + 2] = c, a, d
        corner[s], corner[s + 1], corner[s + 2] = d, b, c
        for new, far in ((s + 1, outer[0]), (t, outer[1]), (t + 1, outer[2]), (s, outer[3])):
            twin[new] = far
            if far >= 0:
                twin[far] = new
        twin[t + 2], twin[s + 2] = s + 2, t + 2
        home[c], home[a], home[d], home[b] = t, t + 1, s, s + 1
