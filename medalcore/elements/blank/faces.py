"""The two faces of a blank: sections, fields, and what is checked before anything is meshed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from msgspec import structs

from ...context.ground import Ground, placement
from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.contour import Contours, circle
from ...spec import Circle, Face, Hole, MedalSpec, Rim
from .blank_mesh import check_field
from .offsets import Offsets, room_round_middle
from .panel import terraces_of
from .profile import FaceShape, Step, has_rim, hole_reach, hole_steps, rim_steps
from .spherical_field import free_edge_break, spread_sphere

_LEAST = 1e-4
"""mm; what is level of a circle is no narrower."""


@dataclass(frozen=True, eq=False)
class _Section:
    """The section of a face, and where its field lies.

    Attributes
    ----------
    name : str
        obverse or reverse.
    face : Face
    rim : Rim
        Its own, or that of the blank.
    steps : tuple of Step
        Without the fillet where that goes on when the field is laid.
    foot : contours
        Where the rim meets the field, mm; may be empty on a round piece.
    seen : contours
        Where the field ends to the eye: beyond the fillet.
    limit : float
        Radius of the circle that the field holds, mm.
    """

    name: str
    face: Face
    rim: Rim
    steps: tuple[Step, ...]
    foot: Contours
    seen: Contours
    limit: float


def faces_of(
    spec: MedalSpec, outline: Offsets, hole: Offsets | None, radius: float, tolerance: Tolerance
) -> tuple[FaceShape, FaceShape]:
    """Return both faces, checked; `radius` is that of a round piece, else 0."""
    sections = [
        _section(spec, name, outline, hole, radius, tolerance) for name in ("obverse", "reverse")
    ]
    grounds = [
        _panelled(spec, s.name, _ground(spec, s, hole, radius), outline, tolerance)
        for s in sections
    ]
    obverse, reverse = (
        _shape(spec, section, ground, outline, hole, tolerance)
        for section, ground in zip(sections, _floored(spec, grounds), strict=True)
    )
    if hole is not None and obverse.hole[0].z + reverse.hole[0].z <= 0.0:
        raise SpecError(
            f"edge breaks of {spec.blank.hole.chamfer:g} mm leave no wall in the hole",
            key="blank.hole.chamfer",
        )
    return obverse, reverse


def _section(
    spec: MedalSpec,
    name: str,
    outline: Offsets,
    hole: Offsets | None,
    radius: float,
    tolerance: Tolerance,
) -> _Section:
    face = _face_of(spec, name)
    rim = face.rim or spec.blank.rim
    key = f"{name}.rim" if face.rim else "blank.rim"
    steps = rim_steps(spec.blank, rim, tolerance, key)
    ends = steps[-1].inset
    if is_basin(spec, face):  # the fillet goes on when the field is laid
        steps = rim_steps(spec.blank, structs.replace(rim, fillet=0.0), tolerance, key)
    foot, limit = _foot(spec, outline, hole, steps, rim, radius, key, tolerance)
    seen = outline.at(ends) if ends > steps[-1].inset else foot
    return _Section(name, face, rim, steps, foot, seen, limit)


def _ground(spec: MedalSpec, section: _Section, hole: Offsets | None, radius: float) -> Ground:
    """Return a field with its circles, not yet with panels nor a floor."""
    name, limit, slope = section.name, section.limit, section.rim.slope
    dish = section.face.field.dish
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
    outline_seen: tuple[tuple[tuple[float, float], ...], ...] = ()
    if not radius or hole is not None:
        outline_seen = _as_seen(spec, section.seen, hole, slope, _side_of(name))
    least = 0.0
    if hole is not None:
        least = float(np.hypot(*hole.at(0.0)[0].T).max()) + hole_reach(spec.blank.hole, slope)
    circles = circle_steps(section.face.field.circle, least, limit, f"{name}.field.circle")
    rim = section.steps[-1].zone == "rim"
    rims = rim, rim if hole is None else has_rim(spec.blank.hole)
    ground = Ground(section.steps[-1].z, limit, dish, 0.0, outline_seen, circles, rims=rims)
    if is_basin(spec, section.face):
        return spread_sphere(ground, section.foot, f"{name}.field.dish")
    return ground


def _shape(
    spec: MedalSpec,
    section: _Section,
    ground: Ground,
    outline: Offsets,
    hole: Offsets | None,
    tolerance: Tolerance,
) -> FaceShape:
    """Return a face as it is meshed."""
    rim = section.rim
    around_hole: tuple[Step, ...] = ()
    if hole is not None:
        at = room_round_middle(hole.at(0.0)) + hole_reach(spec.blank.hole, rim.slope)
        z = float(ground.height(np.array([at, 0.0])))
        around_hole = hole_steps(spec.blank.hole, rim.slope, z, tolerance)
    shape = FaceShape(section.steps, ground, around_hole)
    if ground.basin and section.steps[-1].zone == "rim":
        return replace(shape, fillet=rim.fillet)
    if ground.basin:
        return free_edge_break(shape, outline.at(0.0), tolerance, f"{section.name}.field.dish")
    return shape


def _face_of(spec: MedalSpec, name: str) -> Face:
    return spec.obverse if name == "obverse" else spec.reverse


def _side_of(name: str) -> int:
    return -1 if name == "reverse" else 1


def _panelled(
    spec: MedalSpec, name: str, ground: Ground, outline: Offsets, tolerance: Tolerance
) -> Ground:
    """Return a field with the panels of its face."""
    panels = _face_of(spec, name).field.panel
    if not panels:
        return ground
    field = tuple(np.array(c, dtype=np.float64) for c in ground.outline)
    field = field or (circle(ground.radius, tolerance.curve),)
    side = _side_of(name)

    def own(inset: float) -> Contours:
        return as_seen(spec, outline.at(inset), side)

    found = terraces_of(panels, own, field, ground, f"{name}.field.panel", tolerance)
    return replace(ground, terraces=found)


def is_basin(spec: MedalSpec, face: Face) -> bool:
    """Tell whether a face's field is part of a sphere over an outline that is not round."""
    return bool(face.field.dish) and spec.blank.outline != "round"


