"""The line a border runs along: a circle, or the outline of the field drawn inwards.

Lengths along a path run clockwise from the top, as its viewer sees it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from ...geometry.contour import Contours, circle, cleaned, offset, round_segments, signed_area
from ...geometry.types import FloatArray

_FINER = 8.0
"""How much finer than other curves a border's line is: what stands on it bends with it."""
_WINDOW = 0.12
"""Over how much of its tightest bend to either side the line's heading is averaged."""


class Path(Protocol):
    """A closed line round the middle of a face."""

    @property
    def length(self) -> float:
        """Return how long it is, mm."""

    @property
    def bend(self) -> float:
        """Return the radius of its tightest bend, mm."""

    def at(self, s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return places and unit vectors outwards, (..., 2) each, at lengths s (...) mm."""

    def towards(self, angle: float) -> float:
        """Return the length at which it is seen from the middle at an angle from the top."""

    def band(self, width: float, start: float, run: float, tolerance: float) -> Contours:
        """Return the outline of a band along it, from a length on for a run, mm."""


@dataclass(frozen=True)
class Circle:
    """A circle about the middle of the face."""

    radius: float

    @property
    def length(self) -> float:
        """Return the circumference, mm."""
        return 2.0 * math.pi * self.radius

    @property
    def bend(self) -> float:
        """See `Path`."""
        return self.radius

    def at(self, s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See `Path`."""
        angle = s / self.radius
        out = np.stack([np.sin(angle), np.cos(angle)], axis=-1)
        return self.radius * out, out

    def towards(self, angle: float) -> float:
        """See `Path`."""
        return angle * self.radius

    def band(self, width: float, start: float, run: float, tolerance: float) -> Contours:
        """See `Path`."""
        inner, outer = self.radius - width / 2.0, self.radius + width / 2.0
        if run >= self.length * (1.0 - 1e-12):
            return circle(outer, tolerance), circle(inner, tolerance)[::-1]
        n = max(2, math.ceil(round_segments(outer, tolerance) * run / self.length))
        _, out = self.at(start + run * np.arange(n + 1) / n)
        return (np.vstack([inner * out, outer * out[::-1]]),)


@dataclass(frozen=True, eq=False)
class Line:
    """A closed polyline, clockwise, beginning at the top of the face.

    Attributes
    ----------
    points : (n, 2) float64
        mm; the first one is not repeated.
    outward : (n, 2) float64
        Unit vectors.
    ends : (n + 1,) float64
        Length up to every point, and all round, mm.
    bend : float
        Radius of its tightest bend, mm.
    """

    points: FloatArray
    outward: FloatArray
    ends: FloatArray
    bend: float

    @property
    def length(self) -> float:
        """Return how long it is, mm."""
        return float(self.ends[-1])

    def at(self, s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See `Path`."""
        along = np.mod(s, self.length)
        i = np.clip(np.searchsorted(self.ends, along, side="right") - 1, 0, len(self.points) - 1)
        j = (i + 1) % len(self.points)
        f = ((along - self.ends[i]) / (self.ends[i + 1] - self.ends[i]))[..., None]
        out = (1.0 - f) * self.outward[i] + f * self.outward[j]
        places = (1.0 - f) * self.points[i] + f * self.points[j]
        return places, out / np.linalg.norm(out, axis=-1, keepdims=True)

    def towards(self, angle: float) -> float:
        """See `Path`."""
        ray = np.array([math.sin(angle), math.cos(angle)])
        side = self.points @ np.array([ray[1], -ray[0]])  # to the right of the ray
        after = np.roll(side, -1)
        ahead = self.points @ ray > 0.0
        k = int(np.flatnonzero((side <= 0.0) & (after > 0.0) & ahead)[-1])
        f = side[k] / (side[k] - after[k])
        s = float(self.ends[k] + f * (self.ends[k + 1] - self.ends[k]))
        return s + self.length * math.floor(angle / (2.0 * math.pi) + 1e-12)

    def band(self, width: float, start: float, run: float, tolerance: float) -> Contours:
        """See `Path`."""
        if run >= self.length * (1.0 - 1e-12):
            places, out = self.points, self.outward
        else:
            n = max(2, math.ceil(run / self.length * len(self.points)))
            places, out = self.at(start + run * np.arange(n + 1) / n)
        inner, outer = places - width / 2.0 * out, places + width / 2.0 * out
        if run >= self.length * (1.0 - 1e-12):
            return cleaned((outer[::-1], inner), "nonzero", tolerance / 2.0)
        return cleaned((np.vstack([inner, outer[::-1]]),), "nonzero", tolerance / 2.0)


def inwards(outline: Contours, distance: float, bend: float, tolerance: float) -> Line | None:
    """Return the outline drawn inwards, no corner of it tighter than `bend`.

    Parameters
    ----------
    outline : tuple of (n, 2) float64
        The field; its holes are passed over.
    distance, bend, tolerance : float
        mm.

    Returns
    -------
    line : Line or None
        None if there is no room.
    """
    outer = max(outline, key=signed_area)
    tolerance /= _FINER
    small = offset((outer,), -(distance + bend), "round", tolerance=tolerance)
    if not small:
        return None
    grown = offset(small, bend, "round", tolerance=tolerance, least=tolerance / 4.0)
    points = max(grown, key=signed_area)[::-1]  # clockwise
    side = np.roll(points, -1, axis=0)
    crossing = (points[:, 0] <= 0.0) & (side[:, 0] > 0.0)
    if not np.any(crossing):
        return None
    k = max(np.flatnonzero(crossing), key=lambda i: points[i, 1])
    a, b = points[k], side[k]
    top = a + (b - a) * (a[0] / (a[0] - b[0]))
    points = np.vstack([top, np.roll(points, -(k + 1), axis=0)])
    if np.allclose(points[0], points[-1], atol=1e-9):
        points = points[:-1]
    return _finely(points, max(20.0 * _FINER * tolerance, 0.05), bend)


def _finely(points: FloatArray, step: float, bend: float) -> Line:
    """Return a polyline with points no farther apart than `step`, and its normals.

    The normal turns evenly, as that of the curve which the points lie on: were it to turn all
    at once at the corners of the polyline, it would bend tighter there than the curve does.
    """
    way = np.roll(points, -1, axis=0) - points
    size = np.hypot(*way.T)
    parts = np.maximum(1, np.ceil(size / step).astype(int))
    fine = np.vstack([
        p + w * (np.arange(n) / n)[:, None] for p, w, n in zip(points, way, parts, strict=True)
    ])  # fmt: skip
    long = np.hypot(*(np.roll(fine, -1, axis=0) - fine).T)
    ends = np.concatenate([[0.0], np.cumsum(long)])
    heading = np.unwrap(np.repeat(np.arctan2(way[:, 1], way[:, 0]), parts))
    turn = _averaged(heading, ends, _WINDOW * bend)
    outward = np.column_stack([-np.sin(turn), np.cos(turn)])  # to the left of going clockwise
    return Line(fine, outward, ends, bend)


def _averaged(heading: FloatArray, ends: FloatArray, window: float) -> FloatArray:
    """Return the mean heading over a window to either side of every point of a closed line.

    Parameters
    ----------
    heading : (n,) float64
        Of every edge, without jumps, rad.
    ends : (n + 1,) float64
        Length up to every point, and all round, mm.
    window : float
        mm.
    """
    n, whole = len(heading), float(ends[-1])
    round_once = 2.0 * np.pi * np.round((heading[-1] - heading[0]) / (2.0 * np.pi))
    thrice = np.concatenate([heading - round_once, heading, heading + round_once])
    at = np.concatenate([ends[:n] - whole, ends[:n], ends + whole])
    sums = np.concatenate([[0.0], np.cumsum(thrice * np.diff(at))])
    high = np.interp(ends[:n] + window, at, sums)
    return np.asarray((high - np.interp(ends[:n] - window, at, sums)) / (2.0 * window))


def moved_aside(path: Path, distance: float) -> Path:
    """Return the path a distance farther out (or in, below 0), mm."""
    if isinstance(path, Circle):
        return Circle(path.radius + distance)
    assert isinstance(path, Line)
    if distance == 0.0:
        return path
    # parallel lines have the same normals
    points = path.points + distance * path.outward
    size = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    ends = np.concatenate([[0.0], np.cumsum(size)])
    return Line(points, path.outward, ends, path.bend - abs(distance))
