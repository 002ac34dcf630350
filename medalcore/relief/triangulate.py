"""A height field as few triangles as its tolerance allows.

Greedy insertion (Garland and Heckbert 1995), but in batches: every triangle that misses the
field somewhere by more than the tolerance receives its worst pixel at once, then edges flip
until the mesh is Delaunay again. Sparse pixels are looked at first, all of them last, so
that most rounds are cheap; the last round has looked at every pixel of every triangle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import SolidError
from .mesh import Triangulation

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_PITCHES = (16, 8, 4, 2, 1)
_ROUNDS = 60
_CHUNK = 4_000_000  # pixels looked at in one go, to bound memory


@dataclass(frozen=True, eq=False)
class Surface:
    """Triangles over the pixels of a field.

    Attributes
    ----------
    points : (n, 2) float64
        x = column, y = −row, pixels; the border's points come first, in their order.
    z : (n,) float64
        mm.
    triangles : (m, 3) int64
        Counter-clockwise seen from above.
    """

    points: FloatArray
    z: FloatArray
    triangles: IntArray


def triangulated(
    field: NDArray[np.float32],
    border: FloatArray,
    border_z: FloatArray,
    start: IntArray,
    tolerance: float,
    must: IntArray | None = None,
) -> Surface:
    """Refine a triangulation of a polygon until it follows a height field.

    Parameters
    ----------
    field : (rows, cols) float32
        z of every pixel, mm; NaN where the surface is not held to it.
    border : (n, 2) float64
        Corners of the polygon, x = column, y = −row, pixels.
    border_z : (n,) float64
        Their heights, mm.
    start : (m, 3) int64
        A triangulation of the polygon.
    tolerance : float
        Largest |surface − field| at any pixel centre inside, mm.
    must : (k,) int64, optional
        Flat indices of pixels that become points whatever the error.

    Raises
    ------
    SolidError
        If the tolerance is not reached.
    """
    mesh = Triangulation(border, start)
    mesh.legalise()
    heights = _Heights(field, mesh, border_z)
    if must is not None and len(must):
        _insert_pixels(mesh, heights, must)
    for pitch in _PITCHES:
        todo = np.arange(len(mesh.triangles))
        for _ in range(_ROUNDS):
            worst, pixel = _misfit(heights, mesh, todo, pitch)
            bad = np.flatnonzero(worst > tolerance)
            if len(bad) == 0:
                break
            bad = bad[np.argsort(-worst[bad], kind="stable")]
            _, one = np.unique(pixel[bad], return_index=True)
            bad = bad[np.sort(one)]
            todo = heights.insert(mesh, todo[bad], pixel[bad])
        else:
            raise SolidError(
                f"the relief's surface does not come within {tolerance} mm of its model"
            )
    return Surface(mesh.points.copy(), heights.z[: len(mesh.points)].copy(), mesh.triangles.copy())


class _Heights:
    """The field, and z of the mesh's points."""

    def __init__(self, field: NDArray[np.float32], mesh: Triangulation, z: FloatArray) -> None:
        self.field = np.ascontiguousarray(field)
        self.z = np.array(z, dtype=np.float64)

    def insert(self, mesh: Triangulation, where: IntArray, pixel: IntArray) -> IntArray:
        cols = self.field.shape[1]
        row, col = pixel // cols, pixel % cols
        self.z = np.concatenate([self.z, self.field[row, col].astype(np.float64)])
        return mesh.insert(where, np.stack([col, -row], axis=1).astype(np.float64))


