"""From the table of a relief to its solid: model, depth, height, draft, surface."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..element import Built, Context, Finding, Part
from ..grid import HeightField
from ..spec.relief import Relief
from .compress import compress, foot_of
from .draft import enforce_draft, fill_gaps
from .emphasis import emphasis_of
from .even import evened
from .seen import Seen, seen
from .solid import Shape, relief_shape, solid_of
from .strokes import stroked

_WORTH_TELLING = 0.01  # mm raised, or mm2 filled, below which a note would be noise
_STEEP_SHARE = 0.02  # of the outline's length


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
    tell = context.progress
    made = modelled(spec, context)
    tell(0.8, "making its surface")
    draft = math.radians(spec.draft)
    field = fill_gaps(made.field, draft)
    filled = float(np.sum(field.mask & ~made.field.mask)) * field.grid.pixel**2
    shape = relief_shape(field, context.ground, draft=draft, tolerance=context.tolerance)
    solid = solid_of(shape)
    tell(1.0, "done")
    return Built(
        parts=(Part(solid),),
        facts=_facts(spec, made, shape, filled),
        findings=(*_findings(spec, made, shape, filled), *made.findings),
    )


@dataclass(frozen=True, eq=False)
class Modelled:
    """A relief's heights, ready for its surface.

    Attributes
    ----------
    source : Seen
    field : HeightField
        mm above the field of the piece.
    bare, worked : HeightField
        The same before draft, without and with strokes.
    raised : float
        By how much draft raised the lowest place at most, mm.
    facts : mapping
        What was measured on the way.
    findings : tuple of Finding
        About strokes.
    """

    source: Seen
    field: HeightField
    bare: HeightField
    worked: HeightField
    raised: float
    facts: Mapping[str, Any]
    findings: tuple[Finding, ...]


def modelled(spec: Relief, context: Context) -> Modelled:
    """Model a relief as a height field: depth, height, strokes, draft.

    Raises
    ------
    SourceError, SpecError
        As `build_relief`.
    """
    tell = context.progress
    tell(0.0, "reading the model and looking at it from above")
    source = seen(spec, context.ground, context.tolerance.pixels, context.models)
    tell(0.35, "bringing its depth to the height")
    weight = emphasis_of(spec.emphasis, source.field) if spec.emphasis else None
    low = compress(source.field, spec, weight=weight)
    worked = stroked(low.field, spec, source.frame, context.models, foot_of(spec))
    tell(0.75, "giving it draft")
    even = evened(worked.field, 0.5 * context.tolerance.surface)
    drafted = enforce_draft(even, math.radians(spec.draft))
    return Modelled(
        source=source,
        field=drafted,
        bare=low.field,
        worked=worked.field,
        raised=_raised(even, drafted),
        facts={**low.facts, **worked.facts},
        findings=worked.findings,
    )


def _raised(before: HeightField, after: HeightField) -> float:
    """Return by how much draft raised the lowest place at most, mm."""
    if after is before:
        return 0.0
    return float(np.max(after.heights - before.heights))


def _facts(spec: Relief, made: Modelled, shape: Shape, filled: float) -> dict[str, Any]:
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


def _findings(spec: Relief, made: Modelled, shape: Shape, filled: float) -> Iterator[Finding]:
    for note in made.source.notes:
        yield Finding("relief-source", "note", note)
    if shape.islands_dropped:
        yield Finding(
            "relief-specks", "warning",
            f"{shape.islands_dropped} loose specks of the model, each under two pixels, were left "
            "out; a larger fit would hold them",
        )  # fmt: skip
    if shape.holes_filled:
        yield Finding(
            "relief-specks", "note",
            f"{shape.holes_filled} holes in the outline, each under two pixels, were filled",
        )  # fmt: skip
    if made.raised > _WORTH_TELLING:
        yield Finding(
            "relief-draft", "note",
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
