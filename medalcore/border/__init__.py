"""Borders: beads, teeth, rope and lines round a face."""

from __future__ import annotations

from ..element import Built, Context, Part
from ..spec import Border
from .course import course_of
from .repeated import beads, denticles
from .running import lines, rope

__all__ = ["build_border"]


def build_border(spec: Border, context: Context) -> Built:
    """Build a border as one solid that reaches below the field.

    Raises
    ------
    SpecError
        If it does not fit the face or would overhang.
    """
    course = course_of(spec, context.ground)
    curve = context.tolerance.curve
    if spec.kind == "beads":
        solid = beads(course, curve)
    elif spec.kind == "denticles":
        solid = denticles(course, spec.width, curve)
    elif spec.kind == "rope":
        solid = rope(course, spec.twist, curve)
    else:
        solid = lines(course, spec.lines, spec.space, curve)
    facts = {
        "kind": spec.kind,
        "radius_mm": round(course.radius, 6),
        "size_mm": round(course.size, 6),
        "height_mm": round(course.height, 6),
    }
    if course.count:
        facts |= {"count": course.count, "pitch_mm": round(course.pitch, 6)}
    return Built((Part(solid),), facts)
