"""Holes drilled near the edge, and the joint between a ring and its core: late cutters."""

from __future__ import annotations

import math

import manifold3d as m3
import numpy as np

from ..contour import Contours, offset, subtracted
from ..errors import SpecError
from ..solid import Solid, solid_from_manifold
from ..spec import Core, Drill
from ..tolerance import Tolerance
from .place import direction, distance, inset_point, reach
from .profile import FaceShape

_LEAST_WALL = 0.3
"""Metal that must stay between a hole and the edge, mm; what a caster's table asks as the
least thickness is 0.4, what is struck can be thinner."""


def drill_cutter(
    drill: Drill,
    outline: Contours,
    faces: tuple[FaceShape, FaceShape],
    half: float,
    tolerance: Tolerance,
) -> Solid:
    """Return the cutter of a drilled hole.

    Parameters
    ----------
    half : float
        Half the thickness of the piece, mm.

    Raises
    ------
    SpecError
        If the hole breaks through the edge or cuts the rim.
    """
    r = drill.diameter / 2.0
    if drill.inset < r + _LEAST_WALL:
        raise SpecError(
            f"a hole of {drill.diameter:g} mm breaks through the edge; its middle must be at "
            f"least {r + _LEAST_WALL:g} mm from it",
            key="blank.drill.inset",
        )
    way = direction(drill.angle)
    if reach(outline[0], way) <= drill.inset:
        raise SpecError(
            f"{drill.inset:g} mm from the edge is beyond the middle of the piece",
            key="blank.drill.inset",
        )
    at = inset_point(outline[0], way, drill.inset)
    room = distance(outline, at)
    if room < r + _LEAST_WALL:
        raise SpecError(
            "the drilled hole breaks into another hole or the edge; move it",
            key="blank.drill.inset",
        )
    tops = [_surface(f, drill, room, at, half) for f in faces]
    return _bored(r, drill.chamfer, tops, half, (float(at[0]), float(at[1])), tolerance)


def keep_off_joint(drill: Drill, core: Core, outline: Contours) -> None:
    """Refuse a drilled hole that runs into the joint between ring and core.

    Raises
    ------
    SpecError
    """
    at = inset_point(outline[0], direction(drill.angle), drill.inset)
    middle, r = float(np.hypot(*at)), drill.diameter / 2.0 + _LEAST_WALL
    low, high = core.diameter / 2.0 - core.lock, core.diameter / 2.0 + core.clearance
    if low - r < middle < high + r:
        raise SpecError(
            f"the drilled hole runs into the joint round the core of {core.diameter:g} mm; put it "
            f"{r:.3g} mm or more to either side of it",
            key="blank.drill.inset",
        )


def _surface(face: FaceShape, drill: Drill, room: float, at: np.ndarray, half: float) -> float:
    """Return the height of a face where the hole comes out.

    Raises
    ------
    SpecError
        If the hole cuts the rim's wall.
    """
    r = drill.diameter / 2.0 + drill.chamfer
    rim = [s.inset for s in face.outer if s.zone == "rim"]
    if not rim or room - r >= max(rim):
        return float(face.ground.height(np.asarray(at)))
    broken = max(s.inset for s in face.outer if s.zone == "edge")
    if room + r <= min(rim) and room - r >= broken:
        return half
    raise SpecError(
        f"a hole of {drill.diameter:g} mm, {room:g} mm from the edge, cuts the rim, which ends "
        f"{max(rim):.3g} mm from it; put it at {max(rim) + r:.2f} mm or more",
        key="blank.drill.inset",
    )


def _bored(
    r: float,
    chamfer: float,
    tops: list[float],
    half: float,
    at: tuple[float, float],
    tolerance: Tolerance,
) -> Solid:
    """Return a bore with countersinks at both faces, oversize along the axis."""
    up, down = tops[0], -tops[1]
    over = half + 1.0
    n = 4 * math.ceil(tolerance.segments(r, 48, 0.5) / 4)
    # The countersink runs on beyond the surface, so that it crosses it.
    wide = chamfer + 0.2 if chamfer else 0.0
    profile = [[0.0, -over], [r + wide, -over], [r + wide, down - wide + chamfer]] if wide else [
        [0.0, -over],
        [r, -over],
    ]  # fmt: skip
    if wide:
        profile += [[r, down + chamfer], [r, up - chamfer], [r + wide, up + wide - chamfer]]
    profile += [[r + wide, over], [0.0, over]]
    body = m3.Manifold.revolve(m3.CrossSection([np.array(profile)]), n)
    # Off the grid of everything else, so that no seam meets another.
    body = body.rotate((0.0, 0.0, 7.3)).translate((at[0], at[1], 0.0))
    return solid_from_manifold(body, "edge", "the drilled hole")


def joint_cutter(core: Core, room: float, half: float, tolerance: Tolerance) -> Solid:
    """Return the thin shell of air that parts a piece into ring and core.

    The core's groove and the ring's ridge lie half-way up; the shell is everywhere
    `clearance` wide.

    Raises
    ------
    SpecError
        If the core does not fit the piece.
    """
    r = core.diameter / 2.0
    if r + core.clearance + _LEAST_WALL > room:
        raise SpecError(
            f"a core of {core.diameter:g} mm leaves no ring; at most "
            f"{2.0 * (room - core.clearance - _LEAST_WALL):.3g} mm",
            key="blank.core.diameter",
        )
    lock = core.lock
    if lock and 4.0 * lock > half:
        raise SpecError(
            f"a lock {lock:g} mm deep is too wide for the thickness; at most {half / 4.0:.3g} mm",
            key="blank.core.lock",
        )
    over = half + 5.0
    inner = [[0.0, -over], [r, -over]]
    if lock:
        inner += [[r, -2.0 * lock], [r - lock, -lock], [r - lock, lock], [r, 2.0 * lock]]
    inner += [[r, over], [0.0, over]]
    profile = (np.array(inner),)
    shell = subtracted(offset(profile, core.clearance, "mitre"), profile)
    # What the offset adds along the axis and at the ends goes.
    box = (np.array([[r - lock - 1e-3, -half - 2.0], [r + 10.0, -half - 2.0],
                     [r + 10.0, half + 2.0], [r - lock - 1e-3, half + 2.0]]),)  # fmt: skip
    plane = m3.CrossSection(list(shell)) ^ m3.CrossSection(list(box))
    n = 48 * math.ceil(tolerance.segments(r, 240, 0.5) / 48)
    body = m3.Manifold.revolve(plane, n).rotate((0.0, 0.0, 0.0731))
    return solid_from_manifold(body, "edge", "the joint")