def _insert_pixels(mesh: Triangulation, heights: _Heights, pixels: IntArray) -> None:
    """Insert given pixels one after another."""
    cols = heights.field.shape[1]
    for pixel in pixels.tolist():
        p = np.array([pixel % cols, -(pixel // cols)], dtype=np.float64)
        a, b, c = (mesh.points[mesh.triangles[:, k]] for k in range(3))
        least = np.min([_side(a, b, p), _side(b, c, p), _side(c, a, p)], axis=0)
        t = int(np.argmax(least))
        if least[t] >= 0:
            heights.insert(mesh, np.array([t]), np.array([pixel]))


def _side(a: FloatArray, b: FloatArray, p: FloatArray) -> FloatArray:
    return np.asarray(
        (b[:, 0] - a[:, 0]) * (p[1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (p[0] - a[:, 0])
    )


def _misfit(
    heights: _Heights, mesh: Triangulation, todo: IntArray, pitch: int
) -> tuple[FloatArray, IntArray]:
    """Return for each triangle its largest error at pixels on a coarser grid, and where."""
    worst = np.zeros(len(todo))
    pixel = np.full(len(todo), -1, dtype=np.int64)
    corner = mesh.triangles[todo]
    xy = mesh.points[corner]
    area = 0.5 * np.abs(np.cross(xy[:, 1] - xy[:, 0], xy[:, 2] - xy[:, 0])) / pitch**2
    part = (np.cumsum(area) // _CHUNK).astype(np.int64)
    for k in range(int(part[-1]) + 1 if len(part) else 0):
        own = np.flatnonzero(part == k)
        worst[own], pixel[own] = _misfit_of(heights.field, xy[own], heights.z[corner[own]], pitch)
    return worst, pixel


def _misfit_of(
    field: NDArray[np.float32], xy: FloatArray, z: FloatArray, pitch: int
) -> tuple[FloatArray, IntArray]:
    """As `_misfit`, for triangles given by their corners (k, 3, 2) and heights (k, 3)."""
    cols = field.shape[1]
    worst = np.zeros(len(xy))
    pixel = np.full(len(xy), -1, dtype=np.int64)
    tri, row, first, count = _spans(xy, pitch, field.shape)
    if len(tri) == 0:
        return worst, pixel
    slope, base = _planes(xy, z)
    total = int(count.sum())
    begin = np.cumsum(count) - count
    level = base[tri] + slope[tri, 1] * -row + slope[tri, 0] * first
    step = np.arange(total, dtype=np.int64) - np.repeat(begin, count)
    flat = np.repeat(row * cols + first, count) + pitch * step
    plane = np.repeat(level, count) + np.repeat(slope[tri, 0] * pitch, count) * step
    error = np.abs(field.ravel()[flat] - plane)
    np.nan_to_num(error, copy=False, nan=-1.0)
    head = np.flatnonzero(np.diff(tri, prepend=-1))
    most = np.maximum.reduceat(error, begin[head])
    worst[tri[head]] = np.maximum(most, 0.0)
    per = np.add.reduceat(count, head)
    hit = np.flatnonzero(error == np.repeat(most, per))
    owner = np.searchsorted(begin[head], hit, side="right") - 1
    _, one = np.unique(owner, return_index=True)
    pixel[tri[head]] = flat[hit[one]]
    return worst, pixel


def _planes(xy: FloatArray, z: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return dz/dx, dz/dy (k, 2) and z at the origin (k,) of triangles."""
    e1, e2 = xy[:, 1] - xy[:, 0], xy[:, 2] - xy[:, 0]
    d1, d2 = z[:, 1] - z[:, 0], z[:, 2] - z[:, 0]
    det = e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0]
    det = np.where(np.abs(det) < 1e-12, 1e-12, det)
    gx = (d1 * e2[:, 1] - d2 * e1[:, 1]) / det
    gy = (d2 * e1[:, 0] - d1 * e2[:, 0]) / det
    return np.stack([gx, gy], axis=1), z[:, 0] - gx * xy[:, 0, 0] - gy * xy[:, 0, 1]


def _spans(
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
    tri = np.repeat(np.arange(len(xy)), rows)
    row = (
        np.arange(len(tri)) - np.repeat(np.cumsum(rows) - rows, rows) + np.repeat(low, rows)
    ) * pitch
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
