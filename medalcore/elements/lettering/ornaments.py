"""Marks that stand between legends: plain shapes, one cap height to measure by."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ...geometry.contour import Contours, circle
from ...geometry.types import FloatArray


def _star(size: float, tolerance: float) -> FloatArray:
    """Five points; the inner corners lie where the lines of a pentagram cross."""
    angle = np.pi / 2.0 + np.pi * np.arange(10) / 5.0
    inner = np.cos(np.radians(72.0)) / np.cos(np.radians(36.0))
    radius = 0.36 * size * np.where(np.arange(10) % 2 == 0, 1.0, inner)
    return np.asarray(radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))


def _diamond(size: float, tolerance: float) -> FloatArray:
    return np.array([[0.2, 0.0], [0.0, 0.3], [-0.2, 0.0], [0.0, -0.3]]) * size


def _cross(size: float, tolerance: float) -> FloatArray:
    """Four arms that widen outwards, with straight ends."""
    narrow, wide, far = 0.055, 0.15, 0.3
    arm = np.array([[narrow, narrow], [wide, far], [-wide, far], [-narrow, narrow]])
    turns = [np.array([[c, -s], [s, c]]) for c, s in ((1, 0), (0, 1), (-1, 0), (0, -1))]
    around = np.concatenate([arm[:3] @ turn.T for turn in turns])
    return np.asarray(around * size)


def _dot(size: float, tolerance: float) -> FloatArray:
    return circle(0.16 * size, tolerance)


MARKS: dict[str, Callable[[float, float], FloatArray]] = {
    "dot": _dot,
    "star": _star,
    "diamond": _diamond,
    "cross": _cross,
}


def ornament(name: str, cap_height: float, tolerance: float) -> Contours:
    """Return a mark round its own middle, mm.

    Parameters
    ----------
    name : str
        One of `MARKS`.
    cap_height : float
        Of the words it stands among, mm.
    tolerance : float
        mm.
    """
    return (MARKS[name](cap_height, tolerance),)
