"""Cutting long thin triangles of curved surfaces into even ones, on the curve they stand for.

Subdivision takes all neighbours for equally far. Where models made of strips and fillets
break that, their long edges are halved first; the new points lie on a curve that leaves both
ends at right angles to their normals (A. Vlachos et al., *Curved PN triangles*, I3D 2001).
"""

from __future__ import annotations

import numpy as np

from ....geometry.subdivision import SMOOTH, EdgedMesh, edged
from ....geometry.topology import labels
from ....geometry.types import BoolArray, FloatArray, IntArray

UNEVEN = 8.0
"""Longest to shortest edge from which a triangle is a strip; modelled forms stay below."""

BAND = 6
"""Triangles side by side that make strips of long ones."""

EVEN = 2.5
"""Longest to shortest edge that the pieces of a strip come to."""

LEAN = np.radians(15.0)
"""Angle of triangles to the mean round their vertex from which it may be the tip of a cone."""

ROUND = 8
"""Triangles round the tip of a cone, at least."""

FLAT = 0.02
"""Bend between triangles, radians, up to which they count as one flat face."""

ROUNDS = 14
MOST = 100_000


def find_slivers(mesh: EdgedMesh) -> BoolArray:
    """Tell which triangles are strips: much longer than wide, several side by side.

    Single ones are slivers that scanning and simplifying leave in modelled forms.
    """
    length = mesh.lengths()[mesh.edges]
    long: BoolArray = length.max(axis=1) > UNEVEN * length.min(axis=1)
    first, last = mesh.sides()
    both = long[first] & long[last]
    band = labels(first[both], last[both], len(long))
    return long & (np.bincount(band, minlength=len(long))[band] >= BAND)


