"""Places on a piece: where a ray meets the edge, and how far a point is from it."""

from __future__ import annotations

import math

import numpy as np

from .contour import Contours, edge_lengths, inside
from .distance import to_contours, to_edges
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
    far, share = to_edges(place, outline, np.roll(outline, -1, axis=0))
    i = int(np.argmin(far))
    lengths = edge_lengths(outline)
    return float(lengths[:i].sum() + share[i] * lengths[i])


def distance(contours: Contours, point: FloatArray) -> float:
    """Return the distance of a point from closed contours, mm; below 0 outside them."""
    best = float(to_contours(point[None], contours)[0])
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
