"""A height field on the ground of a face becomes one closed solid.

Built directly, not by a boolean: the outline is part of the triangulation of the top, the
wall and the bottom hang on the same outline points. So there is nothing to cut and no
sliver, and every triangle but the bottom's looks up or sideways.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray

from ..errors import SolidError
from ..grid import Grid, HeightField
from ..ground import Ground
from ..solid import Solid, solid_from_arrays
from ..tolerance import Tolerance
from .lean import leaning
from .lines import Lines
from .outline import Outline, following, silhouette, thinned
from .steps import Cliffs, away_from, cliffs, envelope, grown, steps
from .triangulate import Surface, triangulated
from .wall import Wall, gaps
from .wall import leaning as leaning_out

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

FOLD = math.radians(5.0)  # facets of a smooth surface differ by no more, as far as pixels allow
_THIN = 0.065  # pixels: less than how far the outline keeps clear of pixel centres
_SPECK = 2.0  # pixels: an island or a hole smaller than this is an accident of the grid
_HALF = 0.42  # of a gap: how far a wall may lean into it
_WITHIN = 1.0  # pixels inside the outline where its height is read
_CLEARLY = 0.7  # of the wanted lean of a wall, below which its steepness is told
_SINK = 0.25  # mm that the bottom lies below the field
_BELOW = 0.06  # mm below the field where the drafted wall ends and an upright one begins


@dataclass(frozen=True, eq=False)
class Shape:
    """A relief as closed triangles, and what happened on the way.

    Attributes
    ----------
    vertices : (n, 3) float64
        Face coordinates, mm.
    triangles : (m, 3) int64
        The top's first (`top` of them), then wall and bottom.
    top : int
    height_mm : float
        Highest point above the field, measured on the vertices.
    size_mm : tuple of float
        Extent of the outline in u and v.
    pieces, holes : int
        Loops of the outline.
    islands_dropped, holes_filled : int
        Specks under two pixels.
    steep_share : float
        Share of the outline whose wall is clearly steeper than asked, because the gap it
        stands in is too narrow for it.
    """

    vertices: FloatArray
    triangles: IntArray
    top: int
    height_mm: float
    size_mm: tuple[float, float]
    pieces: int
    holes: int
    islands_dropped: int
    holes_filled: int
    steep_share: float


def relief_solid(
    field: HeightField, ground: Ground, *, draft: float, tolerance: Tolerance
) -> Solid:
    """Make the closed solid of a relief.

    Parameters
    ----------
    field : HeightField
        Heights above the field, mm.
    ground : Ground
        The field it stands on; the solid crosses it.
    draft : float
        Lean of the wall at the outline from upright, radians.
    tolerance : Tolerance

    Returns
    -------
    Solid
        Zone ``relief``, in face coordinates; one shell for each piece of the outline.

    Raises
    ------
    SolidError
        If the field is empty or the piece too thin to sink the relief into.
    """
    return solid_of(relief_shape(field, ground, draft=draft, tolerance=tolerance))


def solid_of(shape: Shape) -> Solid:
    """Hand a shape to the boolean library, labelled ``relief``."""
    return solid_from_arrays(shape.vertices, shape.triangles, "relief")


def relief_shape(
    field: HeightField,
    ground: Ground,
    *,
    draft: float,
    tolerance: Tolerance,
    found: Cliffs | None = None,
    before: HeightField | None = None,
) -> Shape:
    """Make the triangles of a relief; parameters and errors as `relief_solid`."""
    grid = field.grid
    whole = silhouette(field.mask)
    outline, dropped, filled = _without_specks(whole, int(np.argmax(field.heights)), grid)
    if len(outline.points) == 0:
        raise SolidError("the relief has no area: its model covers less than two pixels")
    mask = field.mask if dropped == 0 else field.mask & _covered(outline, grid.shape)
    known, height = _carried_out(mask, field.heights)
    edge_z = _along(outline, known, height)
    if draft > 0:
        fall = grid.pixel / math.tan(draft)
        edge_z = np.minimum(edge_z, -envelope(outline.points, mask, -field.heights, fall))
        edge_z = np.maximum(edge_z, envelope(outline.points, mask, field.heights, fall))
    edge_z += ground.height(_face(outline.points, grid))
    z = on_ground(grid, height, ground)
    chosen, first = _corners(outline, edge_z, grid.pixel, tolerance)
    border, border_z = outline.points[chosen], edge_z[chosen]
    inner = away_from(mask)
    summit = _summit(mask, inner, height)
    must, rise = pixel_at(summit, grid), np.array([height.ravel()[summit]], dtype=np.float64)
    if not inner.ravel()[summit]:  # the form is highest where it is cut off
        near = int(np.argmin(np.sum((border - must) ** 2, axis=1)))
        border_z[near] = rise[0] + float(ground.height(_face(border[near], grid)))
        must, rise = must[:0], rise[:0]
    if found is None:
        found = cliffs(field, inner, draft, 0.5 * tolerance.surface)
    edges = steps(found, before or field, field, draft)
    inner.ravel()[edges.released] = False
    must, rise = np.concatenate([edges.points, must]), np.append(edges.height, rise)
    lines = Lines(must, rise + ground.height(_face(must, grid)), edges.edges)
    z[~inner] = np.nan
    surface = triangulated(
        z, border, border_z, _polygon(border, first), tolerance.surface, grid.pixel,
        lines=lines, fold=FOLD, slope=1 / math.tan(draft) if draft > 0 else math.inf,
    )  # fmt: skip
    return closed_shape(surface, first, mask, grid, ground, draft, (dropped, filled))


def _without_specks(outline: Outline, summit: int, grid: Grid) -> tuple[Outline, int, int]:
    """Drop islands and fill holes of less than two pixels; return also their numbers.

    An island with the summit, a flat pixel index, stays: the height asked for stands there.
    """
    area = outline.areas()
    small = np.abs(area) < _SPECK - 0.5  # the contour of n pixels covers about n − ½
    for k in np.flatnonzero(small & (area > 0)):
        loop = outline.points[outline.first[k] : outline.first[k + 1]]
        small[k] = np.any(np.abs(loop.mean(axis=0) - pixel_at(summit, grid)) > 1.5)
    if not np.any(small):
        return outline, 0, 0
    islands, holes = int(np.sum(small & (area > 0))), int(np.sum(small & (area <= 0)))
    return outline.keep(~small), islands, holes


def _covered(outline: Outline, shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Tell which pixel centres lie inside an outline (even-odd along each row)."""
    a, b = outline.points, outline.points[following(outline.first)]
    row0, row1 = -a[:, 1], -b[:, 1]
    low = np.ceil(np.minimum(row0, row1)).astype(np.int64)
    high = np.ceil(np.maximum(row0, row1)).astype(np.int64)  # half open
    some = np.flatnonzero((high > low) & (low >= 0) & (low < shape[0]))
    row = low[some]  # a contour segment spans at most one row line
    t = (row - row0[some]) / (row1[some] - row0[some])
    col = np.ceil(a[some, 0] + t * (b[some, 0] - a[some, 0])).astype(np.int64)
    flips = np.zeros((shape[0], shape[1] + 1), dtype=np.int32)
    np.add.at(flips, (row, np.clip(col, 0, shape[1])), 1)
    return np.asarray(np.cumsum(flips, axis=1)[:, :-1] % 2 == 1)


