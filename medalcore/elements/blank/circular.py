"""Round pieces: every face a stack of rings, meshed directly."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...context.ground import Ground
from ...context.tolerance import Tolerance
from ...geometry.arrays import ragged
from ...geometry.shell import Ring, Shell, joined, merged
from ...geometry.solid import Label, Side, Solid
from ...geometry.types import FloatArray
from ..edge import Reeding, reeded_circle
from .outline import volume_chords
from .profile import FaceShape, Step
from .wall import Around, in_short_rises, raise_wall

_OFF_GRID = 0.2371
"""Turn of the field's rings, radians: elements are drawn on the axes, so the field's edges
stay off them and no boolean meets edge on edge."""


def chords_for(radius: float, tolerance: Tolerance) -> int:
    """Return the points of a circle: within tolerance, enough for volumes, easy to halve."""
    return 48 * math.ceil(tolerance.segments(radius, volume_chords(tolerance), 0.5) / 48)


def around(
    radius: float, reeding: Reeding | None, tolerance: Tolerance, slant: float = 0.0
) -> Around:
    """Return the outline of a round edge, plain or reeded, slanted by degrees."""
    chords = chords_for(radius, tolerance)
    if reeding is None:
        return Around(np.full(chords, radius), _turn(chords), radius, chords)
    r, angle = reeded_circle(reeding, radius, 2.0 * math.pi / chords)
    # Sagitta of a chord, w²/8R; less where a slant twists the flank besides.
    share = 3.0 if slant else 8.0
    r, angle = _in_short_chords(r, angle, math.sqrt(share * radius * tolerance.curve))
    # Inner circles in step with the reeds: a point below every land and every notch.
    each = max(2, math.ceil(0.95 * chords / reeding.around))
    lean = math.tan(math.radians(slant)) / radius
    return Around(r, angle, float(r.min()), each * reeding.around, lean)


def _in_short_chords(
    radius: FloatArray, angle: FloatArray, most: float
) -> tuple[FloatArray, FloatArray]:
    """Put points on long chords: a cone meets the flat flank of a wide notch along a curve."""
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    dx, dy = np.roll(x, -1) - x, np.roll(y, -1) - y
    times = np.maximum(1, np.ceil(np.hypot(dx, dy) / most - 1e-6)).astype(np.int64)
    times[np.abs(np.roll(radius, -1) - radius) < 1e-6] = 1  # lands and floors are true already
    owner, step = ragged(times)
    t = step / times[owner]
    px, py = x[owner] + t * dx[owner], y[owner] + t * dy[owner]
    turn = np.arctan2(x[owner] * py - y[owner] * px, x[owner] * px + y[owner] * py)
    new = t > 0.0
    return np.where(new, np.hypot(px, py), radius[owner]), angle[owner] + np.where(new, turn, 0.0)


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
    if edge.lean:
        obverse, reverse = (_in_short_rises(edge, face, tolerance) for face in (obverse, reverse))
    edge = edge.split(sorted({s.inset for s in (*obverse.outer, *reverse.outer)}))
    upper, top, top_hole = _face(edge, obverse, 1, hole, tolerance)
    if reverse.is_like(obverse) and not edge.lean:
        lower, bottom, bottom_hole = upper.on_other_side(), top, top_hole
    else:
        lower, bottom, bottom_hole = _face(edge, reverse, -1, hole, tolerance)
    shell = joined(upper, lower)
    raise_wall(shell, edge, bottom.after(upper.count), top, wall, tolerance)
    if top_hole is not None and bottom_hole is not None:
        shell.band(top_hole, bottom_hole.after(upper.count), Label("edge"))
    return shell.solid()


def _turn(count: int) -> FloatArray:
    return np.asarray(2.0 * np.pi * np.arange(count) / count)


def _in_short_rises(edge: Around, face: FaceShape, tolerance: Tolerance) -> FaceShape:
    """Return a face whose section keeps slanted notches within tolerance."""
    steps = in_short_rises(face.outer, edge.outer - edge.root, edge.rise(tolerance))
    return replace(face, outer=steps)


def _face(
    edge: Around, shape: FaceShape, side: Side, hole: float, tolerance: Tolerance
) -> tuple[Shell, Ring, Ring | None]:
    """Mesh one face, z up; return it, its outline ring and its hole's ring.

    Rings of a slanted edge are matched as they were before they were turned.
    """
    shell = Shell()
    outer, lean = edge.outer, side * edge.lean
    steps = shape.outer
    radii = np.array([outer - s.inset for s in steps])
    heights = np.array([s.z for s in steps])
    # Height over radius; radii fall along the steps.
    z = np.interp(edge.radius, radii[::-1], heights[::-1])
    z = np.where(edge.radius < radii[-1], _field(shape.ground, edge.radius), z)
    first = last = _leaning(shell, edge.radius, edge.angle, z, lean)
    plain = _turn(edge.chords)
    reeded, turned = edge.root < outer, 0.0
    if reeded and radii[-1] >= edge.root:  # without a rim they may run into the field
        inner = edge.root - 0.1 * (outer - edge.root)
        steps += (Step(outer - inner, float(_field(shape.ground, inner)), "field"),)
        radii, heights = np.append(radii, inner), np.append(heights, steps[-1].z)
    for step, radius in zip(steps[1:], radii[1:], strict=True):
        label = Label(step.zone, 0 if step.zone == "edge" else side)
        if reeded and radius >= edge.root:
            new = _leaning(shell, radius, edge.angle, step.z, lean)
            same = edge.radius <= radius + 1e-12
            new = Ring(np.where(same, first.index, new.index), edge.angle)
            shell.band(last, new, label, lean)
        elif reeded:
            reeded, turned = False, lean * step.z
            new = _leaning(shell, radius, plain, step.z, lean)
            between = merged(last, new)
            if shell.folds(between):
                # Steep flanks: first a full ring, point below point, just inside the roots.
                low = (edge.root + radius) / 2.0
                height = float(np.interp(low, radii[::-1], heights[::-1]))
                whole = _leaning(shell, low, edge.angle, height, lean)
                shell.band(last, whole, label, lean)
                between = merged(whole, new)
            shell.face(between, label)
            new = Ring(new.index, plain + turned)
        else:
            new = shell.ring(radius, plain + turned, step.z)
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


def _field(ground: Ground, radius: float | FloatArray) -> FloatArray:
    """Return the height of a field at radii, mm."""
    r = np.asarray(radius, dtype=np.float64)
    return ground.height(np.stack([r, np.zeros_like(r)], axis=-1))


def _leaning(
    shell: Shell, radius: float | FloatArray, angle: FloatArray, z: float | FloatArray, lean: float
) -> Ring:
    """Add a ring turned by its height, which is matched by its angles at the mid-plane."""
    return Ring(shell.ring(radius, angle + lean * z, z).index, angle)


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
    # A quarter of the tolerance: chords all err to one side, and volumes should be true too.
    return math.sqrt(8.0 * ground.sphere * tolerance.curve / 4.0) * 0.8
