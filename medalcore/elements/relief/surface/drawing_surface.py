"""The surface of a flat drawing: plateaus bounded by its curves, walls between them.

What tells a drawing from a model is that its edges are known. So they are not looked for on
the pixels: every level's area, less the walls of what stands on it, is bounded by the
drawing's own outlines and by the feet of those walls; the walls are what is left. Both start
the triangulation with these borders fixed, and the pixels only bend what lies between.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from ....context.ground import Ground
from ....context.tolerance import Tolerance
from ....errors import SolidError
from ....geometry.arrays import cross2
from ....geometry.bodies import Section, empty_section, mitred
from ....geometry.constrained_triangulation import triangles_of
from ....geometry.constraint_lines import Lines
from ....geometry.contour import Contours, inside, signed_area
from ....geometry.contour import section as section_of
from ....geometry.extended_heights import ExtendedHeights
from ....geometry.grid import Grid, HeightField
from ....geometry.masks import away_from
from ....geometry.planar_graph import Graph, planar, split
from ....geometry.scanlines import covered
from ....geometry.silhouette import Silhouette, simplify, trace_silhouette
from ....geometry.topology import labels
from ....geometry.types import BoolArray, Float32Array, FloatArray, IntArray
from ..depth.drawing_depth import level_map
from ..draft.drawing_walls import LEAST, cones, heights_of_walls, walled
from ..draft.outline_heights import pixel_at
from ..sources.drawing import Flat
from .closing import Shape, closed_shape, narrowest
from .greedy_insertion import triangulate
from .relief_solid import DIHEDRAL_LIMIT, on_ground

_EVEN = 5e-4  # mm that heights within a level may differ by and be one
_SHORT = 3.0  # pixels of an edge along which heights change
_EVENINGS = 8  # of heights along edges
_STRAIGHT = 0.9  # cosine of a turn from which it is a corner
_FINE = 0.25  # pixels of an outline across a gap, where walls from both sides meet
_FLOOR = 0.01  # mm: the floor of a gap between walls stands at least this high
_HAIR = 5e-5  # mm within which points and lines are one
_COARSER = 2.5
_TRIES = 4
_GAP = 4.0  # hairs that an outline which touches itself is drawn in by
_CLIFF = 1e3  # mm per pixel that a wall falls at most: upright
_SPECK = 2.0  # square pixels: smaller islands and holes are left out


def flat_shape(
    field: HeightField, flat: Flat, ground: Ground, *, draft: float, tolerance: Tolerance
) -> tuple[Shape, float]:
    """Make the triangles of a flat drawing.

    Parameters
    ----------
    field : HeightField
        Heights above the field, mm, without draft: levels jump where one ends.
    flat : Flat
        On the same face.
    ground : Ground
        The field it stands on.
    draft : float
        Lean of all walls from upright, radians.
    tolerance : Tolerance

    Returns
    -------
    shape : Shape
    filled : float
        Area of gaps too narrow for walls on both sides, which got a floor, mm2.

    Raises
    ------
    SolidError
        If nothing of it is large enough, or the piece too thin to sink it into.
    """
    grid = field.grid
    levels, specks = _without_specks(tuple(_in_pixels(c, grid) for c in flat.levels))
    if levels[0].is_empty():
        raise SolidError("its drawing covers less than two pixels of the relief; make it larger")
    level = level_map(tuple(_in_mm(s, grid) for s in levels), grid)
    drop = grid.pixel / math.tan(draft) if draft > 0.0 else math.inf
    own = [
        ExtendedHeights(field.heights, level == n, grid.pixel, math.nan) for n in range(len(levels))
    ]
    usual = [_usual(field, level == n, share) for n, share in enumerate(flat.shares)]
    outer, filled = _outer(field, levels, level, drop)
    plateaus = _plateaus(levels, field, level, usual, drop)
    smooth = any(_varies(field.heights[level == n]) for n in range(len(levels)))
    longest = _longest(smooth, ground, grid, tolerance), _FINE if filled else math.inf
    graph, start, loops = _start(outer, plateaus, longest, grid)
    z = _heights(graph, own, usual, field, level, drop)
    surface = np.where(field.mask, field.heights, np.float32(_FLOOR))
    near = np.zeros(grid.shape, dtype=bool)
    edges = graph.edges[graph.on[:, 1:].any(axis=1)]
    cones(graph.points[edges], z[edges], min(drop, _CLIFF), surface, near)
    made = _Start(graph, start, loops, z, surface, near)
    shape = _refined(made, grid, ground, draft, tolerance, specks)
    return shape, filled * grid.pixel**2


def _start(
    outer: Section,
    plateaus: list[Section],
    longest: tuple[float, float],
    grid: Grid,
) -> tuple[Graph, IntArray, list[IntArray]]:
    """Return the borders of all areas as a graph, its triangles, and the loops round them.

    Edges of plateaus, and those of the outline beside none, are as long as `longest` at most.
    Where lines lie too near each other to be told apart, or the outline touches itself, it is
    tried again more coarsely: the last time by what still cannot be seen.
    """
    for attempt in range(_TRIES):
        hair = _HAIR * _COARSER**attempt / grid.pixel
        gap = _GAP * hair if attempt else 0.0
        part = mitred(outer, -gap) if gap else outer
        try:
            graph = planar([_loops(part), *(_loops(p ^ part) for p in plateaus)], hair)
            graph = split(graph, np.where(graph.on[:, 1:].any(axis=1), *longest))
            triangles = _inside(graph, triangles_of(graph), part)
        except SolidError:
            continue
        loops = _border(triangles, len(graph.points))
        if loops:
            return graph, triangles, loops
    raise SolidError("lines of the drawing lie too near each other; simplify it or make it larger")


@dataclass(frozen=True, eq=False)
class _Start:
    """What the surface is refined from.

    Attributes
    ----------
    graph : Graph
    triangles : (m, 3) int64
    loops : list of (k,) int64
        Round the triangles.
    z : (n,) float64
        Of the points, mm above the field.
    surface : (rows, cols) float32
        Heights with walls, mm.
    near : (rows, cols) bool
        Pixels too near to an edge to count.
    """

    graph: Graph
    triangles: IntArray
    loops: list[IntArray]
    z: FloatArray
    surface: Float32Array
    near: BoolArray


def _refined(
    made: _Start,
    grid: Grid,
    ground: Ground,
    draft: float,
    tolerance: Tolerance,
    specks: tuple[int, int],
) -> Shape:
    """Bend the triangles between fixed edges to the heights, and close them."""
    border = np.concatenate(made.loops)
    used = np.unique(made.triangles)
    order = np.concatenate([border, np.setdiff1d(used, border)])
    name = np.full(len(made.z), -1)
    name[order] = np.arange(len(order))
    first = np.cumsum([0, *(len(loop) for loop in made.loops)])
    points = made.graph.points[order]
    mask = covered(Silhouette(points[: first[-1]], first).edges, grid.shape)
    held = away_from(mask) & ~made.near
    summit = int(np.argmax(made.surface))
    z = made.z[order]
    if not held.ravel()[summit]:  # the form is highest at its edge
        beside = int(np.argmin(np.hypot(*(points - pixel_at(summit, grid)).T)))
        z[beside] = max(z[beside], float(made.surface.ravel()[summit]))
        summit = int(np.argmax(np.where(held, made.surface, -np.inf)))
    high = on_ground(grid, made.surface, ground)
    top = high.ravel()[[summit]].astype(np.float64)
    lines = Lines(pixel_at(summit, grid), top, np.zeros((0, 2), np.int64))
    high[~held] = np.nan
    fixed = name[made.graph.edges]
    uv = points * grid.pixel + (grid.left, grid.top)
    surface = triangulate(
        high, points, z + ground.height(uv), name[made.triangles], tolerance.surface,
        grid.pixel, lines=lines, fold=DIHEDRAL_LIMIT, fixed=fixed[np.all(fixed >= 0, axis=1)],
    )  # fmt: skip
    return closed_shape(surface, first, mask, grid, ground, draft, specks)


def _loops(section: Section) -> list[FloatArray]:
    return [np.asarray(p, dtype=np.float64) for p in section.to_polygons()]


def _inside(graph: Graph, triangles: IntArray, outer: Section) -> IntArray:
    """Return the triangles that lie within an area whose outline is part of the graph."""
    n = len(graph.points)
    beyond = np.any(triangles < 0, axis=1)
    start, stop = triangles.ravel() % n, triangles[:, [1, 2, 0]].ravel() % n
    key = np.minimum(start, stop) * n + np.maximum(start, stop)
    owner = np.arange(len(key)) // 3
    some = ~np.isin(key, graph.edges[:, 0] * n + graph.edges[:, 1]) & ~beyond[owner]
    order = np.argsort(key[some], kind="stable")
    key, owner = key[some][order], owner[some][order]
    same = key[1:] == key[:-1]
    part = labels(owner[:-1][same], owner[1:][same], len(triangles))
    corner = graph.points[np.maximum(triangles, 0)]
    one, two = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    size = np.abs(cross2(one, two))
    order = np.lexsort((-size, part))
    head = order[np.flatnonzero(np.diff(part[order], prepend=-1))]  # the largest of each part
    within = np.zeros(len(triangles), dtype=bool)
    within[part[head]] = inside(tuple(_loops(outer)), corner[head].mean(axis=1))
    return np.asarray(triangles[within[part] & ~beyond])


def _border(triangles: IntArray, size: int) -> list[IntArray] | None:
    """Return the loops round triangles, material on the left; None if any touch."""
    start, stop = triangles.ravel(), triangles[:, [1, 2, 0]].ravel()
    rim = ~np.isin(start * size + stop, stop * size + start)
    start, stop = start[rim], stop[rim]
    if len(np.unique(start)) != len(start):
        return None
    after = dict(zip(start.tolist(), stop.tolist(), strict=True))
    loops = []
    for begin in start.tolist():
        loop, here = [], begin
        while here in after:
            loop.append(here)
            here = after.pop(here)
        if loop:
            loops.append(np.array(loop, dtype=np.int64))
    return loops


def _in_pixels(contours: Contours, grid: Grid) -> Section:
    return section_of(
        tuple([np.ascontiguousarray((c - (grid.left, grid.top)) / grid.pixel) for c in contours])
    )


def _in_mm(section: Section, grid: Grid) -> Contours:
    return tuple(np.asarray(p) * grid.pixel + (grid.left, grid.top) for p in section.to_polygons())


def _without_specks(
    levels: tuple[Section, ...],
) -> tuple[tuple[Section, ...], tuple[int, int]]:
    """Return the levels without islands and holes under two pixels, and how many of the lowest."""
    out: list[Section] = []
    counts: list[tuple[int, int]] = []
    for section in levels:
        loops = [np.asarray(p) for p in section.to_polygons()]
        area = np.array([signed_area(p) for p in loops])
        small = np.abs(area) < _SPECK
        kept = [p for p, s in zip(loops, small, strict=True) if not s]
        within = section_of(tuple(kept))
        out.append(within ^ out[-1] if out else within)
        counts.append((int(np.sum(small & (area > 0))), int(np.sum(small & (area < 0)))))
    return tuple(out), counts[0]


def _varies(values: Float32Array) -> bool:
    return bool(len(values)) and float(np.ptp(values)) > _EVEN


def _usual(field: HeightField, where: BoolArray, share: float) -> float:
    """Return the height of a level where no pixel tells it."""
    if where.any():
        return float(np.median(field.heights[where]))
    return share * float(field.heights.max())


def _outer(
    field: HeightField,
    levels: tuple[Section, ...],
    level: IntArray,
    drop: float,
) -> tuple[Section, float]:
    """Return all that is modelled: the lowest level, what flows out, gaps that are filled."""
    outer = levels[0]
    if np.any(field.mask & (level < 0)):
        whole = trace_silhouette(field.mask)
        flatly = np.column_stack([whole.points, np.zeros(len(whole.points))])
        chosen = simplify(flatly, whole.first, np.array([0.05, 1.0]))
        first = np.searchsorted(chosen, whole.first)
        loops = [whole.points[chosen[a:b]] for a, b in itertools.pairwise(first)]
        return outer + section_of(tuple(loops)), 0.0
    if math.isinf(drop):
        return outer, 0.0
    before = outer.area()
    for n, section in enumerate(levels):
        if section.is_empty() or not np.any(level >= n):
            continue
        high = float(np.median(field.heights[level >= n]))
        wide, narrow = high / drop, narrowest(high) / drop / 2.0
        closed = mitred(mitred(section, narrow), -narrow)
        gaps = closed - section
        kept = mitred(mitred(gaps, -0.1 * wide, 2.0), 0.11 * wide, 2.0)
        outer = outer + (gaps ^ kept)
    return outer, outer.area() - before


def _plateaus(
    levels: tuple[Section, ...],
    field: HeightField,
    level: IntArray,
    usual: list[float],
    drop: float,
) -> list[Section]:
    """Return what is left of every level beside the walls of those that stand on it."""
    pixel, plateaus = field.grid.pixel, []
    raised = empty_section()
    most = float(field.heights.max()) / min(drop, _CLIFF)
    for n in range(len(levels) - 1, -1, -1):
        above = levels[n + 1] if n + 1 < len(levels) else empty_section()
        plateaus.append(levels[n] - above - raised)
        if n and not levels[n].is_empty():
            top = ExtendedHeights(field.heights, level >= n, pixel, max(usual[n:]))
            below = ExtendedHeights(field.heights, field.mask & (level < n), pixel, -1.0)
            raised = raised + walled(_loops(levels[n]), top, below, drop, max(most, LEAST))
    return plateaus[::-1]


def _longest(smooth: bool, ground: Ground, grid: Grid, tolerance: Tolerance) -> float:
    """Return how long straight edges may be, pixels, for heights to stay true along them."""
    if smooth:
        return _SHORT
    if ground.is_flat:
        return math.inf
    bend = max(abs(ground.dish), 1e-6) * 2.0 / ground.radius**2  # of a paraboloid; a sphere's too
    return max(math.sqrt(4.0 * tolerance.surface / bend) / grid.pixel, _SHORT)


def _heights(
    graph: Graph,
    own: list[ExtendedHeights],
    usual: list[float],
    field: HeightField,
    level: IntArray,
    drop: float,
) -> FloatArray:
    """Return the heights of all points: of their plateau, or of the walls that reach them.

    Where plateaus touch, as hairs left over do, those count that have pixels there.
    """
    z, spare = np.full((2, len(graph.points)), -np.inf)
    on = graph.points_on()
    for n, known in enumerate(own):
        some = np.flatnonzero(on[:, n + 1])
        spare[some] = np.maximum(spare[some], usual[n])
        edge = np.full(len(z), -np.inf)
        edge[some] = np.nan_to_num(known.at(graph.points[some]), nan=-np.inf)
        z = np.maximum(z, _evened(edge, graph, graph.edges[graph.on[:, n + 1]]))
    z = np.where(np.isneginf(z), spare, z)
    rest = np.flatnonzero(np.isneginf(z))
    edges = graph.edges[np.all(~np.isneginf(z)[graph.edges], axis=1)]
    wall = heights_of_walls(graph.points[rest], graph.points[edges], z[edges], min(drop, _CLIFF))
    skirt = ExtendedHeights(field.heights, field.mask & (level < 0), field.grid.pixel, _FLOOR)
    z[rest] = np.maximum(wall, np.clip(skirt.at(graph.points[rest]), 0.0, _FLOOR))
    return np.asarray(np.minimum(z, float(field.heights.max())))


def _evened(z: FloatArray, graph: Graph, edges: IntArray) -> FloatArray:
    """Even heights along lines, away from their corners: they are read off pixels beside them."""
    ends = np.concatenate([edges, edges[:, ::-1]])
    ends = ends[np.argsort(ends[:, 0], kind="stable")]
    count = np.bincount(ends[:, 0], minlength=len(z))
    along = np.flatnonzero(count == 2)
    first = np.cumsum(count)[along] - 2
    before, after = ends[first, 1], ends[first + 1, 1]
    came = graph.points[along] - graph.points[before]
    goes = graph.points[after] - graph.points[along]
    size = np.hypot(*came.T), np.hypot(*goes.T)
    straight = np.sum(came * goes, axis=1) > _STRAIGHT * size[0] * size[1]
    along, before, after = along[straight], before[straight], after[straight]
    share = (size[0] / (size[0] + size[1]))[straight]
    known = ~np.isneginf(z[along] + z[before] + z[after])
    along, before, after, share = along[known], before[known], after[known], share[known]
    for _ in range(_EVENINGS):
        z[along] = 0.5 * (z[along] + (1.0 - share) * z[before] + share * z[after])
    return z
