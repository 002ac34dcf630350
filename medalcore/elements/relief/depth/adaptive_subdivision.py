"""The smooth surface meant by a coarse model: facets vanish, creases and flats stay.

Only triangles that are wide enough to be seen and bend against their neighbours are worked
on; a dense scan, or a box, comes back as it is. Sharp edges count as creases when they form
lines that close, meet or end at a border; a steep edge in the middle of a rounded form does
not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from ....geometry.grid import Grid
from ....geometry.raster import top_surface
from ....geometry.subdivision import (
    CREASE,
    OPEN,
    SMOOTH,
    EdgedMesh,
    bare,
    between,
    edged,
    limit_points,
    part_of,
    subdivided,
)
from ....geometry.topology import labels, nearly_welded
from ....geometry.types import BoolArray, FloatArray, IntArray
from .slivers import apices, bisect_slivers, find_slivers

BEND = 0.005
"""Bend between triangles, radians, that is not seen even in raking light."""

STEP = 0.02
"""Bend times width of a facet, radians times widths that are not seen, that is not either."""

BUILT_BEND = np.radians(30.0)
"""Bend from which edges of built, not modelled, forms are sharp: of strips, and those that
bend much more than what is beside them."""

CREASE_CONTRAST = 4.0
"""How many times more that is."""

EVENLY = np.radians(20.0)
"""Turn from edge to edge up to which a line is built."""

LINE = 16
"""Edges from which a sharp line counts even if it has loose ends."""

MOST = 3_000_000
"""Triangles beyond which nothing is split any further."""

SHRINKAGE_RESTORED = 1.0
"""Share of the shrinking of a subdivided surface that is made up for beforehand.

