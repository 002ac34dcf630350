"""A height field as few triangles as its tolerance allows.

Greedy insertion (Garland and Heckbert 1995), but in batches: every triangle that misses the
field somewhere by more than the tolerance receives its worst pixel at once, then edges flip
until the mesh is Delaunay again. Sparse pixels are looked at first, all of them last, so
that most rounds are cheap; the last round has looked at every pixel of every triangle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import SolidError
from .mesh import Triangulation

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_PITCHES = (24, 1)

_ROUNDS = 200
_FOLD_ROUNDS = 6
_NEAR = 0.05  # pixels from other points and the border within which no given point is put
_SLIVER = 0.02  # pixels from the border within which no point is added
_SMALL = 6.0  # square pixels: smaller triangles are not refined for their looks
_CREASE = 0.1  # of the tolerance: triangles that follow so closely only show the field's crease
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
    pixel: float,
    *,
    must: tuple[FloatArray, FloatArray] | None = None,
    fold: float = math.inf,
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
    pixel : float
        Pitch of the pixels, mm.
    must : (k, 2) and (k,) float64, optional
        Points, pixels, and their z, mm, that the surface has in any case (those that would
        make slivers at the border or at one another are left out).
    fold : float
        Angle in radians by which neighbouring triangles of a smooth surface may differ before
        they are refined although the heights are met: facets show in raking light. Creases
        of the field stay.

    Raises
    ------
    SolidError
        If the tolerance is not reached.
    """
    mesh = Triangulation(border, start)
    mesh.legalise()
    heights = _Heights(field, mesh, border_z)
    if must is not None:
        _insert_points(mesh, heights, *must)
    misfit = _Misfit(heights, mesh, pixel)
    for pitch in _PITCHES:
        _refine(misfit, np.arange(len(mesh.triangles)), pitch, tolerance)
    for _ in range(_FOLD_ROUNDS if fold < math.inf else 0):
        where = misfit.peaks(misfit.folded(fold, tolerance))
        if len(where) == 0:
            break
        todo = heights.insert(mesh, where, misfit.pixel[where])
        _refine(misfit, todo, 1, tolerance)
    return Surface(mesh.points.copy(), heights.z[: len(mesh.points)].copy(), mesh.triangles.copy())


