"""Letter solids: outlines at their places on a face become one closed solid."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from ..contour import Contours, FloatArray, area, bounds, intersected, turned, united
from ..element import Context
from ..errors import SolidError
from ..loft import drafted
from ..solid import Solid
from ..solid import united as joined

BURIED = 0.1  # mm that a foot reaches below the lowest ground under it
_STAGGER = 0.004  # mm between the depths of neighbours' feet, so that none are coplanar


@dataclass(frozen=True, eq=False)
class Cut:
    """A letter ready to be cut.

    Attributes
    ----------
    text : str
    outline : tuple of (n, 2) float64
        In the letter's own coordinates, mm.
    angle : float
        Turn from the letter's own coordinates to the face's, rad.
    at : tuple of float
        Where the letter's origin lies on the face, mm.
    key : hashable
        Equal for letters with the same outline.
    """

    text: str
    outline: Contours
    angle: float
    at: tuple[float, float]
    key: Hashable

    @property
    def placed(self) -> Contours:
        """Return the outline in face coordinates, mm."""
        return turned(self.outline, self.angle, self.at)


def raised(cuts: Sequence[Cut], height: float, draft: float, context: Context, zone: str) -> Solid:
    """Return all letters as one solid that stands on the ground.

    The outline as drawn is the letter's face, flat at `height` above the ground under its
    middle; the walls lean outwards by the draft down to a foot below the ground.

    Parameters
    ----------
    cuts : sequence of Cut
    height : float
        mm above the ground.
    draft : float
        rad.
    context : Context
    zone : str

    Raises
    ------
    SolidError
        If nothing in the words leaves a mark.
    """
    groups = _touching(cuts)
    made: dict[Hashable, Solid] = {}
    solids = []
    for number, group in enumerate(groups):
        placed = united([c.placed for c in group]) if len(group) > 1 else group[0].placed
        top, foot = heights(placed, height, draft, context)
        foot = max(foot - _STAGGER * (number % 5), context.ground.floor)
        if len(group) > 1:
            solids.append(drafted(placed, foot, top, draft, zone))
            continue
        cut = group[0]
        key = (cut.key, round(top, 9), round(foot, 9))
        if key not in made:
            made[key] = drafted(cut.outline, foot, top, draft, zone)
        solids.append(made[key].moved(_turn(cut)))
    if not solids:
        raise SolidError("the words leave no mark: they hold nothing but spaces")
    return joined(solids)


def heights(placed: Contours, height: float, draft: float, context: Context) -> tuple[float, float]:
    """Return z of a letter's face and of its foot, mm."""
    ground = context.ground
    box = bounds(placed)
    middle = box.mean(axis=0)
    top = float(ground.height(middle)) + height
    grown = math.tan(draft) * (height + BURIED + abs(ground.dish))
    radius = np.hypot(*np.concatenate(placed).T)
    # The ground rises or falls with the radius alone: its lowest is at either end.
    ends = np.array([max(radius.min() - grown, 0.0), radius.max() + grown])
    if np.all(box[0] <= 0.0) and np.all(box[1] >= 0.0):
        ends[0] = 0.0
    lowest = float(ground.height(np.column_stack([ends, np.zeros(2)])).min())
    return top, max(lowest - BURIED, ground.floor)


def _touching(cuts: Sequence[Cut]) -> list[list[Cut]]:
    """Group letters whose faces overlap; they are united in the plane before they are cut."""
    boxes = np.array([bounds(c.placed) for c in cuts])
    group = list(range(len(cuts)))
    for i in range(len(cuts)):
        near = np.all((boxes[i, 0] <= boxes[i + 1 :, 1]) & (boxes[i + 1 :, 0] <= boxes[i, 1]), 1)
        for j in (np.flatnonzero(near) + i + 1).tolist():
            if area(intersected(cuts[i].placed, cuts[j].placed, 0.0)) > 0.0:
                old, new = group[j], group[i]
                group = [new if g == old else g for g in group]
    return [[c for c, g in zip(cuts, group, strict=True) if g == k] for k in dict.fromkeys(group)]


def _turn(cut: Cut) -> FloatArray:
    c, s = math.cos(cut.angle), math.sin(cut.angle)
    return np.array([[c, -s, 0.0, cut.at[0]], [s, c, 0.0, cut.at[1]], [0.0, 0.0, 1.0, 0.0]])
