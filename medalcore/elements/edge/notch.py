"""The section of one notch or groove: straight flanks, true radii, true depth and width.

A notch is drawn in the plane of the piece: axis of the piece at the origin, middle of the
notch on +y. Its opening is the arc of the edge between the two places where the corner
roundings begin. A groove is a notch in an edge so large that it is straight.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.types import FloatArray

_STEEP = math.radians(85.0)
"""Steepest flank, from level. A die or a collar lets go of it and it never overhangs."""

_COARSE = 0.005
"""Tolerance of curves, mm, from which on a corner's roundness is only hinted at."""

STRAIGHT = 1e4
"""Radius of an edge that counts as straight, mm: 1 mm of it rises 1.3e-5 mm."""


@dataclass(frozen=True)
class Notch:
    """What a notch is to be.

    Attributes
    ----------
    profile : str
        ``vee``, ``round`` or ``square``.
    opening, depth : float
        mm.
    corner : float
        Radius of crests and root (a round root has its own), mm.
    """

    profile: str
    opening: float
    depth: float
    corner: float


def draw_notch(notch: Notch, radius: float, tolerance: Tolerance) -> FloatArray | None:
    """Draw the section of one notch, or return None if its corners do not fit.

    Crest circles (radius r) touch the edge circle from inside where the notch begins; the
    root is a circle (vee, round) or a floor with two corner circles (square). Flanks are
    the crossed tangents of the circles (plane geometry).

    Parameters
    ----------
    radius : float
        Radius of the edge, mm.

    Returns
    -------
    section : (n, 2) float64
        From the right land to the left one, counter-clockwise round the piece, both ends
        on the edge circle, mm.
    """
    phi = notch.opening / radius / 2.0
    r = notch.corner
    floor = radius - notch.depth
    if floor <= 0.0 or phi >= math.pi / 3.0 or r >= floor:
        return None
    crest = (radius - r) * np.array([math.sin(phi), math.cos(phi)])
    steep = min(_STEEP, math.pi / 2.0 - phi - math.radians(1.0))
    shape = {"vee": _vee, "round": _round, "square": _square}[notch.profile]
    found = shape(crest, r, floor, steep)
    if found is None:
        return None
    root, root_radius, slope, start = found
    step = turn_step(max(r, root_radius), tolerance)
    bottom = arc_points(root, root_radius, start - math.pi / 2.0, slope - math.pi / 2.0, step)
    top = arc_points(crest, r, slope + math.pi / 2.0, math.pi / 2.0 - phi, step)
    half = np.vstack([bottom, top])
    if start < 0.0:  # a floor concentric with the edge
        fine = turn_step(floor, tolerance)
        middle = arc_points(np.zeros(2), floor, math.pi / 2.0, math.pi / 2.0 + start, fine)
        half = np.vstack([middle[:-1], half])
    keep = np.append(np.linalg.norm(np.diff(half, axis=0), axis=1) > 1e-6, True)
    half = half[keep]
    section = np.vstack([half[::-1], half[1:] * (-1.0, 1.0)])
    angle = np.arctan2(-section[:, 0], section[:, 1])
    return section if np.all(np.diff(angle) > 0.0) else None


def fit_notch(
    notch: Notch, radius: float, tolerance: Tolerance, key: str, depth_key: str = "edge.depth"
) -> FloatArray:
    """Draw the section of one notch.

    Raises
    ------
    SpecError
        At `key`, if the corners do not fit, with the largest radius that does; at `depth_key`
        if not even sharp ones do.
    """
    section = draw_notch(notch, radius, tolerance)
    if section is not None:
        return section
    low, high = 0.0, notch.corner
    for _ in range(24):
        middle = (low + high) / 2.0
        fits = draw_notch(replace(notch, corner=middle), radius, tolerance) is not None
        low, high = (middle, high) if fits else (low, middle)
    most = math.floor(low * 1000.0) / 1000.0
    if most <= 0.0:
        flat = notch.opening**2 / (8.0 * radius) >= notch.depth  # sagitta of the edge itself
        remedy = "narrower or deeper" if flat else "wider or less deep"
        raise SpecError(
            f"a {notch.profile} notch {notch.opening:.3g} mm wide cannot be {notch.depth:g} mm "
            f"deep; make it {remedy}",
            key=depth_key,
        )
    raise SpecError(
        f"corners of {notch.corner:g} mm do not fit a {notch.profile} notch "
        f"{notch.opening:.3g} mm wide and {notch.depth:g} mm deep; at most {most:g} mm",
        key=key,
    )


