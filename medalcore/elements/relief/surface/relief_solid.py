"""A height field on the ground of a face becomes one closed solid.

Built directly, not by a boolean: the outline is part of the triangulation of the top, the
wall and the bottom hang on the same outline points. So there is nothing to cut and no
sliver, and every triangle but the bottom's looks up or sideways.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ....context.ground import Ground
from ....context.tolerance import Tolerance
from ....errors import SolidError
from ....geometry.constraint_lines import Lines, joined
from ....geometry.draft import Draft
from ....geometry.grid import Grid, HeightField
from ....geometry.masks import away_from, grown
from ....geometry.scanlines import covered
from ....geometry.silhouette import Silhouette, simplify, trace_silhouette
from ....geometry.solid import Solid, solid_from_arrays
from ....geometry.step_edges import StepEdges, find_step_edges
from ....geometry.types import BoolArray, Float32Array, FloatArray
from ..draft.edge_walls import constrain_walls
from ..draft.outline_heights import (
    OutlineHeights,
    choose_corners,
    drop_specks,
    edge_heights,
    pixel_at,
)
from ..draft.perimeter_wall import PerimeterWall, add_perimeter_wall
from .closing import BELOW, Shape, closed_shape, hung_shape, polygon, space
from .greedy_insertion import triangulate

DIHEDRAL_LIMIT = math.radians(5.0)
"""Facets of a smooth surface differ by no more, as far as pixels allow."""

_REACH = 0.004  # mm that a wall with draft reaches outwards at least
_FOOT = 0.01  # pixels by which the foot of a wall drawn with few points may differ


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
    found: StepEdges | None = None,
    before: HeightField | None = None,
) -> Shape:
    """Make the triangles of a relief; field, ground, draft, tolerance and errors as `relief_solid`.

    Parameters
    ----------
    found : StepEdges, optional
        Strong inner edges, found before the field was given draft; else looked for in it.
    before : HeightField, optional
        The field without draft, mm; else as it is.
    """
    grid = field.grid
    whole = trace_silhouette(field.mask)
    outline, dropped, filled = drop_specks(whole, int(np.argmax(field.heights)), grid)
    if len(outline.points) == 0:
        raise SolidError(
            "the relief has no area: its model covers less than two pixels; make it larger"
        )
    mask = field.mask if dropped == 0 else field.mask & covered(outline.edges, grid.shape)
    edge_z, height = edge_heights(outline, mask, field.heights, grid.pixel, draft)
    chosen, first = choose_corners(outline, edge_z, ground, grid, tolerance)
    inner = away_from(mask)
    summit = _summit(mask, inner, height)
    must, rise = pixel_at(summit, grid), height.ravel()[[summit]].astype(np.float64)
    if not inner.ravel()[summit]:  # the form is highest where it is cut off
        off = outline.points[chosen] - must
        near = chosen[np.argmin(np.sum(off**2, axis=1))]
        edge_z[near], must = rise[0], outline.points[near][None]
    if found is None:
        found = find_step_edges(field, inner, draft, 0.5 * tolerance.surface)
    rim = OutlineHeights(outline, edge_z, chosen, first)
    top = Lines(must, rise, np.zeros((0, 2), dtype=np.int64), np.array([0]))
    specks = dropped, filled
    if draft > 0:
        solid = mask if filled == 0 else covered(outline.edges, grid.shape)
        low = _lowest(outline, solid, grid, ground)
        below = min(BELOW, 0.3 * space(low, ground))
        drop_per_pixel, least = Draft(draft).drop_per_pixel(grid.pixel), _REACH / grid.pixel
        skirt = add_perimeter_wall(solid, height, rim, drop_per_pixel, below, least)
        within = np.s_[skirt.pad : -skirt.pad, skirt.pad : -skirt.pad]
        field = HeightField(grid, skirt.heights[within], skirt.mask[within])
        rim = skirt.rim
        every = Lines(rim.outline.points, rim.z, np.zeros((0, 2), dtype=np.int64))
        edges = constrain_walls(found, before or field, field, draft, every)
        inner.ravel()[edges.released] = False
        lines = joined(skirt.rim.line, edges.lines, top)
        return _shape_with_walls(skirt, lines, solid, inner, grid, ground, draft, tolerance, specks)
    edges = constrain_walls(found, before or field, field, draft)
    inner.ravel()[edges.released] = False
    border = outline.points[chosen]
    border_z = edge_z[chosen] + ground.height(grid.in_mm(border))
    z = on_ground(grid, height, ground)
    z[~inner] = np.nan
    surface = triangulate(
        z, border, border_z, polygon(border, first), tolerance.surface, grid.pixel,
        lines=_lift(joined(edges.lines, top), grid, ground), fold=DIHEDRAL_LIMIT,
    )  # fmt: skip
    return closed_shape(surface, first, mask, grid, ground, draft, specks)


def _lift(lines: Lines, grid: Grid, ground: Ground) -> Lines:
    """Return lines on the ground."""
    return replace(lines, z=lines.z + ground.height(grid.in_mm(lines.points)))


def on_ground(grid: Grid, height: Float32Array, ground: Ground) -> Float32Array:
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


def _summit(mask: BoolArray, inner: BoolArray, height: Float32Array) -> int:
    """Return the flat index of the highest pixel, away from the outline if there is a choice."""
    top = np.max(height, where=mask, initial=-np.inf)
    peaks = np.flatnonzero(mask & (height >= top - np.float32(1e-7)))
    away = peaks[inner.ravel()[peaks]]
    return int((away if len(away) else peaks)[0])


def _shape_with_walls(
    skirt: PerimeterWall,
    lines: Lines,
    mask: BoolArray,
    held: BoolArray,
    grid: Grid,
    ground: Ground,
    draft: float,
    tolerance: Tolerance,
    specks: tuple[int, int],
) -> Shape:
    """Make the triangles of a relief whose walls are part of its surface."""
    pad = skirt.pad
    wide = Grid(
        grid.left - pad * grid.pixel, grid.top + pad * grid.pixel, grid.pixel,
        grid.rows + 2 * pad, grid.cols + 2 * pad,
    )  # fmt: skip
    kept = np.pad(held, pad) | (away_from(skirt.mask) & ~grown(np.pad(mask, pad)))
    high = on_ground(wide, skirt.heights, ground)
    high[~kept] = np.nan
    flat = np.column_stack([skirt.border.points, np.zeros(len(skirt.border.points))])
    chosen = simplify(flat, skirt.border.first, np.array([_FOOT, 1.0]))
    first = np.searchsorted(chosen, skirt.border.first)
    border = skirt.border.points[chosen]
    lines = replace(lines, points=lines.points + np.array([pad, -pad]))
    top = max(float(skirt.heights.max()), float(lines.z.max()))

    def ceiling(points: FloatArray) -> FloatArray:
        return np.asarray(ground.height(wide.in_mm(points)) + top)

    surface = triangulate(
        high, border, ground.height(wide.in_mm(border)) - skirt.below, polygon(border, first),
        tolerance.surface, grid.pixel, lines=_lift(lines, wide, ground), fold=DIHEDRAL_LIMIT,
        rise_per_run=Draft(draft).rise_per_run, sunk=0.8 * skirt.below, ceiling=ceiling,
    )  # fmt: skip
    rim = skirt.rim
    outline = Silhouette(grid.in_mm(rim.outline.points[rim.chosen]), rim.first)
    return hung_shape(surface, first, wide, ground, outline, specks)


def _lowest(outline: Silhouette, mask: BoolArray, grid: Grid, ground: Ground) -> float:
    """Return z of the lowest place of the field under a relief, mm."""
    some = np.flatnonzero(mask)[::97]
    inside = np.stack([some % grid.cols, -(some // grid.cols)], axis=1).astype(np.float64)
    return float(ground.height(grid.in_mm(np.concatenate([outline.points, inside]))).min())
