"""Pieces of any outline: the section follows the outline as true offsets."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from ...context.ground import Ground
from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.contour import Contours, offset, subtracted
from ...geometry.shell import Ring, Shell, Surface, joined
from ...geometry.solid import Label, Side, Solid
from ...geometry.types import FloatArray, IntArray
from .edge_wall import Columns, in_short_rises, raise_wall
from .field_rings import chords_for, circle_angles, fill_disc, ring_step, thin_rings
from .offsets import Circles, Outline, refined, room_round_middle
from .polygon_edge import PolygonEdge
from .profile import FaceShape, Step
from .wall_foot import foot_rows

Loops = list[IntArray]


_CLEAR = 0.02
"""mm; a corner of the section no deeper than that below the reeds still runs along with them."""

_APART = 0.6
"""Distance of the rows of a hollow or domed field, as a share of the edge whose sagitta is a
quarter of the tolerance: where rows end, triangles between them are 2.5 times as long."""

_THIN = 0.1
"""Share of the longest edge on a field, by which its rows may be simplified."""


def mesh_blank(
    outline: Outline,
    obverse: FaceShape,
    reverse: FaceShape,
    wall: Sequence[Step],
    hole: Outline | None,
    tolerance: Tolerance,
    edge: Columns | None = None,
) -> Solid:
    """Mesh a piece from its outline and the sections of its two faces.

    Parameters
    ----------
    outline, hole : Outline
        Insets run into the face from both.
    obverse, reverse : FaceShape
    wall : sequence of Step
        Corners of grooves on the edge, from the obverse downwards (z over the mid-plane).
    edge : Columns, optional
        The outline with its reeds; without, it is left plain.

    Raises
    ------
    SolidError
        If the surface is not closed.
    """
    turned = edge
    if edge:
        high, deep = edge.rise(tolerance), float(edge.inset.max())
        obverse, reverse = (
            replace(f, outer=in_short_rises(f.outer, deep, high)) for f in (obverse, reverse)
        )
        edge = edge.split(sorted({s.inset for s in (*obverse.outer, *reverse.outer)}))
        turned = edge.mirrored()
    upper, top, top_hole = _face(outline, obverse, 1, hole, tolerance, edge)
    if reverse.is_like(obverse) and not (edge and edge.shear):
        lower, bottom, bottom_hole = upper.on_other_side(), top, top_hole
    else:
        lower, bottom, bottom_hole = _face(outline, reverse, -1, hole, tolerance, turned)
    shell = joined(upper, lower)
    below = [loop + upper.count for loop in bottom]
    if edge:
        rings = Ring(below[0], edge.place), Ring(top[0], edge.place)
        raise_wall(shell, edge, *rings, wall, tolerance)
    else:
        _plain_wall(shell, outline, below, top, wall)
    if top_hole and bottom_hole:
        shell.strips(top_hole, [loop + upper.count for loop in bottom_hole], Label("edge"))
    return shell.solid()


def _plain_wall(
    shell: Shell, outline: Outline, below: Loops, top: Loops, wall: Sequence[Step]
) -> None:
    """Join the loops of both faces by the wall and its grooves."""
    inset = 0.0
    for step in reversed(wall):
        above = shell.loops(outline.at(step.inset), step.z)
        if isinstance(outline, Circles):
            shell.strips(below, above, Label("edge"))
        else:
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
        shell.slope(low[1], high[1], label)
    else:
        shell.slope(high[1], low[1], label, up=False)


def _face(
    outline: Outline,
    shape: FaceShape,
    side: Side,
    hole: Outline | None,
    tolerance: Tolerance,
    edge: Columns | None,
) -> tuple[Shell, Loops, Loops]:
    """Mesh one face, z up; return it, its outline's loops and its hole's."""
    shell = Shell()
    steps, ground = shape.outer, shape.ground
    if edge is None:
        first = last = shell.loops(outline.at(0.0), _level(shape, steps, steps[0], shape.is_free))
        start = 0
    else:
        first, last, start = _past_reeds(shell, edge, shape, side)
    rest = steps[start : -1 if shape.is_basin else None]
    levels = [(s, _level(shape, steps, s, shape.is_free)) for s in rest]
    last = _banded(shell, outline, levels, last, side, is_reeded=edge is not None)
    if shape.is_basin:
        last = _down_to_field(shell, outline, shape, steps, shape.fillet, last, side, tolerance)
    if hole is None:
        _fill(shell, last, [], ground, Label("field", side), tolerance)
        return shell, first, []
    is_bent = ground.dish != 0.0 and not isinstance(hole, Circles)
    steps, free = shape.hole, is_bent and shape.hole[-1].zone == "edge"
    falls = is_bent and not free
    loops = shell.loops(hole.at(0.0), _level(shape, steps, steps[0], free))
    rest = steps[: -1 if falls else None]
    inner = _banded(shell, hole, [(s, _level(shape, steps, s, free)) for s in rest], loops, side)
    if falls:
        inner = _down_to_field(shell, hole, shape, steps, 0.0, inner, side, tolerance)
    _fill(shell, last, inner, ground, Label("field", side), tolerance)
    return shell, first, loops


def _level(shape: FaceShape, steps: Sequence[Step], step: Step, is_free: bool) -> float | Surface:
    """Return the height of a corner of a section; where that goes along with the field, as one."""
    return shape.ground.lifted(step.z - steps[-1].z) if is_free else step.z


def can_run(reeded: PolygonEdge, faces: Sequence[FaceShape], wall: Sequence[Step]) -> bool:
    """Tell whether a reeded outline can be meshed with the sections of its faces and its wall."""
    deepest = max(_near(reeded, f.outer) for f in faces)
    deepest = max([deepest, *(s.inset for s in wall)]) + _CLEAR
    tops = [f.ground.highest if f.is_free else f.outer[0].z for f in faces]
    heights = (-tops[1], 0.0, tops[0]) if reeded.shear else (0.0,)
    return all(reeded.holds(deepest, z) for z in heights)


def _near(edge: Columns, steps: Sequence[Step]) -> float:
    """Return the depth of the last corner of a section that reeds come near to, mm."""
    deepest = float(edge.inset.max())
    return max([deepest, *(s.inset for s in steps if s.inset <= deepest + _CLEAR)])


def _past_reeds(
    shell: Shell, edge: Columns, shape: FaceShape, side: Side
) -> tuple[Loops, Loops, int]:
    """Mesh the bands of a section that reeds cut into; return outline, last loop and its corner.

    Every corner of the section runs from column to column, and along the edge where that is
    deeper.
    """
    insets, heights = np.array([(s.inset, s.z) for s in shape.outer]).T
    z = np.interp(edge.inset, insets, heights)
    if shape.ground.dish and not shape.ground.basin:  # past the edge break into a field
        field = shape.ground.height(edge.points(edge.inset, 0.0)[:, :2])
        z = np.where(edge.inset > insets[-1], field, z)
    first = _columns(shell, edge, shape, edge.inset, z)
    last = Ring(first, edge.place)
    # The wall down to a field that it meets at many heights starts from the outline's own line.
    steps = shape.outer[:-2] if shape.is_basin else shape.outer
    near = _near(edge, steps)
    count = sum(s.inset <= near for s in steps)
    for step in steps[1:count]:
        index = _columns(shell, edge, shape, step.inset, step.z)
        new = Ring(np.where(edge.inset >= step.inset - 1e-12, first, index), edge.place)
        label = Label(step.zone, 0 if step.zone == "edge" else side)
        shell.band(last, new, label, edge.shear)
        last = new
    return [first], [last.index], count - 1


def _columns(
    shell: Shell,
    edge: Columns,
    shape: FaceShape,
    inset: float | FloatArray,
    z: float | FloatArray,
) -> IntArray:
    """Add a point of every column; the heights of a free edge break go along with the field."""
    points = edge.points(inset, z)
    if not shape.is_free:
        return shell.add(points)
    rise = z - shape.outer[-1].z
    for _ in range(3):  # slanted columns stand elsewhere at another height
        points = edge.points(inset, shape.ground.height(points[:, :2]) + rise)
    level = np.broadcast_to(shape.ground.height(np.zeros(2)) + rise, len(points))
    return shell.add(points, np.column_stack([points[:, :2], level]))


def _banded(
    shell: Shell,
    offsets: Outline,
    steps: Sequence[tuple[Step, float | Surface]],
    last: Loops,
    side: Side,
    *,
    is_reeded: bool = False,
) -> Loops:
    """Mesh the bands of a section from an outline inwards, or from a middle hole outwards.

    The first may begin at reeds; circles run point to point.
    """
    for (before, _), (step, z) in pairwise(steps):
        label = Label(step.zone, 0 if step.zone == "edge" else side)
        new = shell.loops(offsets.at(step.inset), z)
        outer, inner = (new, last) if offsets.sign > 0.0 else (last, new)
        if before.inset == step.inset or (isinstance(offsets, Circles) and not is_reeded):
            shell.strips(outer, inner, label)
        else:
            shell.slope(outer, inner, label)
        last, is_reeded = new, False
    return last


def _down_to_field(
    shell: Shell,
    offsets: Outline,
    shape: FaceShape,
    steps: Sequence[Step],
    fillet: float,
    last: Loops,
    side: Side,
    tolerance: Tolerance,
) -> Loops:
    """Mesh the wall of a rim down to a field that it meets at many heights."""
    top, foot = steps[-2:]
    label, is_upright = Label("rim", side), top.inset == foot.inset
    for row in foot_rows(offsets, (top, foot), fillet, shape.ground, tolerance):
        new = [shell.add(points, plan) for points, plan in row]
        outer, inner = (new, last) if offsets.sign > 0.0 else (last, new)
        if is_upright:
            shell.strips(outer, inner, label)
        else:
            shell.slope(outer, inner, label)
        last, is_upright = new, False
    return last


def _fill(
    shell: Shell, outer: Loops, inner: Loops, ground: Ground, label: Label, tolerance: Tolerance
) -> None:
    """Fill a field, up to a hole in its middle if there is one.

    Round fields, circles of a field, and a level one without a hole are meshed by rings.
    """
    points = np.concatenate(shell.points)[:, :2]
    radii = np.hypot(*points[outer[0]].T)
    room = float(radii[0])
    if np.ptp(radii) < 1e-9:
        ring = Ring(outer[0], 2.0 * np.pi * np.arange(len(radii)) / len(radii))
    else:
        room = room_round_middle(tuple(points[loop] for loop in outer))
        if ground.steps:
            room = min(ground.radius, room - 5.0 * tolerance.curve)
        elif ground.is_flat and not inner:
            room *= 0.9
        else:
            room = 0.0
        if room <= 0.0:
            _fill_rows(shell, outer, inner, ground, label, tolerance)
            return
        ring = _circle(shell, room, ground, tolerance)
        _fill_rows(shell, outer, [ring.index], ground, label, tolerance)
    if not inner:
        fill_disc(shell, ring, room, ground, label, tolerance)
        return
    until = 1.02 * max(float(np.hypot(*points[loop].T).max()) for loop in inner)
    ring = thin_rings(shell, ring, room, until, ground, label, tolerance)
    _fill_rows(shell, [ring.index], inner, ground, label, tolerance)


def _fill_rows(
    shell: Shell, outer: Loops, inner: Loops, ground: Ground, label: Label, tolerance: Tolerance
) -> None:
    """Fill what lies between loops; on a hollow or domed field by rows, each inside the last."""
    longest = row_step(ground, tolerance)
    last = [*outer, *(loop[::-1] for loop in inner)]
    while math.isfinite(longest):
        points = np.concatenate(shell.points)[:, :2]
        row = _row_inside(tuple(points[loop] for loop in last), longest)
        if not row:
            break
        new = shell.loops(row, ground)
        shell.patch(last, new, label)
        last = new
    shell.patch(last, [], label)


def row_step(ground: Ground, tolerance: Tolerance) -> float:
    """Return how far apart rows of a hollow or domed field lie, and their points, mm."""
    return _APART * ring_step(ground, tolerance)


def _row_inside(contours: Contours, far: float) -> Contours:
    """Return lines at least `far` mm inside contours, with edges as long, but for thin parts.

    Thin parts are taken away by an opening (shrunk and grown again), so that lines which are
    simplified do not meet there.
    """
    shrunk = offset(contours, -(1.0 + 2.5 * _THIN) * far, "round", tolerance=_THIN * far)
    grown = offset(shrunk, 2.5 * _THIN * far, "round", tolerance=_THIN * far, least=_THIN * far)
    return refined(grown, far)


def _circle(shell: Shell, radius: float, ground: Ground, tolerance: Tolerance) -> Ring:
    angle = circle_angles(chords_for(radius, tolerance))
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
