"""From the table of a relief to its solid: model, depth, height, draft, surface."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from msgspec.structs import replace

from ...context.element import Built, Context, Finding, Model, Part
from ...context.ground import Ground
from ...context.tolerance import Tolerance
from ...geometry.grid import HeightField
from ...geometry.masks import away_from
from ...geometry.solid import Solid
from ...geometry.step_edges import StepEdges, find_step_edges
from ...spec.relief import Relief
from .compression.asked import resolve_height
from .compression.compress import SEEN, Compressed, compress, foot_of
from .compression.drawing_heights import compress_drawing
from .compression.emphasis import read_emphasis, soften
from .depth.source_depth import SourceDepth, see_source
from .draft.curvature_flow import smooth_level_lines
from .draft.draft import enforce_draft, fill_gaps
from .draft.footprint import clearance_of, fit_at_field, move_field, move_source
from .keys import CompressionKeys, DraftKeys, SourceKeys
from .sources.fit import with_height
from .strokes import apply_strokes
from .surface.closing import Shape
from .surface.drawing_surface import flat_shape
from .surface.relief_solid import relief_shape, solid_of
from .surface.slope_limit import Steep, steeper

_WORTH_TELLING = 0.01  # mm raised, or mm2 filled, below which a note would be noise
_STEEP_SHARE = 0.02  # of the outline's length
_CLOSED_SHARE = 0.01  # of the outline's length
_GAUGED = 0.25  # degrees of draft that nobody reads on a wall so low (common practice, no source)
_ROOM = 1.0  # mm below the field, more than the foot of any relief reaches down


def build_relief(spec: Relief, context: Context) -> Built:
    """Model a relief on the field of a face.

    Parameters
    ----------
    spec : Relief
    context : Context

    Returns
    -------
    Built
        One part to add, zone ``relief``. Facts: ``height_mm`` from the field to the highest
        point, ``size_mm`` across and up, ``triangles``, pieces and holes of the outline,
        what the compression measured, and what was found on the model.

    Raises
    ------
    SourceError
        If the model cannot be read or shows nothing.
    SpecError
        If it cannot be placed as asked.
    SolidError
        If there is no room below the field for its foot.
    """
    ground = context.ground
    spec = with_height(spec, ground)
    home = _home(spec)
    made = _worked(home, context)
    context.progress(0.8, "making its surface")
    base, at = _base(ground), (0.0, 0.0)
    if ground.is_flat:
        at = (spec.at[0] - home.at[0], spec.at[1] - home.at[1])
    else:  # what is under it changes with its place
        home, made = spec, _placed(made, spec, home)
    parts = base, context.tolerance, _reach(home, context)
    surface = context.stages.get(
        "shape", parts, home, lambda: _surfaced(home, made, base, context.tolerance)
    )
    place = np.column_stack([np.eye(3), [*at, ground.level]])
    context.progress(1.0, "done")
    shape, filled = surface.shape, surface.filled
    seen_at = made.source.footprint
    return Built(
        parts=(Part(surface.solid.moved(place)),),
        facts=_facts(spec, made, shape, filled),
        findings=(
            *_unused(spec, context.models.get(spec.source)),
            *_findings(spec, made, shape, filled),
            *_steep(spec, surface.steep, at, is_drawing=made.source.flat is not None),
            *made.findings,
        ),
        footprint=None if seen_at is None else seen_at + np.array(at),
        keep=clearance_of(spec, made.source, spec.fit or 2.0 * context.ground.radius),
    )


def _unused(spec: Relief, source: Model | HeightField | None) -> Iterator[Finding]:
    """Tell of a key that a height field has no use for: only the model in memory shows which."""
    if isinstance(source, HeightField) and spec.crease != Relief(source=spec.source).crease:
        yield Finding(
            "unused-key", "note",
            f"crease has no effect with {spec.source}, a height field, which has no facets to "
            "smooth; leave it out",
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Surfaced:
    """A relief's solid, the area of gaps that got a floor, mm2, and what is too steep."""

    shape: Shape
    solid: Solid
    filled: float
    steep: Steep | None


def _surfaced(spec: Relief, made: DraftedField, ground: Ground, tolerance: Tolerance) -> _Surfaced:
    draft = math.radians(spec.draft)
    flat = made.source.flat
    if flat is not None:
        shape, filled = flat_shape(made.worked, flat, ground, draft=draft, tolerance=tolerance)
        return _Surfaced(shape, solid_of(shape), filled, _too_steep(shape, draft))
    field = fill_gaps(made.field, draft)
    filled = float(np.sum(field.mask & ~made.field.mask)) * field.grid.pixel**2
    shape = relief_shape(
        field, ground, draft=draft, tolerance=tolerance, found=made.edges, before=made.even
    )
    return _Surfaced(shape, solid_of(shape), filled, _too_steep(shape, draft))