def _carried_out(
    mask: NDArray[np.bool_], heights: NDArray[np.float32], layers: int = 3
) -> tuple[NDArray[np.bool_], NDArray[np.float32]]:
    """Carry heights beyond the mask: each layer the mean of the neighbours it has."""
    known = mask.copy()
    h = np.where(mask, heights, np.float32(0))
    rows, cols = mask.shape
    for _ in range(layers):
        ring = np.flatnonzero(grown(known) & ~known)
        r, c = ring // cols, ring % cols
        total, count = np.zeros(len(ring)), np.zeros(len(ring))
        for dr in (-1, 0, 1):
            for dc in (-1, 0, 1):
                rr, cc = r + dr, c + dc
                ok = (rr >= 0) & (rr < rows) & (cc >= 0) & (cc < cols)
                q = np.where(ok, rr * cols + cc, ring)
                has = known.ravel()[q]
                total += np.where(has, h.ravel()[q], 0)
                count += has
        h.ravel()[ring] = (total / np.maximum(count, 1)).astype(np.float32)
        known.ravel()[ring] = True
    return known, h


def _face(points: FloatArray, grid: Grid) -> FloatArray:
    """Return face coordinates in mm of points given in pixels, (n, 2)."""
    return np.asarray(points * grid.pixel + np.array([grid.left, grid.top]))


