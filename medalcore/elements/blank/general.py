"""Pieces of any outline: the section follows the outline as true offsets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from ...context.ground import Ground
from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.contour import Contours, inside, offset, subtracted
from ...geometry.shell import Ring, Shell, joined
from ...geometry.solid import Label, Side, Solid
from ...geometry.types import FloatArray, IntArray
from .circular import chords_for, fill_disc, thin_rings
from .profile import FaceShape, Step
from .track import Track
from .wall import in_short_rises, raise_wall

Loops = list[IntArray]


_CLEAR = 0.02
"""mm; a corner of the section no deeper than that below the reeds still runs along with them."""

_MANY = 4000
"""Points from which an outline's offsets are made one from another."""

_STRIDE = 0.3
"""The first of them, mm: scallops so many that it matters are mostly gone there."""


class Offsets:
    """An outline's offsets, each made once."""

    def __init__(self, contours: Contours, tolerance: Tolerance, sign: float = -1.0) -> None:
        self._made: dict[float, Contours] = {0.0: contours}
        self._tolerance = tolerance
        self._sign = sign

    def at(self, inset: float) -> Contours:
        """Return the contours at a distance into the face, mm."""
        if inset not in self._made:
            start = self._start(inset)
            self._made[inset] = offset(
                self._made[start],
                self._sign * (inset - start),
                "round",
                tolerance=self._tolerance.curve / 2.0,
                least=self._tolerance.curve / 20.0,
            )
        return self._made[inset]

    def _start(self, inset: float) -> float:
        """Return the inset to go on from: nought, or the last one of an outline of many points.

        Going in by two steps is going in by their sum (the sum of two discs is a disc), and the
        offset of many small scallops has far fewer points than they.
        """
        if sum(map(len, self._made[0.0])) < _MANY:
            return 0.0
        if inset > 2.0 * _STRIDE:
            self.at(_STRIDE)
        return max(i for i in self._made if i <= inset / 2.0)


def room_round_middle(contours: Contours) -> float:
    """Return the radius of the largest circle about the origin inside contours; 0 if none."""
    origin = np.zeros((1, 2))
    if not contours or not inside(contours, origin)[0]:
        return 0.0
    return min(_distance(c) for c in contours)


def _distance(points: FloatArray) -> float:
    """Return the distance of the origin from a closed polygon, mm."""
    way = np.roll(points, -1, axis=0) - points
    t = np.clip(-np.sum(points * way, axis=1) / np.sum(way * way, axis=1), 0.0, 1.0)
    return float(np.hypot(*(points + way * t[:, None]).T).min())


def general_solid(
    outline: Offsets,
    obverse: FaceShape,
    reverse: FaceShape,
    wall: Sequence[Step],
    hole: Offsets | None,
    tolerance: Tolerance,
    reeded: Track | None = None,
) -> Solid:
    """Mesh a piece from its outline and the sections of its two faces.

    Parameters
    ----------
    outline, hole : Offsets
        Insets run into the face from both.
    obverse, reverse : FaceShape
        Level, or with a level bed that a hollow or domed field is laid on afterwards.
    wall : sequence of Step
        Corners of grooves on the edge, from the obverse downwards (z over the mid-plane).
    reeded : Track, optional
        The outline with its reeds; without, it is left plain.

    Raises
    ------
    SolidError
        If the surface is not closed.
    """
    turned = reeded
    if reeded:
        high, deep = reeded.rise(tolerance), float(reeded.inset.max())
        obverse, reverse = (
            replace(f, outer=in_short_rises(f.outer, deep, high)) for f in (obverse, reverse)
        )
        reeded = reeded.split(sorted({s.inset for s in (*obverse.outer, *reverse.outer)}))
        turned = replace(reeded, lean=-reeded.lean)
    upper, top, top_hole = _face(outline, obverse, 1, hole, tolerance, reeded)
    if reverse.is_like(obverse) and not (reeded and reeded.lean):
        lower, bottom, bottom_hole = upper.on_other_side(), top, top_hole
    else:
        lower, bottom, bottom_hole = _face(outline, reverse, -1, hole, tolerance, turned)
    shell = joined(upper, lower)
    below = [loop + upper.count for loop in bottom]
    if reeded:
        rings = Ring(below[0], reeded.place), Ring(top[0], reeded.place)
        raise_wall(shell, reeded, *rings, wall, tolerance)
    else:
        _plain_wall(shell, outline, below, top, wall)
    if top_hole and bottom_hole:
        shell.strips(top_hole, [loop + upper.count for loop in bottom_hole], Label("edge"))
    return shell.solid()


