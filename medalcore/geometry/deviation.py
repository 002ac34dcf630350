"""How far triangles miss a height field, pixel by pixel."""

from __future__ import annotations

import numpy as np

from .arrays import cross2, ragged
from .triangulation import Triangulation
from .types import BoolArray, Float32Array, FloatArray, IntArray

_CHUNK = 250_000  # pixels looked at in one go, to bound memory and stay in the cache


class Heights:
    """The field, and z of the mesh's points."""

    def __init__(self, field: Float32Array, mesh: Triangulation, z: FloatArray) -> None:
        self.field = np.ascontiguousarray(field)
        self.z = np.array(z, dtype=np.float64)

    def insert(self, mesh: Triangulation, where: IntArray, pixel: IntArray) -> IntArray:
        """Put pixels into triangles."""
        cols = self.field.shape[1]
        row, col = pixel // cols, pixel % cols
        xy = np.stack([col, -row], axis=1).astype(np.float64)
        return self.add(mesh, where, xy, self.field[row, col].astype(np.float64))

    def add(self, mesh: Triangulation, where: IntArray, xy: FloatArray, z: FloatArray) -> IntArray:
        """Put any points into triangles."""
        self.z = np.concatenate([self.z, z])
        return mesh.insert(where, xy)


def deviation(
    heights: Heights, mesh: Triangulation, todo: IntArray, pitch: int
) -> tuple[FloatArray, IntArray]:
    """Return for each triangle its largest error at pixels on a coarser grid, and where."""
    worst = np.zeros(len(todo))
    pixel = np.full(len(todo), -1, dtype=np.int64)
    corner = mesh.triangles[todo]
    xy = mesh.points[corner]
    one, two = xy[:, 1] - xy[:, 0], xy[:, 2] - xy[:, 0]
    # written out: numpy 2.5 has no cross product of plane vectors any more
    area = 0.5 * np.abs(cross2(one, two)) / pitch**2
    part = (np.cumsum(area) // _CHUNK).astype(np.int64)
    for k in range(int(part[-1]) + 1 if len(part) else 0):
        own = np.flatnonzero(part == k)
        worst[own], pixel[own] = deviation_of(heights.field, xy[own], heights.z[corner[own]], pitch)
    return worst, pixel


def deviation_of(
    field: Float32Array, xy: FloatArray, z: FloatArray, pitch: int
) -> tuple[FloatArray, IntArray]:
    """As `deviation`, for triangles given by their corners (k, 3, 2) and heights (k, 3)."""
    cols = field.shape[1]
    worst = np.zeros(len(xy))
    pixel = np.full(len(xy), -1, dtype=np.int64)
    tri, row, first, count = spans(xy, pitch, field.shape)
    if len(tri) == 0:
        return worst, pixel
    slope, base = planes(xy, z)
    begin = np.cumsum(count) - count
    across = slope[tri, 0]
    level = base[tri] - slope[tri, 1] * row + across * first
    # in single precision: from the start of each run on, that is exact to a nanometre
    along = np.arange(int(begin[-1] + count[-1]), dtype=np.int32)
    along -= np.repeat(begin.astype(np.int32), count)
    error = along.astype(np.float32)
    error *= np.repeat((pitch * across).astype(np.float32), count)
    error += np.repeat(level.astype(np.float32), count)
    flat = along
    if pitch != 1:
        flat *= np.int32(pitch)
    flat += np.repeat((row * cols + first).astype(np.int32), count)
    np.subtract(field.ravel()[flat], error, out=error)
    np.abs(error, out=error)
    in_run = np.nan_to_num(np.fmax.reduceat(error, begin), nan=-1.0)
    head = np.flatnonzero(np.diff(tri, prepend=-1))
    most = np.maximum.reduceat(in_run, head)
    worst[tri[head]] = np.maximum(most, 0.0)
    best = _firsts(in_run == np.repeat(most, np.diff(np.append(head, len(tri)))), head)
    inside = count[best]
    start = np.cumsum(inside) - inside
    look = np.arange(int(inside.sum())) + np.repeat(begin[best] - start, inside)
    hit = _firsts(error[look] >= np.repeat(most, inside), start)
    pixel[tri[head]] = flat[look[hit]]
    return worst, pixel


def _firsts(true: BoolArray, head: IntArray) -> IntArray:
    """Return where the first True of each run is; a run without one gives its head."""
    at = np.flatnonzero(true)
    place = np.minimum(np.searchsorted(at, head), max(len(at) - 1, 0))
    if len(at) == 0:
        return head
    return np.where(
        (at[place] >= head) & (at[place] < np.append(head[1:], len(true))), at[place], head
    )


def planes(xy: FloatArray, z: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return dz/dx, dz/dy (k, 2) and z at the origin (k,) of triangles."""
    e1, e2 = xy[:, 1] - xy[:, 0], xy[:, 2] - xy[:, 0]
    d1, d2 = z[:, 1] - z[:, 0], z[:, 2] - z[:, 0]
    det = cross2(e1, e2)
    det = np.where(np.abs(det) < 1e-12, 1e-12, det)
    gx = (d1 * e2[:, 1] - d2 * e1[:, 1]) / det
    gy = (d2 * e1[:, 0] - d1 * e2[:, 0]) / det
    return np.stack([gx, gy], axis=1), z[:, 0] - gx * xy[:, 0, 0] - gy * xy[:, 0, 1]


def spans(
    xy: FloatArray, pitch: int, shape: tuple[int, int]
) -> tuple[IntArray, IntArray, IntArray, IntArray]:
    """Return triangle, row, first column and count of every run of grid points inside.

    Grid points are the pixels whose row and column are multiples of `pitch`; the edges
    count as inside.
    """
    y = -xy[:, :, 1]
    low = np.maximum(np.ceil(y.min(axis=1) / pitch - 1e-9).astype(np.int64), 0)
    high = np.minimum(np.floor(y.max(axis=1) / pitch + 1e-9), (shape[0] - 1) // pitch).astype(
        np.int64
    )
    rows = np.maximum(high - low + 1, 0)
    tri, row = ragged(rows)
    row = (row + low[tri]) * pitch
    left = np.full(len(tri), -np.inf)
    right = np.full(len(tri), np.inf)
    for k in range(3):
        a, b = xy[:, k], xy[:, (k + 1) % 3]
        rise = a[:, 1] - b[:, 1]  # downwards positive: an edge going down bounds the left
        flat = np.abs(rise) < 1e-12
        per = (b[:, 0] - a[:, 0]) / np.where(flat, 1.0, rise)
        x = (a[:, 0] + a[:, 1] * per)[tri] + row * per[tri]
        left = np.where((rise > 0)[tri] & ~flat[tri], np.maximum(left, x), left)
        right = np.where((rise < 0)[tri] & ~flat[tri], np.minimum(right, x), right)
    first = np.maximum(np.ceil(np.maximum(left, -1e9) / pitch - 1e-9), 0).astype(np.int64)
    last = np.minimum(np.floor(np.minimum(right, 1e9) / pitch + 1e-9), (shape[1] - 1) // pitch)
    count = last.astype(np.int64) - first + 1
    some = count > 0
    return tri[some], row[some], first[some] * pitch, count[some]
