"""From the spec's blank, edge and fields to one closed solid and the ground of each face."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from ...context.element import Finding
from ...context.ground import Ground, placement
from ...context.tolerance import Tolerance
from ...geometry.boolean import cut, joined_to
from ...geometry.contour import Contours, circle, edge_lengths, offset, section, subtracted, united
from ...geometry.rays import direction, inset_point
from ...geometry.solid import Side, Solid, solid_from_manifold
from ...geometry.swept_profile import deepest
from ...spec import EdgeText, MedalSpec
from ..edge import reed_cutter, slanted_cutter
from .blank_mesh import can_run, mesh_blank, row_step
from .core import core_of, joint_cutter, keep_off_joint
from .drilled_hole import OVER, drill_cutter
from .faces import as_seen, plain
from .field_rings import chords_for, circle_edge
from .inward import closing_bends
from .lettered import EdgeLetters, letters_solid
from .loop import loop_solid
from .offsets import Circles, FineOffsets, Outline
from .panel import panel_solids
from .plan import Plan, planned
from .polygon_edge import PolygonEdge, polygon_edge
from .profile import FaceShape

__all__ = ["Blanked", "build_blank"]

_EVEN = 1.01
"""Reeds whose distances differ by no more than this count as even."""


@dataclass(frozen=True, eq=False)
class Blanked:
    """A finished blank in the piece's coordinates (z = 0 mid-plane, obverse to +z).

    Attributes
    ----------
    solid : Solid
        Zones field and rim on both sides, edge on neither.
    obverse, reverse : Ground
        Each in its own face's coordinates.
    facts : mapping
    findings : tuple of Finding
    cutters : tuple of Solid
        To be cut when all elements are on, in the piece's coordinates: the drilled hole, what
        keeps the middle hole open, the joint between ring and core.
    bodies : int
        How many closed bodies the finished piece has.
    """

    solid: Solid
    obverse: Ground
    reverse: Ground
    facts: Mapping[str, Any] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    cutters: tuple[Solid, ...] = ()
    bodies: int = 1


def build_blank(spec: MedalSpec, tolerance: Tolerance) -> Blanked:
    """Build the blank with its edge.

    Raises
    ------
    SpecError
        With the key that cannot be made and what would be right.
    SourceError
        If a drawing cannot be used.
    """
    plan = planned(spec, tolerance)
    solid = _meshed(spec, plan, tolerance)
    solid, findings = _lettered(spec, plan, solid, tolerance)
    findings = (*_deep(plan), *_uneven(plan), *findings)
    solid = _panelled(spec, plan, solid, tolerance)
    solid, cutters, more = _fitted(spec, plan, solid, tolerance)
    findings += more
    voids = _voids(spec, plan, tolerance)
    grounds = [
        replace(face.ground, voids=plain(as_seen(spec, voids, side)))
        for face, side in zip(plan.faces, (1, -1), strict=True)
    ]
    bodies = 2 if spec.blank.core.diameter else 1
    return Blanked(solid, grounds[0], grounds[1], _facts(spec, plan), findings, cutters, bodies)


def _fitted(
    spec: MedalSpec, plan: Plan, solid: Solid, tolerance: Tolerance
) -> tuple[Solid, tuple[Solid, ...], tuple[Finding, ...]]:
    """Add the loop; return what is to be cut at the very end, and findings, too."""
    blank = spec.blank
    outline = plan.outline.at(0.0)
    findings: tuple[Finding, ...] = ()
    if plan.hole and blank.hole.shape == "outline":
        findings += closing_bends("blank.hole.size", plan.hole.at(0.0)[0], outline[0])
    half = blank.thickness / 2.0
    late: list[Solid] = []
    if blank.loop.kind != "none":
        solid = joined_to(solid, [loop_solid(blank, outline, plan.faces, tolerance)])
    holes = [c[::-1] for c in outline[1:]] + (list(plan.hole.at(0.0)) if plan.hole else [])
    if holes:
        # A little narrower than the hole: its own walls stay as they are.
        plug = section(offset(tuple(holes), -0.002)).extrude(2.0 * (half + OVER))
        plug = plug.translate((0.0, 0.0, -half - OVER))
        late.append(solid_from_manifold(plug, "edge", "the hole"))
    if blank.drill.diameter:
        region = (*outline, plan.hole.at(0.0)[0][::-1]) if plan.hole else outline
        late.append(drill_cutter(blank.drill, region, plan.faces, half, tolerance))
    if blank.core.diameter:
        cuts = max(
            (plan.reeding.notch.depth if plan.reeding else 0.0),
            max((s.inset for s in plan.wall), default=0.0),
        )
        core = core_of(blank, plan.outline, tolerance)
        if blank.core.shape == "outline":
            findings += closing_bends("blank.core.diameter", core.at(0.0)[0], outline[0])
        hole = plan.hole.at(0.0) if plan.hole else tuple(c[::-1] for c in outline[1:])
        late.append(joint_cutter(blank.core, core, plan.outline.at(cuts)[:1], hole, half))
        if blank.drill.diameter:
            keep_off_joint(blank.drill, blank.core, core, outline)
    return solid, tuple(late), findings


def _voids(spec: MedalSpec, plan: Plan, tolerance: Tolerance) -> Contours:
    """Return what is cut through both faces once all stands on them, seen on the obverse."""
    blank, outline = spec.blank, plan.outline.at(0.0)
    found: list[Contours] = []
    if blank.drill.diameter:
        at = inset_point(outline[0], direction(blank.drill.angle), blank.drill.inset)
        wide = blank.drill.diameter / 2.0 + blank.drill.chamfer
        found.append((circle(wide, tolerance.curve, at.tolist()),))
    if blank.core.diameter:
        core = core_of(blank, plan.outline, tolerance)
        wall = core.at(0.0)
        found.append(subtracted(core.at(round(-blank.core.clearance, 9)), wall, 0.0))
    return united(found) if found else ()


def _lettered(
    spec: MedalSpec, plan: Plan, solid: Solid, tolerance: Tolerance
) -> tuple[Solid, tuple[Finding, ...]]:
    """Set the words on the edge."""
    if plan.letters is None:
        return solid, ()
    text = spec.edge.text
    roots = max(
        plan.reeding.notch.depth if plan.reeding else 0.0,
        max((s.inset for s in plan.wall), default=0.0),
    )
    words = letters_solid(plan.letters, text, plan.outline.at(0.0)[0], roots, tolerance)
    if text.form == "sunk":
        return cut(solid, [words]), _shallow(plan.letters, text)
    return joined_to(solid, [words]), ()


def _shallow(letters: EdgeLetters, text: EdgeText) -> tuple[Finding, ...]:
    """Tell of sunk letters whose walls meet before they are as deep as asked."""
    lean = math.tan(math.radians(text.draft))
    reached = min(deepest(outline) for outline in letters.outlines) / max(lean, 1e-9)
    if reached >= text.depth:
        return ()
    found = Finding(
        "shallow-edge-words",
        "warning",
        f"a letter's walls meet {reached:.2g} mm deep, before the {text.depth:g} mm asked; give "
        f"a draft of at most {math.degrees(math.atan(lean * reached / text.depth)):.2g} degrees, "
        f"or a depth of at most {reached:.2g} mm",
        "edge.text.draft",
        reached,
        text.depth,
    )
    return (found,)


def _panelled(spec: MedalSpec, plan: Plan, solid: Solid, tolerance: Tolerance) -> Solid:
    """Raise and sink the panels of both faces."""
    adds: list[Solid] = []
    cuts: list[Solid] = []
    sides: tuple[tuple[FaceShape, Side], ...] = ((plan.faces[0], 1), (plan.faces[1], -1))
    for face, side in sides:
        place = placement(spec.medal.alignment, side)
        raised, sunk = panel_solids(face.ground, side, tolerance)
        adds += [one.moved(place) for one in raised]
        cuts += [one.moved(place) for one in sunk]
    solid = cut(solid, cuts) if cuts else solid
    return joined_to(solid, adds) if adds else solid


def _deep(plan: Plan) -> tuple[Finding, ...]:
    """Tell of notches that run past the edge break."""
    if plan.reeding is None:
        return ()
    depth = plan.reeding.notch.depth
    broken = max(s.inset for s in plan.faces[0].outer if s.zone == "edge")
    if not 1e-6 < broken < depth - 1e-6:
        return ()
    text = (
        f"the notches are {depth:g} mm deep and run past the edge break of {broken:g} mm: "
        "they show on the rim"
    )
    return (Finding("reeds", "note", text, "edge.depth", depth, broken),)


def _uneven(plan: Plan) -> tuple[Finding, ...]:
    """Tell of reeds that leave the corners of an outline out."""
    reeding = plan.reeding
    if reeding is None or reeding.farthest < _EVEN * reeding.closest:
        return ()
    text = (
        f"{reeding.around} reeds stand from {reeding.closest:.3g} to {reeding.farthest:.3g} mm "
        "apart, for no notch goes across a corner of the outline; rounder corners or narrower "
        "notches let them stand evenly"
    )
    return (Finding("uneven-reeds", "note", text, "edge", reeding.closest, reeding.farthest),)


def _meshed(spec: MedalSpec, plan: Plan, tolerance: Tolerance) -> Solid:
    """Mesh the piece; cut the reeds that cannot be meshed with it."""
    slant = spec.edge.slant if plan.reeding else 0.0
    faces = plan.faces[0].bare, plan.faces[1].bare
    longest = min(row_step(f.ground, tolerance) for f in faces)
    hole: Outline | None = FineOffsets(plan.hole, longest) if plan.hole else None
    if plan.hole and plan.hole_is_round and plan.is_round:
        inner = spec.blank.hole.size / 2.0
        hole = Circles(inner, chords_for(inner, tolerance), 1.0)
    if plan.is_round:
        radius = spec.blank.diameter / 2.0
        edge = circle_edge(radius, plan.reeding, tolerance, slant) if plan.reeding else None
        circles = Circles(radius, edge.chords if edge else chords_for(radius, tolerance))
        return mesh_blank(circles, *faces, plan.wall, hole, tolerance, edge)
    outline = FineOffsets(plan.outline, longest if any(f.ground.basin for f in faces) else math.inf)
    reeded = _reeded(plan, outline, faces, slant, tolerance)
    solid = mesh_blank(outline, *faces, plan.wall, hole, tolerance, reeded)
    if plan.reeding is None or reeded:
        return solid
    edge_line = plan.outline.at(0.0)[0]
    if slant:
        half = spec.blank.thickness / 2.0 + 0.1
        cutter = slanted_cutter(plan.reeding, edge_line, half, slant, tolerance)
    else:
        cutter = reed_cutter(plan.reeding, edge_line, spec.blank.thickness, tolerance)
    solid = cut(solid, [solid_from_manifold(cutter, "edge", "the reeds")])
    return solid


def _reeded(
    plan: Plan,
    outline: FineOffsets,
    faces: Sequence[FaceShape],
    slant: float,
    tolerance: Tolerance,
) -> PolygonEdge | None:
    """Return the outline with its reeds, if they can be meshed with the piece."""
    contours = outline.at(0.0)
    if plan.reeding is None or len(contours) > 1:
        return None
    track = polygon_edge(plan.reeding, contours[0], tolerance, slant)
    return track if track and can_run(track, faces, plan.wall) else None


def _facts(spec: MedalSpec, plan: Plan) -> dict[str, Any]:
    length = float(edge_lengths(plan.outline.at(0.0)[0]).sum())
    if plan.is_round:
        length = math.pi * spec.blank.diameter
    facts: dict[str, Any] = {
        "outline": spec.blank.outline,
        "edge_length_mm": round(length, 4),
        "field_radius_mm": [round(f.ground.radius, 6) for f in plan.faces],
        "field_level_mm": [round(f.ground.level, 6) for f in plan.faces],
    }
    if plan.reeding:
        facts["reeds"] = plan.reeding.count
        facts["pitch_mm"] = round(plan.reeding.pitch, 6)
        facts["pitch_least_mm"] = round(plan.reeding.closest, 6)
        facts["pitch_most_mm"] = round(plan.reeding.farthest, 6)
        facts["notch_width_mm"] = round(plan.reeding.notch.opening, 6)
    if plan.letters:
        facts["words_mm"] = round(plan.letters.width, 4)
        facts["words_cap_height_mm"] = round(plan.letters.cap_height, 4)
        facts["words_tracking"] = round(plan.letters.tracking, 2)
    return facts