def _plain_wall(
    shell: Shell, outline: Offsets, below: Loops, top: Loops, wall: Sequence[Step]
) -> None:
    """Join the loops of both faces by the wall and its grooves."""
    inset = 0.0
    for step in reversed(wall):
        above = shell.loops(outline.at(step.inset), step.z)
        between(shell, (inset, below), (step.inset, above), Label("edge"))
        inset, below = step.inset, above
    between(shell, (inset, below), (0.0, top), Label("edge"))


Level = tuple[float, Loops]
"""Loops of a wall, and their distance inside its outline, mm."""


def between(shell: Shell, low: Level, high: Level, label: Label) -> None:
    """Join two levels of a wall; where they are offsets, one lies inside the other."""
    if low[0] == high[0]:
        shell.strips(low[1], high[1], label)
    elif low[0] < high[0]:
        shell.patch(low[1], high[1], label)
    else:
        shell.patch_below(high[1], low[1], label)


def _face(
    outline: Offsets,
    shape: FaceShape,
    side: Side,
    hole: Offsets | None,
    tolerance: Tolerance,
    reeded: Track | None,
) -> tuple[Shell, Loops, Loops]:
    """Mesh one face, z up; return it, its outline's loops and its hole's."""
    shell = Shell()
    if reeded is None:
        first = shell.loops(outline.at(0.0), shape.outer[0].z)
        last = _banded(shell, outline, shape.outer, first, side)
    else:
        first, last, rest = _past_reeds(shell, reeded, shape.outer, side)
        last = _banded(shell, outline, rest, last, side)
    field = Label("field", side)
    foot = outline.at(shape.outer[-1].inset)
    if hole is None:
        ground = shape.ground
        if shape.is_bed:
            ground = Ground(shape.outer[-1].z, ground.radius, 0.0, ground.floor)
        _fill(shell, last, foot, ground, field, tolerance)
        return shell, first, []
    loops = shell.loops(hole.at(0.0), shape.hole[0].z)
    inner = _banded(shell, hole, shape.hole, loops, side, outwards=True)
    inner_foot = hole.at(shape.hole[-1].inset)
    _fill_round(shell, last, inner, foot, inner_foot, shape.ground, field, tolerance)
    return shell, first, loops


def can_run(reeded: Track, faces: Sequence[FaceShape], wall: Sequence[Step]) -> bool:
    """Tell whether a reeded outline can be meshed with the sections of its faces and its wall."""
    if any(f.is_free or f.foot is not None for f in faces):
        return False
    deepest = max(_near(reeded, f.outer) for f in faces)
    deepest = max([deepest, *(s.inset for s in wall)]) + _CLEAR
    heights = (-faces[1].outer[0].z, 0.0, faces[0].outer[0].z) if reeded.lean else (0.0,)
    return all(reeded.holds(deepest, z) for z in heights)


def _near(reeded: Track, steps: Sequence[Step]) -> float:
    """Return the depth of the last corner of a section that reeds come near to, mm."""
    deepest = float(reeded.inset.max())
    return max([deepest, *(s.inset for s in steps if s.inset <= deepest + _CLEAR)])


