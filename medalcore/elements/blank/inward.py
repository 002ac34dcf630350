"""The outline of a piece drawn inwards until it is as wide as asked: holes and cores along it."""

from __future__ import annotations

import math

import numpy as np

from ...context.element import Finding
from ...context.tolerance import Tolerance
from ...geometry.contour import Contours, signed_area
from ...geometry.types import FloatArray
from ...spec import Blank
from .offsets import Offsets

_WITHIN = 1e-4
"""mm; how near to the width that is asked for an outline drawn inwards has to come."""

_ROUNDS = 60
_SHARP = math.radians(20.0)
"""An outline that turns by more at one point has a corner there."""


def width_over_all(outline: FloatArray, blank: Blank) -> float:
    """Return the width of an outline as `blank.diameter` is measured, mm.

    The width of an oval or rectangle, the larger side of a drawing, both before they are
    turned; of any other outline the longest chord.
    """
    turn = math.radians(blank.turn)
    c, s = math.cos(turn), math.sin(turn)
    drawn = outline @ np.array([[c, -s], [s, c]])
    sides = np.ptp(drawn, axis=0)
    if blank.outline in ("oval", "rectangle"):
        return float(sides[0])
    if blank.outline == "drawing":
        return float(sides.max())
    angle = np.linspace(0.0, np.pi, 3601)[:-1]
    across = outline @ np.stack([np.cos(angle), np.sin(angle)])
    best = int(np.argmax(np.ptp(across, axis=0)))
    ends = outline[np.argmax(across[:, best])] - outline[np.argmin(across[:, best])]
    return float(np.hypot(*ends))


def inset_for(blank: Blank, outline: Contours, size: float, tolerance: Tolerance) -> float | None:
    """Return how far inside the outline it is as wide as `size`, mm; None if it never is.

    Going in by t takes 2t or more from the width (the sum of what is left and a disc of
    radius t lies in the outline), so half of the difference is the most.
    """
    outer = (max(outline, key=signed_area),)
    offsets = Offsets(outer, tolerance)

    def over(inset: float) -> float:
        found = offsets.at(inset)
        return max((width_over_all(c, blank) for c in found), default=0.0) - size

    low, high = 0.0, (width_over_all(outer[0], blank) - size) / 2.0
    if high <= 0.0:
        return None
    more, less = 2.0 * high, over(high)
    if abs(less) <= _WITHIN:
        return round(high, 9)
    for turn in range(_ROUNDS):
        share = 0.5 if turn % 3 == 2 else more / (more - less)  # nearly a line; halved if not
        middle = round(low + (high - low) * share, 9)
        found = over(middle)
        if abs(found) <= _WITHIN / 10.0:
            break
        if found > 0.0:
            low, more = middle, found
        else:
            high, less = middle, found
    return middle if abs(found) <= _WITHIN and len(offsets.at(middle)) == 1 else None


def closing_bends(key: str, inner: FloatArray, outline: FloatArray) -> tuple[Finding, ...]:
    """Tell of a smooth outline that comes to corners where it is drawn inwards past its bends."""
    if _sharpest(inner) <= _SHARP or _sharpest(outline) > _SHARP:
        return ()
    text = (
        "the outline is drawn inwards by more than the radius of its tightest bends, which come "
        "out as sharp corners"
    )
    return (Finding("sharp-corners", "note", text, key, math.degrees(_sharpest(inner))),)


def _sharpest(points: FloatArray) -> float:
    """Return the largest turn at a corner of a contour, radians."""
    way = np.roll(points, -1, axis=0) - points
    heading = np.arctan2(way[:, 1], way[:, 0])
    turn = (heading - np.roll(heading, 1) + np.pi) % (2.0 * np.pi) - np.pi
    return float(np.abs(turn).max())
