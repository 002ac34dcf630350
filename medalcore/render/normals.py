"""Shading normals: smooth over facets, crisp over edges."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..geometry.types import Float32Array, FloatArray, IntArray


def corner_normals(
    vertices: FloatArray,
    triangles: IntArray,
    group: NDArray[np.integer],
    *,
    crease_deg: float = 30.0,
) -> Float32Array:
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
    face, weight = _faces(vertices, triangles)
    following = _next_corner(triangles, len(vertices))
    other = following // 3
    bend = np.zeros(3 * count)
    for axis in face:
        bend += np.repeat(axis, 3) * axis.take(other)
    smooth = (following >= 0) & (bend > math.cos(math.radians(crease_deg)))
    smooth &= np.repeat(group, 3) == group.take(other)
    fan = _fans(np.where(smooth, following, np.arange(3 * count)), triangles.ravel())
    total = [np.bincount(fan, weight * np.repeat(axis, 3)) for axis in face]
    length = np.sqrt(total[0] ** 2 + total[1] ** 2 + total[2] ** 2)
    length[length == 0.0] = 1.0
    out = np.empty((3 * count, 3), dtype=np.float32)
    for k, axis in enumerate(total):
        out[:, k] = (axis / length).take(fan)
    return out.reshape(count, 3, 3)


def _faces(vertices: FloatArray, triangles: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return unit normals, (3, m), and angle times area of every corner, (3 m,)."""
    corner = [[axis.take(index) for axis in vertices.T.copy()] for index in triangles.T]
    edge = [[b - a for a, b in zip(corner[i], corner[(i + 1) % 3], strict=True)] for i in range(3)]
    (ax, ay, az), (bx, by, bz) = edge[0], edge[1]
    normal = np.stack([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx])
    area = np.sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2)  # twice
    normal /= np.where(area > 0.0, area, 1.0)
    weight = np.empty((triangles.shape[0], 3))
    for i in range(3):
        (ax, ay, az), (bx, by, bz) = edge[i - 1], edge[i]
        weight[:, i] = np.arctan2(area, -(ax * bx + ay * by + az * bz)) * area
    return normal, weight.ravel()


def _next_corner(triangles: IntArray, vertices: int) -> IntArray:
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


def _fans(link: IntArray, vertex: IntArray) -> IntArray:
    """Return an id per corner: the last corner of its fan, or its vertex if the fan is round.

    `link` leads to the next corner of the fan, or to itself at the last one.
    """
    last = link
    longest = int(np.bincount(vertex).max())
    for _ in range(max(1, longest).bit_length()):  # pointer doubling
        last = last[last]
    ends = link[last] == last
    return np.where(ends, last, len(link) + vertex)