def circle_steps(
    circles: Sequence[Circle], least: float, most: float, key: str
) -> tuple[tuple[float, float], ...]:
    """Return what circles add to the height of a field at rising radii; see `Ground.steps`.

    Parameters
    ----------
    least, most : float
        Radii between which they must lie, mm.
    key : str
        Spec path of the list, for errors.

    Raises
    ------
    SpecError
        If one leaves the field or meets another.
    """
    found: list[tuple[float, float]] = []
    ordered = sorted(enumerate(circles), key=lambda pair: pair[1].radius)
    for i, c in ordered:
        lean = abs(c.height) * math.tan(math.radians(c.slope))
        out, into = (lean, 0.0) if c.height > 0.0 else (0.0, lean)
        inner = c.radius - c.width
        knots = [(c.radius - into, c.height), (c.radius + out, 0.0)]
        if c.width > 0.0:
            knots = [(inner - out, 0.0), (inner + into, c.height), *knots]
        elif c.radius - into < _LEAST:
            raise SpecError(
                f"walls {lean:.3g} mm wide leave nothing of a panel {c.radius:g} mm in radius; "
                "make it larger or steeper",
                key=f"{key}[{i}].radius",
            )
        radii = [r for r, _ in knots]
        low = found[-1][0] if found else least
        if any(b - a < _LEAST for a, b in pairwise(radii)):
            raise SpecError(
                f"walls {lean:.3g} mm wide leave nothing of a circle {c.width:g} mm wide",
                key=f"{key}[{i}].width",
            )
        if radii[-1] >= most or (radii[0] if c.width else low) < low or (not c.width and low):
            raise SpecError(
                f"a circle from {max(radii[0], 0.0) if c.width else 0.0:.3g} to {radii[-1]:.3g} mm "
                f"does not fit between {low:.3g} and {most:.3g} mm from the middle",
                key=f"{key}[{i}].radius",
            )
        found += knots
    return tuple(found)


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
            room = left - reach
            left = room - float(np.hypot(*hole.at(0.0)[0].T).max())
            if left <= 0.0 < room:
                raise SpecError(
                    f"a hole of {spec.blank.hole.size:g} mm with its rim runs into the rim of the "
                    f"piece; at most {_largest(spec.blank.hole, room):.2f} mm",
                    key="blank.hole.size",
                )
        if left <= 0.0:
            raise SpecError(
                f"{what} does not fit the {radius:.3g} mm from edge to middle"
                + (" with the rim of the hole" if hole else ""),
                key=key,
            )
        return (outline.at(inset) if hole else ()), radius - inset
    foot = outline.at(inset)
    check_field(foot, hole.at(reach) if hole else (), key, what)
    return foot, max(0.0, room_round_middle(foot) - 5.0 * tolerance.curve)


