"""Normals of triangles."""

from __future__ import annotations

import numpy as np

from .types import FloatArray, IntArray


def unit_normals(vertices: FloatArray, triangles: IntArray) -> FloatArray:
    """Return the outward unit normals of triangles.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    triangles : (m, 3) int64
        Counter-clockwise seen from outside.

    Returns
    -------
    normals : (m, 3) float64
        Zero for a triangle without area.
    """
    first, second, third = (vertices[triangles[:, i]] for i in range(3))
    cross = np.cross(second - first, third - first)
    length = np.linalg.norm(cross, axis=1, keepdims=True)
    unit: FloatArray = cross / np.where(length > 0, length, 1.0)
    return unit
