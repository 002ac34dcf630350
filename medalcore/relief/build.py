"""From the table of a relief to its solid: model, depth, height, draft, surface."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from ..element import Built, Context, Finding, Part
from ..grid import HeightField
from ..spec.relief import Relief
from .compress import compress
from .draft import enforce_draft
from .emphasis import emphasis_of
from .even import evened
from .seen import Seen, seen
from .solid import Shape, relief_shape, solid_of

_WORTH_TELLING = 0.01  # mm of raising below which a note would be noise
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
    tell(0.0, "reading the model and looking at it from above")
    source = seen(spec, context.ground, context.tolerance.pixels, context.models)
    raw = source.field
    tell(0.35, "bringing its depth to the height")
    weight = emphasis_of(spec.emphasis, raw) if spec.emphasis else None
    low = compress(raw, spec, weight=weight)
    draft = math.radians(spec.draft)
    tell(0.75, "giving it draft")
    even = evened(low.field)
    drafted = enforce_draft(even, draft)
    tell(0.8, "making its surface")
    shape = relief_shape(drafted, context.ground, draft=draft, tolerance=context.tolerance)
    solid = solid_of(shape)
    tell(1.0, "done")
    raised = _raised(even, drafted)
    return Built(
        parts=(Part(solid),),
        facts=_facts(spec, source, shape, low.facts, raised, raw),
        findings=tuple(_findings(spec, source, shape, raised)),
    )


def _raised(before: HeightField, after: HeightField) -> float:
    """Return by how much draft raised the lowest place at most, mm."""
    if after is before:
        return 0.0
    return float(np.max(after.heights - before.heights))


def _facts(
    spec: Relief,
    source: Seen,
    shape: Shape,
    measured: Mapping[str, Any],
    raised: float,
    raw: HeightField,
) -> dict[str, Any]:
    return {
        "source": spec.source,
        "model_triangles": source.triangles,
        "model_notes": list(source.notes),
        "pixel_mm": round(raw.grid.pixel, 6),
        "height_mm": round(shape.height_mm, 6),
        "size_mm": [round(s, 4) for s in shape.size_mm],
        "triangles": len(shape.triangles),
        "pieces": shape.pieces,
        "holes": shape.holes,
        "raised_for_draft_mm": round(raised, 4),
        **measured,
    }


def _findings(spec: Relief, source: Seen, shape: Shape, raised: float) -> Iterator[Finding]:
    for note in source.notes:
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
    if raised > _WORTH_TELLING:
        yield Finding(
            "relief-draft", "note",
            f"hollows beside steep walls were filled by up to {raised:.2f} mm, so that no wall is "
            f"steeper than the draft of {spec.draft:g} degrees",
            measured=raised,
        )  # fmt: skip
    if shape.steep_share > _STEEP_SHARE:
        yield Finding(
            "relief-draft", "warning",
            f"gaps in the outline are too narrow for a draft of {spec.draft:g} degrees: "
            f"{100.0 * shape.steep_share:.0f} % of the outline's wall stands steeper",
            measured=shape.steep_share,
            limit=_STEEP_SHARE,
        )  # fmt: skip
