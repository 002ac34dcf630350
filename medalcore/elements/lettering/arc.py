"""Setting letters on an arc: where each stands, and how the spaces stay even.

Angles here run along the reading direction from the middle of the words, in radians. A
letter's own coordinates: x along its baseline from the middle of its ink, y up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...geometry.arrays import ragged
from ...geometry.contour import Contours
from ...geometry.types import FloatArray

_BANDS = 16  # heights at which neighbouring letters' sides are compared
_KERNEL = 0.18  # of the cap height: gaps below this weigh most


@dataclass(frozen=True)
class Arc:
    """The line the letters stand on.

    Attributes
    ----------
    radius : float
        Of the baseline, mm.
    middle : float
        Direction of the middle of the words, counter-clockwise from u, rad.
    clockwise : bool
        Reading clockwise with feet to the centre, or counter-clockwise with heads to it.
    """

    radius: float
    middle: float
    clockwise: bool

    @property
    def up(self) -> int:
        """Return 1 if the radius grows upwards along a letter, else −1."""
        return 1 if self.clockwise else -1

    def frame(self, angle: float) -> tuple[float, tuple[float, float]]:
        """Return the turn of a letter and the place of its origin on the face, rad and mm."""
        phi = self.middle - self.up * angle
        turn = phi - self.up * math.pi / 2.0
        return turn, (self.radius * math.cos(phi), self.radius * math.sin(phi))

    def bearing(self, along: float) -> float:
        """Return the angle at which a letter's own x meets the baseline, rad.

        That is where ink is measured: the words run from the first ink to the last, each
        dropped upright onto the line the letters stand on.
        """
        return math.atan2(along, self.radius)

    def bent(
        self, outline: Contours, angle: float, true_radius: float, tolerance: float
    ) -> Contours:
        """Return an outline wrapped round the arc, in face coordinates, mm.

        Lengths along the line are true at `true_radius`; uprights become radii.
        """
        wrapped = []
        longest = math.sqrt(8.0 * tolerance * self.radius)  # sagitta of a chord, c²/8r
        for points in outline:
            fine = _refined(points, longest)
            phi = self.middle - self.up * (angle + fine[:, 0] / true_radius)
            rho = self.radius + self.up * fine[:, 1]
            wrapped.append(rho[:, None] * np.column_stack([np.cos(phi), np.sin(phi)]))
        return tuple(wrapped)


def _refined(points: FloatArray, longest: float) -> FloatArray:
    """Divide long edges, so that they can bend."""
    following = np.roll(points, -1, axis=0)
    pieces = np.ceil(np.hypot(*(following - points).T) / longest).astype(np.int64)
    pieces = np.maximum(pieces, 1)
    index, step = ragged(pieces)
    t = (step / pieces[index])[:, None]
    fine: FloatArray = points[index] * (1.0 - t) + following[index] * t
    return fine


@dataclass(frozen=True, eq=False)
class Sides:
    """How far a letter reaches at every compared height, mm; NaN where it has no ink."""

    left: FloatArray
    right: FloatArray


def bands(cap_height: float) -> FloatArray:
    """Return the heights at which sides are compared, (16,) mm: cap zone and a little more."""
    return np.asarray(cap_height * (np.arange(_BANDS) + 0.5) / _BANDS)


def sides(outline: Contours, heights: FloatArray) -> Sides:
    """Return the left and right reach of an outline at given heights, mm."""
    left = np.full(len(heights), np.inf)
    right = np.full(len(heights), -np.inf)
    for p in outline:
        q = np.roll(p, -1, axis=0)
        # Reach over the whole band round each height, by where edges cross its ends.
        for y_shift in (-0.45, 0.0, 0.45):
            y = (heights + y_shift * (heights[1] - heights[0]))[:, None]
            hit = (p[:, 1] > y) != (q[:, 1] > y)
            rise = np.where(q[:, 1] == p[:, 1], 1.0, q[:, 1] - p[:, 1])
            x = p[:, 0] + (y - p[:, 1]) * (q[:, 0] - p[:, 0]) / rise
            left = np.minimum(left, np.min(np.where(hit, x, np.inf), axis=1))
            right = np.maximum(right, np.max(np.where(hit, x, -np.inf), axis=1))
    return Sides(
        np.where(np.isfinite(left), left, np.nan), np.where(np.isfinite(right), right, np.nan)
    )


def optical_steps(
    letters: Sequence[Sides], apart: FloatArray, arc: Arc, cap_height: float
) -> FloatArray:
    """Return the angles between neighbours that look as even as the straight line did.

    On an arc letters diverge at the head and crowd at the foot. Each pair is turned until
    its closeness, the mean over heights of 1/(gap + k)², equals what the typeface's maker
    gave it on the straight line.

    Parameters
    ----------
    letters : sequence of n Sides
    apart : (n − 1,) float64
        Distance of neighbours' middles on the straight line, mm.
    arc : Arc
    cap_height : float
        mm.

    Returns
    -------
    angles : (n − 1,) float64
        rad.
    """
    heights = bands(cap_height)
    radius = arc.radius + arc.up * heights
    right = np.array([s.right for s in letters[:-1]]).reshape(-1, len(heights))
    left = np.array([s.left for s in letters[1:]]).reshape(-1, len(heights))
    kernel, far = _KERNEL * cap_height, 0.9 * cap_height

    def closeness(gap: FloatArray) -> FloatArray:
        open_gap = np.where(np.isnan(gap), far, gap)
        # Beyond `far` nothing is told apart, but a little slope keeps the answer unique.
        held = np.minimum(open_gap, far) + 0.02 * np.maximum(open_gap - far, 0.0)
        near: FloatArray = np.mean((np.maximum(held, -0.8 * kernel) + kernel) ** -2.0, axis=1)
        return near

    aim = closeness(apart[:, None] - right + left)
    mid = arc.radius + arc.up * cap_height / 2.0
    turn = (np.arctan2(right, radius) + np.arctan2(-left, radius)) * radius
    low, high = 0.5 * apart / mid, 1.5 * apart / mid + 0.2 * cap_height / mid
    for _ in range(48):
        angle = 0.5 * (low + high)
        near = closeness(angle[:, None] * radius - turn) > aim
        low, high = np.where(near, angle, low), np.where(near, high, angle)
    seen = np.any(~np.isnan(right) & ~np.isnan(left), axis=1)
    return np.asarray(np.where(seen, 0.5 * (low + high), apart / mid))
