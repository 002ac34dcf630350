"""Where the wall of a rim, or its fillet, meets a hollow or domed field at many heights.

Every row of it is a true offset of the outline whose points move by the little that the height
of the field differs from place to place.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from ...context.ground import Ground
from ...context.tolerance import Tolerance
from ...geometry.corners import mitres
from ...geometry.types import FloatArray
from .offsets import Outline
from .profile import Step, chords_of

_ROUNDS = 30
"""Rounds in which it is settled where wall and field meet: each leaves the product of both slopes,
doubled at a sharp corner, of the error."""

Place = Callable[[FloatArray], FloatArray]
"""Says where points lie when they are moved to distances from the edge, (n,) mm."""

Row = list[tuple[FloatArray, FloatArray]]
"""Closed lines of (n, 3) points, mm, one for each contour of an outline, each with the level line,
a true offset, that it stands for."""


def foot_rows(
    outline: Outline, wall: tuple[Step, Step], fillet: float, ground: Ground, tol: Tolerance
) -> list[Row]:
    """Return where a wall ends on a field: one row, or those of a fillet, the last on the field.

    Parameters
    ----------
    outline : Outline
    wall : (Step, Step)
        Top of the wall, and its foot where the field is as high as at its edge.
    fillet : float
        Radius, mm; 0 for none.
    """
    ground = ground.lifted(0.0)
    deepest = _deepest(outline, wall, fillet, ground, tol)
    rows = []
    for k, inset in enumerate(deepest):
        row: Row = []
        for contour in outline.at(inset):
            ways = outline.sign * _ways(contour)
            place = _placing(contour, inset, ways)
            insets, heights = _section(place, len(contour), wall, fillet, ground, tol)
            level = np.full(len(contour), wall[1].z - k)
            points = np.column_stack([place(insets[k]), heights[k]])
            row.append((points, np.column_stack([contour, level])))
        rows.append(row)
    return rows


def _deepest(
    outline: Outline, wall: tuple[Step, Step], fillet: float, ground: Ground, tol: Tolerance
) -> list[float]:
    """Return the largest inset of each row, mm."""
    inset = wall[1].inset
    found = [
        _section(_placing(c, inset, outline.sign * _ways(c)), len(c), wall, fillet, ground, tol)[0]
        for c in outline.at(inset)
    ]
    return [round(float(row.max()), 6) for row in np.concatenate(found, axis=1)]


def _ways(contour: FloatArray) -> FloatArray:
    """Return how the points of a contour move as it grows by 1 mm, (n, 2)."""
    step = np.roll(contour, -1, axis=0) - contour
    normal = np.column_stack([step[:, 1], -step[:, 0]]) / np.hypot(*step.T)[:, None]
    return mitres(np.roll(normal, 1, axis=0), normal)


def _placing(contour: FloatArray, at: float, ways: FloatArray) -> Place:
    """Return where points of a contour `at` mm inside lie at other distances."""

    def place(inset: FloatArray) -> FloatArray:
        return np.asarray(contour + ways * (inset - at)[:, None])

    return place


def _section(
    place: Place, count: int, wall: tuple[Step, Step], fillet: float, ground: Ground, tol: Tolerance
) -> tuple[FloatArray, FloatArray]:
    """Return distances from the edge and heights of the rows, (k, n) each, inwards.

    At each point the wall meets the field at F; the field is taken as a line there, inclined
    by φ inwards, and the wall falls by the angle t. The fillet of radius f touches both at
    f·tan((t + φ)/2) from F (plane geometry).
    """
    top, foot = wall
    lean = (foot.inset - top.inset) / (top.z - foot.z)
    inset = np.full(count, foot.inset)
    for _ in range(_ROUNDS):
        level = ground.height(place(inset))
        inset = top.inset + lean * (top.z - level)
    if not fillet:
        return inset[None], ground.height(place(inset))[None]
    fall = math.atan2(1.0, lean)  # of the wall, from level
    level_reach = fillet * math.tan(fall / 2.0)
    tilt = np.arctan2(ground.height(place(inset + level_reach)) - level, level_reach)
    reach = fillet * np.tan((fall + tilt) / 2.0)
    middle = inset + reach * np.cos(tilt) - fillet * np.sin(tilt)
    above = level + reach * np.sin(tilt) + fillet * np.cos(tilt)
    share = np.linspace(0.0, 1.0, chords_of(fillet, fall, tol) + 1)[:, None]
    turn = fall + share * (-tilt - fall)
    insets, heights = middle - fillet * np.sin(turn), above - fillet * np.cos(turn)
    heights[-1] = ground.height(place(insets[-1]))
    return insets, heights