def _past_reeds(
    shell: Shell, reeded: Track, steps: Sequence[Step], side: Side
) -> tuple[Loops, Loops, Sequence[Step]]:
    """Mesh the bands of a section that reeds cut into; return outline, last loop, further steps.

    Every corner of the section runs from column to column, and along the edge where that is
    deeper.
    """
    insets, heights = np.array([(s.inset, s.z) for s in steps]).T
    first = shell.add(reeded.points(reeded.inset, np.interp(reeded.inset, insets, heights)))
    last = Ring(first, reeded.place)
    near = _near(reeded, steps)
    count = sum(s.inset <= near for s in steps)
    for step in steps[1:count]:
        index = shell.add(reeded.points(step.inset, step.z))
        new = Ring(np.where(reeded.inset >= step.inset - 1e-12, first, index), reeded.place)
        label = Label(step.zone, 0 if step.zone == "edge" else side)
        shell.band(last, new, label, reeded.lean)
        last = new
    return [first], [last.index], steps[count - 1 :]


def _banded(
    shell: Shell,
    offsets: Offsets,
    steps: Sequence[Step],
    last: Loops,
    side: Side,
    *,
    outwards: bool = False,
) -> Loops:
    """Mesh the bands of a section from an outline inwards, or from a middle hole outwards."""
    for before, step in pairwise(steps):
        label = Label(step.zone, 0 if step.zone == "edge" else side)
        new = shell.loops(offsets.at(step.inset), step.z)
        outer, inner = (new, last) if outwards else (last, new)
        if before.inset == step.inset:
            shell.strips(outer, inner, label)
        else:
            shell.patch(outer, inner, label)
        last = new
    return last


def _fill(
    shell: Shell, loops: Loops, foot: Contours, ground: Ground, label: Label, tolerance: Tolerance
) -> None:
    """Fill a field without a hole: a disc in the middle, and what is left round it."""
    room = _room(shell, loops, foot, ground, tolerance)
    if room <= 0.0:
        shell.patch(loops, [], label)
        return
    ring = _circle(shell, room, ground, tolerance)
    shell.patch(loops, [ring.index], label)
    fill_disc(shell, ring, room, ground, label, tolerance)


def _room(
    shell: Shell, loops: Loops, foot: Contours, ground: Ground, tolerance: Tolerance
) -> float:
    """Return the radius up to which a field is meshed by rings; 0 for none, mm.

    Reeds without a rim run into the field: its loops then lie farther in than its foot.
    """
    clear = room_round_middle(foot)
    if clear <= 0.0:
        return 0.0
    points = np.concatenate(shell.points)[:, :2]
    clear = min(clear, *(_distance(points[loop]) for loop in loops))
    return min(ground.radius, clear - 5.0 * tolerance.curve) if ground.steps else 0.9 * clear


def _fill_round(
    shell: Shell,
    loops: Loops,
    inner: Loops,
    foot: Contours,
    inner_foot: Contours,
    ground: Ground,
    label: Label,
    tolerance: Tolerance,
) -> None:
    """Fill a field round a middle hole."""
    if ground.is_flat:
        shell.patch(loops, inner, label)
        return
    room = _room(shell, loops, foot, ground, tolerance)
    ring = _circle(shell, room, ground, tolerance)
    shell.patch(loops, [ring.index], label)
    until = 1.02 * float(np.hypot(*np.concatenate(inner_foot).T).max())
    ring = thin_rings(shell, ring, room, until, ground, label, tolerance)
    shell.patch([ring.index], inner, label)


def _circle(shell: Shell, radius: float, ground: Ground, tolerance: Tolerance) -> Ring:
    n = chords_for(radius, tolerance)
    angle = 0.2371 + 2.0 * np.pi * np.arange(n) / n
    uv = radius * np.column_stack([np.cos(angle), np.sin(angle)])
    return shell.ring(radius, angle, ground.height(uv))


def check_field(foot: Contours, hole_foot: Contours, key: str, what: str) -> None:
    """Refuse a section that leaves no field.

    Raises
    ------
    SpecError
        At `key`.
    """
    if not foot:
        raise SpecError(f"{what} leaves no field; make it narrower", key=key)
    if hole_foot and subtracted(hole_foot, foot):
        raise SpecError(
            "the hole with its rim cuts into the rim of the piece; make it smaller",
            key="blank.hole.size",
        )
