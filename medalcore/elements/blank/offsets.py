"""The offsets of an outline: where a section that follows it has its corners."""

from __future__ import annotations

import math

import numpy as np

from ...context.tolerance import Tolerance
from ...geometry.arrays import ragged
from ...geometry.contour import Contours, inside, offset
from ...geometry.distance import from_origin

_MANY = 4000
"""Points from which an outline's offsets are made one from another."""

_STRIDE = 0.3
"""The first of them, mm: scallops so many that it matters are mostly gone there."""


class Offsets:
    """An outline's offsets, each made once.

    Attributes
    ----------
    sign : float
        -1 where the face lies inside the outline, 1 where outside: that of a hole.
    """

    def __init__(self, contours: Contours, tolerance: Tolerance, sign: float = -1.0) -> None:
        self._made: dict[float, Contours] = {0.0: contours}
        self._tolerance = tolerance
        self.sign = sign

    def at(self, inset: float) -> Contours:
        """Return the contours at a distance into the face, mm."""
        if inset not in self._made:
            start = self._start(inset)
            self._made[inset] = offset(
                self._made[start],
                self.sign * (inset - start),
                "round",
                tolerance=self._tolerance.curve / 2.0,
                least=self._tolerance.curve / 20.0,
            )
        return self._made[inset]

    def _start(self, inset: float) -> float:
        """Return the inset to go on from: nought, or the last one of an outline of many points.

        Going in by two steps is going in by their sum (the sum of two discs is a disc), and the
        offset of many small scallops has far fewer points than they.
        """
        if sum(map(len, self._made[0.0])) < _MANY:
            return 0.0
        if inset > 2.0 * _STRIDE:
            self.at(_STRIDE)
        return max(i for i in self._made if i <= inset / 2.0)


class FineOffsets:
    """An outline's offsets, with no edge longer than given, mm."""

    def __init__(self, offsets: Offsets, longest: float) -> None:
        self._offsets = offsets
        self._longest = longest
        self.sign = offsets.sign

    def at(self, inset: float) -> Contours:
        """Return the contours at a distance into the face, mm."""
        return refined(self._offsets.at(inset), self._longest)


class Circles:
    """The offsets of a circle: circles of as many points, side by side."""

    def __init__(self, radius: float, chords: int, sign: float = -1.0) -> None:
        angle = 2.0 * np.pi * np.arange(chords) / chords
        self._way = np.column_stack([np.cos(angle), np.sin(angle)])
        self._radius = radius
        self.sign = sign

    def at(self, inset: float) -> Contours:
        """Return the circle at a distance into the face, mm."""
        return ((self._radius + self.sign * inset) * self._way,)


Outline = FineOffsets | Circles
"""What a section follows."""


def room_round_middle(contours: Contours) -> float:
    """Return the radius of the largest circle about the origin inside contours; 0 if none."""
    origin = np.zeros((1, 2))
    if not contours or not inside(contours, origin)[0]:
        return 0.0
    return from_origin(contours)


def refined(contours: Contours, longest: float) -> Contours:
    """Return contours whose edges are at most `longest` mm long."""
    if not math.isfinite(longest):
        return contours
    found = []
    for points in contours:
        way = np.roll(points, -1, axis=0) - points
        parts = np.maximum(np.ceil(np.hypot(*way.T) / longest), 1).astype(np.int64)
        edge, step = ragged(parts)
        found.append(points[edge] + (step / parts[edge])[:, None] * way[edge])
    return tuple(found)
