"""Plane outlines: tuples of closed polygons, outer ones counter-clockwise, holes clockwise.

A contour is an (n, 2) float64 array in mm without a repeated last point. All functions are
pure. Booleans and general offsets run on the boolean library's plane sections, whose grid
is far below anything that can be made (measured: 1e-8 mm or finer).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import manifold3d as m3
import numpy as np

from .arrays import cross2
from .types import BoolArray, FloatArray

Contours = tuple[FloatArray, ...]
Fill = Literal["nonzero", "evenodd", "positive"]
Join = Literal["mitre", "round", "bevel"]

_FILLS = {
    "nonzero": m3.FillRule.NonZero,
    "evenodd": m3.FillRule.EvenOdd,
    "positive": m3.FillRule.Positive,
}
_JOINS = {"mitre": m3.JoinType.Miter, "round": m3.JoinType.Round, "bevel": m3.JoinType.Bevel}


def signed_area(points: FloatArray) -> float:
    """Return the area of one closed polygon, mm²; counter-clockwise is positive."""
    p = points - points[0]
    q = np.roll(p, -1, axis=0)
    return float(np.sum(cross2(p, q)) / 2.0)


def area(contours: Contours) -> float:
    """Return the area inside, mm²: holes count against their surroundings."""
    return sum(signed_area(c) for c in contours)


def length(contours: Contours) -> float:
    """Return the length of all outlines together, mm."""
    return sum(float(edge_lengths(c).sum()) for c in contours)


def edge_lengths(points: FloatArray) -> FloatArray:
    """Return the length of every edge of a closed polygon, (n,) mm."""
    edges: FloatArray = np.roll(points, -1, axis=0) - points
    return np.asarray(np.hypot(edges[:, 0], edges[:, 1]))


def bounds(contours: Contours) -> FloatArray:
    """Return the lower left and upper right corner, (2, 2) mm."""
    stacked = np.concatenate(contours)
    return np.array([stacked.min(axis=0), stacked.max(axis=0)])


def moved(contours: Contours, matrix: FloatArray) -> Contours:
    """Return the contours under a (2, 3) matrix; a mirroring keeps outer ones counter-clockwise."""
    turn = -1 if np.linalg.det(matrix[:, :2]) < 0 else 1
    return tuple((c @ matrix[:, :2].T + matrix[:, 2])[::turn] for c in contours)


def turned(contours: Contours, angle: float, shift: Sequence[float] = (0.0, 0.0)) -> Contours:
    """Return the contours turned about the origin by `angle` rad, then shifted by mm."""
    c, s = math.cos(angle), math.sin(angle)
    return moved(contours, np.array([[c, -s, shift[0]], [s, c, shift[1]]]))


def section(contours: Contours, fill: Fill = "nonzero") -> m3.CrossSection:
    """Return the boolean library's plane section of contours."""
    return m3.CrossSection([np.ascontiguousarray(c) for c in contours], _FILLS[fill])


def contours_of(plane: m3.CrossSection, least: float = 0.0) -> Contours:
    """Return a plane section as contours, without slivers below `least` mm.

    Vertices nearer than `least` to the chord of their neighbours go, and so do contours
    whose area over half their length (a mean width) is below it.
    """
    if least > 0.0:
        plane = plane.simplify(least)
    polygons = (np.array(p, dtype=np.float64) for p in plane.to_polygons())
    return tuple(
        p
        for p in polygons
        if len(p) >= 3 and 2.0 * abs(signed_area(p)) > least * float(edge_lengths(p).sum())
    )


def cleaned(contours: Contours, fill: Fill = "nonzero", least: float = 1e-4) -> Contours:
    """Return contours that neither cross nor overlap, turned as this module says.

    Parameters
    ----------
    contours : tuple of (n, 2) float64, mm
        In any direction, crossing themselves and each other.
    fill : str
        Which regions count as inside.
    least : float
        What is finer than this goes, mm.
    """
    return contours_of(section(contours, fill), least)


def united(parts: Sequence[Contours], least: float = 1e-4) -> Contours:
    """Return the union of clean contours."""
    return contours_of(
        m3.CrossSection.batch_boolean([section(p) for p in parts], m3.OpType.Add), least
    )


def subtracted(contours: Contours, cutter: Contours, least: float = 1e-4) -> Contours:
    """Return clean `contours` without what lies inside clean `cutter`."""
    return contours_of(section(contours) - section(cutter), least)


