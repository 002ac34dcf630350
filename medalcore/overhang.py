"""Keep elements on the piece: does one reach beyond the edge, and by how much."""

from __future__ import annotations

import numpy as np

from .contour import Contours, contours_of, inside, signed_area
from .errors import SpecError
from .solid import FloatArray, Solid

_BINS = 2048
"""Directions in which the farthest point of an element is looked at."""

_TOUCH_MM = 1e-3
"""An element may end on the very edge of the piece; rounding is not reaching beyond it."""


def silhouette(blank: Solid) -> Contours:
    """Return the outer outline of a blank seen from above, holes filled, mm."""
    return tuple(c for c in contours_of(blank.manifold.project()) if signed_area(c) > 0)


def keep_on(outline: Contours, part: Solid, cure: str = "") -> None:
    """Make sure that a part in piece coordinates lies inside the outline.

    Parameters
    ----------
    outline : contours
        mm.
    part : Solid
    cure : str
        What the element itself found would help.

    Raises
    ------
    SpecError
        Saying by how much and where it reaches beyond the edge.
    """
    reach = _beyond(outline, _farthest(part))
    if reach is not None:
        far, point = reach
        raise SpecError(
            f"reaches {far:.2f} mm beyond the edge of the piece, near {point[0]:.1f}, "
            f"{point[1]:.1f} mm; {cure or 'make it smaller or move it inwards'}"
        )


def _farthest(part: Solid) -> FloatArray:
    """Return the farthest point of a part in each of many directions, (k, 2) mm."""
    points = np.asarray(part.manifold.to_mesh64().vert_properties)[:, :2]
    radius = np.hypot(points[:, 0], points[:, 1])
    turn = np.arctan2(points[:, 1], points[:, 0])
    bins = ((turn / (2.0 * np.pi) + 0.5) * _BINS).astype(np.int64) % _BINS
    order = np.lexsort((radius, bins))
    last = np.flatnonzero(np.diff(bins[order], append=-1))
    farthest: FloatArray = points[order[last]]
    return farthest


def _beyond(outline: Contours, points: FloatArray) -> tuple[float, FloatArray] | None:
    """Return how far, and where, points reach beyond the outline."""
    rim = np.vstack(outline)
    inscribed = np.hypot(rim[:, 0], rim[:, 1]).min()
    points = points[np.hypot(points[:, 0], points[:, 1]) > 0.98 * inscribed]
    points = points[~inside(outline, points)]
    if not len(points):
        return None
    ends = np.vstack([np.roll(c, -1, axis=0) for c in outline])
    far = np.array([_distance(p, rim, ends) for p in points])
    worst = int(np.argmax(far))
    return (float(far[worst]), points[worst]) if far[worst] > _TOUCH_MM else None


def _distance(point: FloatArray, starts: FloatArray, ends: FloatArray) -> float:
    """Return the distance of a point from segments, mm."""
    way = ends - starts
    along = np.einsum("ij,ij->i", point - starts, way) / np.maximum((way**2).sum(axis=1), 1e-18)
    nearest = starts + np.clip(along, 0.0, 1.0)[:, None] * way
    return float(np.linalg.norm(nearest - point, axis=1).min())
