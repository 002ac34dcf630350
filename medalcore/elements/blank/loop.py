"""What a piece hangs by: a flat lug, or an eye of wire."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.bodies import revolved
from ...geometry.contour import Contours, intersected, offset, signed_area, subtracted, united
from ...geometry.rays import direction, reach
from ...geometry.shell import Shell, joined
from ...geometry.solid import Label, Solid, solid_from_manifold
from ...geometry.types import FloatArray
from ...spec import Blank
from .offsets import Offsets
from .profile import FaceShape, break_steps, cover

_UNDER = 0.02
"""How far under the edge a fillet becomes tangent, mm: it then crosses the edge instead of
touching it."""


def loop_solid(
    blank: Blank, outline: Contours, faces: Sequence[FaceShape], tolerance: Tolerance
) -> Solid:
    """Return the loop, reaching into the piece where the piece hides it.

    Raises
    ------
    SpecError
        If it misses the piece or does not fit it.
    """
    loop = blank.loop
    edge = reach(outline[0], direction(loop.angle))
    most = loop.width - (0.0 if loop.fillet > _UNDER else 2.0 * _UNDER)  # fillets bridge it
    if edge <= 0.0 or loop.gap >= most:
        raise SpecError(
            f"the loop misses the piece: {loop.gap:g} mm between hole and edge is too much for "
            f"{loop.width:g} mm of metal round the hole; a gap below {most:.3g} mm meets it",
            key="blank.loop.gap",
        )
    make = _lug if loop.kind == "lug" else _eye
    return make(blank, outline, faces, edge, tolerance)


def _lug(
    blank: Blank,
    outline: Contours,
    faces: Sequence[FaceShape],
    edge: float,
    tolerance: Tolerance,
) -> Solid:
    """Return a plate round the hole that runs into the edge with fillets."""
    loop = blank.loop
    upright = 2.0 * min(face.outer[0].z for face in faces)
    thick = loop.thickness or min(0.7 * blank.thickness, 0.96 * upright)
    if thick > 0.97 * upright:
        raise SpecError(
            f"a lug {thick:g} mm thick does not fit the upright edge of {upright:.3g} mm; "
            f"at most {0.97 * upright:.2f} mm",
            key="blank.loop.thickness",
        )
    middle = direction(loop.angle) * (edge + loop.gap + loop.hole / 2.0)
    outer = loop.hole / 2.0 + loop.width
    sink = _sink(blank, faces, thick / 2.0)
    plate = _run_in(outline[0], middle, outer, loop.fillet, sink, tolerance)
    hole = _circle(middle, loop.hole / 2.0, tolerance)[::-1]
    return _plate((plate, hole), thick / 2.0, min(0.2 * thick, 0.3 * loop.width), tolerance)


def _sink(blank: Blank, faces: Sequence[FaceShape], half: float) -> float:
    """Return how far a plate reaches into the piece without coming out on a field, mm."""
    return min(max(1.0, 1.5 * blank.chamfer), 0.95 * cover(faces, half + 0.02))


def _run_in(
    edge: FloatArray,
    middle: FloatArray,
    radius: float,
    fillet: float,
    sink: float,
    tolerance: Tolerance,
) -> FloatArray:
    """Return the outline of a disc that runs into an edge with fillets.

    Growing the piece and its disc by the fillet's radius and shrinking it again rounds the
    inner corners by just that radius.
    """
    under = offset((edge,), -_UNDER, "round", tolerance=tolerance.curve)
    disc = (_circle(middle, radius, tolerance),)
    whole = united([under, disc])
    if fillet > 0.0:
        grown = offset(whole, fillet, "round", tolerance=tolerance.curve / 2.0)
        whole = offset(grown, -fillet, "round", tolerance=tolerance.curve / 2.0)
    far = float(np.hypot(*middle))
    above = max(far - reach(edge, middle / far), 0.0)
    near = (_circle(middle, math.hypot(radius + fillet, above) + 0.3, tolerance),)
    whole = united([intersected(whole, near), disc])
    deep = offset((edge,), -sink, "round", tolerance=tolerance.curve)
    plate = subtracted(whole, deep) if deep else whole
    return max(plate, key=signed_area)


def _plate(contours: Contours, half: float, rounding: float, tolerance: Tolerance) -> Solid:
    """Return a flat plate with rounded edges, less so where it is too narrow for them."""
    offsets = Offsets(contours, tolerance)
    while not offsets.at(rounding):
        rounding *= 0.5
    label = Label("loop")
    shells = []
    rims = []
    for _ in range(2):
        shell = Shell()
        last = rim = shell.loops(offsets.at(0.0), half - rounding)
        for step in break_steps(rounding, half, True, tolerance)[1:]:
            new = shell.loops(offsets.at(step.inset), step.z)
            shell.patch(last, new, label)
            last = new
        shell.patch(last, [], label)
        shells.append(shell)
        rims.append(rim)
    both = joined(*shells)
    both.strips([ring + shells[0].count for ring in rims[1]], rims[0], label)
    return both.solid()


def _eye(
    blank: Blank,
    outline: Contours,
    faces: Sequence[FaceShape],
    edge: float,
    tolerance: Tolerance,
) -> Solid:
    """Return a ring of wire that stands on the edge, pierced from side to side, on a foot."""
    loop = blank.loop
    wire = loop.width / 2.0
    mean = loop.hole / 2.0 + wire
    room = min(face.outer[0].z for face in faces)
    if 1.1 * wire > 0.95 * room:
        raise SpecError(
            f"an eye of {loop.width:g} mm wire does not fit the upright edge of "
            f"{2.0 * room:.3g} mm; at most {2.0 * 0.95 * room / 1.1:.2f} mm",
            key="blank.loop.width",
        )
    n = 4 * math.ceil(tolerance.segments(mean + wire, 48, 0.5) / 4)
    around = 4 * math.ceil(tolerance.segments(wire, 24, 0.5) / 4)
    turn = 2.0 * np.pi * (np.arange(around) + 0.37) / around
    ring = np.column_stack([mean + wire * np.cos(turn), wire * np.sin(turn)])
    torus = revolved(ring, n).rotate((0.0, 0.0, 3.1))
    torus = torus.rotate((0.0, 90.0, 0.0)).translate((0.0, edge + loop.gap + loop.hole / 2.0, 0.0))
    # Half-way up the wire's section is a disc, which runs into the edge like a lug.
    half = min(0.95 * room, 1.6 * wire)
    bottom = np.array([0.0, edge + loop.gap - wire])
    angle = math.radians(loop.angle)
    cos, sin = math.cos(angle), math.sin(angle)
    upright = outline[0] @ np.array([[cos, sin], [-sin, cos]])
    plate = _run_in(upright, bottom, wire, loop.fillet, _sink(blank, faces, half), tolerance)
    foot = _plate((plate,), half, min(0.3 * half, 0.5 * wire), tolerance)
    body = (torus + foot.manifold).rotate((0.0, 0.0, -loop.angle))
    return solid_from_manifold(body, "loop", "the eye")


def _circle(middle: FloatArray, radius: float, tolerance: Tolerance) -> FloatArray:
    n = 4 * math.ceil(tolerance.segments(radius, 96, 0.5) / 4)
    angle = 2.0 * np.pi * (np.arange(n) + 0.29) / n
    return np.asarray(middle + radius * np.column_stack([np.cos(angle), np.sin(angle)]))
