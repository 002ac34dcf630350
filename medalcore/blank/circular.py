"""Round pieces: every face a stack of rings, meshed directly."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..edge import Reeding, reeded_circle
from ..ground import Ground
from ..solid import Label, Side, Solid
from ..tolerance import Tolerance
from .outline import volume_chords
from .profile import FaceShape, Step
from .shell import Ring, Shell, joined, merged

FloatArray = NDArray[np.float64]

_OFF_GRID = 0.2371
"""Turn of the field's rings, radians: elements are drawn on the axes, so the field's edges
stay off them and no boolean meets edge on edge."""


@dataclass(frozen=True, eq=False)
class Around:
    """The outline as radius and angle, and the count of its plain circles.

    Attributes
    ----------
    radius, angle : (n,) float64
        mm, radians, rising.
    root : float
        Smallest radius, mm.
    chords : int
        Points of a plain circle of the edge's size.
    """

    radius: FloatArray
    angle: FloatArray
    root: float
    chords: int


def chords_for(radius: float, tolerance: Tolerance) -> int:
    """Return the points of a circle: within tolerance, enough for volumes, easy to halve."""
    return 48 * math.ceil(tolerance.segments(radius, volume_chords(tolerance), 0.5) / 48)


def around(radius: float, reeding: Reeding | None, tolerance: Tolerance) -> Around:
    """Return the outline of a round edge, plain or reeded."""
    chords = chords_for(radius, tolerance)
    if reeding is None:
        return Around(np.full(chords, radius), _turn(chords), radius, chords)
    r, angle = reeded_circle(reeding, radius, 2.0 * math.pi / chords)
    # Inner circles in step with the reeds: a point below every land and every notch.
    each = max(2, math.ceil(0.95 * chords / reeding.around))
    return Around(r, angle, float(r.min()), each * reeding.around)


def round_solid(
    edge: Around,
    obverse: FaceShape,
    reverse: FaceShape,
    wall: Sequence[Step],
    hole: float,
    tolerance: Tolerance,
) -> Solid:
    """Mesh a round piece from the sections of its two faces.

    Parameters
    ----------
    wall : sequence of Step
        Corners of grooves on the edge, from the obverse downwards (z over the mid-plane).
    hole : float
        Radius of the hole in the middle; 0 for none, mm.

    Raises
    ------
    SolidError
        If the surface is not closed.
    """
    split = _split(edge, sorted({s.inset for s in (*obverse.outer, *reverse.outer)}))
    upper, top, top_hole = _face(split, obverse, 1, hole, tolerance)
    if reverse.is_like(obverse):
        lower, bottom, bottom_hole = upper.on_other_side(), top, top_hole
    else:
        lower, bottom, bottom_hole = _face(split, reverse, -1, hole, tolerance)
    shell = joined(upper, lower)
    below = bottom.after(upper.count)
    for step in reversed(wall):
        ring = shell.ring(edge.radius - step.inset, edge.angle, step.z)
        shell.band(below, ring, Label("edge"))
        below = ring
    shell.band(below, top, Label("edge"))
    if top_hole is not None and bottom_hole is not None:
        shell.band(top_hole, bottom_hole.after(upper.count), Label("edge"))
    return shell.solid()


def _turn(count: int) -> FloatArray:
    return np.asarray(2.0 * np.pi * np.arange(count) / count)


def _split(edge: Around, insets: Sequence[float]) -> Around:
    """Put points where the outline crosses the circles of the sections."""
    outer = float(edge.radius.max())
    radius, angle = edge.radius, edge.angle
    for inset in insets:
        level = outer - inset
        if not edge.root < level < outer:
            continue
        r1 = np.roll(radius, -1)
        a1 = np.append(angle[1:], angle[0] + 2.0 * np.pi)
        cross = np.flatnonzero((radius - level) * (r1 - level) < -1e-12)
        x0, y0 = radius[cross] * np.cos(angle[cross]), radius[cross] * np.sin(angle[cross])
        dx = r1[cross] * np.cos(a1[cross]) - x0
        dy = r1[cross] * np.sin(a1[cross]) - y0
        # |p + t d| = level: the root of the quadratic inside the chord
        a, b, c = dx * dx + dy * dy, x0 * dx + y0 * dy, x0 * x0 + y0 * y0 - level * level
        swing = np.sqrt(b * b - a * c)
        t = np.where(c > 0.0, (-b - swing) / a, (-b + swing) / a)
        x1, y1 = x0 + t * dx, y0 + t * dy
        turn = np.arctan2(x0 * y1 - y0 * x1, x0 * x1 + y0 * y1)
        radius = np.insert(radius, cross + 1, level)
        angle = np.insert(angle, cross + 1, angle[cross] + turn)
    return Around(radius, angle, edge.root, edge.chords)


def _face(
    edge: Around, shape: FaceShape, side: Side, hole: float, tolerance: Tolerance
) -> tuple[Shell, Ring, Ring | None]:
    """Mesh one face, z up; return it, its outline ring and its hole's ring."""
    shell = Shell()
    outer = float(edge.radius.max())
    steps = shape.outer
    radii = np.array([outer - s.inset for s in steps])
    heights = np.array([s.z for s in steps])
    # Height over radius; radii fall along the steps.
    z = np.interp(edge.radius, radii[::-1], heights[::-1])
    first = last = shell.ring(edge.radius, edge.angle, z)
    plain = _turn(edge.chords)
    reeded = edge.root < outer
    for step, radius in zip(steps[1:], radii[1:], strict=True):
        label = Label(step.zone, 0 if step.zone == "edge" else side)
        if reeded and radius >= edge.root:
            new = shell.ring(radius, edge.angle, step.z)
            same = edge.radius <= radius + 1e-12
            new = Ring(np.where(same, first.index, new.index), edge.angle)
        else:
            new = shell.ring(radius, plain, step.z)
            if reeded:
                reeded = False
                between = merged(last, new)
                if not shell.folds(between):
                    shell.face(between, label)
                    last = new
                    continue
                # Steep flanks: first a full ring, point below point, just inside the roots.
                low = (edge.root + radius) / 2.0
                whole = shell.ring(low, edge.angle, np.interp(low, radii[::-1], heights[::-1]))
                shell.band(last, whole, label)
                last = whole
        shell.band(last, new, label)
        last = new
    field = Label("field", side)
    if not hole:
        fill_disc(shell, last, float(radii[-1]), shape.ground, field, tolerance)
        return shell, first, None
    turn = _turn(chords_for(hole, tolerance))
    foot = hole + shape.hole[-1].inset
    last = thin_rings(shell, last, float(radii[-1]), foot, shape.ground, field, tolerance)
    label = field
    for step in reversed(shape.hole):
        new = shell.ring(hole + step.inset, turn, step.z)
        shell.band(last, new, label)
        label = Label(step.zone, 0 if step.zone == "edge" else side)
        last = new
    return shell, first, last