def pixel_at(flat: int, grid: Grid) -> FloatArray:
    """Return where a pixel lies, (1, 2) pixels."""
    row, col = divmod(flat, grid.cols)
    return np.array([[col, -row]], dtype=np.float64)


def on_ground(grid: Grid, height: NDArray[np.float32], ground: Ground) -> NDArray[np.float32]:
    """Add the ground to every height, a few rows at a time to spare memory."""
    z = np.empty(grid.shape, dtype=np.float32)
    u, v = grid.u(), grid.v()
    for r in range(0, grid.rows, 128):
        rows = slice(r, min(r + 128, grid.rows))
        if ground.is_flat:
            z[rows] = height[rows] + np.float32(ground.level)
        else:
            uv = np.stack(np.broadcast_arrays(u[None, :], v[rows, None]), axis=-1)
            z[rows] = height[rows] + ground.height(uv)
    return z


def _along(outline: Outline, known: NDArray[np.bool_], height: NDArray[np.float32]) -> FloatArray:
    """Read heights along the outline, a pixel inside it, evened over about a pixel.

    On a form that falls away steeply the outermost pixels stand as high as chance has put
    them nearer to the edge or farther from it; at one distance they stand alike.
    """
    rows, cols = height.shape
    way = outline.points[following(outline.first, 2)] - outline.points[following(outline.first, -2)]
    way /= np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)[:, None]
    x = np.clip(outline.points[:, 0] - _WITHIN * way[:, 1], 0, cols - 1)
    y = np.clip(-(outline.points[:, 1] + _WITHIN * way[:, 0]), 0, rows - 1)
    c, r = np.minimum(x.astype(np.int64), cols - 2), np.minimum(y.astype(np.int64), rows - 2)
    total, weight = np.zeros(len(x)), np.zeros(len(x))
    for dr in (0, 1):
        for dc in (0, 1):
            w = np.abs(1 - dr - (y - r)) * np.abs(1 - dc - (x - c)) + 1e-9
            w *= known[r + dr, c + dc]
            total += w * height[r + dr, c + dc]
            weight += w
    edge = total / weight
    nxt, prv = following(outline.first), following(outline.first, -1)
    for _ in range(4):
        edge = 0.25 * (edge[prv] + 2.0 * edge + edge[nxt])
    return edge


def _corners(
    outline: Outline, edge_z: FloatArray, pixel: float, tolerance: Tolerance
) -> tuple[IntArray, IntArray]:
    """Choose the outline points to keep; return them and where the loops start among them."""
    points = np.column_stack([outline.points, edge_z])
    scale = np.array([min(tolerance.curve / pixel, _THIN), 0.7 * tolerance.surface])
    chosen = thinned(points, outline.first, scale)
    return chosen, np.searchsorted(chosen, outline.first)


def _polygon(points: FloatArray, first: IntArray) -> IntArray:
    """Triangulate the area within loops.

    Raises
    ------
    SolidError
        If the loops cross.
    """
    loops = [points[a:b] for a, b in itertools.pairwise(first)]
    triangles = np.asarray(m3.triangulate(loops), dtype=np.int64)
    corner = points[triangles]
    e1, e2 = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    area = e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0]
    if np.any(area < -1e-6):
        raise SolidError("the outline of the relief crosses itself")
    return triangles


