"""Round edges, and rings of a field about the middle."""

from __future__ import annotations

import math

import numpy as np

from ...context.ground import Ground
from ...context.tolerance import Tolerance
from ...geometry.arrays import ragged
from ...geometry.shell import Ring, Shell
from ...geometry.solid import Label
from ...geometry.types import FloatArray
from ..edge import Reeding, reeded_circle
from .edge_wall import CircleEdge
from .outline import volume_chords

_OFF_GRID = 0.2371
"""Turn of the field's rings, radians: elements are drawn on the axes, so the field's edges
stay off them and no boolean meets edge on edge."""


def chords_for(radius: float, tolerance: Tolerance) -> int:
    """Return the points of a circle: within tolerance, enough for volumes, easy to halve."""
    return 48 * math.ceil(tolerance.segments(radius, volume_chords(tolerance), 0.5) / 48)


def circle_edge(
    radius: float, reeding: Reeding, tolerance: Tolerance, slant: float = 0.0
) -> CircleEdge:
    """Return a round edge with its reeds, slanted by degrees."""
    chords = chords_for(radius, tolerance)
    r, angle = reeded_circle(reeding, radius, 2.0 * math.pi / chords)
    # Sagitta of a chord, w²/8R; less where a slant twists the flank besides.
    share = 3.0 if slant else 8.0
    r, angle = _in_short_chords(r, angle, math.sqrt(share * radius * tolerance.curve))
    # Inner circles in step with the reeds: a point below every land and every notch.
    each = max(2, math.ceil(0.95 * chords / reeding.around))
    lean = math.tan(math.radians(slant)) / radius
    return CircleEdge(r, angle, float(r.min()), each * reeding.around, lean)


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


def circle_angles(count: int) -> FloatArray:
    """Return the angles of a ring's points, radians, off the axes that elements are drawn on."""
    return _OFF_GRID + _turn(count)


def _turn(count: int) -> FloatArray:
    return np.asarray(2.0 * np.pi * np.arange(count) / count)


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
        angle = circle_angles(chords_for(edge, tolerance))
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