Only what neighbours have in common of it is: round forms keep their size, while the unrest
of single points is not brought back.
"""


def subdivide_seen(
    vertices: FloatArray, triangles: IntArray, facet: float, crease: float
) -> tuple[FloatArray, IntArray]:
    """Return a mesh whose facets are not seen.

    Parameters
    ----------
    vertices : (n, 3) float64
        mm.
    triangles : (m, 3) int64
        Facing either way.
    facet : float
        Width of a facet, seen from above, that is not seen, mm.
    crease : float
        Angle between triangles from which an edge is meant to be sharp, radians.

    Returns
    -------
    vertices : (k, 3) float64
    triangles : (l, 3) int64
        The same arrays where nothing was to be done.
    """
    long = _long(vertices, triangles, facet)
    if long.any():
        long = _bent(vertices, triangles, long, facet)
    if not long.any():
        return vertices, triangles
    near = _touching(triangles, _touching(triangles, long, len(vertices)), len(vertices))
    mesh = _prepare(vertices, triangles[near], crease, facet / 60)
    needed = _needed(mesh, np.ones(len(mesh.triangles), dtype=bool), facet)
    if not needed.any():
        return vertices, triangles
    for _ in range(2):  # what the points to be moved are measured by has to be even too
        needed = _touching(mesh.triangles, needed, len(mesh.vertices))
    about = _touching(mesh.triangles, needed, len(mesh.vertices))
    parts = [(vertices, triangles[~near]), (mesh.vertices, mesh.triangles[~about])]
    part = bisect_slivers(part_of(mesh, about), needed[about], facet)
    parts += _subdivide(part, facet)
    shift = np.cumsum([0, *(len(v) for v, _ in parts)])
    return (
        np.concatenate([v for v, _ in parts]),
        np.concatenate([t + s for (_, t), s in zip(parts, shift, strict=False)]),
    )


def _long(vertices: FloatArray, triangles: IntArray, limit: float) -> BoolArray:
    """Tell which triangles have an edge that looks longer than `limit` from above."""
    x, y = np.ascontiguousarray(vertices[:, 0]), np.ascontiguousarray(vertices[:, 1])
    out = np.empty(len(triangles), dtype=bool)
    for start in range(0, len(triangles), 1 << 15):
        some = slice(start, start + (1 << 15))
        corners = np.ascontiguousarray(triangles[some].T)
        xs, ys = [x.take(i) for i in corners], [y.take(i) for i in corners]
        longest = np.zeros(corners.shape[1])
        for k in range(3):
            dx, dy = xs[k] - xs[k - 1], ys[k] - ys[k - 1]
            np.maximum(longest, dx * dx + dy * dy, out=longest)
        out[some] = longest > limit * limit
    return out


def _bent(vertices: FloatArray, triangles: IntArray, long: BoolArray, facet: float) -> BoolArray:
    """Tell which long triangles may be seen to bend against what is round them.

    Of two triangles that bend by an angle, one differs from the mean at their common
    corners by half of it at least.
    """
    near = np.flatnonzero(_touching(triangles, long, len(vertices)))
    used, faces = np.unique(triangles[near], return_inverse=True)
    mesh = bare(vertices[used], np.reshape(faces, (-1, 3)))
    normals = mesh.normals()
    total = np.zeros((len(used), 3))
    for k in range(9):
        corner, axis = mesh.triangles[:, k // 3], k % 3
        total[:, axis] += np.bincount(corner, normals[:, axis], minlength=len(used))
    total /= np.maximum(np.sqrt(np.einsum("ij,ij->i", total, total)), 1e-300)[:, None]
    a, b, c = (mesh.vertices[mesh.triangles[:, k]] for k in range(3))
    longest = np.zeros(len(near))
    bend = np.zeros(len(near))
    for k, d in enumerate((b - a, c - b, a - c)):
        np.maximum(longest, np.hypot(d[:, 0], d[:, 1]), out=longest)
        off = normals - total[mesh.triangles[:, k]]
        np.maximum(bend, 2.0 * np.sqrt(np.einsum("ij,ij->i", off, off)), out=bend)
    seen = (bend > BEND) & (bend * longest > STEP * facet)
    out = np.zeros(len(long), dtype=bool)
    out[near[seen]] = True
    return out & long


def _touching(triangles: IntArray, chosen: BoolArray, count: int) -> BoolArray:
    """Tell which triangles share a vertex with a chosen one."""
    used = np.zeros(count, dtype=bool)
    used[triangles[chosen].ravel()] = True
    touching: BoolArray = np.logical_or.reduce(used[triangles], axis=1)
    return touching


def _prepare(vertices: FloatArray, triangles: IntArray, crease: float, step: float) -> EdgedMesh:
    """Weld points in one cell of a grid, turn consistently, and mark creases."""
    used, faces = np.unique(triangles, return_inverse=True)
    points, faces = vertices[used], np.reshape(faces, (-1, 3))
    # besides points written a little differently this takes out needles that booleans leave
    points, faces, _ = nearly_welded(points, faces, step)
    faces = faces[np.flatnonzero((faces != np.roll(faces, 1, axis=1)).all(axis=1))]
    mesh = _orient(edged(points, faces))
    mesh = _mark_creases(mesh, crease, step)
    return replace(mesh, fixed=_corners(mesh, crease) | apices(mesh))


def _orient(mesh: EdgedMesh) -> EdgedMesh:
    """Turn triangles over so that neighbours across smooth edges face the same way."""
    first, last = mesh.sides()
    forward = mesh.ends[mesh.edges, 0] == mesh.triangles
    runs = np.zeros((len(mesh.ends), 2), dtype=bool)
    for column, owner in enumerate((first, last)):
        side = (mesh.edges[owner] == np.arange(len(owner))[:, None]).argmax(axis=1)
        runs[:, column] = forward[owner, side]
    inner = np.flatnonzero(mesh.kind == SMOOTH)
    a, b = first[inner], last[inner]
    alike = runs[inner, 0] != runs[inner, 1]
    if alike.all():
        return mesh
    # a triangle and its turned self are two points; edges join those that agree
    m = len(mesh.triangles)
    other = np.where(alike, 0, m)
    joined = labels(np.concatenate([a, a + m]), np.concatenate([b + other, b + m - other]), 2 * m)
    turn = joined[:m] > joined[m:]
    triangles = mesh.triangles.copy()
    triangles[turn] = triangles[turn][:, [0, 2, 1]]
    edges = mesh.edges.copy()
    edges[turn] = edges[turn][:, [2, 1, 0]]
    return replace(mesh, triangles=triangles, edges=edges)


def _steady_bends(mesh: EdgedMesh, thin: float) -> FloatArray:
    """Return the bends at edges, those of triangles lower than `thin` set aside.

    The normals of slivers are noise; each takes that of its neighbour at the longest edge.
    """
    first, last = mesh.sides()
    normals = mesh.normals()
    length = mesh.lengths()[mesh.edges]
    slivers = np.flatnonzero(2 * mesh.areas() < thin * length.max(axis=1))
    beyond = mesh.edges[slivers, length[slivers].argmax(axis=1)]
    neighbour = np.where(first[beyond] == slivers, last[beyond], first[beyond])
    for _ in range(4):
        normals[slivers] = normals[neighbour]
    return between(normals[first], normals[last])


def _bends_beside(mesh: EdgedMesh, bend: FloatArray, crease: float) -> FloatArray:
    """Return for each edge the mean bend of the other edges of its triangles.

    Edges that are sharp in any case do not count.
    """
    count = len(bend)
    counts = bend < crease
    total = np.zeros(count)
    number = np.zeros(count)
    for k in range(3):
        for other in (1, 2):
            beside = mesh.edges[:, (k + other) % 3]
            total += np.bincount(mesh.edges[:, k], (bend * counts)[beside], minlength=count)
            number += np.bincount(mesh.edges[:, k], counts[beside], minlength=count)
    return total / np.maximum(number, 1.0)


def _mark_creases(mesh: EdgedMesh, crease: float, thin: float) -> EdgedMesh:
    """Mark edges that bend by the crease angle or more, in lines without loose ends."""
    kind = mesh.kind.copy()
    bend = _steady_bends(mesh, thin)
    steep = (kind == SMOOTH) & (bend >= crease)
    built = (kind == SMOOTH) & (bend >= min(crease, BUILT_BEND)) & ~steep
    of_strips = np.zeros(len(kind), dtype=bool)
    of_strips[mesh.edges[find_slivers(mesh)]] = True
    steep |= built & of_strips
    edgy = built & ~of_strips & (bend > CREASE_CONTRAST * _bends_beside(mesh, bend, crease))
    for _ in range(4):  # built lines run on evenly; each round may leave others without theirs
        turning, meeting = _turning(replace(mesh, kind=kind + (edgy | steep)))
        evenly = ((meeting == 2) & (turning < EVENLY))[mesh.ends]
        edgy &= evenly.any(axis=1) & (evenly | (meeting[mesh.ends] > 2)).all(axis=1)
    steep |= edgy
    ends = mesh.ends[steep]
    meeting = np.bincount(mesh.ends[steep | (kind != SMOOTH)].ravel(), minlength=len(mesh.vertices))
    line = labels(ends[:, 0], ends[:, 1], len(mesh.vertices))[ends[:, 0]]
    pieces = np.bincount(line, minlength=len(mesh.vertices))
    loose = np.zeros(len(mesh.vertices), dtype=bool)
    loose[line[(meeting[ends] < 2).any(axis=1)]] = True
    steep[steep] = ~loose[line] | (pieces[line] >= LINE)
    kind[steep] = CREASE
    return replace(mesh, kind=kind)


def _turning(mesh: EdgedMesh) -> tuple[FloatArray, IntArray]:
    """Return by what angle sharp lines turn at vertices, radians, and how many edges meet."""
    count = len(mesh.vertices)
    a, b = mesh.ends[mesh.kind != SMOOTH].T
    along = mesh.vertices[b] - mesh.vertices[a]
    along /= np.maximum(np.sqrt(np.einsum("ij,ij->i", along, along)), 1e-300)[:, None]
    total = np.stack(
        [
            np.bincount(a, along[:, k], minlength=count)
            - np.bincount(b, along[:, k], minlength=count)
            for k in range(3)
        ],
        axis=1,
    )
    meeting = np.bincount(a, minlength=count) + np.bincount(b, minlength=count)
    span = np.sqrt(np.einsum("ij,ij->i", total, total))
    return 2 * np.arcsin(np.minimum(span / 2, 1.0)), meeting


def _corners(mesh: EdgedMesh, crease: float) -> BoolArray:
    """Tell which vertices are corners of sharp lines."""
    turning, meeting = _turning(mesh)
    corner: BoolArray = (meeting == 2) & (turning >= crease)
    return corner


def _needed(mesh: EdgedMesh, owned: BoolArray, limit: float) -> BoolArray:
    """Tell which owned triangles bend against neighbours and look wide from above."""
    bend = mesh.bends()
    flat = replace(mesh, vertices=mesh.vertices * np.array([1.0, 1.0, 0.0]))
    length = flat.lengths()
    first, last = mesh.sides()
    area = flat.areas()
    size = 2 * np.maximum(area[first], area[last]) / np.maximum(length, 1e-300)  # across the edge
    sharp = mesh.kind != SMOOTH
    if sharp.any():
        turning, meeting = _turning(mesh)
        turning[(meeting != 2) | mesh.fixed] = 0.0
        bend[sharp] = turning[mesh.ends[sharp]].max(axis=1)
        size[sharp] = length[sharp]
    seen = (bend > BEND) & (size > limit) & (bend * size > STEP * limit)
    needed: BoolArray = owned & np.logical_or.reduce(seen[mesh.edges], axis=1)
    return needed


def _visible(mesh: EdgedMesh, owned: BoolArray, facet: float) -> BoolArray:
    """Tell which triangles are seen from above, or have a vertex in common with such."""
    low, high = mesh.vertices[:, :2].min(axis=0), mesh.vertices[:, :2].max(axis=0)
    pitch = max(0.6 * facet, float((high - low).max()) / 2048)
    cols, rows = (int(n) + 1 for n in np.ceil((high - low) / pitch))
    grid = Grid(float(low[0]), float(high[1]), pitch, rows, cols)
    rows_of = np.flatnonzero(owned)
    _, index = top_surface(mesh.vertices, mesh.triangles[rows_of], grid, with_index=True)
    assert index is not None
    seen = np.zeros(len(owned), dtype=bool)
    seen[rows_of[index[index >= 0]]] = True
    return _touching(mesh.triangles, seen, len(mesh.vertices))


def _subdivide(mesh: EdgedMesh, facet: float) -> Iterator[tuple[FloatArray, IntArray]]:
    """Yield what is fine enough, level after level, on the surface that all levels share.

    A triangle that is split beside one that is not leaves a slit between the old edge and
    its two halves; a triangle that fills it goes with each.
    """
    original = mesh.vertices
    shrinking = replace(mesh, vertices=original - limit_points(mesh))
    mesh = replace(mesh, vertices=original + SHRINKAGE_RESTORED * limit_points(shrinking))
    owned = np.ones(len(mesh.triangles), dtype=bool)
    done = 0
    for level in range(12):
        needed = _needed(mesh, owned, facet)
        if level == 0:  # at the seams to the rest of the model neighbours are missing
            first, last = mesh.sides()
            seam = (first == last) & (mesh.kind == SMOOTH)
            held = np.zeros(len(mesh.vertices), dtype=bool)
            held[mesh.ends[seam].ravel()] = True
            needed &= ~np.logical_or.reduce(held[mesh.triangles], axis=1)
        points = limit_points(mesh)
        if level == 0:  # what does not bend stays as it was
            kept = np.ones(len(points), dtype=bool)
            kept[mesh.triangles[needed].ravel()] = False
            points[kept] = original[kept]
        # what is not seen is not split, but moves along, so that it does not come to be seen
        needed &= _visible(mesh, owned, facet)
        if done + 4 * np.count_nonzero(needed) > MOST:
            needed[:] = False
        ready = mesh.triangles[owned & ~needed]
        done += len(ready)
        yield points, ready
        if not needed.any():
            return
        about = _touching(mesh.triangles, needed, len(mesh.vertices))
        part, needed = part_of(mesh, about), needed[about]
        rim = _rim(part, needed)
        n = len(part.vertices)
        mesh = subdivided(part)
        owned = np.tile(needed, 4)
        slits = np.column_stack([part.ends[rim, 0], rim + n, part.ends[rim, 1]])
        yield limit_points(mesh), slits


def _rim(mesh: EdgedMesh, chosen: BoolArray) -> IntArray:
    """Return the edges of chosen triangles that other triangles do not share with them."""
    times = np.bincount(mesh.edges[chosen].ravel(), minlength=len(mesh.ends))
    return np.flatnonzero((times == 1) & (mesh.kind != OPEN))
