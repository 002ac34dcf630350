"""Round pieces: every face a stack of rings, meshed directly."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..edge import Reeding
from ..ground import Ground
from ..solid import Label, Side, Solid
from ..tolerance import Tolerance
from .profile import Step
from .shell import Ring, Shell, joined

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
    """Return the points of a circle: within tolerance, and enough for volumes.

    An inscribed n-gon misses 2π²/3n² of the circle's area (series of sine): n of 240 keeps
    that at 0.011 % at fine however small the piece. A multiple of 48 halves well.
    """
    least = math.ceil(10.7 / math.sqrt(tolerance.curve))
    return 48 * math.ceil(tolerance.segments(radius, least) / 48)


def around(radius: float, reeding: Reeding | None, tolerance: Tolerance) -> Around:
    """Return the outline of a round edge, plain or reeded."""
    chords = chords_for(radius, tolerance)
    if reeding is None:
        angle = 2.0 * np.pi * np.arange(chords) / chords
        return Around(np.full(chords, radius), angle, radius, chords)
    r, angle = reeding.outline(tolerance, chords)
    # Inner circles in step with the reeds: a point below every land and every notch.
    each = max(2, math.ceil(0.95 * chords / reeding.count))
    return Around(r, angle, float(r.min()), each * reeding.count)


def round_solid(
    edge: Around,
    obverse: tuple[Sequence[Step], Ground],
    reverse: tuple[Sequence[Step], Ground],
    tolerance: Tolerance,
) -> Solid:
    """Mesh a round piece from the sections of its two faces.

    Raises
    ------
    SolidError
        If the surface is not closed.
    """
    split = _split(edge, sorted({s.inset for s in (*obverse[0], *reverse[0])}))
    upper, top = _face(split, *obverse, 1, tolerance)
    lower, bottom = _face(split, *reverse, -1, tolerance)
    shell, bottom = joined(upper, lower, bottom)
    shell.band(bottom, top, Label("edge"))
    return shell.solid()


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
        turn = np.arctan2(
            x0 * (y0 + t * dy) - y0 * (x0 + t * dx), x0 * (x0 + t * dx) + y0 * (y0 + t * dy)
        )
        radius = np.insert(radius, cross + 1, level)
        angle = np.insert(angle, cross + 1, angle[cross] + turn)
    return Around(radius, angle, edge.root, edge.chords)


def _face(
    edge: Around, steps: Sequence[Step], ground: Ground, side: Side, tolerance: Tolerance
) -> tuple[Shell, Ring]:
    """Mesh one face, z up; return it and its outline ring."""
    shell = Shell()
    outer = float(edge.radius.max())
    radii = np.array([outer - s.inset for s in steps])
    heights = np.array([s.z for s in steps])
    # Height over radius; radii fall along the steps, a wall counts from its upper end.
    z = np.interp(edge.radius, radii[::-1], heights[::-1])
    first = last = shell.ring(edge.radius, edge.angle, z)
    plain = 2.0 * np.pi * np.arange(edge.chords) / edge.chords
    reeded = edge.root < outer
    for step, radius in zip(steps[1:], radii[1:], strict=True):
        label = Label(step.zone, 0 if step.zone == "edge" else side)
        if reeded and radius >= edge.root:
            new = shell.ring(radius, edge.angle, step.z)
            same = edge.radius <= radius + 1e-12
            new = Ring(np.where(same, first.index, new.index), edge.angle)
        else:
            new = shell.ring(radius, plain, step.z)
            if reeded and shell.overlaps(last, new):
                # Steep flanks: first a full ring, point below point, just inside the roots.
                low = (edge.root + radius) / 2.0
                whole = shell.ring(low, edge.angle, np.interp(low, radii[::-1], heights[::-1]))
                shell.band(last, whole, label)
                last = whole
            reeded = False
        shell.band(last, new, label)
        last = new
    _field(shell, last, float(radii[-1]), ground, Label("field", side), tolerance)
    return shell, first


def _field(
    shell: Shell, rim: Ring, radius: float, ground: Ground, label: Label, tolerance: Tolerance
) -> None:
    """Fill a disc with rings that thin out inwards, and a small fan in the middle."""
    step = _ring_step(ground, tolerance)
    count, last = len(rim), rim
    inner = radius
    phase = _OFF_GRID
    while True:
        edge = 2.0 * np.pi * inner / count
        width = min(0.9 * edge, step)
        if inner - width < 2.0 * width or inner - width < 0.08 * radius:
            break
        inner -= width
        while count > 12 and 2.0 * np.pi * inner / count < 0.8 * min(step, 1.6 * edge):
            count //= 2
        phase += _OFF_GRID * 2.0 * np.pi / count
        angle = phase % (2.0 * np.pi / count) + 2.0 * np.pi * np.arange(count) / count
        uv = inner * np.column_stack([np.cos(angle), np.sin(angle)])
        ring = shell.ring(inner, angle, ground.height(uv))
        shell.band(last, ring, label)
        last = ring
    off = 0.03 * inner * np.array([math.cos(1.0), math.sin(1.0)])
    shell.centre(last, np.append(off, ground.height(off)), label)


def _ring_step(ground: Ground, tolerance: Tolerance) -> float:
    """Return the longest edge that stays within tolerance of the dome, mm (sagitta)."""
    if ground.dish == 0.0:
        return math.inf
    s = abs(ground.dish)
    big = (ground.radius**2 + s**2) / (2.0 * s)
    return math.sqrt(8.0 * big * tolerance.curve) * 0.8
