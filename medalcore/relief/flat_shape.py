"""The surface of a flat drawing: plateaus bounded by its curves, walls between them.

What tells a drawing from a model is that its edges are known. So they are not looked for on
the pixels: every level's area, less the walls of what stands on it, is bounded by the
drawing's own outlines and by the feet of those walls; the walls are what is left. Both start
the triangulation with these borders fixed, and the pixels only bend what lies between.
"""

from __future__ import annotations

import itertools
import math

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray

from ..contour import Contours
from ..errors import SolidError
from ..grid import Grid, HeightField
from ..ground import Ground
from ..tolerance import Tolerance
from .faces import Faces, border_of, joined, triangles_of
from .flat_height import covered, level_map
from .flat_source import Flat
from .flat_walls import LEAST, Heights, cones, heights_of_walls, walled
from .lines import Lines
from .outline import silhouette, thinned
from .solid import FOLD, Shape, closed_shape, on_ground, pixel_at
from .steps import away_from
from .triangulate import triangulated

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_EVEN = 5e-4  # mm that heights within a level may differ by and be one
_SHORT = 3.0  # pixels of an edge along which heights change
_FLOOR = 0.01  # mm: the floor of a gap between walls stands at least this high
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
        raise SolidError("the relief has no area: its drawing covers less than two pixels")
    level = level_map(tuple(_in_mm(s, grid) for s in levels), grid)
    drop = grid.pixel / math.tan(draft) if draft > 0.0 else math.inf
    own = [_of_level(field, level == n, flat, n) for n in range(len(levels))]
    outer, filled = _outer(field, flat, levels, level, drop)
    areas = _areas(levels, outer, field, level, own, drop)
    smooth = any(_varies(field.heights[level == n]) for n in range(len(levels)))
    faces = joined(areas, _longest(smooth, ground, grid, tolerance))
    z, edges, edge_z = _edge_heights(faces, own, drop)
    surface = np.where(field.mask, field.heights, np.float32(_FLOOR))
    near = np.zeros(grid.shape, dtype=bool)
    cones(edges, edge_z, min(drop, 1e3), surface, near)
    return _triangles(
        faces, z, surface, near, field, ground, draft, tolerance, specks
    ), filled * grid.pixel**2


def _triangles(
    faces: Faces,
    z: FloatArray,
    surface: NDArray[np.float32],
    near: BoolArray,
    field: HeightField,
    ground: Ground,
    draft: float,
    tolerance: Tolerance,
    specks: tuple[int, int],
) -> Shape:
    grid = field.grid
    start = triangles_of(faces)
    loops = border_of(start, len(faces.points))
    order = np.concatenate([*loops, np.setdiff1d(np.arange(len(z)), np.concatenate(loops))])
    used = np.isin(order, start)
    order = order[used]
    name = np.full(len(z), -1)
    name[order] = np.arange(len(order))
    first = np.cumsum([0, *(len(loop) for loop in loops)])
    points, z = faces.points[order], z[order]
    edges = np.concatenate([faces.edges(n) for n in range(len(faces.loops))])
    mask = covered(np.stack([points[: first[-1]], points[_next(first)]], axis=1), grid.shape)
    held = away_from(mask) & ~near
    summit = int(np.argmax(np.where(held, surface, -np.inf)))
    must = pixel_at(summit, grid)
    uv = points * grid.pixel + (grid.left, grid.top)
    high = on_ground(grid, surface, ground)
    lines = Lines(must, high.ravel()[[summit]].astype(np.float64), np.zeros((0, 2), np.int64))
    high[~held] = np.nan
    made = triangulated(
        high, points, z + ground.height(uv), name[start], tolerance.surface, grid.pixel,
        lines=lines, fold=FOLD, fixed=name[edges],
    )  # fmt: skip
    return closed_shape(made, first, mask, grid, ground, draft, specks)


def _next(first: IntArray) -> IntArray:
    at = np.arange(first[-1]) + 1
    at[first[1:] - 1] = first[:-1]
    return at


def _in_pixels(contours: Contours, grid: Grid) -> m3.CrossSection:
    return m3.CrossSection(
        [np.ascontiguousarray((c - (grid.left, grid.top)) / grid.pixel) for c in contours],
        m3.FillRule.NonZero,
    )


def _in_mm(section: m3.CrossSection, grid: Grid) -> Contours:
    return tuple(np.asarray(p) * grid.pixel + (grid.left, grid.top) for p in section.to_polygons())


def _without_specks(
    levels: tuple[m3.CrossSection, ...],
) -> tuple[tuple[m3.CrossSection, ...], tuple[int, int]]:
    """Return the levels without islands and holes under two pixels, and how many of the lowest."""
    out: list[m3.CrossSection] = []
    counts: list[tuple[int, int]] = []
    for section in levels:
        loops = [np.asarray(p) for p in section.to_polygons()]
        area = np.array([_area(p) for p in loops])
        small = np.abs(area) < _SPECK
        kept = [p for p, s in zip(loops, small, strict=True) if not s]
        within = m3.CrossSection(kept, m3.FillRule.NonZero)
        out.append(within ^ out[-1] if out else within)
        counts.append((int(np.sum(small & (area > 0))), int(np.sum(small & (area < 0)))))
    return tuple(out), counts[0]