def apices(mesh: EdgedMesh) -> BoolArray:
    """Tell which vertices are the tips of cones.

    Many triangles lean together there from all sides; unlike round the pole of a ball, the
    surface does not go on to bend at their far edges.
    """
    count = len(mesh.vertices)
    normals = mesh.normals()
    total = np.zeros((count, 3))
    for k in range(9):
        corner, axis = mesh.triangles[:, k // 3], k % 3
        total[:, axis] += np.bincount(corner, normals[:, axis], minlength=count)
    mean = _unit(total)[mesh.triangles]
    lean = np.arccos(np.clip(np.einsum("ijk,ik->ij", mean, normals), -1.0, 1.0))
    beyond = np.where(mesh.kind == SMOOTH, mesh.bends(), 0.0)[np.roll(mesh.edges, -1, axis=1)]
    pointed = (lean > LEAN) & (beyond < 1.2 * lean)
    tip = np.bincount(mesh.triangles.ravel(), minlength=count) >= ROUND
    tip[mesh.triangles[~pointed]] = False
    tip[mesh.ends[mesh.kind != SMOOTH].ravel()] = False
    return tip


def corner_normals(mesh: EdgedMesh) -> FloatArray:
    """Return the normals of the surface at the corners of triangles, (m, 3, 3).

    Corners joined across smooth edges share the mean of their triangles' normals, weighted
    by angle, and by the area of the flat face a triangle is part of: so a large flat face
    stays flat beside a narrow fillet, and the diagonals of a face do not matter.
    """
    m = len(mesh.triangles)
    first, last = mesh.sides()
    inner = np.flatnonzero((mesh.kind == SMOOTH) & (first != last))
    one: list[IntArray] = []
    two: list[IntArray] = []
    for end in range(2):
        vertex = mesh.ends[inner, end]
        for owner, out in ((first[inner], one), (last[inner], two)):
            side = (mesh.triangles[owner] == vertex[:, None]).argmax(axis=1)
            out.append(owner * 3 + side)
    group = labels(np.concatenate(one), np.concatenate(two), 3 * m)
    corner = mesh.vertices[mesh.triangles]
    out_of = np.roll(corner, -1, axis=1) - corner
    into = np.roll(corner, 1, axis=1) - corner
    cross = np.cross(out_of, into)
    size = np.sqrt(np.einsum("ijk,ijk->ij", cross, cross))
    angle = np.arctan2(size, np.einsum("ijk,ijk->ij", out_of, into))
    flat = inner[mesh.bends()[inner] < FLAT]
    face = labels(first[flat], last[flat], m)
    area = np.bincount(face, size[:, 0], minlength=m)[face]
    weight = angle * (area / np.maximum(size[:, 0], 1e-300))[:, None]
    weighted = (cross * weight[..., None]).reshape(-1, 3)
    total: FloatArray = np.stack(
        [np.bincount(group, weighted[:, k], minlength=3 * m) for k in range(3)], axis=1
    )[group].astype(np.float64)
    mean = _unit(total).reshape(m, 3, 3)
    tip = mesh.fixed[mesh.triangles] & apices(mesh)[mesh.triangles]
    return np.where(tip[..., None], mesh.normals()[:, None, :], mean)


def bisect_slivers(mesh: EdgedMesh, chosen: BoolArray, limit: float) -> EdgedMesh:
    """Cut strips of curved surfaces into even triangles.

    Parameters
    ----------
    mesh : EdgedMesh
    chosen : (m,) bool
        Triangles that will be subdivided; others are cut only where they touch them.
    limit : float
        Edges no longer than this stay whole, mm.
    """
    chosen = chosen & find_slivers(mesh)
    if not chosen.any():
        return mesh
    normals = corner_normals(mesh)
    for _ in range(ROUNDS):
        length = mesh.lengths()[mesh.edges]
        longest = length.argmax(axis=1)
        most = length.max(axis=1)
        rows = np.flatnonzero(chosen & (most > EVEN * length.min(axis=1)) & (most > limit))
        if not len(rows) or len(mesh.triangles) > MOST:
            break
        marked = np.zeros(len(mesh.ends), dtype=bool)
        marked[mesh.edges[rows, longest[rows]]] = True
        mesh, normals, chosen = _halved(mesh, normals, chosen, marked)
    return mesh


def _halved(
    mesh: EdgedMesh, normals: FloatArray, chosen: BoolArray, marked: BoolArray
) -> tuple[EdgedMesh, FloatArray, BoolArray]:
    """Halve marked edges and cut every triangle that has some into two, three or four."""
    middle, middle_normals = _middles(mesh, normals)
    count = len(mesh.vertices)
    number = np.full(len(mesh.ends), -1, dtype=np.int64)
    number[marked] = count + np.arange(np.count_nonzero(marked))
    cut = marked[mesh.edges]
    pieces: list[tuple[IntArray, FloatArray, BoolArray]] = []
    for code, patterns in _PATTERNS.items():
        wanted = np.array([(code >> k) & 1 for k in range(3)], dtype=bool)
        rows = np.flatnonzero((cut == wanted).all(axis=1))
        if not len(rows):
            continue
        six = np.concatenate([mesh.triangles[rows], number[mesh.edges[rows]]], axis=1)
        six_normals = np.concatenate([normals[rows], middle_normals[rows]], axis=1)
        for pattern in patterns:
            pieces.append((six[:, pattern], six_normals[:, pattern], chosen[rows] | (code > 0)))
    new = edged(
        np.concatenate([mesh.vertices, middle[marked]]), np.concatenate([p[0] for p in pieces])
    )
    new.kind[:] = _inherited(mesh, new, number)
    new.fixed[:count] = mesh.fixed
    return new, np.concatenate([p[1] for p in pieces]), np.concatenate([p[2] for p in pieces])


_PATTERNS: dict[int, list[list[int]]] = {
    # corners 0 1 2; 3, 4, 5 halve the edges 0-1, 1-2, 2-0
    0: [[0, 1, 2]],
    1: [[0, 3, 2], [3, 1, 2]],
    2: [[0, 1, 4], [0, 4, 2]],
    4: [[0, 1, 5], [5, 1, 2]],
    3: [[3, 1, 4], [0, 3, 4], [0, 4, 2]],
    6: [[5, 4, 2], [0, 1, 4], [0, 4, 5]],
    5: [[0, 3, 5], [3, 1, 2], [3, 2, 5]],
    7: [[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]],
}


def _inherited(old: EdgedMesh, new: EdgedMesh, number: IntArray) -> IntArray:
    """Return the kinds of the new edges: whole and halved old ones keep theirs."""
    size = len(new.vertices)
    whole = number < 0
    a, b = old.ends[whole].T
    c, d = old.ends[~whole].T
    middle = number[~whole]
    low = np.concatenate([np.minimum(a, b), c, d])
    high = np.concatenate([np.maximum(a, b), middle, middle])
    kind = np.concatenate([old.kind[whole], np.tile(old.kind[~whole], 2)])
    key = low * size + high
    order = np.argsort(key, kind="stable")
    ours = new.ends.min(axis=1) * size + new.ends.max(axis=1)
    place = np.minimum(np.searchsorted(key[order], ours), len(key) - 1)
    found = key[order][place] == ours
    return np.where(found, kind[order][place], new.kind)


def _middles(mesh: EdgedMesh, normals: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return middle points of the edges (e, 3) and the normals there (m, 3, 3)."""
    count = len(mesh.ends)
    total = np.zeros((count, 3))
    at_middle = np.empty_like(normals)
    corner = mesh.vertices[mesh.triangles]
    for k in range(3):
        p, q = corner[:, k], corner[:, (k + 1) % 3]
        n, o = normals[:, k], normals[:, (k + 1) % 3]
        d = q - p
        rise_p = np.einsum("ij,ij->i", d, n)[:, None]
        rise_q = np.einsum("ij,ij->i", d, o)[:, None]
        # cubic with control points in the tangent planes of its ends, at its middle
        point = (p + q) / 2 + (rise_q * o - rise_p * n) / 8
        for axis in range(3):
            total[:, axis] += np.bincount(mesh.edges[:, k], point[:, axis], minlength=count)
        pull = 2 * (rise_p + rise_q) / np.maximum(np.einsum("ij,ij->i", d, d), 1e-300)[:, None]
        between = _unit(n + o - pull * d)
        at_middle[:, k] = _unit(n + o + 2 * between)
    times = np.bincount(mesh.edges.ravel(), minlength=count)
    middle = total / times[:, None]
    sharp = mesh.kind != SMOOTH
    middle[sharp] = _sharp_middles(mesh, np.flatnonzero(sharp))
    return middle, at_middle


def _sharp_middles(mesh: EdgedMesh, edges: IntArray) -> FloatArray:
    """Return middle points on the curves that run along sharp edges."""
    count = len(mesh.vertices)
    a, b = mesh.ends[edges].T
    p, q = mesh.vertices[a], mesh.vertices[b]
    d = q - p
    meeting = np.bincount(a, minlength=count) + np.bincount(b, minlength=count)
    held = (meeting != 2) | mesh.fixed
    # the two neighbours of a vertex on a line, whichever way its edges run
    first = np.full(count, -1, dtype=np.int64)
    last = np.full(count, -1, dtype=np.int64)
    both, other = np.concatenate([a, b]), np.concatenate([b, a])
    last[both] = other
    first[both[::-1]] = other[::-1]
    size = np.sqrt(np.einsum("ij,ij->i", d, d))[:, None]

    def tangent(vertex: IntArray, toward: IntArray, straight: FloatArray) -> FloatArray:
        away = np.where(first[vertex] == toward, last[vertex], first[vertex])
        across = _unit(mesh.vertices[toward] - mesh.vertices[away])
        return np.where(held[vertex][:, None], straight, across)

    leave = tangent(a, b, d / np.maximum(size, 1e-300))
    arrive = -tangent(b, a, -d / np.maximum(size, 1e-300))
    middle: FloatArray = (p + q) / 2 + size * (leave - arrive) / 8
    return middle


def _unit(vectors: FloatArray) -> FloatArray:
    length = np.sqrt(np.einsum("ij,ij->i", vectors, vectors))
    unit: FloatArray = vectors / np.maximum(length, 1e-300)[:, None]
    return unit
