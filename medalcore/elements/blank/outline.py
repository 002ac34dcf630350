"""Outlines seen from above: contours whose points lie on the true curve."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np

from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.contour import Contours
from ...geometry.types import FloatArray
from ...spec import Blank
from ..edge import Notch, arc_points, fit_notch
from .drawing import read_drawing
from .rounding import rounded_outline

_ROUNDS = 40
"""Rounds in which a circle's radius is settled; each leaves a few hundredths of the error."""


def outline_of(blank: Blank, tolerance: Tolerance) -> Contours:
    """Return the outline of a piece: one counter-clockwise contour, and clockwise holes.

    Raises
    ------
    SpecError
        If the shape cannot be drawn.
    SourceError
        If the drawing cannot be read.
    """
    draw = _SHAPES[blank.outline]
    turn = math.radians(blank.turn)
    c, s = math.cos(turn), math.sin(turn)
    matrix = np.array([[c, s], [-s, c]])
    return tuple(points @ matrix for points in draw(blank, tolerance))


def _turn_angles(radius: float, tolerance: Tolerance) -> FloatArray:
    n = tolerance.segments(radius, volume_chords(tolerance), 0.5)
    n = 4 * math.ceil(n / 4)
    return np.asarray(2.0 * np.pi * np.arange(n) / n)


def volume_chords(tolerance: Tolerance) -> int:
    """Return the least chords of a full turn, so that areas are true however small the piece.

    An inscribed n-gon misses 2π²/3n² of the circle's area (series of sine): n of 240, at
    fine, keeps that at 0.011 %.
    """
    return math.ceil(10.7 / math.sqrt(tolerance.curve))


def _arc(
    centre: FloatArray, radius: float, start: float, stop: float, tolerance: Tolerance
) -> FloatArray:
    """Return an arc, within tolerance."""
    return arc_points(centre, radius, start, stop, _chord(radius, tolerance))


def _round(blank: Blank, tolerance: Tolerance) -> Contours:
    angle = _turn_angles(blank.diameter / 2.0, tolerance)
    return (blank.diameter / 2.0 * np.column_stack([np.cos(angle), np.sin(angle)]),)


def _oval(blank: Blank, tolerance: Tolerance) -> Contours:
    """Draw an ellipse; its chords deviate at most as those of the circle round it."""
    a, b = blank.diameter / 2.0, blank.height / 2.0
    angle = _turn_angles(max(a, b), tolerance)
    return (np.column_stack([a * np.cos(angle), b * np.sin(angle)]),)


def _rectangle(blank: Blank, tolerance: Tolerance) -> Contours:
    """Draw a rectangle whose corners are arcs."""
    half = np.array([blank.diameter, blank.height]) / 2.0
    r = blank.corner_radius
    if r >= half.min():
        raise SpecError(
            f"corners of {r:g} mm do not fit {blank.diameter:g} by {blank.height:g} mm; "
            f"at most {0.99 * half.min():.3g} mm",
            key="blank.corner_radius",
        )
    quarter = math.pi / 2.0
    signs = ((1, -1), (1, 1), (-1, 1), (-1, -1))
    parts = [
        _arc((half - r) * sign, r, (i - 1) * quarter, i * quarter, tolerance)
        for i, sign in enumerate(signs)
    ]
    return (np.concatenate(parts),)


def _polygon(blank: Blank, tolerance: Tolerance) -> Contours:
    """Draw a regular polygon whose corners are arcs.

    Round corners of radius r are the outline at distance r round a smaller polygon. With D
    over the points and f over the flats of an even polygon, f/2 = (D/2 − r)·cos(π/n) + r.
    """
    n = blank.sides
    half = blank.diameter / 2.0
    r = blank.corner_radius
    if blank.flats > 0.0:
        if n % 2:
            raise SpecError(
                f"a polygon of {n} sides has no flats across; leave flats at 0 and give "
                "corner_radius",
                key="blank.flats",
            )
        cos = math.cos(math.pi / n)
        if not 2.0 * half * cos - 1e-9 <= blank.flats < 2.0 * half:
            raise SpecError(
                f"{blank.flats:g} mm over flats does not go with {blank.diameter:g} mm over "
                f"points and {n} sides; from {2.0 * half * cos:.3f} to below {2.0 * half:g} mm",
                key="blank.flats",
            )
        r = max(0.0, (blank.flats / 2.0 - half * cos) / (1.0 - cos))
    if r >= half:
        raise SpecError(
            f"corners of {r:g} mm do not fit; at most {0.99 * half:.3g} mm",
            key="blank.corner_radius",
        )
    widest = 1.0 if n % 2 == 0 else math.cos(math.pi / (2 * n))
    return (_eased(n, (half - r) / widest, r, tolerance),)


