"""Borders: beads, teeth, rope, lines and motifs round a face."""

from __future__ import annotations

import math
from typing import Any

from ...context.element import Built, Context, Finding, Part
from ...errors import SpecError
from ...geometry.contour import bounds
from ...geometry.types import FloatArray
from ...spec import Border
from ...svg.drawing import read_drawing
from .course import Course, course_of, height_of, size_of
from .path import Circle
from .repeated import bead_foot, beads, denticles, foot_of, motifs, tooth
from .running import lines, rope
from .spacing import Foot

__all__ = ["build_border"]


def build_border(spec: Border, context: Context) -> Built:
    """Build a border as one solid that reaches below the field.

    Raises
    ------
    SourceError
        If a motif's drawing cannot be read.
    SpecError
        If it does not fit the face or would overhang.
    """
    curve = context.tolerance.curve
    if spec.kind == "motif":
        return _of_motifs(spec, context)
    course = course_of(spec, context.ground, curve, foot=_foot(spec, context))
    more: dict[str, Any] = {}
    if spec.kind == "beads":
        solid = beads(course, curve)
    elif spec.kind == "denticles":
        solid = denticles(course, spec.width, curve)
    elif spec.kind == "rope":
        solid, groove = rope(course, spec.twist, curve)
        more = {"groove_mm": round(groove, 6)}
    else:
        solid = lines(course, spec.lines, spec.space, curve)
    return Built((Part(solid),), _facts(spec, course) | more)


def _foot(spec: Border, context: Context) -> Foot | None:
    """Return the outline at the field of a bead or a tooth; rope and lines have none."""
    size = size_of(spec, context.ground)
    if spec.kind == "beads":
        return bead_foot(size)
    if spec.kind != "denticles":
        return None
    height, draft = height_of(spec, size), math.radians(spec.draft)

    def of_tooth(pitch: float) -> FloatArray:
        return foot_of(tooth(size, spec.width, pitch, context.tolerance.curve), height, draft)

    return of_tooth


def _of_motifs(spec: Border, context: Context) -> Built:
    if not spec.drawing:
        raise SpecError("is missing; give the SVG file of the motif", key="drawing")
    size = size_of(spec, context.ground)
    drawing = read_drawing(
        spec.drawing, size, context.tolerance.curve, frozenset({"#ffffff"}), upright=True
    )
    (left, _), (right, _) = bounds(drawing.contours)
    curve = context.tolerance.curve
    foot = foot_of(drawing.contours, height_of(spec, size), math.radians(spec.draft))
    course = course_of(spec, context.ground, curve, (right - left) / size, lambda pitch: foot)
    findings = [
        Finding("drawing", "note", f"{spec.drawing}: left out or simplified: {what}", "drawing")
        for what in drawing.left_out
    ]
    solid = motifs(course, drawing.contours, mirrored=spec.mirrored)
    return Built((Part(solid),), _facts(spec, course), tuple(findings))


def _facts(spec: Border, course: Course) -> dict[str, Any]:
    facts: dict[str, Any] = {
        "kind": spec.kind,
        "length_mm": round(course.run, 6),
        "size_mm": round(course.size, 6),
        "height_mm": round(course.height, 6),
    }
    if isinstance(course.path, Circle):
        facts["radius_mm"] = round(course.path.radius, 6)
    if course.count:
        facts |= {"count": course.count, "pitch_mm": round(course.pitch, 6)}
    return facts