class _Misfit:
    """Where each triangle misses the field most, at pixels on a coarser grid."""

    def __init__(self, heights: _Heights, mesh: Triangulation, pixel: float) -> None:
        self.heights, self.mesh, self.pixel_mm = heights, mesh, pixel
        self.worst = np.zeros(0)
        self.pixel = np.zeros(0, dtype=np.int64)

    def look(self, triangles: IntArray, pitch: int) -> None:
        """Measure some triangles anew."""
        spare = len(self.mesh.triangles) - len(self.worst)
        if spare > 0:
            self.worst = np.concatenate([self.worst, np.zeros(spare)])
            self.pixel = np.concatenate([self.pixel, np.full(spare, -1)])
        self.worst[triangles], self.pixel[triangles] = _misfit(
            self.heights, self.mesh, triangles, pitch
        )

    def peaks(self, bad: IntArray) -> IntArray:
        """Return those of some triangles that miss by more than the triangles beside them.

        Two triangles beside each other mostly miss the same ridge: one point mends both.
        """
        marked = np.zeros(len(self.worst), dtype=bool)
        marked[bad] = True
        beside = self.mesh.beside(bad)
        there = np.where((beside >= 0) & marked[beside], self.worst[beside], -1.0)
        here = self.worst[bad][:, None]
        first = np.all((here > there) | ((here == there) & (bad[:, None] < beside)), axis=1)
        bad = bad[first]
        _, one = np.unique(self.pixel[bad], return_index=True)
        bad = bad[one]
        at_border = self._at_border(bad)
        self.worst[bad[at_border]] = 0.0  # a point there would make a sliver
        return np.asarray(bad[~at_border])

    def _at_border(self, triangles: IntArray) -> NDArray[np.bool_]:
        """Tell whose worst pixel lies on an edge of the border, or as good as."""
        cols = self.heights.field.shape[1]
        pixel = self.pixel[triangles]
        p = np.stack([pixel % cols, -(pixel // cols)], axis=1)
        corner = self.mesh.points[self.mesh.triangles[triangles]]
        beside = self.mesh.beside(triangles)
        near = np.zeros(len(triangles), dtype=bool)
        for k in range(3):
            side, gap = corner[:, (k + 1) % 3] - corner[:, k], p - corner[:, k]
            across = np.abs(side[:, 0] * gap[:, 1] - side[:, 1] * gap[:, 0])
            near |= (beside[:, k] < 0) & (across < _SLIVER * np.hypot(side[:, 0], side[:, 1]))
        return near

    def folded(self, fold: float, tolerance: float) -> IntArray:
        """Return triangles that meet a neighbour at more than an angle and could bend more.

        Left alone are triangles that have become small, and those that follow the field so
        closely that what shows is a crease of the field.
        """
        tri = self.mesh.triangles
        xy, z = self.mesh.points[tri], self.heights.z[tri]
        e1, e2 = xy[:, 1] - xy[:, 0], xy[:, 2] - xy[:, 0]
        area = 0.5 * (e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0])
        gradient, _ = _planes(xy, z)
        normal = np.column_stack([-gradient / self.pixel_mm, np.ones(len(tri))])
        normal /= np.linalg.norm(normal, axis=1)[:, None]
        some = np.flatnonzero((area > _SMALL) & (self.worst > _CREASE * tolerance))
        beside = self.mesh.beside(some)
        cosine = np.einsum("ij,ikj->ik", normal[some], normal[beside])
        return np.asarray(some[np.any((beside >= 0) & (cosine < math.cos(fold)), axis=1)])


def _refine(misfit: _Misfit, todo: IntArray, pitch: int, tolerance: float) -> None:
    """Add points until no triangle misses by more than the tolerance.

    Raises
    ------
    SolidError
        If that does not end.
    """
    for _ in range(_ROUNDS):
        misfit.look(todo, pitch)
        where = misfit.peaks(np.flatnonzero(misfit.worst > tolerance))
        if len(where) == 0:
            return
        todo = misfit.heights.insert(misfit.mesh, where, misfit.pixel[where])
    raise SolidError(f"the relief's surface does not come within {tolerance:g} mm of its model")


class _Heights:
    """The field, and z of the mesh's points."""

    def __init__(self, field: NDArray[np.float32], mesh: Triangulation, z: FloatArray) -> None:
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


def _insert_points(mesh: Triangulation, heights: _Heights, xy: FloatArray, z: FloatArray) -> None:
    """Insert given points, one in each triangle at a time, except where they make slivers."""
    at = mesh.locate(xy, _labels(mesh, heights.field.shape, xy))
    left = np.flatnonzero(at >= 0)
    while len(left):
        left = left[np.argsort(at[left], kind="stable")]
        head = np.flatnonzero(np.diff(at[left], prepend=-1))
        middle = (head + np.append(head[1:], len(left))) // 2
        chosen = left[middle]
        left = np.delete(left, middle)
        corner = mesh.points[mesh.triangles[at[chosen]]]
        gap = np.linalg.norm(corner - xy[chosen, None], axis=2).min(axis=1)
        beside = mesh.beside(at[chosen])
        side = np.roll(corner, -1, axis=1) - corner
        off = xy[chosen, None] - corner
        across = np.abs(side[:, :, 0] * off[:, :, 1] - side[:, :, 1] * off[:, :, 0])
        across /= np.linalg.norm(side, axis=2)
        good = (gap > _NEAR) & ~np.any((beside < 0) & (across < _NEAR), axis=1)
        heights.add(mesh, at[chosen[good]], xy[chosen[good]], z[chosen[good]])
        at[left] = mesh.locate(xy[left], at[left])
        left = left[at[left] >= 0]


def _labels(mesh: Triangulation, shape: tuple[int, int], xy: FloatArray) -> IntArray:
    """Return a triangle near each point: the one that the pixel nearest to it lies in."""
    tri, row, first, count = _spans(mesh.points[mesh.triangles], 1, shape)
    label = np.full(shape[0] * shape[1], -1, dtype=np.int32)
    begin = np.cumsum(count) - count
    flat = np.arange(int(count.sum())) + np.repeat(row * shape[1] + first - begin, count)
    label[flat] = np.repeat(tri, count)
    c = np.clip(np.rint(xy[:, 0]).astype(np.int64), 0, shape[1] - 1)
    r = np.clip(np.rint(-xy[:, 1]).astype(np.int64), 0, shape[0] - 1)
    return np.asarray(label[r * shape[1] + c], dtype=np.int64)


def _misfit(
    heights: _Heights, mesh: Triangulation, todo: IntArray, pitch: int
) -> tuple[FloatArray, IntArray]:
    """Return for each triangle its largest error at pixels on a coarser grid, and where."""
    worst = np.zeros(len(todo))
    pixel = np.full(len(todo), -1, dtype=np.int64)
    corner = mesh.triangles[todo]
    xy = mesh.points[corner]
    one, two = xy[:, 1] - xy[:, 0], xy[:, 2] - xy[:, 0]
    # written out: numpy 2.5 has no cross product of plane vectors any more
    area = 0.5 * np.abs(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]) / pitch**2
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
    begin = np.cumsum(count) - count
    run = pitch * np.arange(int(begin[-1] + count[-1]), dtype=np.int64)
    flat = run + np.repeat(row * cols + first - pitch * begin, count)
    across = slope[tri, 0]
    level = base[tri] - slope[tri, 1] * row + across * (first - pitch * begin)
    error = np.repeat(across, count)
    error *= run
    error += np.repeat(level, count)
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


def _firsts(true: NDArray[np.bool_], head: IntArray) -> IntArray:
    """Return where the first True of each run is; a run without one gives its head."""
    at = np.flatnonzero(true)
    place = np.minimum(np.searchsorted(at, head), max(len(at) - 1, 0))
    if len(at) == 0:
        return head
    return np.where(
        (at[place] >= head) & (at[place] < np.append(head[1:], len(true))), at[place], head
    )


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
