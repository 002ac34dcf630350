"""Corners of an outline that grows: where they go, and what becomes of sharp ones."""

from __future__ import annotations

import math

import numpy as np

from .arrays import cross2
from .types import FloatArray


def mitres(before: FloatArray, after: FloatArray) -> FloatArray:
    """Return how a vertex moves per distance: it stays on both of its edges, (n, 2)."""
    scale = 1.0 + np.sum(before * after, axis=1)
    return np.asarray((before + after) / np.maximum(scale, 1e-14)[:, None])


def with_joins(
    points: FloatArray, limit: float, facets: float = 0.0
) -> tuple[FloatArray, FloatArray]:
    """Return a contour whose sharp corners hold extra edges of no length, and the edge normals.

    Parameters
    ----------
    points : (n, 2) float64
        Clean contour, mm.
    limit : float
        Mitres longer than this many distances get a facet across the corner, turned evenly
        between its sides; the facet leans like every other wall.
    facets : float
        Above 0: corners that open are fanned into facets of at most this angle, rad
        (a round join).

    Returns
    -------
    points : (k, 2) float64, mm
    normals : (k, 2) float64
        Outward unit normal of the edge that starts at each point.
    """
    step = np.roll(points, -1, axis=0) - points
    unit = step / np.hypot(step[:, 0], step[:, 1])[:, None]
    before = np.roll(unit, 1, axis=0)
    cross = cross2(before, unit)
    turn = np.arctan2(cross, np.sum(before * unit, axis=1))  # left turns open when growing
    normals = np.column_stack([unit[:, 1], -unit[:, 0]])
    # A mitre is 1/cos(turn/2) long; the facets of a split corner each turn by an equal part.
    widest = facets if facets > 0.0 else 2.0 * math.acos(1.0 / limit) if limit < 1e6 else math.inf
    extra = np.where(turn > widest, np.ceil(turn / widest).astype(np.int64) - 1, 0)
    if not extra.any():
        return points, normals
    out_points, out_normals = [], []
    for i in range(len(points)):
        parts = int(extra[i]) + 1
        first = math.atan2(-before[i, 0], before[i, 1])  # direction of the normal before
        for j in range(1, parts):
            angle = first + turn[i] * j / parts
            out_points.append(points[i])
            out_normals.append(np.array([math.cos(angle), math.sin(angle)]))
        out_points.append(points[i])
        out_normals.append(normals[i])
    return np.array(out_points), np.array(out_normals)
