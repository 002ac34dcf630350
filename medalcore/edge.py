"""Reeds: the section of one notch, and how many go round.

A notch is drawn true in the plane of the piece: axis of the piece at the origin, middle of
the notch on +y. Straight flanks are straight, corner radii are radii. Its opening is the
arc of the edge between the two places where the corner roundings begin.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import msgspec
import numpy as np
from numpy.typing import NDArray

from .errors import SpecError
from .spec import Edge
from .tolerance import Tolerance

FloatArray = NDArray[np.float64]

_STEEP = math.radians(85.0)
"""Steepest flank, from level. A die or a collar lets go of it and it never overhangs."""

_USUAL_PITCH = 0.64
"""mm; the pitch of published reeded coins of 24 to 31 mm (119 reeds on 24.26, 150 on 30.61)."""

_SHARE = {"vee": 0.92, "round": 0.86, "square": 0.5}
"""Opening of a notch as a share of the pitch where the spec leaves it open."""


@dataclass(frozen=True, eq=False)
class Reeding:
    """One notch and how often it goes round.

    Attributes
    ----------
    count : int
    pitch, opening, depth, corner_radius : float
        mm; pitch and opening along the edge.
    radius : float
        Radius of the edge, mm.
    section : (n, 2) float64
        x, y of the notch from the right land to the left one, counter-clockwise round the
        piece, both ends on the edge circle, mm.
    """

    count: int
    pitch: float
    opening: float
    depth: float
    corner_radius: float
    radius: float
    section: FloatArray

    def outline(self, tolerance: Tolerance, least: int) -> tuple[FloatArray, FloatArray]:
        """Return radius (n,) mm and rising angle (n,) radians of the whole reeded edge.

        Starts in the middle of a land; every point of the lands lies on the edge circle.
        """
        step = 2.0 * math.pi / self.count
        half = self.opening / self.radius / 2.0
        land = step - 2.0 * half
        chords = max(1, math.ceil(land / (2.0 * math.pi / tolerance.segments(self.radius, least))))
        if land * self.radius < 1e-4:  # lands shorter than this are one crest
            chords = 0
        # The middle of the notch lies at half a step; lands are cut at their middle.
        radius = np.hypot(self.section[:, 0], self.section[:, 1])
        angle = np.arctan2(-self.section[:, 0], self.section[:, 1]) + step / 2.0
        if chords:
            inner = half + step / 2.0 + land * np.arange(1, chords) / chords
            angle = np.concatenate([angle, inner])
            radius = np.concatenate([radius, np.full(len(inner), self.radius)])
        else:
            angle, radius = angle[:-1], radius[:-1]
        turns = step * np.arange(self.count)[:, None]
        return np.tile(radius, self.count), (angle + turns).ravel()


def reeding_of(edge: Edge, radius: float, tolerance: Tolerance) -> Reeding:
    """Count and draw the reeds of an edge.

    Parameters
    ----------
    edge : Edge
        With finish ``reeded``.
    radius : float
        Radius of the edge, mm.

    Raises
    ------
    SpecError
        If the notches overlap or their corners do not fit.
    """
    around = 2.0 * math.pi * radius
    count = edge.reeds or max(3, round(around / (edge.pitch or _USUAL_PITCH)))
    pitch = around / count
    if count < 3:
        raise SpecError(f"{count} reeds do not go round; at least 3", key="edge.reeds")
    if edge.width > pitch * (1.0 + 1e-9):
        raise SpecError(
            f"{count} notches {edge.width:g} mm wide overlap on {around:.2f} mm round; "
            f"at most {int(around / edge.width)}, or a width of at most {pitch:.3g} mm",
            key="edge.reeds" if edge.reeds else "edge.pitch",
        )
    opening = min(edge.width, pitch) or _opening(edge, pitch, radius)
    section = draw_notch(edge, opening, radius, tolerance)
    if section is None:
        most = _largest_corner(edge, opening, radius, tolerance)
        raise SpecError(
            f"corners of {edge.corner_radius:g} mm do not fit a {edge.profile} notch "
            f"{opening:.3g} mm wide and {edge.depth:g} mm deep; at most {most:.3g} mm",
            key="edge.corner_radius",
        )
    return Reeding(count, pitch, opening, edge.depth, edge.corner_radius, radius, section)


def _opening(edge: Edge, pitch: float, radius: float) -> float:
    """Choose the opening of a notch: the profile's usual share, more if its corners need it."""
    share = _SHARE[edge.profile]
    coarse = Tolerance(curve=0.05, surface=0.05, pixels=16)
    for opening in np.linspace(share, 0.98, 12) * pitch:
        if draw_notch(edge, float(opening), radius, coarse) is not None:
            return float(opening)
    return share * pitch