def intersected(contours: Contours, other: Contours, least: float = 1e-4) -> Contours:
    """Return what lies inside both of two clean sets of contours."""
    return contours_of(section(contours) ^ section(other), least)


def distinct(contours: Contours, least: float = 4e-5) -> Contours:
    """Return contours whose neighbouring points are at least `least` mm apart.

    Nearer ones are one point in a file's float32 numbers, or nearly. Contours that have
    less than three points left go.
    """
    kept = []
    for points in contours:
        c = np.asarray(points, dtype=np.float64)
        while len(c):
            near = edge_lengths(c) < least  # of the edge that starts at each point
            if not near.any():
                break
            # Of points close together in a row only every second one goes at a time.
            c = c[~near | np.roll(near, 1)] if not near.all() else c[:1][:0]
        if len(c) >= 3:
            kept.append(c)
    return tuple(kept)


def components(contours: Contours) -> tuple[Contours, ...]:
    """Return the connected regions: each one outer contour with its holes."""
    return tuple(contours_of(part) for part in section(contours).decompose())


def offset(
    contours: Contours,
    distance: float,
    join: Join = "mitre",
    *,
    limit: float = 4.0,
    tolerance: float = 0.002,
    least: float = 0.0,
) -> Contours:
    """Return clean contours grown (or shrunk, below 0) by a distance.

    Parameters
    ----------
    contours : tuple of (n, 2) float64, mm
    distance : float
        mm.
    join : str
        What happens at corners that open.
    limit : float
        Mitres longer than this many distances are cut square; at least 2.
    tolerance : float
        Largest distance between a round join and its chords, mm.
    least : float
        As `contours_of`.
    """
    segments = 0
    if join == "round" and distance != 0.0:
        segments = 4 * math.ceil(round_segments(abs(distance), tolerance) / 4)
    grown = section(contours).offset(distance, _JOINS[join], limit, segments)
    return contours_of(grown, least)


def unpinched(contours: Contours, gap: float = 2e-4) -> Contours:
    """Return contours without corners that meet in a point, where the walls below would too.

    Drawings and letters often let corners touch. If any do, everything is drawn in by `gap`
    mm, too little to see and enough to tell the walls apart in a file's float32 numbers.
    """
    points = np.concatenate(contours) / (0.1 * gap)
    # Two points less than half a cell apart share a cell of at least one of these grids.
    for shift in ((0.0, 0.0), (0.5, 0.0), (0.0, 0.5), (0.5, 0.5)):
        if len(np.unique(np.floor(points + shift), axis=0)) < len(points):
            return drawn_in(contours, gap)
    return contours


def drawn_in(contours: Contours, gap: float = 2e-4) -> Contours:
    """Return contours drawn in by less than can be seen: what touches comes apart."""
    return offset(contours, -gap, "mitre", least=gap)


def round_segments(radius: float, tolerance: float, least: int = 8) -> int:
    """Return how many chords a full circle needs; sagitta s = r(1 − cos(π/n))."""
    if radius <= tolerance:
        return least
    return max(least, math.ceil(math.pi / math.acos(1.0 - tolerance / radius)))


def circle(radius: float, tolerance: float, centre: Sequence[float] = (0.0, 0.0)) -> FloatArray:
    """Return a circle as a counter-clockwise polygon of equal area.

    The corners lie outside the true circle by as much as the chords lie inside, so that
    areas and volumes come out true: r' = r·√(2π/n / sin(2π/n)) (regular polygon's area).
    """
    n = round_segments(radius, tolerance, 24)
    fit = math.sqrt((2.0 * math.pi / n) / math.sin(2.0 * math.pi / n))
    angle = 2.0 * np.pi * np.arange(n) / n
    return np.asarray(centre) + radius * fit * np.column_stack([np.cos(angle), np.sin(angle)])


def inside(contours: Contours, points: FloatArray) -> BoolArray:
    """Tell which of (k, 2) points lie inside clean contours (ray crossing, even-odd)."""
    odd = np.zeros(len(points), dtype=bool)
    x, y = points[:, 0, None], points[:, 1, None]
    for p in contours:
        q = np.roll(p, -1, axis=0)
        spans = (p[:, 1] > y) != (q[:, 1] > y)
        rise = np.where(q[:, 1] == p[:, 1], 1.0, q[:, 1] - p[:, 1])
        left = x < p[:, 0] + (y - p[:, 1]) * (q[:, 0] - p[:, 0]) / rise
        odd ^= np.count_nonzero(spans & left, axis=1) % 2 == 1
    return odd