_Root = tuple[FloatArray, float, float, float]
"""Centre of the root circle, its radius, slope of the flank, and where the root arc begins
(turn from straight down, 0 or below), in mm and radians."""


def _vee(crest: FloatArray, r: float, floor: float, steep: float) -> _Root | None:
    centre = np.array([0.0, floor + r])
    between = crest - centre
    reach = float(np.hypot(*between))
    if reach <= 2.0 * r:
        return None
    slope = math.atan2(between[1], between[0]) + math.asin(2.0 * r / reach)
    return (centre, r, slope, 0.0) if 0.0 < slope < math.pi / 2.0 else None


def _round(crest: FloatArray, r: float, floor: float, steep: float) -> _Root | None:
    """Fit one round root between the crests; a deep one gets steep straight flanks."""
    x, q = float(crest[0]), float(crest[1]) - floor
    root = (x * x + q * q - r * r) / (2.0 * (q + r))
    if root > 0.0:
        slope = math.atan2(q - root, x) + math.pi / 2.0
        if slope <= steep:
            return np.array([0.0, floor + root]), root, slope, 0.0
    c, s = math.cos(steep), math.sin(steep)
    root = (x * s - q * c - r) / (1.0 - c)
    flank = x * c + (q - root) * s
    if root <= 0.0 or flank < 0.0:
        return None
    return np.array([0.0, floor + root]), root, steep, 0.0


def _square(crest: FloatArray, r: float, floor: float, steep: float) -> _Root | None:
    """Fit a floor with two corners; where the corners leave no flank they meet, less steep."""
    normal = np.array([math.sin(steep), -math.cos(steep)])
    away = floor + r
    cosine = -(float(normal @ crest) - 2.0 * r) / away
    if abs(cosine) > 1.0:
        return None
    at = math.acos(cosine) - steep
    centre = away * np.array([math.sin(at), math.cos(at)])
    between = crest - centre
    slope = steep
    if float(between @ (math.cos(steep), math.sin(steep))) < 0.0:
        reach = float(np.hypot(*crest))
        turn = (reach**2 + away**2 - 4.0 * r * r) / (2.0 * reach * away)
        if abs(turn) > 1.0:
            return None
        at = math.atan2(crest[0], crest[1]) - math.acos(turn)
        centre = away * np.array([math.sin(at), math.cos(at)])
        between = crest - centre
        slope = math.atan2(between[1], between[0]) + math.pi / 2.0
    return (centre, r, slope, -at) if at >= 0.0 else None


def turn_step(radius: float, tolerance: Tolerance) -> float:
    """Return the turn between two points of an arc within tolerance: small enough to look round."""
    if radius <= tolerance.curve:
        return math.pi / 2.0
    smooth = math.radians(24.0 if tolerance.curve < _COARSE else 45.0)
    return min(2.0 * math.acos(1.0 - tolerance.curve / radius), smooth)


def arc_points(
    centre: FloatArray, radius: float, start: float, stop: float, step: float
) -> FloatArray:
    """Return points (n, 2) of an arc, both ends included; one point for no radius.

    Parameters
    ----------
    step : float
        Largest turn between two points, radians.
    """
    if radius <= 1e-9:
        return centre[None]
    n = max(1, math.ceil(abs(stop - start) / step - 1e-9))
    angle = np.linspace(start, stop, n + 1)
    return np.asarray(centre + radius * np.column_stack([np.cos(angle), np.sin(angle)]))