def _largest(hole: Hole, room: float) -> float:
    """Return the size of a hole whose corners reach `room` mm from the middle, mm."""
    if hole.shape in ("round", "outline"):
        return math.floor(200.0 * room) / 100.0
    r, n = hole.corner_radius, hole.sides
    # Half the width over all to a corner's middle, as `outline` draws squares and polygons.
    odd = math.cos(math.pi / (2 * n)) if n % 2 else 1.0
    share = math.sqrt(0.5) if hole.shape == "square" else odd
    return math.floor(200.0 * ((room - r) * share + r)) / 100.0


def _as_seen(
    spec: MedalSpec, foot: Contours, hole: Offsets | None, slope: float, side: int
) -> tuple[tuple[tuple[float, float], ...], ...]:
    """Return the field's outline in the face's own coordinates."""
    contours = list(foot)
    if hole is not None:
        reach = hole_reach(spec.blank.hole, slope)
        contours += [c[::-1] for c in hole.at(reach)]
    return plain(as_seen(spec, tuple(contours), side))


def plain(contours: Contours) -> tuple[tuple[tuple[float, float], ...], ...]:
    """Return contours as plain data."""
    return tuple(tuple((float(u), float(v)) for u, v in c) for c in contours)


def as_seen(spec: MedalSpec, contours: Contours, side: int) -> Contours:
    """Return contours of the piece in a face's own coordinates.

    The reverse is seen turned over about the axis of the alignment: mirrored at it.
    """
    if side > 0:
        return contours
    mirror = placement(spec.medal.alignment, -1)[:2, :2]
    return tuple((c @ mirror)[::-1] for c in contours)


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
        _refuse_sunk(spec, grounds, space)
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


def _refuse_sunk(spec: MedalSpec, grounds: list[Ground], space: float) -> None:
    """Refuse circles and panels that are deeper than the metal, if it is they that are.

    Raises
    ------
    SpecError
    """
    bare = [g.lifted(0.0).lowest for g in grounds]
    most = bare[0] + bare[1] - 0.02 * spec.blank.thickness
    if most <= 0.0:
        return
    deepest = []
    for name, face in (("obverse", spec.obverse), ("reverse", spec.reverse)):
        panels = [(t.height, f"panel[{i}]") for i, t in enumerate(face.field.panel)]
        circles = [(t.height, f"circle[{i}]") for i, t in enumerate(face.field.circle)]
        deepest += [(height, f"{name}.field.{which}") for height, which in (*panels, *circles)]
    height, path = min(deepest)
    left = f"only {space:.3g} mm" if space > 0.0 else "no metal"
    raise SpecError(
        f"{-height:g} mm deep, it leaves {left} between the two fields of a piece "
        f"{spec.blank.thickness:g} mm thick; what is sunk may be {most:.3g} mm deep, both faces "
        "together",
        key=f"{path}.height",
    )
