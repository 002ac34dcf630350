"""How far points are from edges and from outlines."""

from __future__ import annotations

import math

import numpy as np

from .contour import Contours
from .types import FloatArray

_AT_ONCE = 1_000_000
"""Pairs of point and edge looked at at once: bounds the memory."""

_NO_LENGTH = 1e-30
"""Square of a length that an edge has at least: one of none is its point."""


def to_edges(
    points: FloatArray, starts: FloatArray, stops: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return how far points are from edges, and at which share of each they are nearest.

    Parameters
    ----------
    points, starts, stops : (..., 2) float64
        Of one unit; as NumPy broadcasts them, one from one or all from all.

    Returns
    -------
    distance, share : (...) float64
    """
    way, off = stops - starts, points - starts
    square = np.maximum(np.sum(way * way, axis=-1), _NO_LENGTH)
    share = np.clip(np.sum(off * way, axis=-1) / square, 0.0, 1.0)
    miss = off - share[..., None] * way
    return np.hypot(miss[..., 0], miss[..., 1]), share


def to_contours(points: FloatArray, contours: Contours) -> FloatArray:
    """Return how far (k, 2) points are from closed contours, (k,); ∞ if there are none."""
    least = np.full(len(points), math.inf)
    for contour in contours:
        stops = np.roll(contour, -1, axis=0)
        parts = math.ceil(len(points) * len(contour) / _AT_ONCE) or 1
        for some in np.array_split(np.arange(len(contour)), parts):
            far, _ = to_edges(points[:, None], contour[some], stops[some])
            np.minimum(least, far.min(axis=1, initial=math.inf), out=least)
    return least


def from_origin(contours: Contours) -> float:
    """Return how near closed contours come to the origin; ∞ if there are none."""
    return float(to_contours(np.zeros((1, 2)), contours)[0])
