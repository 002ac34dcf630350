"""The joint between a ring and its core: a late cutter that parts the piece in two."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.contour import Contours, offset, subtracted
from ...geometry.rays import direction, distance, inset_point
from ...geometry.solid import Label, Solid, without
from ...spec import Blank, Core, Drill
from .drilled_hole import LEAST_WALL, OVER
from .inward import inset_for
from .offset_stack import OffsetSection, stack_offsets
from .offsets import Offsets
from .shape import shape_of

_KEY = "blank.core.diameter"
_FAR = 100.0


def core_of(blank: Blank, outline: Offsets, tolerance: Tolerance) -> Offsets:
    """Return the outline of the core and its offsets inwards.

    Raises
    ------
    SpecError, SourceError
        If it cannot be drawn.
    """
    core = blank.core
    if core.shape != "outline":
        return Offsets(shape_of(core, core.diameter, "blank.core", tolerance)[:1], tolerance)
    inset = inset_for(blank, outline.at(0.0), core.diameter, tolerance)
    if inset is None:
        raise SpecError(
            f"a core {core.diameter:g} mm wide does not lie in one part along the outline of the "
            f"piece, {blank.diameter:g} mm wide",
            key=_KEY,
        )
    return Offsets(outline.at(inset)[:1], tolerance)


def joint_cutter(
    core: Core,
    shape: Offsets,
    ring: Contours,
    hole: Contours,
    half: float,
) -> Solid:
    """Return the thin shell of air that parts a piece into ring and core.

    The core's groove and the ring's ridge lie half-way up; the shell is everywhere
    `clearance` wide.

    Parameters
    ----------
    shape : Offsets
        The core's outline.
    ring : contours
        What the ring may reach to: the outline of the piece less notches and grooves, mm.
    hole : contours
        The middle hole; empty without one.
    half : float
        Half the thickness of the piece, mm.

    Raises
    ------
    SpecError
        If the core does not fit the piece.
    """
    lock = core.lock
    if subtracted(shape.at(round(-core.clearance - LEAST_WALL, 9)), ring):
        raise SpecError(_no_ring(core, ring), key=_KEY)
    if lock and 4.0 * lock > half:
        raise SpecError(
            f"a lock {lock:g} mm deep is too wide for the thickness; at most {half / 4.0:.3g} mm",
            key="blank.core.lock",
        )
    within = shape.at(round(lock + LEAST_WALL, 9))
    if len(within) != 1:
        raise SpecError(
            f"a lock {lock:g} mm deep leaves nothing of the core, or parts it; make it less",
            key="blank.core.lock",
        )
    if hole and subtracted(hole, within):
        raise SpecError(
            f"a core of {core.diameter:g} mm has no metal round the hole; make it larger", key=_KEY
        )
    over = half + OVER
    groove = [(0.0, -2.0 * lock), (lock, -lock), (lock, lock), (0.0, 2.0 * lock)] if lock else []
    inner: list[OffsetSection] = [(0.0, -over - 1.0), *groove, (0.0, over + 1.0)]
    outer = _at_clearance(groove, core.clearance, over)
    label = Label("edge")
    air = stack_offsets(shape, outer, label, math.inf)
    return without(air, [stack_offsets(shape, inner, label, math.inf)])


def _at_clearance(
    groove: Sequence[tuple[float, float]], clearance: float, over: float
) -> list[OffsetSection]:
    """Return the wall of the ring: everywhere as far from the core's as the clearance.

    Seen in section the core's wall stands at x = 0, farther in with rising inset.
    """
    wall = [(0.0, -over), *groove, (0.0, over)]
    section = np.array([(-_FAR, -over), *((-inset, z) for inset, z in wall), (-_FAR, over)])
    grown = max(offset((section,), clearance, "mitre"), key=len)
    chain = grown[grown[:, 0] > -_FAR / 2.0]
    chain = chain[np.argsort(chain[:, 1])]
    return [(round(-float(x), 9), float(z)) for x, z in chain]


def _no_ring(core: Core, ring: Contours) -> str:
    told = f"a core of {core.diameter:g} mm leaves no ring"
    if core.shape != "round":
        return f"{told}; make it smaller"
    room = distance(ring, np.zeros(2))
    return f"{told}; at most {2.0 * (room - core.clearance - LEAST_WALL):.3g} mm"


def keep_off_joint(drill: Drill, core: Core, shape: Offsets, outline: Contours) -> None:
    """Refuse a drilled hole that runs into the joint between ring and core.

    Raises
    ------
    SpecError
    """
    at = inset_point(outline[0], direction(drill.angle), drill.inset)
    free = drill.diameter / 2.0 + LEAST_WALL
    depth = distance(shape.at(0.0), at)
    if -core.clearance - free < depth < core.lock + free:
        raise SpecError(
            f"the drilled hole runs into the joint round the core of {core.diameter:g} mm; put it "
            f"{free:.3g} mm or more to either side of it",
            key="blank.drill.inset",
        )
