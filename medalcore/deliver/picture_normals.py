"""Shading normals: smooth over facets, crisp over edges."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from .stl import unit_normals


def corner_normals(
    vertices: NDArray[np.float64],
    triangles: NDArray[np.int64],
    group: NDArray[np.integer],
    *,
    crease_deg: float = 30.0,
) -> NDArray[np.float32]:
    """Return a normal for each corner of each triangle.

    Round a vertex, neighbouring triangles share a normal as long as the edges between them
    bend less than the crease angle and do not part two groups. Faces are weighted by their
    angle at the vertex (Thürmer and Wüthrich, "Computing vertex normals from polygonal
    facets", Journal of Graphics Tools 3(1), 1998), so that the way a flat region is
    triangulated does not show, and by their area, so that the slivers at its border do not
    bend its light.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    triangles : (m, 3) int64
        Edges that do not have exactly two sides count as creases.
    group : (m,) int
        Triangles of different groups are never smoothed into each other.
    crease_deg : float
        Degrees.

    Returns
    -------
    normals : (m, 3, 3) float32
        Unit length; by triangle and corner.
    """
    count = len(triangles)
    face = unit_normals(vertices, triangles)
    following = _next_corner(triangles, len(vertices))
    own, other = np.arange(3 * count) // 3, following // 3
    bend = np.einsum("ij,ij->i", face[own], face[other])
    smooth = (following >= 0) & (bend > math.cos(math.radians(crease_deg)))
    smooth &= group[own] == group[other]
    fan = _fans(np.where(smooth, following, np.arange(3 * count)), triangles.ravel())
    weight = _angles(vertices, triangles).ravel() * np.repeat(_areas(vertices, triangles), 3)
    total: NDArray[np.float64] = np.column_stack(
        [np.bincount(fan, weight * face[own, axis], int(fan.max()) + 1) for axis in range(3)]
    )
    length = np.linalg.norm(total, axis=1)
    total = total / np.where(length > 0, length, 1.0)[:, None]
    return total[fan].reshape(count, 3, 3).astype(np.float32)


def _next_corner(triangles: NDArray[np.int64], vertices: int) -> NDArray[np.int64]:
    """Return for every corner the corner at the same vertex over the edge that leaves it.

    Corner 3 f + i is that of triangle f at its i-th vertex; −1 where the edge has no
    single opposite.
    """
    start = triangles.ravel()
    stop = np.roll(triangles, -1, axis=1).ravel()
    key = np.minimum(start, stop) * vertices + np.maximum(start, stop)
    order = np.argsort(key, kind="stable")
    ordered = key[order]
    same = ordered[:-1] == ordered[1:]
    alone = np.ones(len(same), dtype=bool)  # no third triangle at this edge
    alone[1:] &= ~same[:-1]
    alone[:-1] &= ~same[1:]
    at = np.flatnonzero(same & alone)
    one, two = order[at], order[at + 1]
    opposite = start[one] == stop[two]
    one, two = one[opposite], two[opposite]
    result = np.full(len(start), -1, dtype=np.int64)
    result[one] = two - two % 3 + (two + 1) % 3
    result[two] = one - one % 3 + (one + 1) % 3
    return result


def _fans(link: NDArray[np.int64], vertex: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return an id per corner: the last corner of its fan, or its vertex if the fan is round.

    `link` leads to the next corner of the fan, or to itself at the last one.
    """
    last = link
    longest = int(np.bincount(vertex).max())
    for _ in range(max(1, longest).bit_length()):  # pointer doubling
        last = last[last]
    ends = link[last] == last
    return np.where(ends, last, len(link) + vertex)


def _areas(vertices: NDArray[np.float64], triangles: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return the areas of triangles, (m,) mm²."""
    first, second, third = (vertices[triangles[:, i]] for i in range(3))
    areas: NDArray[np.float64] = np.linalg.norm(np.cross(second - first, third - first), axis=1) / 2
    return areas


def _angles(vertices: NDArray[np.float64], triangles: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return the inner angles of triangles, (m, 3) radians."""
    corner = vertices[triangles]
    ahead = np.roll(corner, -1, axis=1) - corner
    ahead /= np.maximum(np.linalg.norm(ahead, axis=2, keepdims=True), 1e-300)
    cosine = -np.einsum("ijk,ijk->ij", ahead, np.roll(ahead, 1, axis=1))
    angles: NDArray[np.float64] = np.arccos(np.clip(cosine, -1.0, 1.0))
    return angles
