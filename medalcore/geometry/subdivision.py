"""Subdivision of triangle meshes with creases: a smooth surface grown from a coarse one.

The rules are Loop's (C. Loop, *Smooth subdivision surfaces based on triangles*, University
of Utah, 1987) with those of H. Hoppe et al. (*Piecewise smooth surface reconstruction*,
SIGGRAPH 1994) along creases and borders. Meshes keep their edges as numbers that children
inherit by arithmetic, so that edges are looked for by sorting only once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .types import BoolArray, ByteArray, FloatArray, IntArray

SMOOTH, CREASE, OPEN = 0, 1, 2
"""Kinds of edges: within a smooth surface, sharp, and of one triangle only."""


@dataclass(frozen=True, eq=False)
class EdgedMesh:
    """A triangle mesh with numbered edges.

    Attributes
    ----------
    vertices : (n, 3) float64
    triangles : (m, 3) int64
    edges : (m, 3) int64
        Number of the edge from corner k to corner k + 1 of each triangle.
    ends : (e, 2) int64
        The two vertices of every edge.
    kind : (e,) uint8
        `SMOOTH`, `CREASE` or `OPEN`.
    fixed : (n,) bool
        Vertices that stay where they are: tips and corners of creases.
    """

    vertices: FloatArray
    triangles: IntArray
    edges: IntArray
    ends: IntArray
    kind: ByteArray
    fixed: BoolArray

    def _crosses(self) -> tuple[FloatArray, FloatArray]:
        """Return cross products of the triangles' sides (m, 3) and their lengths (m,)."""
        a, b, c = (self.vertices.take(self.triangles[:, k], axis=0) for k in range(3))
        p, q = (b - a).T, (c - a).T
        cross = np.stack([p[i - 2] * q[i - 1] - p[i - 1] * q[i - 2] for i in range(3)], axis=1)
        return cross, np.sqrt(np.einsum("ij,ij->i", cross, cross))

    def areas(self) -> FloatArray:
        """Return the areas of the triangles, (m,)."""
        return self._crosses()[1] / 2

    def normals(self) -> FloatArray:
        """Return unit normals of the triangles, (m, 3); 0 where there is no area."""
        cross, length = self._crosses()
        unit: FloatArray = cross / np.maximum(length, 1e-300)[:, None]
        return unit

    def lengths(self) -> FloatArray:
        """Return the lengths of the edges, (e,)."""
        span = self.vertices[self.ends[:, 1]] - self.vertices[self.ends[:, 0]]
        length: FloatArray = np.sqrt(np.einsum("ij,ij->i", span, span))
        return length

    def sides(self) -> tuple[IntArray, IntArray]:
        """Return the first and the last triangle at every edge, (e,) each; alike at borders."""
        first = np.zeros(len(self.ends), dtype=np.int64)
        last = np.zeros(len(self.ends), dtype=np.int64)
        owner = np.repeat(np.arange(len(self.triangles)), 3)
        last[self.edges.ravel()] = owner  # of several writers the last one stays
        first[self.edges.ravel()[::-1]] = owner[::-1]
        return first, last

    def bends(self) -> FloatArray:
        """Return the angle between the triangles at every edge, radians; 0 at borders."""
        first, last = self.sides()
        normals = self.normals()
        return between(normals[first], normals[last])