def along(
    points: FloatArray, at: FloatArray, *, closed: bool = True
) -> tuple[FloatArray, FloatArray]:
    """Return places and directions at given lengths along a polyline.

    Parameters
    ----------
    points : (n, 2) float64, mm
    at : (k,) float64
        Lengths from the first point, mm; taken round a closed line, held at the ends of an
        open one.

    Returns
    -------
    places : (k, 2) float64, mm
    directions : (k, 2) float64
        Unit vectors.
    """
    line = np.vstack([points, points[:1]]) if closed else points
    steps = np.diff(line, axis=0)
    lengths = np.hypot(*steps.T)
    ends = np.concatenate([[0.0], np.cumsum(lengths)])
    s = np.mod(at, ends[-1]) if closed else np.clip(at, 0.0, ends[-1])
    i = np.clip(np.searchsorted(ends, s, side="right") - 1, 0, len(steps) - 1)
    direction = steps[i] / lengths[i][:, None]
    return line[i] + direction * (s - ends[i])[:, None], direction


def quadratic(p0: FloatArray, p1: FloatArray, p2: FloatArray, tolerance: float) -> FloatArray:
    """Return points of a quadratic Bézier curve after its first, (n, 2).

    Steps by Wang's bound: n = √(d(d − 1)/8 · max|second difference| / tolerance), d = 2.
    """
    bend = float(np.hypot(*(p0 - 2.0 * p1 + p2)))
    n = max(1, math.ceil(math.sqrt(0.25 * bend / tolerance)))
    t = (np.arange(1, n + 1) / n)[:, None]
    return (1 - t) ** 2 * p0 + 2 * t * (1 - t) * p1 + t**2 * p2


def cubic(
    p0: FloatArray, p1: FloatArray, p2: FloatArray, p3: FloatArray, tolerance: float
) -> FloatArray:
    """Return points of a cubic Bézier curve after its first, (n, 2); steps as `quadratic`."""
    bend = max(float(np.hypot(*(p0 - 2.0 * p1 + p2))), float(np.hypot(*(p1 - 2.0 * p2 + p3))))
    n = max(1, math.ceil(math.sqrt(0.75 * bend / tolerance)))
    t = (np.arange(1, n + 1) / n)[:, None]
    s = 1 - t
    return s**3 * p0 + 3 * s**2 * t * p1 + 3 * s * t**2 * p2 + t**3 * p3


@dataclass
class Outline:
    """Collects lines and curves into polygons, each curve as fine as the tolerance asks.

    Attributes
    ----------
    tolerance : float
        Largest distance between a curve and its chords, in the units of the points.
    """

    tolerance: float
    _done: list[FloatArray] = field(default_factory=list)
    _open: list[FloatArray] = field(default_factory=list)

    def move(self, point: Sequence[float]) -> None:
        """Start a new polygon."""
        self.close()
        self._open = [np.array(point, dtype=np.float64)[None]]

    def line(self, point: Sequence[float]) -> None:
        """Go straight to a point."""
        self._open.append(np.array(point, dtype=np.float64)[None])

    def quad(self, control: Sequence[float], point: Sequence[float]) -> None:
        """Go along a quadratic Bézier curve."""
        p = np.array([control, point], dtype=np.float64)
        self._open.append(quadratic(self._open[-1][-1], p[0], p[1], self.tolerance))

    def curve(
        self, first: Sequence[float], second: Sequence[float], point: Sequence[float]
    ) -> None:
        """Go along a cubic Bézier curve."""
        p = np.array([first, second, point], dtype=np.float64)
        self._open.append(cubic(self._open[-1][-1], p[0], p[1], p[2], self.tolerance))

    def close(self) -> None:
        """End the polygon."""
        if self._open:
            points = np.concatenate(self._open)
            keep = np.any(points != np.roll(points, 1, axis=0), axis=1)
            if np.count_nonzero(keep) >= 3:
                self._done.append(points[keep])
        self._open = []

    def contours(self) -> Contours:
        """Return the polygons as drawn; see `cleaned`."""
        self.close()
        return tuple(self._done)