def _largest_corner(edge: Edge, opening: float, radius: float, tolerance: Tolerance) -> float:
    """Return the largest corner radius that fits, rounded down, mm."""
    low, high = 0.0, edge.corner_radius
    for _ in range(24):
        middle = (low + high) / 2.0
        fits = draw_notch(
            msgspec.structs.replace(edge, corner_radius=middle), opening, radius, tolerance
        )
        low, high = (low, middle) if fits is None else (middle, high)
    return math.floor(low * 1000.0) / 1000.0


def draw_notch(
    edge: Edge, opening: float, radius: float, tolerance: Tolerance
) -> FloatArray | None:
    """Draw the section of one notch, or return None if its corners do not fit.

    Crest circles (radius r) touch the edge circle from inside where the notch begins; the
    root is a circle (vee, round) or a floor with two corner circles (square). Flanks are
    the crossed tangents of the circles (plane geometry).

    Returns
    -------
    section : (n, 2) float64
        See `Reeding`.
    """
    phi = opening / radius / 2.0
    r = edge.corner_radius
    floor = radius - edge.depth
    if floor <= 0.0 or phi >= math.pi / 3.0 or r >= floor:
        return None
    crest = (radius - r) * np.array([math.sin(phi), math.cos(phi)])
    steep = min(_STEEP, math.pi / 2.0 - phi - math.radians(1.0))
    shape = {"vee": _vee, "round": _round, "square": _square}[edge.profile]
    found = shape(crest, r, floor, steep)
    if found is None:
        return None
    root, root_radius, slope, start = found
    step = _turn_step(max(r, root_radius), tolerance)
    bottom = _arc(root, root_radius, start - math.pi / 2.0, slope - math.pi / 2.0, step)
    top = _arc(crest, r, slope + math.pi / 2.0, math.pi / 2.0 - phi, step)
    half = np.vstack([bottom, top])
    if start < 0.0:  # a floor concentric with the edge
        middle = _arc(np.zeros(2), floor, math.pi / 2.0, math.pi / 2.0 + start,
                      _turn_step(floor, tolerance))  # fmt: skip
        half = np.vstack([middle[:-1], half])
    keep = np.append(np.linalg.norm(np.diff(half, axis=0), axis=1) > 1e-6, True)
    half = half[keep]
    # Right land first would run clockwise: start left of the piece's +y and go to −x.
    right = half[::-1]
    left = half[1:] * (-1.0, 1.0)
    section = np.vstack([right, left])
    angle = np.arctan2(-section[:, 0], section[:, 1])
    return section if np.all(np.diff(angle) > 0.0) else None


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


def _turn_step(radius: float, tolerance: Tolerance) -> float:
    """Return the turn between two points of an arc within tolerance, at most 24 degrees."""
    if radius <= tolerance.curve:
        return math.pi / 2.0
    return min(2.0 * math.acos(1.0 - tolerance.curve / radius), math.radians(24.0))


def _arc(centre: FloatArray, radius: float, start: float, stop: float, step: float) -> FloatArray:
    """Return points (n, 2) of an arc, both ends included; one point for no radius."""
    if radius <= 1e-9:
        return centre[None]
    n = max(1, math.ceil(abs(stop - start) / step - 1e-9))
    angle = np.linspace(start, stop, n + 1)
    return np.asarray(centre + radius * np.column_stack([np.cos(angle), np.sin(angle)]))
