"""Holes drilled near the edge: late cutters."""

from __future__ import annotations

import math

import numpy as np

from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.bodies import revolved
from ...geometry.contour import Contours
from ...geometry.rays import direction, distance, inset_point, reach
from ...geometry.solid import Solid, solid_from_manifold
from ...spec import Drill
from .profile import FaceShape

LEAST_WALL = 0.3
"""Metal that must stay between a hole and the edge, mm; what a caster's table asks as the
least thickness is 0.4, what is struck can be thinner."""

OVER = 25.0
"""mm that late cutters go on above the thickness: through the highest relief there can be."""


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
    if drill.inset < r + LEAST_WALL:
        raise SpecError(
            f"a hole of {drill.diameter:g} mm breaks through the edge; its middle must be at "
            f"least {r + LEAST_WALL:g} mm from it",
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
    if room < r + LEAST_WALL:
        raise SpecError(
            "the drilled hole breaks into another hole or the edge; move it",
            key="blank.drill.inset",
        )
    tops = [_surface(f, drill, room, at, half) for f in faces]
    return _bored(r, drill.chamfer, tops, half, (float(at[0]), float(at[1])), tolerance)


def _surface(face: FaceShape, drill: Drill, room: float, at: np.ndarray, half: float) -> float:
    """Return the height of a face where the hole comes out.

    Raises
    ------
    SpecError
        If the hole cuts the rim's wall.
    """
    r = drill.diameter / 2.0 + drill.chamfer
    rim = [s.inset for s in face.outer if s.zone == "rim"]
    if not rim or room - r >= face.reach:
        return float(face.ground.height(np.asarray(at)))
    broken = max(s.inset for s in face.outer if s.zone == "edge")
    if room + r <= min(rim) and room - r >= broken:
        return half
    raise SpecError(
        f"a hole of {drill.diameter:g} mm, {room:g} mm from the edge, cuts the rim, which ends "
        f"{face.reach:.3g} mm from it; put it at {face.reach + r:.2f} mm or more",
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
    over = half + OVER
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
    body = revolved(np.array(profile), n)
    # Off the grid of everything else, so that no seam meets another.
    body = body.rotate((0.0, 0.0, 7.3)).translate((at[0], at[1], 0.0))
    return solid_from_manifold(body, "edge", "the drilled hole")
