"""The section of a face from the edge inwards: edge break, rim, inner wall, fillet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from ...context.ground import Ground
from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...spec import Blank, Hole, Rim

_LEAST = 1e-3
"""mm; bands narrower than this are left away: no one can make or see them, and they would
be slivers in the mesh."""


@dataclass(frozen=True)
class Step:
    """One corner of the section.

    Attributes
    ----------
    inset : float
        Distance from the outline (or from the hole), into the face, mm.
    z : float
        Height over the mid-plane, out of the face, mm.
    zone : str
        Zone of the band between the corner before and this one.
    """

    inset: float
    z: float
    zone: str


@dataclass(frozen=True)
class FaceShape:
    """One face of a blank, in its own coordinates.

    Attributes
    ----------
    outer : tuple of Step
        From the outline to the foot of the rim.
    ground : Ground
    hole : tuple of Step
        From the middle hole's edge to the foot of its rim; empty without a hole.
    fillet : float
        Radius between the wall of the rim and a field that it meets at many heights, mm; on
        other fields the fillet is part of `outer`.
    is_free : bool
        Whether a hollow or domed field runs out to the edge break, which then lies at many
        heights; `outer` has the lowest of them.
    """

    outer: tuple[Step, ...]
    ground: Ground
    hole: tuple[Step, ...] = ()
    fillet: float = 0.0
    is_free: bool = False

    @property
    def is_basin(self) -> bool:
        """Tell whether the wall of the rim meets the field at many heights."""
        return self.ground.basin > 0.0 and not self.is_free

    @property
    def reach(self) -> float:
        """Return how far from the edge the wall of the rim ends at most, mm."""
        if not self.is_basin:
            return self.outer[-1].inset
        top, foot = self.outer[-2:]
        lean = (foot.inset - top.inset) / (top.z - foot.z)
        return foot.inset + lean * (foot.z - self.ground.lowest)

    @property
    def bare(self) -> FaceShape:
        """Return the face without its terraces, which are put on when it is meshed."""
        return replace(self, ground=replace(self.ground, terraces=()))

    def is_like(self, other: FaceShape) -> bool:
        """Tell whether two faces have the same surface."""
        mine, theirs = self.ground, other.ground
        return (
            (self.outer, self.hole, self.fillet, self.is_free)
            == (other.outer, other.hole, other.fillet, other.is_free)
            and (mine.level, mine.radius) == (theirs.level, theirs.radius)
            and (mine.dish, mine.steps, mine.basin) == (theirs.dish, theirs.steps, theirs.basin)
        )


def rim_steps(blank: Blank, rim: Rim, tolerance: Tolerance, key: str) -> tuple[Step, ...]:
    """Return the corners of a face from the outline to the foot of the rim.

    Parameters
    ----------
    key : str
        Spec path of the rim, for errors.

    Raises
    ------
    SpecError
        If edge break, rim and fillet do not fit.
    """
    top = blank.thickness / 2.0
    c = blank.chamfer if blank.chamfer > _LEAST else 0.0
    raised = rim.width > _LEAST and rim.height > _LEAST
    crown = _crown(rim) if raised else 0.0
    if c + crown >= top:
        raise SpecError(
            f"two edge breaks of {c:g} mm do not fit a thickness of {blank.thickness:g} mm; "
            f"at most {math.floor((top - crown) * 90) / 100:g} mm",
            key="blank.chamfer",
        )
    steps = break_steps(c, top - crown, blank.break_shape == "round", tolerance)
    if raised:
        steps += _rim(rim, c, top, tolerance, key)
        if rim.fillet > _LEAST:
            steps = _filleted(steps, rim, tolerance, key)
    # Walls meant upright are upright to the last digit: their corners share one offset.
    return tuple(Step(round(s.inset, 6), s.z, s.zone) for s in steps)


def break_steps(c: float, top: float, rounded: bool, tolerance: Tolerance) -> list[Step]:
    """Return the corners of a broken edge from the wall to the top."""
    if c <= _LEAST:
        return [Step(0.0, top, "edge")]
    if not rounded:
        return [Step(0.0, top - c, "edge"), Step(c, top, "edge")]
    n = chords_of(c, math.pi / 2.0, tolerance)
    return [
        Step(c * (1.0 - math.cos(a)), top - c + c * math.sin(a), "edge")
        for a in np.linspace(0.0, math.pi / 2.0, n + 1).tolist()
    ]


def hole_steps(hole: Hole, slope: float, foot_z: float, tolerance: Tolerance) -> tuple[Step, ...]:
    """Return the corners from the middle hole's edge out to the foot of its rim.

    Parameters
    ----------
    slope : float
        Draft of the rim's wall, degrees.
    foot_z : float
        z of the field where the hole's rim stands, mm.
    """
    raised = has_rim(hole)
    top = foot_z + (hole.rim_height if raised else 0.0)
    steps = break_steps(hole.chamfer, top, False, tolerance)
    if raised:
        edge = (hole.chamfer if hole.chamfer > _LEAST else 0.0) + hole.rim_width
        steps.append(Step(edge, top, "rim"))
        steps.append(Step(edge + hole_wall(hole, slope), foot_z, "rim"))
    return tuple(steps)


def has_rim(hole: Hole) -> bool:
    """Tell whether a rim stands round the middle hole."""
    return hole.rim_width > _LEAST and hole.rim_height > _LEAST


def hole_wall(hole: Hole, slope: float) -> float:
    """Return how far the wall of the hole's rim runs out, mm."""
    return _run(hole.rim_height, math.tan(math.radians(slope)))


