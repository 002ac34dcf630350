"""How what repeats along a border is spaced out, and where a border with a gap ends.

A gap is free of metal by exactly the angle asked for, seen from the middle of the face: what
stands at either end touches the gap's side with its foot, at the field.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ...geometry.types import FloatArray
from .path import Path

Foot = Callable[[float], FloatArray]
"""Gives the outline at the field of what repeats, (k, 2) mm, u along the border clockwise, v
outwards, for a pitch in mm (a tooth's width may depend on it)."""

_HALVINGS = 60
_ROUNDS = 30


@dataclass(frozen=True)
class Free:
    """The part of a face that a border with a gap may fill, clockwise, rad from the top."""

    begin: float
    end: float


def end_at(path: Path, foot: FloatArray, side: float, *, first: bool) -> float:
    """Return the length along a path at which a foot touches the side of a gap, mm.

    Parameters
    ----------
    path : Path
    foot : (k, 2) float64
        Outline at the field about its place: u along the path, v outwards, mm.
    side : float
        Where the gap's side lies, clockwise from the top, rad.
    first : bool
        Whether the border begins there, else it ends there.
    """
    reach = 3.0 * float(np.abs(foot).max()) + 1e-6
    low, high = (path.towards(side) + way * reach for way in (-1.0, 1.0))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        over = _angles(path, foot, middle, side)
        over_side = float(over.min() if first else over.max())
        low, high = (low, middle) if over_side > 0.0 else (middle, high)
    return (low + high) / 2.0


def _angles(path: Path, foot: FloatArray, s: float, side: float) -> FloatArray:
    """Return how far clockwise past a direction the points of a foot at a place are seen, rad."""
    place, out = path.at(np.array(s))
    way = np.array([out[1], -out[0]])  # clockwise
    seen = place + foot[:, :1] * way + foot[:, 1:] * out
    off = np.arctan2(seen[:, 0], seen[:, 1]) - side
    return np.asarray((off + math.pi) % (2.0 * math.pi) - math.pi)


def ends_of(path: Path, foot: FloatArray, free: Free, *, mirrored: bool) -> tuple[float, float]:
    """Return where the middles of the first and the last one stand, mm; the last one after."""
    last = foot * (-1.0, 1.0) if mirrored else foot
    start = end_at(path, foot, free.begin, first=True)
    stop = end_at(path, last, free.end, first=False)
    span = (stop - start) % path.length
    # A foot that is as wide as the border is long may have its ends a hair the wrong way round.
    return start, span if span < path.length - 1e-6 else 0.0


def spaced(
    path: Path, foot: Foot, free: Free, count: int, pitch: float, *, mirrored: bool
) -> tuple[float, float, int, float]:
    """Return the first middle, the pitch and the count beside a gap, and the span, mm.

    Parameters
    ----------
    count : int
        How many; 0 takes as many as come nearest to the pitch.
    pitch : float
        mm; the one asked for, or that suits.
    """
    number = count
    for _ in range(_ROUNDS):
        first, span = ends_of(path, foot(pitch), free, mirrored=mirrored)
        if not number:
            number = 1 + max(0, round(span / pitch))
            if mirrored:
                number = 2 * max(1, round(number / 2))  # as many on either side
        if number == 1:
            return first + span / 2.0, pitch, 1, span
        if abs(pitch - span / (number - 1)) < 1e-12:
            break
        pitch = span / (number - 1)
    return first, pitch, number, span
