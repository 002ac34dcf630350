"""Everything there is to know about a blank before it is meshed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.contour import Contours, edge_lengths
from ...geometry.rays import along_at
from ...geometry.types import FloatArray
from ...spec import Blank, MedalSpec
from ..edge import STRAIGHT, Reeding, groove_points, kept_off, reeding_of, set_out, started
from .faces import faces_of
from .inward import inset_for
from .lettered import EdgeLetters, set_words
from .offsets import Offsets, room_round_middle
from .outline import outline_of
from .profile import FaceShape, Step
from .shape import hole_outline


@dataclass(frozen=True, eq=False)
class Plan:
    """A blank, checked and measured out.

    Attributes
    ----------
    is_round : bool
    outline : Offsets
        The outline and its offsets inwards.
    hole : Offsets or None
        The middle hole and its offsets outwards.
    hole_is_round : bool
    room : float
        Radius of the largest circle about the middle inside the outline, mm.
    reeding : Reeding or None
    wall : tuple of Step
        Corners of the grooves, from the obverse downwards.
    faces : (FaceShape, FaceShape)
        Obverse and reverse.
    letters : EdgeLetters or None
    """

    is_round: bool
    outline: Offsets
    hole: Offsets | None
    hole_is_round: bool
    room: float
    reeding: Reeding | None
    wall: tuple[Step, ...]
    faces: tuple[FaceShape, FaceShape]
    letters: EdgeLetters | None


def planned(spec: MedalSpec, tolerance: Tolerance) -> Plan:
    """Work out and check everything there is to know without meshing."""
    blank = spec.blank
    contours = outline_of(blank, tolerance)
    is_round = blank.outline == "round"
    if not is_round and len(contours) == 1:
        contours = (started(contours[0]),)
    outline = Offsets(contours, tolerance)
    room = blank.diameter / 2.0 if is_round else room_round_middle(contours)
    hole, metal = None, room
    if blank.hole.shape != "none":
        drawn, inset = _hole(blank, outline, tolerance)
        hole = Offsets((drawn,), tolerance, 1.0)
        metal = inset or _metal(blank, drawn, room)
    faces = faces_of(spec, outline, hole, room if is_round else 0.0, tolerance)
    low, high = -faces[1].outer[0].z, faces[0].outer[0].z
    wall: tuple[Step, ...] = ()
    if "grooved" in spec.edge.finish:
        points = groove_points(spec.edge, low, high, tolerance)
        wall = tuple(Step(float(i), float(z), "edge") for i, z in points)
        _refuse_deep(spec.edge.groove_depth, 0.8 * metal, "edge.groove_depth")
    letters = None
    if spec.edge.text.words.strip():
        letters = set_words(spec.edge.text, contours[0], *_band(wall, low, high), tolerance)
    reeding = None
    if "reeded" in spec.edge.finish:
        reeding = _reeding(spec, contours, is_round, tolerance)
        if letters is not None and spec.edge.text.clear:
            lean = _lean(spec)
            reeding = kept_off(reeding, [(a - lean, b + lean) for a, b in letters.spans])
        _refuse_through(reeding, faces)
        if not is_round:
            _refuse_into_circles(reeding, faces, outline, tolerance)
        _refuse_deep(reeding.notch.depth, 0.8 * metal, "edge.depth")
    round_hole = blank.hole.shape == "round"
    return Plan(is_round, outline, hole, round_hole, room, reeding, wall, faces, letters)


def _hole(blank: Blank, outline: Offsets, tolerance: Tolerance) -> tuple[FloatArray, float]:
    """Return the outline of the middle hole, counter-clockwise, and how far inwards it is drawn.

    The latter is 0 for a hole with a shape of its own.

    Raises
    ------
    SpecError
        If it cannot be drawn.
    """
    if len(outline.at(0.0)) > 1:
        raise SpecError(
            "the drawing has holes already; leave the hole out or draw it", key="blank.hole"
        )
    if blank.hole.shape != "outline":
        return hole_outline(blank.hole, tolerance), 0.0
    inset = inset_for(blank, outline.at(0.0), blank.hole.size, tolerance)
    if inset is None:
        large = blank.hole.size >= blank.diameter
        cure = (
            "leaves no metal; make it smaller"
            if large
            else "closes or comes in parts; make it larger"
        )
        raise SpecError(
            f"a hole {blank.hole.size:g} mm wide along the outline of a piece of "
            f"{blank.diameter:g} mm {cure}",
            key="blank.hole.size",
        )
    return outline.at(inset)[0], inset


def _metal(blank: Blank, hole: FloatArray, room: float) -> float:
    """Return how much metal there is between a hole and the edge, mm.

    Raises
    ------
    SpecError
        If there is none.
    """
    reach = float(np.hypot(*hole.T).max())
    if reach >= room:
        raise SpecError(
            f"a hole of {blank.hole.size:g} mm takes the piece away; it must leave metal to "
            f"the edge, {room:.3g} mm from the middle",
            key="blank.hole.size",
        )
    return room - reach


def _band(wall: Sequence[Step], low: float, high: float) -> tuple[float, float]:
    """Return the plain band of the edge that has most room beside the grooves, z in mm.

    Of equal ones the band nearest to the middle, then the upper one.
    """
    plain = [high, *(s.z for s in wall if s.inset == 0.0), low]
    bands = [(below, above) for above, below in zip(plain[::2], plain[1::2], strict=True)]
    return max(bands, key=lambda b: (round(b[1] - b[0], 6), -round(abs(b[0] + b[1]), 6)))


def _refuse_deep(depth: float, most: float, key: str) -> None:
    if depth >= most > 0.0:
        raise SpecError(f"{depth:g} mm cuts the piece away; at most {most:.3g} mm", key=key)


def _reeding(spec: MedalSpec, contours: Contours, is_round: bool, tolerance: Tolerance) -> Reeding:
    radius = spec.blank.diameter / 2.0

    def on_circle(clockwise: float) -> float:
        return radius * math.radians(90.0 - clockwise)

    if is_round:
        return reeding_of(spec.edge, 2.0 * math.pi * radius, radius, tolerance, on_circle)
    length = float(edge_lengths(contours[0]).sum())
    reeding = reeding_of(spec.edge, length, STRAIGHT, tolerance, partial(along_at, contours[0]))
    return set_out(reeding, spec.edge, contours[0], _lean(spec), tolerance)


def _lean(spec: MedalSpec) -> float:
    """Return how far slanted reeds run to either side of their middle, mm."""
    return spec.blank.thickness / 2.0 * math.tan(math.radians(abs(spec.edge.slant)))


def _refuse_into_circles(
    reeding: Reeding, faces: tuple[FaceShape, FaceShape], outline: Offsets, tolerance: Tolerance
) -> None:
    """Refuse notches that run into circles of a field.

    Raises
    ------
    SpecError
    """
    most = room_round_middle(outline.at(reeding.notch.depth)) - 10.0 * tolerance.curve
    for name, face in zip(("obverse", "reverse"), faces, strict=True):
        reach = face.ground.steps[-1][0] if face.ground.steps else 0.0
        if reach > most:
            raise SpecError(
                f"notches {reeding.notch.depth:g} mm deep leave {most:.3g} mm from the middle; "
                f"the largest circle of the {name} reaches {reach:.3g} mm",
                key="edge.depth",
            )


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