def hole_reach(hole: Hole, slope: float) -> float:
    """Return how far hole edge, rim and wall reach into the field, mm."""
    chamfer = hole.chamfer if hole.chamfer > _LEAST else 0.0
    if not has_rim(hole):
        return chamfer
    return chamfer + hole.rim_width + hole_wall(hole, slope)


def _run(rise: float, lean: float) -> float:
    """Return how far a wall runs; walls that run less than can be seen stand upright, mm."""
    run = rise * lean
    return run if run > _LEAST else 0.0


def cover(faces: Sequence[FaceShape], half: float) -> float:
    """Return how far from the edge something `half` mm thick to each side stays hidden, mm."""
    found = math.inf
    for face in faces:
        for before, step in pairwise(face.outer):
            if step.z <= half < before.z:
                share = (before.z - half) / (before.z - step.z)
                found = min(found, before.inset + share * (step.inset - before.inset))
                break
    return found


def _crown(rim: Rim) -> float:
    """Return how much lower than its middle the sides of a rounded rim are, mm."""
    return min(0.25 * rim.width, 0.6 * rim.height) if rim.section == "rounded" else 0.0


def _rim(rim: Rim, c: float, top: float, tolerance: Tolerance, key: str) -> list[Step]:
    """Return the corners of the rim after the edge break.

    Raises
    ------
    SpecError
        If the walls of a stepped rim run into each other.
    """
    lean = math.tan(math.radians(rim.slope))
    foot = top - rim.height
    end = c + rim.width
    if rim.section == "rounded":
        s = _crown(rim)
        big = (rim.width**2 / 4.0 + s * s) / (2.0 * s)  # radius from chord and sagitta
        half = math.asin(min(1.0, rim.width / 2.0 / big))
        n = 2 * math.ceil(chords_of(big, 2.0 * half, tolerance) / 2.0)
        turns = np.linspace(-half, half, n + 1)[1:].tolist()
        steps = [
            Step(c + rim.width / 2.0 + big * math.sin(a), top - big + big * math.cos(a), "rim")
            for a in turns
        ]
        return [*steps, Step(end + _run(rim.height - s, lean), foot, "rim")]
    if rim.section == "bevelled":
        low = top - 0.6 * rim.height
        return [Step(end, low, "rim"), Step(end + _run(low - foot, lean), foot, "rim")]
    if rim.section == "stepped":
        first, half = c + rim.width / 2.0, rim.height / 2.0
        run = _run(half, lean)
        if run > rim.width / 2.0:
            most = math.floor(math.degrees(math.atan(rim.width / rim.height)))
            raise SpecError(
                f"at {rim.slope:g} degrees the wall of its upper step, {half:.3g} mm high, runs "
                f"out past the lower one, {rim.width / 2.0:.3g} mm wide; at most {most} degrees, "
                "or a wider or lower rim",
                key=f"{key}.slope",
            )
        return [
            Step(first, top, "rim"),
            Step(first + run, top - half, "rim"),
            Step(end, top - half, "rim"),
            Step(end + run, foot, "rim"),
        ]
    return [Step(end, top, "rim"), Step(end + _run(rim.height, lean), foot, "rim")]


def _filleted(steps: list[Step], rim: Rim, tolerance: Tolerance, key: str) -> list[Step]:
    """Round the corner between the inner wall and the field.

    Raises
    ------
    SpecError
        If the wall is too low for the radius.
    """
    before, foot = steps[-2], steps[-1]
    turn = math.atan2(before.z - foot.z, foot.inset - before.inset)
    tangent = rim.fillet * math.tan(turn / 2.0)
    wall = math.hypot(foot.inset - before.inset, foot.z - before.z)
    if tangent > wall:
        most = math.floor(1000.0 * wall / math.tan(turn / 2.0)) / 1000.0
        raise SpecError(
            f"a fillet of {rim.fillet:g} mm does not fit a wall {wall:.3g} mm high; "
            f"at most {most:g} mm",
            key=f"{key}.fillet",
        )
    # The arc's middle stands over its end on the field.
    end = foot.inset + tangent
    n = chords_of(rim.fillet, turn, tolerance)
    arc = [
        Step(end - rim.fillet * math.sin(a), foot.z + rim.fillet * (1.0 - math.cos(a)), "rim")
        for a in np.linspace(turn, 0.0, n + 1).tolist()
    ]
    return [*steps[:-1], *(arc if tangent < wall - _LEAST else arc[1:])]


def chords_of(radius: float, turn: float, tolerance: Tolerance) -> int:
    """Return the chords of an arc within tolerance, at most 22.5 degrees each."""
    step = math.radians(22.5)
    if radius > tolerance.curve:
        # Half the tolerance: chords all err to one side, and volumes should be true too.
        step = min(step, 2.0 * math.acos(1.0 - tolerance.curve / 2.0 / radius))
    return max(1, math.ceil(turn / step - 1e-9))
