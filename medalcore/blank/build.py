"""From the spec's blank, edge and fields to one closed solid and the ground of each face."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..contour import Contours, edge_lengths, offset, section
from ..edge import (
    Reeding,
    groove_points,
    reed_cutter,
    reeding_of,
    set_out,
    slanted_cutter,
    started,
)
from ..element import Finding
from ..errors import SpecError
from ..ground import Ground
from ..solid import Solid, solid_from_manifold
from ..spec import MedalSpec, Rim
from ..tolerance import Tolerance
from .circular import around, round_solid
from .cut import cut, joined_to
from .drill import drill_cutter, joint_cutter
from .general import Offsets, check_field, general_solid, room_round_middle
from .loop import loop_solid
from .outline import hole_outline, outline_of
from .profile import FaceShape, Step, hole_reach, hole_steps, rim_steps

__all__ = ["Blanked", "build_blank"]

FloatArray = NDArray[np.float64]


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


@dataclass(frozen=True, eq=False)
class _Plan:
    """What is known before anything is meshed."""

    is_round: bool
    outline: Offsets
    hole: Offsets | None
    room: float
    reeding: Reeding | None
    wall: tuple[Step, ...]
    faces: tuple[FaceShape, FaceShape]


def build_blank(spec: MedalSpec, tolerance: Tolerance) -> Blanked:
    """Build the blank with its edge.

    Raises
    ------
    SpecError
        With the key that cannot be made and what would be right.
    SourceError
        If a drawing cannot be used.
    """
    plan = _planned(spec, tolerance)
    solid, findings = _meshed(spec, plan, tolerance)
    findings += _deep(plan)
    solid, cutters = _fitted(spec, plan, solid, tolerance)
    grounds = plan.faces[0].ground, plan.faces[1].ground
    bodies = 2 if spec.blank.core.diameter else 1
    return Blanked(solid, *grounds, _facts(spec, plan), findings, cutters, bodies)


def _fitted(
    spec: MedalSpec, plan: _Plan, solid: Solid, tolerance: Tolerance
) -> tuple[Solid, tuple[Solid, ...]]:
    """Add the loop; return what is to be cut at the very end, too."""
    blank = spec.blank
    outline = plan.outline.at(0.0)
    half = blank.thickness / 2.0
    late: list[Solid] = []
    if blank.loop.kind != "none":
        solid = joined_to(solid, [loop_solid(blank, outline, tolerance)])
    holes = [c[::-1] for c in outline[1:]] + (list(plan.hole.at(0.0)) if plan.hole else [])
    if holes:
        # A little narrower than the hole: its own walls stay as they are.
        plug = section(offset(tuple(holes), -0.002)).extrude(2.0 * half + 20.0)
        plug = plug.translate((0.0, 0.0, -half - 10.0))
        late.append(solid_from_manifold(plug, "edge", "the hole"))
    if blank.drill.diameter:
        region = (*outline, plan.hole.at(0.0)[0][::-1]) if plan.hole else outline
        late.append(drill_cutter(blank.drill, region, plan.faces, half, tolerance))
    if blank.core.diameter:
        inner = float(np.hypot(*plan.hole.at(0.0)[0].T).max()) if plan.hole else 0.0
        if blank.core.diameter / 2.0 - blank.core.lock <= inner + 0.3:
            raise SpecError(
                f"a core of {blank.core.diameter:g} mm has no metal round the hole; make it larger",
                key="blank.core.diameter",
            )
        room = plan.room - max(
            (plan.reeding.notch.depth if plan.reeding else 0.0),
            max((s.inset for s in plan.wall), default=0.0),
        )
        late.append(joint_cutter(blank.core, room, half, tolerance))
    return solid, tuple(late)


def _planned(spec: MedalSpec, tolerance: Tolerance) -> _Plan:
    """Work out and check everything there is to know without meshing."""
    blank = spec.blank
    contours = outline_of(blank, tolerance)
    is_round = blank.outline == "round"
    if not is_round and len(contours) == 1:
        contours = (started(contours[0]),)
    outline = Offsets(contours, tolerance)
    room = blank.diameter / 2.0 if is_round else room_round_middle(contours)
    hole, hole_room = None, 0.0
    if blank.hole.shape != "none":
        if len(contours) > 1:
            raise SpecError(
                "the drawing has holes already; leave the hole out or draw it", key="blank.hole"
            )
        hole = Offsets((hole_outline(blank.hole, tolerance),), tolerance, 1.0)
        hole_room = float(np.hypot(*hole.at(0.0)[0].T).max())
        if hole_room >= room:
            raise SpecError(
                f"a hole of {blank.hole.size:g} mm takes the piece away; it must leave metal to "
                f"the edge, {room:.3g} mm from the middle",
                key="blank.hole.size",
            )
    faces = _faces(spec, outline, hole, room if is_round else 0.0, tolerance)
    low, high = -faces[1].outer[0].z, faces[0].outer[0].z
    wall: tuple[Step, ...] = ()
    if "grooved" in spec.edge.finish:
        points = groove_points(spec.edge, low, high, tolerance)
        wall = tuple(Step(float(i), float(z), "edge") for i, z in points)
        _refuse_deep(spec.edge.groove_depth, 0.8 * (room - hole_room), "edge.groove_depth")
    reeding = None
    if "reeded" in spec.edge.finish:
        reeding = _reeding(spec, contours, is_round, tolerance)
        _refuse_through(reeding, faces)
        _refuse_deep(reeding.notch.depth, 0.8 * (room - hole_room), "edge.depth")
    return _Plan(is_round, outline, hole, room, reeding, wall, faces)


def _refuse_deep(depth: float, most: float, key: str) -> None:
    if depth >= most > 0.0:
        raise SpecError(f"{depth:g} mm cuts the piece away; at most {most:.3g} mm", key=key)


def _reeding(spec: MedalSpec, contours: Contours, is_round: bool, tolerance: Tolerance) -> Reeding:
    radius = spec.blank.diameter / 2.0
    if is_round:
        return reeding_of(spec.edge, 2.0 * math.pi * radius, radius, tolerance)
    if spec.edge.slant:
        raise SpecError("slanted reeds go round a round piece only", key="edge.slant")
    length = float(edge_lengths(contours[0]).sum())
    return set_out(reeding_of(spec.edge, length, 1e4, tolerance), contours[0])


def _faces(
    spec: MedalSpec, outline: Offsets, hole: Offsets | None, radius: float, tolerance: Tolerance
) -> tuple[FaceShape, FaceShape]:
    """Return both faces, checked; `radius` is that of a round piece, else 0."""
    sections = []
    for name, face in (("obverse", spec.obverse), ("reverse", spec.reverse)):
        rim = face.rim or spec.blank.rim
        key = f"{name}.rim" if face.rim else "blank.rim"
        steps = rim_steps(spec.blank, rim, tolerance, key)
        foot, limit = _foot(spec, outline, hole, steps, rim, radius, key, tolerance)
        sections.append((name, face.field.dish, steps, foot, limit, rim))
    grounds = []
    for name, dish, steps, foot, limit, _ in sections:
        if dish and limit <= 0.0:
            raise SpecError(
                "only a field that reaches over the middle of the piece can be dished",
                key=f"{name}.field.dish",
            )
        if dish and abs(dish) >= limit:
            raise SpecError(
                f"a field {limit:.3g} mm in radius cannot be {abs(dish):g} mm deep; "
                "at most a half sphere",
                key=f"{name}.field.dish",
            )
        side = -1 if name == "reverse" else 1
        shape = () if radius and hole is None else _as_seen(spec, foot, hole, side)
        grounds.append(Ground(steps[-1].z, limit, dish, 0.0, shape))
    faces = []
    for ground, (_, _, steps, _, _, rim) in zip(_floored(spec, grounds), sections, strict=True):
        around_hole: tuple[Step, ...] = ()
        if hole is not None:
            at = float(np.hypot(*hole.at(0.0)[0].T).min()) + hole_reach(spec.blank.hole, rim.slope)
            z = float(ground.height(np.array([at, 0.0])))
            around_hole = hole_steps(spec.blank.hole, rim.slope, z, tolerance)
        faces.append(FaceShape(steps, ground, around_hole))
    if hole is not None:
        left = faces[0].hole[0].z + faces[1].hole[0].z
        if left <= 0.0:
            raise SpecError(
                f"edge breaks of {spec.blank.hole.chamfer:g} mm leave no wall in the hole",
                key="blank.hole.chamfer",
            )
    return faces[0], faces[1]


def _foot(
    spec: MedalSpec,
    outline: Offsets,
    hole: Offsets | None,
    steps: tuple[Step, ...],
    rim: Rim,
    radius: float,
    key: str,
    tolerance: Tolerance,
) -> tuple[Contours, float]:
    """Return where the field ends, and the radius of the circle it holds.

    Raises
    ------
    SpecError
        If the rim leaves no field.
    """
    inset = steps[-1].inset
    what = f"a rim of {rim.width:g} mm with edge break and wall ({inset:.3g} mm)"
    key = f"{key}.width" if inset > spec.blank.chamfer else "blank.chamfer"
    reach = hole_reach(spec.blank.hole, rim.slope) if hole else 0.0
    if radius:
        left = radius - inset
        if hole is not None:
            left -= float(np.hypot(*hole.at(0.0)[0].T).max()) + reach
        if left <= 0.0:
            raise SpecError(
                f"{what} does not fit the {radius:.3g} mm from edge to middle"
                + (" with that hole and its rim" if hole else ""),
                key=key if not hole else "blank.hole.size",
            )
        # The dish of a piece meshed by loops begins just inside them, so as to miss them.
        odd = hole is not None and spec.blank.hole.shape != "round"
        clear = 5.0 * tolerance.curve if odd else 0.0
        return (outline.at(inset) if hole else ()), radius - inset - clear
    foot = outline.at(inset)
    check_field(foot, hole.at(reach) if hole else (), key, what)
    return foot, max(0.0, room_round_middle(foot) - 5.0 * tolerance.curve)


def _as_seen(
    spec: MedalSpec, foot: Contours, hole: Offsets | None, side: int
) -> tuple[tuple[tuple[float, float], ...], ...]:
    """Return the field's outline in the face's own coordinates.

    The reverse is seen turned over about the axis of the alignment: mirrored at it.
    """
    contours = list(foot)
    if hole is not None:
        reach = hole_reach(spec.blank.hole, spec.blank.rim.slope)
        contours += [c[::-1] for c in hole.at(reach)]
    if side < 0:
        word = {"medal": 0.0, "coin": 90.0}.get(str(spec.medal.alignment))
        angle = math.radians(float(spec.medal.alignment) if word is None else word)
        axis = np.array([math.sin(angle), math.cos(angle)])
        mirror = 2.0 * np.outer(axis, axis) - np.eye(2)
        contours = [(c @ mirror)[::-1] for c in contours]
    return tuple(tuple((float(u), float(v)) for u, v in c) for c in contours)


def _floored(spec: MedalSpec, grounds: list[Ground]) -> list[Ground]:
    """Say how deep an element may sink its foot on each face.

    The space between the fields is shared: neither foot comes nearer to the middle of that
    space than a twentieth of it, so feet of the two faces never touch.

    Raises
    ------
    SpecError
        If the fields meet.
    """
    lows = [g.lowest for g in grounds]
    space = lows[0] + lows[1]
    if space <= 0.02 * spec.blank.thickness:
        dishes = [g.dish for g in grounds]
        key = f"{('obverse', 'reverse')[dishes[1] > dishes[0]]}.field.dish"
        raise SpecError(
            f"only {space:.3g} mm would be left between the two fields of a piece "
            f"{spec.blank.thickness:g} mm thick; lower the rims or the dish, or make it thicker",
            key=key if max(dishes) > 0.0 else "blank.rim.height",
        )
    middle = (lows[0] - lows[1]) / 2.0
    return [
        replace(grounds[0], floor=middle + 0.05 * space),
        replace(grounds[1], floor=-middle + 0.05 * space),
    ]


def _refuse_through(reeding: Reeding, faces: tuple[FaceShape, FaceShape]) -> None:
    """Refuse notches that cut through the rim.

    Raises
    ------
    SpecError
    """
    for face in faces:
        rim = max((s.inset for s in face.outer[:-1] if s.zone == "rim"), default=0.0)
        if rim and reeding.notch.depth >= rim - 1e-3:
            raise SpecError(
                f"notches {reeding.notch.depth:g} mm deep cut through the rim, which ends "
                f"{rim:.3g} mm from the edge",
                key="edge.depth",
            )


def _deep(plan: _Plan) -> tuple[Finding, ...]:
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


def _meshed(
    spec: MedalSpec, plan: _Plan, tolerance: Tolerance
) -> tuple[Solid, tuple[Finding, ...]]:
    """Mesh the piece; cut what cannot be meshed at once."""
    slant = spec.edge.slant if plan.reeding else 0.0
    direct = plan.is_round and not plan.wall and not slant
    if plan.is_round and (plan.hole is None or spec.blank.hole.shape == "round"):
        edge = around(spec.blank.diameter / 2.0, plan.reeding if direct else None, tolerance)
        hole = spec.blank.hole.size / 2.0 if plan.hole else 0.0
        solid = round_solid(edge, *plan.faces, plan.wall, hole, tolerance)
    else:
        direct = False
        solid = general_solid(plan.outline, *plan.faces, plan.wall, plan.hole, tolerance)
    if plan.reeding is None or direct:
        return solid, ()
    half = spec.blank.thickness
    if slant:
        cutter = slanted_cutter(plan.reeding, spec.blank.diameter / 2.0, half, slant, tolerance)
    else:
        cutter = reed_cutter(plan.reeding, plan.outline.at(0.0)[0], half, tolerance)
    solid = cut(solid, [solid_from_manifold(cutter, "edge", "the reeds")])
    return solid, _collar(slant)


def _collar(slant: float) -> tuple[Finding, ...]:
    """Warn of reeds that a striking collar holds fast."""
    if not slant:
        return ()
    text = (
        f"reeds slanted by {slant:g} degrees cannot leave a striking collar, which lets go "
        "only along the axis; they must be rolled or cut afterwards"
    )
    return (Finding("slanted-reeds", "warning", text, "edge.slant", abs(slant), 0.0),)


def _facts(spec: MedalSpec, plan: _Plan) -> dict[str, Any]:
    facts: dict[str, Any] = {
        "outline": spec.blank.outline,
        "diameter_mm": spec.blank.diameter,
        "thickness_mm": spec.blank.thickness,
        "edge_length_mm": round(float(edge_lengths(plan.outline.at(0.0)[0]).sum()), 4),
        "field_radius_mm": [round(f.ground.radius, 6) for f in plan.faces],
        "field_level_mm": [round(f.ground.level, 6) for f in plan.faces],
    }
    if plan.reeding:
        facts["reeds"] = plan.reeding.count
        facts["pitch_mm"] = round(plan.reeding.pitch, 6)
        facts["notch_width_mm"] = round(plan.reeding.notch.opening, 6)
    return facts
