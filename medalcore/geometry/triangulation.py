"""A planar triangulation that grows by points and keeps Delaunay by flips, all in batches.

Half-edge 3t + k runs from corner k to corner k + 1 of triangle t (counter-clockwise);
`twin` names the half-edge on the other side, −1 at the border. Edges of the border are never
flipped, and neither are edges that were fixed (so the mesh is a constrained Delaunay one:
Chew 1989).
"""

from __future__ import annotations

import numpy as np

from ..errors import SolidError
from .arrays import cross2
from .types import BoolArray, FloatArray, IntArray

_ROUNDS = 200


class Triangulation:
    """Points in the plane and the triangles between them.

    Parameters
    ----------
    points : (n, 2) float64
    triangles : (m, 3) int64
        Counter-clockwise, edges shared by at most two.
    """

    def __init__(self, points: FloatArray, triangles: IntArray) -> None:
        self._points = np.array(points, dtype=np.float64)
        self._count = len(points)
        self._corner = np.array(triangles, dtype=np.int64).ravel()
        self._size = len(triangles)
        self._twin = _twins(self._corner)
        self._map = np.arange(len(self._corner))
        self._next = _after(self._map)
        self._fixed = np.zeros(len(self._corner), dtype=bool)

    @property
    def points(self) -> FloatArray:
        """Return the points, (n, 2)."""
        return self._points[: self._count]

    @property
    def triangles(self) -> IntArray:
        """Return the triangles, (m, 3)."""
        return self._corner[: 3 * self._size].reshape(-1, 3)

    @property
    def half_edges(self) -> tuple[IntArray, IntArray]:
        """Return the points that half-edges start from, and their twins, (3m,) each."""
        return self._corner[: 3 * self._size], self._twin[: 3 * self._size]

    def beside(self, triangles: IntArray) -> IntArray:
        """Return the triangles across the three edges of some, (k, 3); −1 at the border."""
        twin = self._twin[3 * triangles[:, None] + np.arange(3)]
        return np.asarray(np.where(twin >= 0, twin // 3, -1))

    def walled(self, triangles: IntArray) -> BoolArray:
        """Tell which of the three edges of some triangles are never flipped, (k, 3)."""
        edge = 3 * triangles[:, None] + np.arange(3)
        return np.asarray((self._twin[edge] < 0) | self._fixed[edge])

    def fix(self, pairs: IntArray) -> BoolArray:
        """Fix the edges between pairs of points; return which there are, (k,) bool."""
        corner = self._corner[: 3 * self._size]
        key = corner * self._count + corner[self._next[: 3 * self._size]]
        order = np.argsort(key)
        want = pairs[:, 0] * self._count + pairs[:, 1]
        place = np.minimum(np.searchsorted(key, want, sorter=order), len(key) - 1)
        edge = order[place]
        there = key[edge] == want
        edge = edge[there]
        self._fixed[edge] = True
        other = self._twin[edge]
        self._fixed[other[other >= 0]] = True
        return np.asarray(there)

    def around(self, points: IntArray) -> IntArray:
        """Return for each of some points, by index, a triangle that it is a corner of."""
        home = np.zeros(self._count, dtype=np.int64)
        home[self._corner[: 3 * self._size]] = np.arange(3 * self._size) // 3
        return np.asarray(home[points])

    def locate(self, points: FloatArray, near: IntArray) -> IntArray:
        """Find the triangles that points lie in by walking there from others.

        Parameters
        ----------
        points : (k, 2) float64
        near : (k,) int64
            Triangles to start from.

        Returns
        -------
        found : (k,) int64
            −1 where the walk ran into the border.
        """
        found = near.copy()
        going = np.flatnonzero(near >= 0)
        for _ in range(_ROUNDS):
            corner = self._points[self.triangles[found[going]]]
            side = np.roll(corner, -1, axis=1) - corner
            gap = points[going][:, None] - corner
            left = cross2(side, gap)
            worst = np.argmin(left, axis=1)
            out = left[np.arange(len(going)), worst] < -1e-9
            if not np.any(out):
                return found
            going, worst = going[out], worst[out]
            across = self._twin[3 * found[going] + worst]
            found[going] = np.where(across >= 0, across // 3, -1)
            going = going[across >= 0]
        found[going] = -1
        return found

    def insert(self, where: IntArray, points: FloatArray) -> IntArray:
        """Put one point into each of some triangles, then restore Delaunay.

        Parameters
        ----------
        where : (k,) int64
            Distinct triangles.
        points : (k, 2) float64
            Inside them, or on an inner edge.

        Returns
        -------
        changed : (j,) int64
            Triangles that are new or different.
        """
        k = len(where)
        self._reserve(k)
        p = self._count + np.arange(k)
        self._points[p] = points
        self._count += k
        m1 = self._size + np.arange(k)
        m2 = m1 + k
        self._size += 2 * k
        corner = self._corner
        a, b, c = corner[3 * where], corner[3 * where + 1], corner[3 * where + 2]
        old = np.concatenate([3 * where + 1, 3 * where + 2])
        new = np.concatenate([3 * m1, 3 * m2])
        outer = self._twin[old]
        for t, (i, j) in ((where, (a, b)), (m1, (b, c)), (m2, (c, a))):
            corner[3 * t], corner[3 * t + 1], corner[3 * t + 2] = i, j, p
        self._join(old, new, outer)
        self._pair(3 * where + 1, 3 * m1 + 2)
        self._pair(3 * m1 + 1, 3 * m2 + 2)
        self._pair(3 * m2 + 1, 3 * where + 2)
        rim = np.concatenate([3 * where, 3 * m1, 3 * m2])
        flipped = self.legalise(rim)
        return _distinct(np.concatenate([where, m1, m2, flipped]))

    def inner_edges(self) -> IntArray:
        """Return one half-edge of every edge that may be flipped."""
        edge = np.arange(3 * self._size)
        twin = self._twin[: 3 * self._size]
        return edge[(twin > edge) & ~self._fixed[: 3 * self._size]]

    def owners(self, edges: IntArray) -> tuple[IntArray, IntArray]:
        """Return the triangles on both sides of inner edges."""
        return edges // 3, self._twin[edges] // 3

    def sides(self, edges: IntArray) -> tuple[IntArray, IntArray, IntArray, IntArray]:
        """Return the four half-edges round the pairs at inner edges.

        Of corners a, b, c, d as `quad` gives them: b–c, c–a, a–d, d–b.
        """
        other = self._twin[edges]
        e1, o1 = self._next[edges], self._next[other]
        return e1, self._next[e1], o1, self._next[o1]

    def opposite(self, edges: IntArray) -> IntArray:
        """Return the corner across half-edges, −1 at the border."""
        other = self._twin[edges]
        return np.where(other >= 0, self._corner[self._next[self._next[other]]], -1)

    def turn(self, edges: IntArray) -> IntArray:
        """Flip inner edges of which no two share a triangle; return the edges about them."""
        touched = self._flip(edges)
        about = np.concatenate([touched, 3 * (touched // 3) + 2])
        about = _distinct(np.concatenate([about, self._twin[about]]))
        near = about[about >= 0]
        near = _distinct(np.concatenate([near, self._next[near], self._next[self._next[near]]]))
        other = self._twin[near]
        near = _distinct(np.minimum(near, other)[other >= 0])
        return near[~self._fixed[near]]

    def legalise(self, edges: IntArray | None = None) -> IntArray:
        """Flip edges until every one asked about, and every one disturbed, is Delaunay.

        Returns the triangles changed, with repeats.
        """
        active = np.arange(3 * self._size) if edges is None else edges
        changed: list[IntArray] = []
        for _ in range(_ROUNDS):
            other = self._twin[active]
            active, other = active[other >= 0], other[other >= 0]
            active = _distinct(np.minimum(active, other))
            active = active[~self._fixed[active]]
            active = active[self._should_flip(active)]
            if len(active) == 0:
                break
            chosen = self._independent(active)
            touched = self._flip(active[chosen])
            changed.append(touched // 3)
            active = np.concatenate([touched, active[~chosen]])
        return np.concatenate(changed) if changed else np.zeros(0, dtype=np.int64)

    def _should_flip(self, edge: IntArray) -> BoolArray:
        a, b, c, d = (self._points[i] for i in self.quad(edge))
        # the incircle determinant relative to d (Guibas and Stolfi 1985)
        ax, ay, bx, by = a[:, 0] - d[:, 0], a[:, 1] - d[:, 1], b[:, 0] - d[:, 0], b[:, 1] - d[:, 1]
        cx, cy = c[:, 0] - d[:, 0], c[:, 1] - d[:, 1]
        ab, bc, ca = ax * by - bx * ay, bx * cy - cx * by, cx * ay - ax * cy
        qa, qb, qc = ax * ax + ay * ay, bx * bx + by * by, cx * cx + cy * cy
        inside = qa * bc + qb * ca + qc * ab
        size = np.maximum(np.maximum(qa, qb), qc)
        # the new triangles are (c, a, d) and (d, b, c): their doubled areas are ca and bc
        convex = (ca > 1e-9) & (bc > 1e-9)
        flat = ((ab + bc + ca) <= 1e-9) | (-ab <= 1e-9)  # on either side of the edge
        return np.asarray(convex & ((inside > 1e-9 * size * (1.0 + size)) | flat))

    def quad(self, edge: IntArray) -> tuple[IntArray, IntArray, IntArray, IntArray]:
        """Return corners a, b of the edge, c opposite on its side, d on the other."""
        other = self._twin[edge]
        c = self._corner[self._next[self._next[edge]]]
        d = self._corner[self._next[self._next[other]]]
        return self._corner[edge], self._corner[other], c, d

    def _independent(self, edge: IntArray) -> BoolArray:
        """Mark edges of which no two share a triangle; at least one is marked."""
        t, s = edge // 3, self._twin[edge] // 3
        rank = np.arange(len(edge))
        owner = self._map  # borrowed as scratch: written before it is read, then restored
        both = np.stack([t, s], axis=1).ravel()
        owner[both] = np.repeat(rank, 2)
        good = (owner[t] == rank) & (owner[s] == rank)
        owner[both] = both
        return np.asarray(good)

    def _flip(self, edge: IntArray) -> IntArray:
        """Turn the common edge of independent pairs; return the half-edges around them."""
        other = self._twin[edge]
        a, b, c, d = self.quad(edge)
        t, s = edge // 3, other // 3
        e1, o1 = self._next[edge], self._next[other]
        e2, o2 = self._next[e1], self._next[o1]
        # t becomes (c, a, d), s becomes (d, b, c)
        old = np.concatenate([e2, o1, o2, e1])
        new = np.concatenate([3 * t, 3 * t + 1, 3 * s, 3 * s + 1])
        outer = self._twin[old]
        corner = self._corner
        corner[3 * t], corner[3 * t + 1], corner[3 * t + 2] = c, a, d
        corner[3 * s], corner[3 * s + 1], corner[3 * s + 2] = d, b, c
        self._join(old, new, outer)
        self._pair(3 * t + 2, 3 * s + 2)
        return new

    def _join(self, old: IntArray, new: IntArray, outer: IntArray) -> None:
        """Move half-edges from slots `old` to `new`, whose twins were `outer`."""
        self._fixed[new] = self._fixed[old]
        self._map[old] = new
        inner = outer >= 0
        moved = np.where(inner, self._map[outer], -1)
        self._map[old] = old
        self._twin[new] = moved
        self._twin[moved[inner]] = new[inner]

    def _pair(self, one: IntArray, two: IntArray) -> None:
        self._twin[one] = two
        self._twin[two] = one
        self._fixed[one] = self._fixed[two] = False

    def _reserve(self, k: int) -> None:
        if self._count + k > len(self._points):
            spare = np.zeros((len(self._points) + k, 2))
            self._points = np.concatenate([self._points, spare])
        if 3 * (self._size + 2 * k) > len(self._corner):
            spare_i = np.zeros(len(self._corner) + 6 * k, dtype=np.int64)
            self._corner = np.concatenate([self._corner, spare_i])
            self._twin = np.concatenate([self._twin, spare_i - 1])
            self._map = np.arange(len(self._corner))
            self._next = _after(self._map)
            self._fixed = np.concatenate([self._fixed, np.zeros(len(spare_i), dtype=bool)])


def _after(edge: IntArray) -> IntArray:
    """Return the next half-edge of the same triangle."""
    return np.asarray(edge + np.where(edge % 3 == 2, -2, 1))


def _distinct(values: IntArray) -> IntArray:
    """Return sorted values without repeats (`np.unique` is several times slower on few)."""
    if len(values) == 0:
        return values
    ranked = np.sort(values)
    return np.asarray(ranked[np.append(True, ranked[1:] != ranked[:-1])])


def _twins(corner: IntArray) -> IntArray:
    """Pair up half-edges; −1 where there is no other side.

    Raises
    ------
    SolidError
        If an edge is used twice in one direction.
    """
    start = corner
    stop = corner.reshape(-1, 3)[:, [1, 2, 0]].ravel()
    n = int(corner.max()) + 1 if len(corner) else 1
    key = start * n + stop
    order = np.argsort(key)
    ranked = key[order]
    if np.any(ranked[1:] == ranked[:-1]):
        raise SolidError("the outline of the relief crosses itself")
    place = np.minimum(np.searchsorted(ranked, stop * n + start), len(key) - 1)
    return np.asarray(np.where(ranked[place] == stop * n + start, order[place], -1))
