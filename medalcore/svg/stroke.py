"""The area a pen of a given width covers along a line."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..geometry.arrays import cross2
from ..geometry.contour import Contours, cleaned, round_segments, signed_area
from ..geometry.types import FloatArray

Cap = Literal["butt", "round", "square"]
Corner = Literal["miter", "round", "bevel"]  # as SVG spells it


@dataclass(frozen=True)
class Pen:
    """How a line is drawn: SVG's stroke properties (SVG 1.1, section 11.4).

    Attributes
    ----------
    width : float
        In the units of the line.
    cap, corner : str
        Shape of the ends, and of the corners.
    limit : float
        Mitres longer than this many widths are cut off.
    """

    width: float
    cap: Cap = "butt"
    corner: Corner = "miter"
    limit: float = 4.0


def stroked(
    lines: tuple[tuple[FloatArray, bool], ...], pen: Pen, tolerance: float, least: float
) -> Contours:
    """Return the area covered by a pen along lines.

    Parameters
    ----------
    lines : tuple of ((n, 2) float64, bool)
        Points, and whether the line returns to its beginning.
    pen : Pen
    tolerance : float
        Largest distance between round ends and their chords.
    least : float
        What is finer than this goes.
    """
    half = pen.width / 2.0
    pieces: list[FloatArray] = []
    for points, closed in lines:
        pieces += _line(_distinct(points, closed), closed, half, pen, tolerance)
    turned = tuple(p if signed_area(p) > 0.0 else p[::-1] for p in pieces)
    return cleaned(turned, "nonzero", least) if turned else ()


def _distinct(points: FloatArray, closed: bool) -> FloatArray:
    keep = np.any(np.diff(points, axis=0) != 0.0, axis=1)
    points = points[np.concatenate([[True], keep])]
    if closed and len(points) > 1 and np.array_equal(points[0], points[-1]):
        points = points[:-1]
    return points


def _line(
    points: FloatArray, closed: bool, half: float, pen: Pen, tolerance: float
) -> list[FloatArray]:
    if len(points) < 2:
        return _dot(points[0], half, pen.cap, tolerance)
    ends = np.roll(points, -1, axis=0) if closed else points[1:]
    starts = points if closed else points[:-1]
    way = ends - starts
    way = way / np.hypot(*way.T)[:, None]
    side = half * np.column_stack([-way[:, 1], way[:, 0]])
    reach = np.zeros((len(starts), 2))
    if not closed and pen.cap == "square":
        reach[0, 0] = reach[-1, 1] = half
    low, high = starts - way * reach[:, :1], ends + way * reach[:, 1:]
    pieces = list(np.stack([low + side, low - side, high - side, high + side], axis=1))
    if not closed and pen.cap == "round":
        pieces += [_disc(points[0], half, tolerance), _disc(points[-1], half, tolerance)]
    first = 0 if closed else 1
    for k in range(first, len(starts)):
        pieces += _corner(starts[k], side[k - 1], side[k], half, pen, tolerance)
    return pieces


def _corner(
    at: FloatArray,
    before: FloatArray,
    after: FloatArray,
    half: float,
    pen: Pen,
    tolerance: float,
) -> list[FloatArray]:
    """Return what fills the outside of a corner; `before` and `after` point to the left."""
    turn = math.atan2(cross2(before, after), float(before @ after))
    if abs(turn) < 1e-9:
        return []
    if pen.corner == "round" and abs(turn) > 0.1:
        return [_disc(at, half, tolerance)]
    sign = -1.0 if turn > 0.0 else 1.0  # the outside lies on the other hand of the turn
    a, b = sign * before, sign * after
    spread = math.cos(turn / 2.0)
    if (pen.corner == "miter" and 1.0 <= pen.limit * spread) or abs(turn) <= 0.1:
        tip = (a + b) / (2.0 * spread * spread)
        return [np.array([at, at + a, at + tip, at + b])]
    return [np.array([at, at + a, at + b])]


def _dot(at: FloatArray, half: float, cap: Cap, tolerance: float) -> list[FloatArray]:
    if cap == "round":
        return [_disc(at, half, tolerance)]
    if cap == "square":
        return [at + half * np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)])]
    return []


def _disc(at: FloatArray, radius: float, tolerance: float) -> FloatArray:
    n = round_segments(radius, tolerance, 12)
    angle = 2.0 * np.pi * np.arange(n) / n
    return np.asarray(at + radius * np.column_stack([np.cos(angle), np.sin(angle)]))
