"""Places on a piece: where a ray meets the edge, and how far a point is from it."""

from __future__ import annotations

import math

import numpy as np

from .contour import Contours, inside
from .types import FloatArray


def direction(clockwise: float) -> FloatArray:
    """Return the unit vector at degrees clockwise from the top."""
    a = math.radians(clockwise)
    return np.array([math.sin(a), math.cos(a)])


def reach(contour: FloatArray, way: FloatArray) -> float:
    """Return how far from the origin a ray last meets a contour, mm; 0 if it never does."""
    p, q = contour, np.roll(contour, -1, axis=0)
    side_p = way[0] * p[:, 1] - way[1] * p[:, 0]
    side_q = way[0] * q[:, 1] - way[1] * q[:, 0]
    crosses = (side_p > 0.0) != (side_q > 0.0)
    if not crosses.any():
        return 0.0
    t = side_p[crosses] / (side_p[crosses] - side_q[crosses])
    at = p[crosses] + t[:, None] * (q[crosses] - p[crosses])
    return max(0.0, float((at @ way).max()))


def along_at(outline: FloatArray, clockwise: float) -> float:
    """Return the length along an outline at which a ray from the origin meets it, mm."""
    way = direction(clockwise)
    place = way * reach(outline, way)
    steps = np.roll(outline, -1, axis=0) - outline
    size = np.sum(steps * steps, axis=1)
    t = np.clip(np.sum((place - outline) * steps, axis=1) / size, 0.0, 1.0)
    i = int(np.argmin(np.hypot(*(outline + steps * t[:, None] - place).T)))
    ends = np.concatenate([[0.0], np.cumsum(np.sqrt(size))])
    return float(ends[i] + t[i] * math.sqrt(size[i]))


def distance(contours: Contours, point: FloatArray) -> float:
    """Return the distance of a point from closed contours, mm; below 0 outside them."""
    best = math.inf
    for contour in contours:
        a = contour - point
        way = np.roll(a, -1, axis=0) - a
        size = np.maximum(np.sum(way * way, axis=1), 1e-300)
        t = np.clip(-np.sum(a * way, axis=1) / size, 0.0, 1.0)
        best = min(best, float(np.hypot(*(a + way * t[:, None]).T).min()))
    return best if inside(contours, point[None])[0] else -best


def inset_point(contour: FloatArray, way: FloatArray, inset: float) -> FloatArray:
    """Return the point on a ray that lies `inset` mm inside a contour.

    The outermost such point; if the contour has no room for it, the nearest there is.
    """
    far = reach(contour, way)
    steps = np.linspace(far, 0.0, 120)
    depth = [distance((contour,), s * way) for s in steps]
    for i, d in enumerate(depth):
        if d >= inset:
            low, high = steps[i], steps[max(i - 1, 0)]
            for _ in range(40):
                middle = (low + high) / 2.0
                low, high = (
                    (middle, high) if distance((contour,), middle * way) >= inset else (low, middle)
                )
            return np.asarray(low * way)
    return np.asarray(steps[int(np.argmax(depth))] * way)