def _area(points: FloatArray) -> float:
    x, y = points.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def _varies(values: NDArray[np.float32]) -> bool:
    return bool(len(values)) and float(np.ptp(values)) > _EVEN


def _of_level(field: HeightField, where: BoolArray, flat: Flat, n: int) -> Heights:
    """Return the heights of one level; where no pixel is near, what its share asks for."""
    top = float(field.heights.max())
    usual = float(np.median(field.heights[where])) if where.any() else flat.shares[n] * top
    return Heights(field.heights, where, field.grid.pixel, usual)


def _outer(
    field: HeightField,
    flat: Flat,
    levels: tuple[m3.CrossSection, ...],
    level: IntArray,
    drop: float,
) -> tuple[m3.CrossSection, float]:
    """Return all that is modelled: the lowest level, what flows out, gaps that are filled."""
    outer = levels[0]
    if np.any(field.mask & (level < 0)):
        whole = silhouette(field.mask)
        flatly = np.column_stack([whole.points, np.zeros(len(whole.points))])
        chosen = thinned(flatly, whole.first, np.array([0.05, 1.0]))
        first = np.searchsorted(chosen, whole.first)
        loops = [whole.points[chosen[a:b]] for a, b in itertools.pairwise(first)]
        return outer + m3.CrossSection(loops, m3.FillRule.NonZero), 0.0
    if math.isinf(drop):
        return outer, 0.0
    before = outer.area()
    for n, section in enumerate(levels):
        if section.is_empty() or not np.any(level >= n):
            continue
        wide = float(np.median(field.heights[level >= n])) / drop
        closed = section.offset(wide, m3.JoinType.Miter, 4.0).offset(-wide, m3.JoinType.Miter, 4.0)
        gaps = closed - section
        kept = gaps.offset(-0.1 * wide, m3.JoinType.Miter, 2.0).offset(
            0.11 * wide, m3.JoinType.Miter, 2.0
        )
        outer = outer + (gaps ^ kept)
    return outer, outer.area() - before


def _areas(
    levels: tuple[m3.CrossSection, ...],
    outer: m3.CrossSection,
    field: HeightField,
    level: IntArray,
    own: list[Heights],
    drop: float,
) -> list[m3.CrossSection]:
    """Return the plateau of every level, and last the walls between them."""
    grid, plateaus = field.grid, []
    raised = m3.CrossSection()
    most = float(field.heights.max()) / min(drop, 1e3)
    for n in range(len(levels) - 1, -1, -1):
        above = levels[n + 1] if n + 1 < len(levels) else m3.CrossSection()
        plateaus.append(_sound(levels[n] - above - raised))
        if n:
            top = Heights(field.heights, level >= n, grid.pixel, own[n].values.max())
            below = Heights(field.heights, field.mask & (level < n), grid.pixel, -1.0)
            loops = [np.asarray(p) for p in levels[n].to_polygons()]
            raised = raised + walled(loops, top, below, drop, max(most, LEAST))
    plateaus = plateaus[::-1]
    walls = outer
    for plateau in plateaus:
        walls = walls - plateau
    return [*plateaus, walls]


def _sound(section: m3.CrossSection) -> m3.CrossSection:
    """Return a section without slivers."""
    loops = [np.asarray(p) for p in section.to_polygons()]
    return m3.CrossSection([p for p in loops if abs(_area(p)) > 1e-3], m3.FillRule.NonZero)


def _longest(smooth: bool, ground: Ground, grid: Grid, tolerance: Tolerance) -> float:
    """Return how long straight edges may be, pixels, for heights to stay true along them."""
    if smooth:
        return _SHORT
    if ground.is_flat:
        return math.inf
    bend = max(abs(ground.dish), 1e-6) * 2.0 / ground.radius**2  # of a paraboloid; a sphere's too
    return max(math.sqrt(4.0 * tolerance.surface / bend) / grid.pixel, _SHORT)


def _edge_heights(
    faces: Faces, own: list[Heights], drop: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return z of all points, and the edges of plateaus with theirs: (m, 2, 2) and (m, 2)."""
    z = np.full(len(faces.points), -np.inf)
    found: list[IntArray] = []
    for n, known in enumerate(own):
        pairs = faces.edges(n)
        if not len(pairs):
            continue
        some = np.unique(pairs)
        z[some] = np.maximum(z[some], known.at(faces.points[some]))
        found.append(pairs)
    pairs = np.concatenate(found)
    line, heights = faces.points[pairs], z[pairs]
    rest = np.flatnonzero(np.isneginf(z))
    z[rest] = np.maximum(
        heights_of_walls(faces.points[rest], line, heights, min(drop, 1e3)), _FLOOR
    )
    return z, line, heights