def _too_steep(shape: Shape, draft: float) -> Steep | None:
    if draft <= 0.0:
        return None
    return steeper(shape.vertices, shape.triangles[: shape.top], draft)


def _home(spec: Relief) -> Relief:
    """Return the relief where it is worked: in the middle, if its size does not hang on that.

    So a relief that is only moved is not worked again.
    """
    return replace(spec, at=(0.0, 0.0)) if spec.fit > 0 else spec


def _base(ground: Ground) -> Ground:
    """Return the ground at level 0, without what no relief depends on.

    So a change of thickness or rim only moves a relief. Room below the field counts only
    where it is so little that the foot may not reach as deep as it would.
    """
    base = dataclasses.replace(
        ground, level=0.0, outline=(), rims=(False, False), voids=(), rim=0.0, free=0.0
    )
    if base.is_flat:
        base = dataclasses.replace(base, radius=1.0)
    return dataclasses.replace(base, floor=max(ground.floor - ground.level, base.lowest - _ROOM))


def _reach(spec: Relief, context: Context) -> float:
    """Return the radius that a relief is fitted to; nothing if its size is given."""
    ground = context.ground
    return 0.0 if spec.fit > 0 else min(ground.radius, ground.free or ground.radius)


@dataclass(frozen=True, eq=False)
class DraftedField:
    """A relief's heights, ready for its surface.

    Attributes
    ----------
    source : SourceDepth
    field : HeightField
        mm above the field of the piece.
    bare, worked : HeightField
        The same before draft, without and with strokes.
    even : HeightField
        The same with strokes, and smooth on steep slopes.
    edges : StepEdges
        Its strong inner edges.
    raised : float
        By how much draft raised the lowest place at most, mm.
    facts : mapping
        What was measured on the way.
    findings : tuple of Finding
        About strokes.
    """

    source: SourceDepth
    field: HeightField
    bare: HeightField
    worked: HeightField
    even: HeightField
    edges: StepEdges
    raised: float
    facts: Mapping[str, Any]
    findings: tuple[Finding, ...]


def model_relief(spec: Relief, context: Context) -> DraftedField:
    """Model a relief as a height field: depth, height, strokes, draft.

    Raises
    ------
    SourceError, SpecError
        As `build_relief`.
    """
    spec = with_height(spec, context.ground)
    home = _home(spec)
    return _placed(_worked(home, context), spec, home)


def _worked(spec: Relief, context: Context) -> DraftedField:
    """Model a relief where it is worked, from whatever stages are kept."""
    tell, stages, models = context.progress, context.stages, context.models
    reach = _reach(spec, context)
    pixels = context.tolerance.pixels_of(spec.fit or 2.0 * reach)

    seen_by, lowered_by = SourceKeys.of(spec), CompressionKeys.of(spec)
    seen_from = (pixels, reach, context.tolerance.curve)

    def look() -> SourceDepth:
        tell(0.0, "looking at its model")
        curve = context.tolerance.curve
        return see_source(seen_by, context.ground, pixels, models, stages, curve)

    def press(source: SourceDepth, asked: CompressionKeys) -> Compressed:
        tell(0.35, "bringing down its depth")
        weight = source.weight
        if asked.emphasis:
            painted = read_emphasis(asked.emphasis, source.field)
            weight = painted if weight is None else weight * painted
        if weight is not None:
            weight = soften(weight, source.field.mask)
        if source.flat is not None:
            return compress_drawing(source.field, asked)
        return compress(source.field, asked, weight=weight, lowest=source.lowest or 0.0)

    def work() -> DraftedField:
        source = stages.get("seen", seen_from, seen_by, look)
        asked = resolve_height(spec, source)
        low = stages.get(
            "low",
            (*seen_from, seen_by, stages.digest(seen_by)),
            lowered_by,
            lambda: press(source, CompressionKeys.of(asked)),
        )
        source, bare, walls = fit_at_field(source, low.field, asked, pixels)
        worked = apply_strokes(
            bare, asked, source.frame, models, foot_of(CompressionKeys.of(asked))
        )
        tell(0.75, "giving it draft")
        even = smooth_level_lines(worked.field, 0.5 * context.tolerance.surface)
        draft = math.radians(spec.draft)
        edges = find_step_edges(even, away_from(even.mask), draft, 0.5 * context.tolerance.surface)
        drafted = enforce_draft(even, draft, edges.tops)
        return DraftedField(
            source=source,
            field=drafted,
            bare=bare,
            worked=worked.field,
            even=even,
            edges=edges,
            raised=0.0 if source.flat else _raised(even, drafted),  # its edges are its own
            facts={**low.facts, **walls, **worked.facts},
            findings=worked.findings,
        )

    before = (seen_by, stages.digest(seen_by), lowered_by, stages.digest(lowered_by))
    return stages.get("heights", (context.tolerance, reach, *before), DraftKeys.of(spec), work)


