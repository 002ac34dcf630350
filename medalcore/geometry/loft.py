"""Closed solids whose walls run through outlines at different heights.

`drafted` makes letters, emblems and cutters: an outline as drawn and a wall that leans by
the draft. `loft` joins given outlines. Walls are plane wherever the outline's edge is
straight; where an outline grows into itself, one wedge per edge is joined instead.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import manifold3d as m3
import numpy as np

from ..errors import SolidError
from .arrays import cross2
from .contour import Contours, distinct, drawn_in, section, unpinched
from .corners import mitres, with_joins
from .draft import Draft
from .front import Sweep
from .solid import Label, Solid, checked, solid_from_arrays, solid_from_manifold
from .straight_skeleton import sweep
from .types import BoolArray, FloatArray, IntArray

_SHORTEST = 4e-5  # mm: edges below this may vanish when a file rounds to float32

_THINNEST = 4e-6  # mm: triangles lower than this may lose their area by the same


def drafted(
    contours: Contours,
    bottom_z: float,
    top_z: float,
    draft: float,
    zone: str,
    *,
    limit: float = 3.0,
    facets: float = 0.0,
) -> Solid:
    """Return the solid between two heights that is `contours` at the top and grows downwards.

    Parameters
    ----------
    contours : tuple of (n, 2) float64
        Clean outlines, mm.
    bottom_z, top_z : float
        mm.
    draft : float
        Lean of the walls from upright, 0 to below π/2, rad.
    zone : str
    limit : float
        Sharp corners whose mitre would be longer than this many times the growth get a
        facet across, with the same draft.
    facets : float
        Above 0: corners are rounded by facets of at most this angle, rad.

    Raises
    ------
    SolidError
        If there is nothing to make a solid of, or it does not come out closed.
    """
    contours = distinct(contours)
    contours = unpinched(contours) if contours else ()
    if not contours or top_z <= bottom_z:
        raise SolidError("an outline with an inside and a height above 0 is needed for a solid")
    grown = (top_z - bottom_z) * Draft(draft).run_per_rise
    if grown <= 1e-7:
        return loft([(contours, bottom_z), (contours, top_z)], zone)
    for tried in (contours, distinct(drawn_in(contours))):
        swept = sweep(tried, grown, limit=limit, facets=facets) if tried else None
        if swept and swept.is_simple:
            vertices, triangles = swept_mesh(swept, Draft(draft).rise_per_run)
            vertices[:, 2] += top_z
            return solid_from_arrays(vertices, triangles, zone)
    return wedged(contours, bottom_z, top_z, grown, zone, limit, facets)


def swept_mesh(swept: Sweep, steepness: float) -> tuple[FloatArray, IntArray]:
    """Return the closed mesh between an outline (at z = 0) and what it has grown to below.

    Parameters
    ----------
    swept : Sweep
    steepness : float
        Depth per distance grown: the cotangent of the draft.

    Returns
    -------
    vertices : (n, 3) float64, mm
    triangles : (m, 3) int64
    """
    vertices = np.column_stack([swept.places, -steepness * swept.reached])
    node = welded(vertices, swept)
    # The caps stay level, also where an edge's end has been drawn into one of their corners.
    last = np.array([i for ring in swept.end for i in ring], dtype=np.int64)
    vertices[node[last], 2] = -steepness * swept.reached.max()
    places = swept.places[node]
    triangles = np.concatenate(
        [
            wall_triangles(vertices, node, swept),
            cap_triangles(places, [_ring_of(node, r) for r in swept.begin]),
            cap_triangles(places, [_ring_of(node, r) for r in swept.end])[:, ::-1],
        ]
    )
    a, b, c = triangles.T
    vertices, triangles = _compact(vertices, triangles[(a != b) & (b != c) & (c != a)])
    return vertices, without_needles(vertices, triangles)


def without_needles(vertices: FloatArray, triangles: IntArray) -> IntArray:
    """Turn the long edge of triangles so thin that rounding could leave them no area.

    The corner opposite that edge lies on it but for less than a file can tell, so joining
    it to the neighbour's far corner instead moves nothing.
    """
    corners = vertices[triangles]
    sides = np.roll(corners, -1, axis=1) - corners
    lengths = np.sqrt(np.einsum("ijk,ijk->ij", sides, sides))
    twice = np.linalg.norm(np.cross(sides[:, 0], sides[:, 1]), axis=1)
    thin = np.flatnonzero(twice <= lengths.max(axis=1) * _THINNEST)
    if not len(thin):
        return triangles
    tri = [tuple(t) for t in triangles.tolist()]
    owner = {(t[k], t[(k + 1) % 3]): i for i, t in enumerate(tri) for k in range(3)}
    gone: set[int] = set()
    for i in thin.tolist():
        if i in gone:
            continue
        across = vertices[list(tri[i])]
        reach = np.linalg.norm(np.roll(across, -1, axis=0) - across, axis=1)
        k = int(np.argmax(reach))
        doubled = float(np.linalg.norm(np.cross(across[1] - across[0], across[2] - across[0])))
        if doubled > reach[k] * _THINNEST:
            continue  # mended with a neighbour
        a, b, c = tri[i][k], tri[i][(k + 1) % 3], tri[i][(k + 2) % 3]
        j = owner[(b, a)]
        d = next(v for v in tri[j] if v not in (a, b))
        if d == c:  # two needles back to back hold nothing between them
            gone |= {i, j}
        elif (c, d) not in owner and (d, c) not in owner:
            tri[i], tri[j] = (c, a, d), (d, b, c)
            del owner[(a, b)], owner[(b, a)]
            for index in (i, j):
                t = tri[index]
                owner.update({(t[m], t[(m + 1) % 3]): index for m in range(3)})
    return np.array([t for i, t in enumerate(tri) if i not in gone], dtype=np.int64)


def welded(vertices: FloatArray, swept: Sweep, fixed: IntArray | None = None) -> IntArray:
    """Return for every node the one it stands for: edges too short for float32 vanish.

    Nodes in `fixed` stand for themselves.
    """
    sizes = np.array([len(f) for f in swept.faces])
    start = np.concatenate([np.fromiter(f, dtype=np.int64) for f in swept.faces])
    last = np.cumsum(sizes) - 1
    stop = np.roll(start, -1)
    stop[last] = start[last - sizes + 1]
    step = vertices[stop] - vertices[start]
    short = np.flatnonzero(np.einsum("ij,ij->i", step, step) < _SHORTEST**2)
    node = np.arange(len(vertices))
    a, b = start[short], stop[short]
    while not np.array_equal(node[a], node[b]):
        low = np.minimum(node[a], node[b])
        np.minimum.at(node, node[a], low)
        np.minimum.at(node, node[b], low)
        node = node[node]
    if fixed is not None:
        node[fixed] = fixed
    return node


def _ring_of(node: IntArray, ring: Sequence[int]) -> IntArray:
    """Return a ring of nodes without repeated ones."""
    nodes = node[np.asarray(ring, dtype=np.int64)]
    kept: IntArray = nodes[nodes != np.roll(nodes, 1)]
    return kept


def wall_triangles(vertices: FloatArray, node: IntArray, swept: Sweep) -> IntArray:
    """Return the triangles of the swept faces."""
    plain = np.array([f for f in swept.faces if len(f) == 4], dtype=np.int64).reshape(-1, 4)
    l0, l1, r1, r0 = node[plain].T
    found = [np.column_stack([l0, l1, r1]), np.column_stack([l0, r1, r0])]
    for face in swept.faces:
        if len(face) == 4:
            continue
        ring = _ring_of(node, face)
        if len(ring) >= 3:
            flat = _unrolled(vertices[ring])
            found.append(
                ring[np.asarray(m3.triangulate([flat], epsilon=_THINNEST, allow_convex=False))]
            )
    return np.concatenate(found).astype(np.int64)


def _unrolled(corners: FloatArray) -> FloatArray:
    """Return a plane wall face in its own plane: to the right along the wall, and up it."""
    x, y, z = (corners - corners[0]).T
    after = np.concatenate([corners[1:], corners[:1]]) - corners[0]
    u, v, w = after.T
    # Newell's normal of a polygon (the sum of its edges' cross products).
    normal = np.array([y @ w - z @ v, z @ u - x @ w, x @ v - y @ u])
    normal /= max(math.sqrt(normal @ normal), 1e-300)
    flat = max(math.hypot(normal[0], normal[1]), 1e-300)
    ax, ay = -normal[1] / flat, normal[0] / flat
    up = (-normal[2] * ay, normal[2] * ax, normal[0] * ay - normal[1] * ax)
    return np.ascontiguousarray(
        np.column_stack([x * ax + y * ay, x * up[0] + y * up[1] + z * up[2]])
    )


def cap_triangles(places: FloatArray, rings: Sequence[Sequence[int] | IntArray]) -> IntArray:
    """Return the triangles of a flat face between rings of nodes, seen from above."""
    rings = [r for r in rings if len(r) >= 3]
    if not rings:
        return np.empty((0, 3), dtype=np.int64)
    index = np.concatenate([np.asarray(r, dtype=np.int64) for r in rings])
    found = m3.triangulate([np.ascontiguousarray(places[list(r)]) for r in rings])
    return np.asarray(index[np.asarray(found, dtype=np.int64)])


def _compact(vertices: FloatArray, triangles: IntArray) -> tuple[FloatArray, IntArray]:
    """Drop vertices that no triangle uses."""
    used, renumbered = np.unique(triangles, return_inverse=True)
    return vertices[used], renumbered.reshape(-1, 3).astype(np.int64)


def wedged(
    contours: Contours,
    bottom_z: float,
    top_z: float,
    grown: float,
    zone: str,
    limit: float,
    facets: float,
) -> Solid:
    """Return a drafted solid as the union of its upright core and one wedge per edge.

    Slower than `drafted` by an order and less clean where wedges meet, but it needs no
    front to be followed: the way round for an outline that defeats it.
    """
    parts = [section(contours).extrude(top_z - bottom_z).translate((0.0, 0.0, bottom_z))]
    for contour in contours:
        points, normals = with_joins(contour, limit, facets)
        before, after = np.roll(normals, 1, axis=0), normals
        opens = cross2(before, after) >= 0.0
        meets = mitres(before, after)
        for i in range(len(points)):
            j = (i + 1) % len(points)
            # Corners that open share the mitre; at the others the wedges overlap.
            left = meets[i] if opens[i] else normals[i]
            right = meets[j] if opens[j] else normals[i]
            foot = [points[i], points[j], points[i] + grown * left, points[j] + grown * right]
            corners = [(*p, bottom_z) for p in foot]
            corners += [(*points[i], top_z), (*points[j], top_z)]
            parts.append(m3.Manifold.hull_points(np.array(corners)))
    body = m3.Manifold.batch_boolean(parts, m3.OpType.Add)
    return solid_from_manifold(checked(body, "a drafted outline").simplify(1e-5), zone)


def loft(levels: Sequence[tuple[Contours, float]], zone: str | Sequence[Label | str]) -> Solid:
    """Return the closed solid whose wall runs through outlines at rising heights.

    Neighbouring levels with the same number of contours and of points in each are joined
    point by point (walls may be upright). Otherwise one outline must lie strictly inside
    the other, and the ring between them is triangulated.

    Parameters
    ----------
    levels : sequence of (contours, z)
        At least two; clean outlines in mm, z strictly rising.
    zone : str or sequence
        One zone for all, or one (a name or a `Label`) for the bottom, each wall going up,
        and the top.

    Raises
    ------
    SolidError
        If heights do not rise, or the outlines do not nest.
    """
    heights = [z for _, z in levels]
    if len(levels) < 2 or any(b <= a for a, b in pairwise(heights)):
        raise SolidError("a loft needs at least two outlines at rising heights")
    places: list[FloatArray] = []
    rings: list[list[IntArray]] = []
    start = 0
    for contours, _ in levels:
        sizes = np.cumsum([start] + [len(c) for c in contours])
        rings.append([np.arange(a, b) for a, b in pairwise(sizes.tolist())])
        places.extend(contours)
        start = int(sizes[-1])
    xy = np.concatenate(places)
    z = np.repeat(heights, [sum(len(c) for c in contours) for contours, _ in levels])
    groups = [cap_triangles(xy, rings[0])[:, ::-1]]
    for lower, upper in pairwise(rings):
        if [len(r) for r in lower] == [len(r) for r in upper]:
            groups.append(_strips(lower, upper))
        else:
            groups.append(_ring(xy, lower, upper))
    groups.append(cap_triangles(xy, rings[-1]))
    names = [zone] * len(groups) if isinstance(zone, str) else list(zone)
    if len(names) != len(groups):
        raise SolidError(f"a loft of {len(levels)} outlines takes {len(groups)} zones")
    labels = [v if isinstance(v, Label) else Label(v) for v in names]
    distinct = list(dict.fromkeys(labels))
    code = np.repeat([distinct.index(v) for v in labels], [len(g) for g in groups])
    return solid_from_arrays(
        np.column_stack([xy, z]), np.concatenate(groups), distinct, code.astype(np.int64)
    )


def _strips(lower: Sequence[IntArray], upper: Sequence[IntArray]) -> IntArray:
    """Join rings point by point."""
    found = []
    for a, c in zip(lower, upper, strict=True):
        b, d = np.roll(a, -1), np.roll(c, -1)
        found += [np.column_stack([a, b, d]), np.column_stack([a, d, c])]
    return np.concatenate(found)


def _ring(xy: FloatArray, lower: Sequence[IntArray], upper: Sequence[IntArray]) -> IntArray:
    """Triangulate between nested outlines, then flip away triangles that lie level."""
    wide, narrow, turn = (lower, upper, 1) if _size(xy, lower) > _size(xy, upper) else (
        upper, lower, -1
    )  # fmt: skip
    left_over = section(tuple(xy[r] for r in narrow)) - section(tuple(xy[r] for r in wide))
    if left_over.area() > 1e-6 * abs(_size(xy, narrow)):
        raise SolidError("outlines of a loft must lie inside each other")
    rings = [*wide, *(r[::-1] for r in narrow)]
    triangles = cap_triangles(xy, rings)
    on_wide = np.zeros(len(xy), dtype=bool)
    on_wide[np.concatenate(wide)] = True
    return _unlevelled(triangles, on_wide, xy)[:, ::turn]


def _size(xy: FloatArray, rings: Sequence[IntArray]) -> float:
    return float(section(tuple(xy[r] for r in rings)).area())


def _unlevelled(triangles: IntArray, on_wide: BoolArray, xy: FloatArray) -> IntArray:
    """Flip edges so that as few triangles as possible have all corners on one outline.

    Such a triangle would be a level shelf in the wall. It shares an inner edge with one
    that reaches the other outline, or with another shelf that will once it is mended.
    """
    tri: list[tuple[int, int, int]] = [tuple(t) for t in triangles.tolist()]
    owner = {(t[k], t[(k + 1) % 3]): i for i, t in enumerate(tri) for k in range(3)}
    flags = on_wide.tolist()

    def level(t: tuple[int, int, int]) -> bool:
        return bool(flags[t[0]] == flags[t[1]] == flags[t[2]])

    def turns_left(a: int, b: int, c: int) -> bool:
        u, v = xy[b] - xy[a], xy[c] - xy[a]
        return bool(cross2(u, v) > 0.0)

    waiting = [i for i, t in enumerate(tri) if level(t)]
    for _ in range(20):
        rest = []
        for i in waiting:
            for k in range(3):
                a, b, c = tri[i][k], tri[i][(k + 1) % 3], tri[i][(k + 2) % 3]
                j = owner.get((b, a))
                if j is None:
                    continue
                d = next(v for v in tri[j] if v not in (a, b))
                if flags[d] == flags[a] or not (turns_left(c, a, d) and turns_left(d, b, c)):
                    continue
                tri[i], tri[j] = (c, a, d), (d, b, c)
                for index in (i, j):
                    t = tri[index]
                    owner.update({(t[m], t[(m + 1) % 3]): index for m in range(3)})
                del owner[(a, b)], owner[(b, a)]
                break
            if level(tri[i]):
                rest.append(i)
        if len(rest) == len(waiting):
            break
        waiting = rest
    return np.array(tri, dtype=np.int64)
