"""A relief where it meets the field: as large there as asked, the walls below its outline too.

Walls fall outwards from the outline, by the height it stands at times the tangent of the draft.
So a relief is drawn in by as much: evenly, to come to its larger side, or to the crop's border.
With a foot that flows out there are no walls, and the outline is as large as asked. So are the
outlines of drawings, as drawn ones are everywhere, and of what stands one to one.
"""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np

from ....context.tolerance import TOLERANCES
from ....geometry.draft import Draft
from ....geometry.grid import Grid, HeightField
from ....geometry.silhouette import trace_silhouette
from ....geometry.types import FloatArray
from ....spec.relief import Relief
from ..compression.compress import foot_of
from ..compression.drawing_heights import compress_drawing
from ..depth.drawing_depth import drawing_depth
from ..depth.source_depth import SourceDepth
from ..keys import CompressionKeys, SourceKeys
from ..sources.fit import MARGIN_PIXELS
from .outline_heights import edge_heights

_CLEAR = 0.02
"""mm that a relief keeps from the edge of the piece: walls go on to just below the field."""

_ROUNDS = 4
"""Times that a crop is drawn in and the height brought back that it may have cost."""


def fit_at_field(
    source: SourceDepth, field: HeightField, spec: Relief, pixels: int
) -> tuple[SourceDepth, HeightField, dict[str, Any]]:
    """Return a source and its compressed relief as large at the field as is asked.

    Also, where it was drawn in evenly, ``walls_reach_mm``: how far walls reach beyond its
    outline to the left, below, to the right and above.

    Parameters
    ----------
    source : SourceDepth
    field : HeightField
        Heights above the field, mm, without draft.
    spec : Relief
        With the height that it comes to (`asked.resolve_height`).
    pixels : int
        Along the larger side of the grid.
    """
    run_per_rise = Draft.of_degrees(spec.draft).run_per_rise
    if run_per_rise <= 0.0 or spec.blend > 0.0:
        return source, field, {}
    if spec.crop.shape != "none":
        return *_cropped(source, field, spec, run_per_rise, pixels), {}
    if spec.fit <= 0.0 or source.flat is not None or spec.compression == "none":
        return source, field, {}
    low, high = _walls(field, run_per_rise)
    size = float(max(spec.fit - (low + high)[np.argmax(_size(field))], 0.5 * spec.fit))
    scale = size / spec.fit
    shift = np.asarray(spec.at) * (1.0 - scale) + 0.5 * (low - high)
    facts = {"walls_reach_mm": np.round([*low, *high], 4).tolist()}
    return move_source(source, scale, shift), move_field(field, scale, shift), facts


def _size(field: HeightField) -> tuple[int, int]:
    """Return how many pixels across and up a relief has."""
    cols, rows = np.flatnonzero(field.mask.any(0)), np.flatnonzero(field.mask.any(1))
    return int(np.ptp(cols)), int(np.ptp(rows))


def _walls(field: HeightField, run_per_rise: float) -> tuple[FloatArray, FloatArray]:
    """Return by how much walls reach beyond the outline's box: left and below, right and above."""
    outline = trace_silhouette(field.mask)
    z, _ = edge_heights(
        outline, field.mask, field.heights, field.grid.pixel, math.atan(run_per_rise)
    )
    place, reach = outline.points * field.grid.pixel, (run_per_rise * z)[:, None]
    low = place.min(axis=0) - (place - reach).min(axis=0)
    high = (place + reach).max(axis=0) - place.max(axis=0)
    return low, high


def move_field(field: HeightField, scale: float, shift: FloatArray) -> HeightField:
    """Return a field with every point p of the face at p · scale + shift, heights as they are."""
    g = field.grid
    left, top = g.left * scale + float(shift[0]), g.top * scale + float(shift[1])
    return HeightField(Grid(left, top, g.pixel * scale, g.rows, g.cols), field.heights, field.mask)


def move_source(source: SourceDepth, scale: float, shift: FloatArray) -> SourceDepth:
    """Return a source placed likewise."""

    def frame() -> FloatArray:
        return np.asarray(source.frame() * scale + np.column_stack([np.zeros((2, 2)), shift]))

    at = source.footprint  # as asked, so it does not shrink with the outline
    return dataclasses.replace(
        source,
        footprint=at + shift if at is not None and scale == 1.0 else at,
        field=move_field(source.field, scale, shift),
        frame=frame,
        flat=None if source.flat is None else source.flat.placed(scale, shift),
    )


def _cropped(
    source: SourceDepth, field: HeightField, spec: Relief, run_per_rise: float, pixels: int
) -> tuple[SourceDepth, HeightField]:
    """Draw in what walls within the crop leave no room for."""
    if source.flat is not None:
        inset = tuple(run_per_rise * spec.height * share for share in source.flat.shares)
        flat = source.flat.within(SourceKeys.of(spec), inset)
        raw = drawing_depth(flat, SourceKeys.of(spec), pixels)
        return dataclasses.replace(source, field=raw, flat=flat), compress_drawing(
            raw, CompressionKeys.of(spec)
        ).field
    room = _to_border(field.grid, spec)
    heights = field.heights
    for _ in range(_ROUNDS):
        mask = field.mask & (room >= run_per_rise * heights)
        top = float(heights[mask].max(initial=0.0))
        if spec.compression == "none" or not 0.0 < top < spec.height:
            break
        heights = np.minimum(heights * np.float32(spec.height / top), np.float32(spec.height))
    if not mask.any():
        return source, field
    out = np.where(mask, heights, np.float32(0))
    raw = HeightField(field.grid, np.where(mask, source.field.heights, np.float32(0)), mask)
    return dataclasses.replace(source, field=raw), HeightField(field.grid, out, mask)


def _to_border(grid: Grid, spec: Relief) -> FloatArray:
    """Return how far pixels lie within the crop, (rows, cols) mm; less than 0 outside.

    Of an oval, to first order in the distance (G. Taubin, *Estimation of planar curves ...*,
    IEEE PAMI 13, 1991).
    """
    u, v = grid.u()[None, :] - spec.at[0], grid.v()[:, None] - spec.at[1]
    a, b = 0.5 * spec.crop.width, 0.5 * spec.crop.height
    if spec.crop.shape == "rectangle":
        return np.asarray(np.minimum(a - abs(u), b - abs(v)))
    level = np.hypot(u / a, v / b)
    slope = np.hypot(u / a**2, v / b**2) / np.maximum(level, 1e-9)
    return np.asarray((1.0 - level) / np.maximum(slope, 1e-9))


def clearance_of(spec: Relief, source: SourceDepth, size: float) -> float:
    """Return how far the footprint of a relief `size` mm large keeps from the edge, mm.

    Room for walls and feet that stand beyond it, and for half a pixel of the coarsest grid: so
    what is refused does not hang on how finely a relief is worked.
    """
    keep = _CLEAR + spec.blend
    if source.flat is None:
        tolerance = TOLERANCES["draft"]
        return keep + 0.5 * size / (tolerance.pixels_of(size) - 2 * MARGIN_PIXELS)
    if spec.blend > 0.0 or spec.crop.shape != "none":
        return keep
    share = spec.flat.edge if spec.flat.shoulder > 0.0 else 1.0
    high = max(foot_of(CompressionKeys.of(spec)), share * source.flat.shares[0] * spec.height)
    return keep + high * Draft.of_degrees(spec.draft).run_per_rise