def _placed(made: DraftedField, spec: Relief, home: Relief) -> DraftedField:
    """Bring a relief from where it was worked to its place."""
    shift = np.array([spec.at[0] - home.at[0], spec.at[1] - home.at[1]])
    if not shift.any():
        return made
    return dataclasses.replace(
        made,
        source=move_source(made.source, 1.0, shift),
        field=move_field(made.field, 1.0, shift),
        bare=move_field(made.bare, 1.0, shift),
        worked=move_field(made.worked, 1.0, shift),
        even=move_field(made.even, 1.0, shift),
    )


def _raised(before: HeightField, after: HeightField) -> float:
    """Return by how much draft raised the lowest place at most, mm."""
    if after is before:
        return 0.0
    return float(np.max(after.heights - before.heights))


def _facts(spec: Relief, made: DraftedField, shape: Shape, filled: float) -> dict[str, Any]:
    return {
        "source": spec.source,
        "model_triangles": made.source.triangles,
        "model_notes": list(made.source.notes),
        "pixel_mm": round(made.source.field.grid.pixel, 6),
        "height_mm": round(shape.height_mm, 6),
        "size_mm": [round(s, 4) for s in shape.size_mm],
        "triangles": len(shape.triangles),
        "pieces": shape.pieces,
        "holes": shape.holes,
        "raised_for_draft_mm": round(made.raised, 4),
        "gaps_filled_mm2": round(filled, 4),
        **made.facts,
    }


def _findings(spec: Relief, made: DraftedField, shape: Shape, filled: float) -> Iterator[Finding]:
    for note in made.source.notes:
        yield Finding("relief-source", "remark", note)
    if shape.islands_dropped:
        yield Finding(
            "relief-specks", "warning",
            f"{shape.islands_dropped} loose specks of the model, each under two pixels, were left "
            "out; a larger fit would hold them",
        )  # fmt: skip
    if shape.holes_filled:
        yield Finding(
            "relief-specks", "remark",
            f"{shape.holes_filled} holes in the outline, each under two pixels, were filled",
        )  # fmt: skip
    if made.source.flat is None:  # a drawing has nothing that hangs over
        yield from _closed(made.facts)
    if made.raised > _WORTH_TELLING:
        yield Finding(
            "relief-draft", "remark",
            f"hollows beside steep walls were filled by up to {made.raised:.2f} mm, so that no "
            f"wall is steeper than the draft of {spec.draft:g} degrees",
            measured=made.raised,
        )  # fmt: skip
    if filled > _WORTH_TELLING:
        yield Finding(
            "relief-draft", "note",
            f"gaps in the outline too narrow for a draft of {spec.draft:g} degrees on both sides "
            f"got a floor, {filled:.2f} mm2 in all; a lower relief or less draft keeps them open",
            measured=filled,
        )  # fmt: skip
    if shape.steep_share > _STEEP_SHARE:
        yield Finding(
            "relief-draft", "warning",
            f"gaps in the outline are too narrow for a draft of {spec.draft:g} degrees: "
            f"{100.0 * shape.steep_share:.0f} % of the outline's wall stands steeper",
            measured=shape.steep_share,
            limit=_STEEP_SHARE,
        )  # fmt: skip


def _steep(
    spec: Relief, steep: Steep | None, shift: tuple[float, float], *, is_drawing: bool
) -> Iterator[Finding]:
    """Tell of facets that are steeper than the draft, as measured on the finished surface."""
    if steep is None:
        return
    least, (u, v) = math.degrees(steep.least), np.add(steep.where, shift)
    if spec.draft - least < _GAUGED:
        return
    cure = "less draft or the quality fine" if is_drawing else "a smoother source, less draft"
    yield Finding(
        "relief-draft",
        "note" if is_drawing else "warning",
        f"{steep.count} facets, {steep.area:.2g} mm2 in all, are steeper than the draft of "
        f"{spec.draft:g} degrees, the steepest at {least:.2f} degrees near {u:.1f}, {v:.1f} "
        f"mm; {cure} or a lower relief avoids it",
        measured=least,
        limit=spec.draft,
    )


def _closed(facts: Mapping[str, Any]) -> Iterator[Finding]:
    """Tell what was closed of an outline that hung above the field."""
    closed, share = facts.get("overhang_closed_mm", 0.0), facts.get("overhang_closed_share", 0.0)
    if closed > SEEN and share > _CLOSED_SHARE:
        yield Finding(
            "relief-overhang", "remark",
            f"the model's outline hangs up to {facts['overhang_on_model_mm']:.2f} mm above its "
            f"lowest point, {facts['overhang_scaled_mm']:.2f} mm at the height of the relief; it "
            f"was brought down towards the field by up to {closed:.2f} mm, along "
            f"{100.0 * share:.0f} % of its length, and what was open below it filled",
            measured=closed,
        )  # fmt: skip