def fill_disc(
    shell: Shell, rim: Ring, radius: float, ground: Ground, label: Label, tolerance: Tolerance
) -> None:
    """Fill a disc with rings that thin out inwards, and a small fan in the middle."""
    last = thin_rings(shell, rim, radius, 0.0, ground, label, tolerance)
    inner = float(np.hypot(*np.concatenate(shell.points)[last.index[0], :2]))
    off = 0.03 * inner * np.array([math.cos(1.0), math.sin(1.0)])
    shell.centre(last, np.append(off, ground.height(off)), label)


def thin_rings(
    shell: Shell,
    rim: Ring,
    radius: float,
    until: float,
    ground: Ground,
    label: Label,
    tolerance: Tolerance,
) -> Ring:
    """Add rings from `radius` inwards, fewer points on each, and return the last one.

    Rings stop before `until`; edges stay short enough for the dome. Circles of the field
    get full rings of their own.
    """
    last = rim
    for edge in (r for r, _ in reversed(ground.steps)):
        last = _thinned(shell, last, radius, edge, ground, label, tolerance)
        angle = _OFF_GRID + _turn(chords_for(edge, tolerance))
        ring = shell.ring(edge, angle, float(ground.height(np.array([edge, 0.0]))))
        shell.band(last, ring, label)
        last, radius = ring, edge
    return _thinned(shell, last, radius, until, ground, label, tolerance)


def _thinned(
    shell: Shell,
    last: Ring,
    radius: float,
    until: float,
    ground: Ground,
    label: Label,
    tolerance: Tolerance,
) -> Ring:
    step = ring_step(ground, tolerance)
    count, inner, phase = len(last), radius, _OFF_GRID
    while True:
        edge = 2.0 * np.pi * inner / count
        width = min(0.9 * edge, step)
        below = inner - width
        least = until + 0.6 * width if until else max(2.0 * width, 0.08 * radius)
        if below < least:
            return last
        inner = below
        # On a level field nothing is lost by thinning out faster.
        coarser = 2.56 * edge if step < math.inf else 5.12 * edge
        while count > 12 and 4.0 * np.pi * inner / count < min(step, coarser):
            count //= 2
        phase += _OFF_GRID * 2.0 * np.pi / count
        angle = phase % (2.0 * np.pi / count) + _turn(count)
        uv = inner * np.column_stack([np.cos(angle), np.sin(angle)])
        ring = shell.ring(inner, angle, ground.height(uv))
        shell.band(last, ring, label)
        last = ring


def ring_step(ground: Ground, tolerance: Tolerance) -> float:
    """Return the longest edge that stays within tolerance of the dome, mm (sagitta)."""
    if ground.dish == 0.0:
        return math.inf
    s, reach = abs(ground.dish), ground.basin or ground.radius
    big = (reach**2 + s**2) / (2.0 * s)
    # A quarter of the tolerance: chords all err to one side, and volumes should be true too.
    return math.sqrt(8.0 * big * tolerance.curve / 4.0) * 0.8
