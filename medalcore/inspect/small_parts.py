"""Whether a piece fits wholly into the test cylinder for small parts, by its real shape."""

from __future__ import annotations

import math

import numpy as np

from ..geometry.bodies import hull, hull_in_space
from ..geometry.types import FloatArray

BORE_MM = 31.7
"""EN 71-1 and 16 CFR 1501.4: the inner diameter of the cylinder."""

SHALLOW_MM, DEEP_MM = 25.4, 57.1
"""Its depth where the floor, sloped from side to side, is highest and lowest (the same)."""

_TURNS = 180
"""In how many directions in its plane a piece is stood on edge: every degree."""

_ROUNDS = 40
"""Steps of the search for a middle; each leaves 3/4, all together 1e-5 of what it began with."""


def is_small_part(vertices: FloatArray) -> bool:
    """Tell whether a piece goes into the cylinder, laid flat or stood on edge in any direction.

    Parameters
    ----------
    vertices : (n, 3) float64
        mm; its faces look along z.
    """
    outline = hull(vertices[:, :2])
    angles = np.arange(_TURNS) * math.pi / _TURNS
    ways = np.column_stack([np.cos(angles), np.sin(angles)])
    widths = np.ptp(outline @ ways.T, axis=0)
    if widths.min() > BORE_MM:
        return False
    thick = float(np.ptp(vertices[:, 2]))
    middle = 0.5 * (outline.min(axis=0) + outline.max(axis=0))
    if thick <= SHALLOW_MM and 2.0 * np.hypot(*(outline - middle).T).max() <= BORE_MM:
        return True
    points = hull_in_space(vertices)
    if _goes_in(points):
        return True
    for across in ways[np.argsort(widths, kind="stable")]:
        x, z = points[:, :2] @ across, points[:, :2] @ np.array([-across[1], across[0]])
        if np.ptp(x) > BORE_MM:
            return False
        for up in (z, -z) if np.ptp(z) <= DEEP_MM else ():
            for a, b in ((x, points[:, 2]), (-x, points[:, 2]), (points[:, 2], x)):
                if _goes_in(np.column_stack([a, b, up])):
                    return True
    return False


def _goes_in(points: FloatArray) -> bool:
    """Tell whether (n, 3) points go in as they are held: towards the deep side, across, upwards.

    At x from the axis the floor lies (shallow + deep) / 2 + x below the rim. To have every point
    above it and none above the rim holds the axis off the points by so much; how far they reach
    from the axis is convex in where it is.
    """
    x, _, z = points.T
    most = (SHALLOW_MM + DEEP_MM) / 2.0 - float((z.max() - z - x).max())
    plan = hull(points[:, :2])
    apart = plan[:, None] - plan
    if np.hypot(apart[..., 0], apart[..., 1]).max() > BORE_MM:
        return False
    low, high = float(plan[:, 0].min()), min(float(plan[:, 0].max()), most)
    if high <= low:
        return _reach(plan, most) <= BORE_MM / 2.0
    for _ in range(_ROUNDS):
        a, b = low + (high - low) / 4.0, high - (high - low) / 4.0
        low, high = (low, b) if _reach(plan, a) <= _reach(plan, b) else (a, high)
    return _reach(plan, low) <= BORE_MM / 2.0


def _reach(plan: FloatArray, at: float) -> float:
    """Return how far points reach from the axis at that x, at the y that is best, mm."""
    x, y = plan[:, 0] - at, plan[:, 1]
    low, high = float(y.min()), float(y.max())
    for _ in range(_ROUNDS):
        a, b = low + (high - low) / 4.0, high - (high - low) / 4.0
        one, two = float(np.hypot(x, y - a).max()), float(np.hypot(x, y - b).max())
        low, high = (low, b) if one <= two else (a, high)
    return float(np.hypot(x, y - low).max())