def _eased(n: int, corners: float, r: float, tolerance: Tolerance) -> FloatArray:
    """Return a regular polygon with corner centres on a circle and arcs of radius r."""
    step = 2.0 * math.pi / n
    first = -math.pi / 2.0 + step / 2.0
    parts = []
    for k in range(n):
        at = first + k * step
        centre = corners * np.array([math.cos(at), math.sin(at)])
        parts.append(_arc(centre, r, at - step / 2.0, at + step / 2.0, tolerance))
    return np.concatenate(parts)


def _constant_width(blank: Blank, tolerance: Tolerance) -> Contours:
    """Draw a regular Reuleaux polygon, eased without changing its width.

    Sides are arcs about the opposite corner. A Reuleaux polygon of width w − 2r with an
    outline at distance r round it has width w everywhere (support functions add).
    """
    n, r = blank.sides, blank.corner_radius
    if n % 2 == 0:
        raise SpecError(
            f"{n} sides cannot have a constant width; an odd number can", key="blank.sides"
        )
    inner = blank.diameter - 2.0 * r
    if inner <= 0.0:
        raise SpecError(
            f"corners of {r:g} mm do not fit; less than {blank.diameter / 2.0:g} mm",
            key="blank.corner_radius",
        )
    big = inner / (2.0 * math.cos(math.pi / (2 * n)))
    step = 2.0 * math.pi / n
    first = -math.pi / 2.0 + step / 2.0
    angles = first + step * np.arange(n)
    corner = big * np.column_stack([np.cos(angles), np.sin(angles)])
    half = math.pi / (2 * n)
    parts = []
    for k in range(n):
        # The corner's own arc spans the directions away from its two opposite corners.
        at = float(angles[k])
        parts.append(_arc(corner[k], r, at - half, at + half, tolerance))
        # Then the side towards the next corner, about the corner opposite to it.
        about = corner[(k + (n + 1) // 2) % n]
        middle = at + step / 2.0
        side = _arc(about, inner + r, middle - half, middle + half, tolerance)
        parts.append(side[1:-1])
    return (np.concatenate(parts),)


def _scalloped(blank: Blank, tolerance: Tolerance) -> Contours:
    """Draw scallops in the circle that makes the piece as wide as asked.

    An even number of lobes is as wide as that circle; with an odd one a lobe faces a root.
    """
    n, depth, big = blank.scallops, blank.scallop_depth, blank.diameter / 2.0
    if depth >= 0.5 * big:
        raise SpecError(
            f"scallops {depth:g} mm deep take the piece away; at most {0.5 * big:.3g} mm",
            key="blank.scallop_depth",
        )
    notched = blank.scallop_shape == "notches"
    reach = _notched_reach if notched else _lobed_reach
    for _ in range(_ROUNDS if n % 2 else 0):
        big += blank.diameter / 2.0 - reach(blank, n, depth, big)
    draw = _notched if notched else _lobed
    return (draw(blank, n, depth, big, tolerance),)


def _notched_reach(blank: Blank, n: int, depth: float, big: float) -> float:
    """Return half of the largest width of an odd number of hollows in a circle.

    Half a pitch from the middle of a land is the middle of the hollow across. Where both
    leave less than a quarter of the pitch, the widest place is over the rounded crests, each
    about a middle R − r out, at the angle φ − π/2n from the direction across.
    """
    phi = _opening(blank, n, depth, big) / big / 2.0
    past = max(0.0, phi - math.pi / (2 * n))
    return big - (big - blank.corner_radius) * (1.0 - math.cos(past))


def _lobed_reach(blank: Blank, n: int, depth: float, big: float) -> float:
    """Return half of the largest width of an odd number of lobes.

    Lobes are discs about the corners of a regular polygon, so their width is the polygon's,
    (R − l)·cos(π/2n), and two radii.
    """
    lobe = _lobe_radius(blank, n, depth, big)
    return lobe + (big - lobe) * math.cos(math.pi / (2 * n))


def _opening(blank: Blank, n: int, depth: float, big: float) -> float:
    """Return the width of a hollow at the edge, mm."""
    pitch = 2.0 * math.pi * big / n
    return blank.scallop_width or min(0.7 * pitch, 2.0 * math.sqrt(depth * big))


def _notched(blank: Blank, n: int, depth: float, big: float, tolerance: Tolerance) -> FloatArray:
    """Hollow a circle out at even distances; corners rounded."""
    pitch = 2.0 * math.pi * big / n
    if blank.scallop_width > pitch:
        raise SpecError(
            f"{n} hollows {blank.scallop_width:g} mm wide overlap; at most {pitch:.3g} mm",
            key="blank.scallop_width",
        )
    opening = _opening(blank, n, depth, big)
    hollow = Notch("round", opening, depth, blank.corner_radius)
    section = fit_notch(hollow, big, tolerance, "blank.corner_radius", "blank.scallop_depth")
    step = 2.0 * math.pi / n
    phi = opening / big / 2.0
    chords = max(1, math.ceil((step - 2.0 * phi) / _chord(big, tolerance)))
    lands = np.pi / 2.0 + phi + (step - 2.0 * phi) * np.arange(1, chords) / chords
    one = np.vstack([section, big * np.column_stack([np.cos(lands), np.sin(lands)])])
    return _repeated(one, n)


def _lobe_radius(blank: Blank, n: int, depth: float, big: float) -> float:
    """Return the radius of a lobe, mm; at or below 0 there is none.

    A lobe of radius l about distance R − l touches the root circle of radius r about
    distance q = R − d + r on the ray half a pitch away: law of cosines, solved for l.
    """
    r, across = blank.corner_radius, math.cos(math.pi / n)
    q = big - depth + r
    return (big * big + q * q - 2.0 * q * big * across - r * r) / (2.0 * (big + r - q * across))


def _lobed(blank: Blank, n: int, depth: float, big: float, tolerance: Tolerance) -> FloatArray:
    """Set round lobes side by side; the roots between them rounded."""
    r = blank.corner_radius
    alpha = math.pi / n
    q = big - depth + r
    lobe = _lobe_radius(blank, n, depth, big)
    centre = np.array([0.0, big - lobe])
    root = q * np.array([math.sin(alpha), math.cos(alpha)])
    way = root - centre
    turn = math.atan2(way[1], way[0])
    sharp = math.pi / 2.0 - alpha  # direction of the ray to the root
    if lobe <= 0.0 or lobe >= big or not -alpha < turn < sharp:
        raise SpecError(
            f"{n} lobes {depth:g} mm deep with roots rounded {r:g} mm do not fit; "
            "fewer lobes, less depth or a smaller corner_radius",
            key="blank.scallops",
        )
    back = turn + math.pi  # from the root circle's middle to where it touches the lobe
    right = arc_points(root, r, math.pi + sharp, back, _chord(r, tolerance))
    half = arc_points(centre, lobe, turn, math.pi / 2.0, _chord(lobe, tolerance))
    side = np.vstack([right[:-1], half])
    return _repeated(np.vstack([side, (side[:-1] * (-1.0, 1.0))[::-1]])[:-1], n)


def _chord(radius: float, tolerance: Tolerance) -> float:
    """Return the turn of one chord of an arc: within tolerance, and fine enough for volumes.

    Half the tolerance, since chords all err to one side.
    """
    if radius <= tolerance.curve:
        return math.pi
    small = math.radians(6.0 if tolerance.curve < 0.005 else 24.0)
    most = small if radius < 1.0 else 2.0 * math.pi / volume_chords(tolerance)
    return min(2.0 * math.acos(1.0 - tolerance.curve / 2.0 / radius), most)


def _repeated(one: FloatArray, n: int) -> FloatArray:
    """Return a run of points, drawn round +y, repeated n times round the middle."""
    step = 2.0 * math.pi / n
    parts = []
    for k in range(n):
        c, s = math.cos(k * step), math.sin(k * step)
        parts.append(one @ np.array([[c, s], [-s, c]]))
    return np.concatenate(parts)


def _drawing(blank: Blank, tolerance: Tolerance) -> Contours:
    if not blank.drawing:
        raise SpecError("names no SVG file", key="blank.drawing")
    drawn = read_drawing(blank.drawing, blank.diameter, tolerance)
    if not blank.round_corners or blank.corner_radius == 0.0:
        return drawn
    return rounded_outline(drawn, blank.corner_radius, tolerance, "blank.corner_radius")


_SHAPES: Mapping[str, Callable[[Blank, Tolerance], Contours]] = {
    "round": _round,
    "oval": _oval,
    "rectangle": _rectangle,
    "polygon": _polygon,
    "constant-width": _constant_width,
    "scalloped": _scalloped,
    "drawing": _drawing,
}