def _summit(mask: NDArray[np.bool_], inner: NDArray[np.bool_], height: NDArray[np.float32]) -> int:
    """Return the flat index of the highest pixel, away from the outline if there is a choice."""
    top = np.max(height, where=mask, initial=-np.inf)
    peaks = np.flatnonzero(mask & (height >= top - np.float32(1e-7)))
    away = peaks[inner.ravel()[peaks]]
    return int((away if len(away) else peaks)[0])


def closed_shape(
    surface: Surface,
    first: IntArray,
    mask: NDArray[np.bool_],
    grid: Grid,
    ground: Ground,
    draft: float,
    specks: tuple[int, int],
) -> Shape:
    """Hang wall and bottom on the border of the top, whose points come first in it."""
    uv = _face(surface.points, grid)
    n, m = len(uv), int(first[-1])
    field_z = ground.height(uv)
    low = float(field_z.min())
    space = low - ground.floor
    if space < 0.02:
        raise SolidError("the relief cannot reach into the piece: it is too thin below the field")
    sink, below = min(_SINK, 0.9 * space), min(_BELOW, 0.3 * space)
    wanted = np.maximum(surface.z[:m] - field_z[:m] + below, 0.0) * math.tan(max(draft, 0.0))
    wide = gaps(surface.points[:m], first, mask, wanted / grid.pixel) * grid.pixel
    wall = leaning_out(uv[:m], first, np.minimum(wanted, _HALF * wide))
    foot_z = ground.height(wall.points) - below
    if draft > 0:
        foot_z = _held(uv[:m], surface.z[:m], wall, foot_z, below, draft)
    bottom_z = min(low - sink, float(foot_z.min()) - 0.25 * sink)
    k = len(wall.points)
    vertices = np.concatenate(
        [
            np.column_stack([uv, surface.z]),
            np.column_stack([wall.points, foot_z]),
            np.column_stack([wall.points, np.full(k, bottom_z)]),
        ]
    )
    strip = np.where(wall.strip >= m, wall.strip + (n - m), wall.strip)
    ring = n + np.arange(k)
    after = n + following(wall.first)
    upright = np.concatenate(
        [np.stack([ring + k, after + k, after], 1), np.stack([ring + k, after, ring], 1)]
    )
    bottom = _polygon(wall.points, wall.first)[:, ::-1] + n + k
    loops = Outline(uv[:m], first).areas()
    extent = np.ptp(uv[:m], axis=0)
    side = np.linalg.norm(uv[following(first)] - uv[:m], axis=1)
    return Shape(
        vertices=vertices,
        triangles=np.concatenate([surface.triangles, strip, upright, bottom]),
        top=len(surface.triangles),
        height_mm=float(np.max(surface.z - field_z)),
        size_mm=(float(extent[0]), float(extent[1])),
        pieces=int(np.sum(loops > 0)),
        holes=int(np.sum(loops < 0)),
        islands_dropped=specks[0],
        holes_filled=specks[1],
        steep_share=float(np.sum(side[wall.reach < _CLEARLY * wanted]) / np.sum(side)),
    )


def _held(
    border: FloatArray, z: FloatArray, wall: Wall, foot_z: FloatArray, below: float, draft: float
) -> FloatArray:
    """Return heights of the wall's foot, moved below the field so that it keeps the draft."""
    give = np.concatenate([np.zeros(len(border)), np.full(len(foot_z), 0.8 * below)])
    points = np.concatenate([border, wall.points])
    both = np.concatenate([z, foot_z])
    held = leaning(points, both, wall.strip, 1 / math.tan(draft), give, (1.0,))
    return held[len(border) :]


__all__ = ["Shape", "relief_shape", "relief_solid", "solid_of"]