def between(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the angles between unit normals (k, 3), radians; 0 where one is missing."""
    span = np.sqrt(np.einsum("ij,ij->i", a - b, a - b))
    angle: FloatArray = 2 * np.arcsin(np.minimum(span / 2, 1.0))
    angle[~(a.any(axis=1) & b.any(axis=1))] = 0.0
    return angle


def bare(vertices: FloatArray, triangles: IntArray) -> EdgedMesh:
    """Return a mesh without edges, for its triangles' normals and areas."""
    none = np.zeros((0, 2), dtype=np.int64)
    kind = np.zeros(0, dtype=np.uint8)
    return EdgedMesh(
        vertices, triangles, np.zeros_like(triangles), none, kind, np.zeros(0, dtype=bool)
    )


def edged(vertices: FloatArray, triangles: IntArray) -> EdgedMesh:
    """Return a welded mesh with its edges numbered; borders open, crowded edges creases."""
    count = len(vertices)
    start = triangles.ravel()
    stop = np.roll(triangles, -1, axis=1).ravel()
    key = np.minimum(start, stop) * count + np.maximum(start, stop)
    known, inverse, times = np.unique(key, return_inverse=True, return_counts=True)
    kind = np.full(len(known), SMOOTH, dtype=np.uint8)
    kind[times == 1] = OPEN
    kind[times > 2] = CREASE
    ends = np.stack(np.divmod(known, count), axis=1)
    edges = np.ravel(inverse).reshape(-1, 3)
    return EdgedMesh(vertices, triangles, edges, ends, kind, np.zeros(count, dtype=bool))


def _sum_at(where: IntArray, values: FloatArray, count: int) -> FloatArray:
    """Add (k, 3) values at (k,) places."""
    return np.stack(
        [np.bincount(where, values[:, axis], minlength=count) for axis in range(3)], axis=1
    )


def _rings(mesh: EdgedMesh) -> tuple[FloatArray, IntArray, FloatArray, IntArray]:
    """Return sums and numbers of smooth neighbours, and of neighbours along sharp edges."""
    v, t, count = mesh.vertices, mesh.triangles, len(mesh.vertices)
    total = np.zeros((count, 3))
    for k in range(3):
        total += _sum_at(t[:, k], v[t[:, (k + 1) % 3]] + v[t[:, (k + 2) % 3]], count)
    total *= 0.5  # round an inner vertex every neighbour is met by two triangles
    valence = np.bincount(t.ravel(), minlength=count)
    a, b = mesh.ends[mesh.kind != SMOOTH].T
    sharp = _sum_at(a, v[b], count) + _sum_at(b, v[a], count)
    sharp_valence = np.bincount(a, minlength=count) + np.bincount(b, minlength=count)
    return total, valence, sharp, sharp_valence


def _moved(mesh: EdgedMesh, *, limit: bool) -> FloatArray:
    """Return the vertices after one step, or where endless steps would bring them."""
    total, valence, sharp, sharp_valence = _rings(mesh)
    v = mesh.vertices
    n = np.maximum(valence, 1).astype(np.float64)
    beta = (5 / 8 - (3 / 8 + np.cos(2 * np.pi / n) / 4) ** 2) / n
    if limit:
        beta = 1 / (3 / (8 * beta) + n)
    out: FloatArray = (1 - n * beta)[:, None] * v + beta[:, None] * total
    along = sharp_valence == 2
    out[along] = ((4 if limit else 6) * v[along] + sharp[along]) / (6 if limit else 8)
    held = mesh.fixed | (sharp_valence > 2)
    out[held] = v[held]
    return out


def limit_points(mesh: EdgedMesh) -> FloatArray:
    """Return where endless subdivision brings the vertices, (n, 3).

    Vertices on the border of a part cut from a larger mesh come out wrong.
    """
    return _moved(mesh, limit=True)


def subdivided(mesh: EdgedMesh) -> EdgedMesh:
    """Split every triangle into four.

    Vertices keep their numbers; vertex n + e is the middle of edge e; the four children of
    triangle t are t, m + t, 2m + t (at its corners) and 3m + t; edge e becomes 2e, from its
    first end, and 2e + 1.
    """
    v, t, te, ends = mesh.vertices, mesh.triangles, mesh.edges, mesh.ends
    n, m, e = len(v), len(t), len(ends)
    opposite = np.zeros((e, 3))
    for k in range(3):
        opposite += _sum_at(te[:, k], v[t[:, (k + 2) % 3]], e)
    pair = v[ends[:, 0]] + v[ends[:, 1]]
    middle = 0.375 * pair + 0.125 * opposite
    sharp = mesh.kind != SMOOTH
    middle[sharp] = 0.5 * pair[sharp]
    halves = _half_edges(mesh)
    inner = 2 * e + np.arange(m)[:, None] + m * np.arange(3)[None, :]
    a, b, c = t.T
    ab, bc, ca = (te + n).T
    (a_ab, b_bc, c_ca), (ab_b, bc_c, ca_a) = halves
    at_a, at_b, at_c = inner.T  # inner edge opposite each corner
    triangles = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    edges = [(a_ab, at_a, ca_a), (ab_b, b_bc, at_b), (at_c, bc_c, c_ca), (at_b, at_c, at_a)]
    first = np.arange(e) + n
    outer = np.stack([ends[:, 0], first, first, ends[:, 1]], axis=1).reshape(-1, 2)
    inner_ends = np.concatenate([np.stack(p, axis=1) for p in ((ab, ca), (ab, bc), (bc, ca))])
    return EdgedMesh(
        vertices=np.concatenate([_moved(mesh, limit=False), middle]),
        triangles=np.concatenate([np.stack(p, axis=1) for p in triangles]),
        edges=np.concatenate([np.stack(p, axis=1) for p in edges]),
        ends=np.concatenate([outer, inner_ends]),
        kind=np.concatenate([np.repeat(mesh.kind, 2), np.zeros(3 * m, dtype=np.uint8)]),
        fixed=np.concatenate([mesh.fixed, np.zeros(e, dtype=bool)]),
    )


def _half_edges(mesh: EdgedMesh) -> tuple[list[IntArray], list[IntArray]]:
    """Return per side the child edge at the side's start, and the one at its stop."""
    starts, stops = [], []
    for k in range(3):
        edge = mesh.edges[:, k]
        along = mesh.ends[edge, 0] == mesh.triangles[:, k]
        starts.append(2 * edge + ~along)
        stops.append(2 * edge + along)
    return starts, stops


def part_of(mesh: EdgedMesh, chosen: BoolArray) -> EdgedMesh:
    """Cut out some triangles."""
    triangles, edges = mesh.triangles[chosen], mesh.edges[chosen]
    vertex, triangles = _renumbered(triangles, len(mesh.vertices))
    edge, edges = _renumbered(edges, len(mesh.ends))
    new = np.full(len(mesh.vertices), -1, dtype=np.int64)
    new[vertex] = np.arange(len(vertex))
    return EdgedMesh(
        vertices=mesh.vertices[vertex],
        triangles=triangles,
        edges=edges,
        ends=new[mesh.ends[edge]],
        kind=mesh.kind[edge],
        fixed=mesh.fixed[vertex],
    )


def _renumbered(names: IntArray, count: int) -> tuple[IntArray, IntArray]:
    used = np.zeros(count, dtype=bool)
    used[names.ravel()] = True
    return np.flatnonzero(used), (np.cumsum(used) - 1)[names]
