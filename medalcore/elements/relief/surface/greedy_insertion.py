"""A height field as few triangles as its tolerance allows.

Greedy insertion (Garland and Heckbert 1995), but in batches: every triangle that misses the
field somewhere by more than the tolerance receives its worst pixel at once, then edges flip
until the mesh is Delaunay again. Sparse pixels are looked at first, all of them last, so
that most rounds are cheap; the last round has looked at every pixel of every triangle.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ....errors import SolidError
from ....geometry.arrays import cross2
from ....geometry.constraint_lines import Lines, distances, insert_lines
from ....geometry.deviation import Heights, deviation, planes
from ....geometry.edge_flips import minimise_curvature, reduce_steepness
from ....geometry.triangulation import Triangulation
from ....geometry.types import BoolArray, Float32Array, FloatArray, IntArray
from .slope_limit import limit_slopes

_PITCHES = (8, 1)
_START = 150  # triangles up to which each gets a point
_FEW = 0.04  # share of triangles that is few

_ROUNDS = 200
_FOLD_ROUNDS = 6
_LEAN_ROUNDS = 6
_FIRM = 0.6  # tolerances that a corner may move for draft,
_SOFT = 1.5  # beside lines and the outline,
_FREE = 0.2  # and on them, where it shows most
_BESIDE = 3.0  # pixels from a moved corner at which large triangles about it are cut off
_SLIVER = 0.02  # pixels from corners, border and lines within which no point is added
_SMALL = 6.0  # square pixels: smaller triangles are not refined for their looks
_CREASE = 0.1  # of the tolerance: triangles that follow so closely only show the field's crease


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


def triangulate(
    field: Float32Array,
    border: FloatArray,
    border_z: FloatArray,
    start: IntArray,
    tolerance: float,
    pixel: float,
    *,
    lines: Lines | None = None,
    fold: float = math.inf,
    rise_per_run: float = math.inf,
    sunk: float = math.inf,
    ceiling: Callable[[FloatArray], FloatArray] | None = None,
    fixed: IntArray | None = None,
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
    lines : Lines, optional
        Points and edges that the surface has in any case.
    fold : float
        Angle in radians by which neighbouring triangles of a smooth surface may differ before
        they are refined although the heights are met: facets show in raking light. Creases
        of the field stay.
    rise_per_run : float
        Rise over run that no triangle may exceed: corners are moved by the least that does it.
    sunk : float
        How far points of the border may be moved for that, mm.
    ceiling : function, optional
        From points, pixels, to z that they are not raised above for that.
    fixed : (k, 2) int64, optional
        Edges of `start` that stay; its points may then lie within the polygon too.

    Raises
    ------
    SolidError
        If the tolerance is not reached.
    """
    mesh = Triangulation(border, start)
    if fixed is not None:
        mesh.fix(fixed)
    mesh.legalise()
    heights = Heights(field, mesh, border_z)
    if lines is not None:
        insert_lines(mesh, heights, lines)
    state = _Deviations(heights, mesh, pixel)
    for pitch in _PITCHES:
        _refine(state, np.arange(len(mesh.triangles)), pitch, tolerance)
    for _ in range(_FOLD_ROUNDS if fold < math.inf else 0):
        where = state.peaks(state.folded(fold, tolerance))
        if len(where) == 0:
            break
        todo = heights.insert(mesh, where, state.pixel[where])
        _refine(state, todo, 1, tolerance)
    if fold < math.inf:
        minimise_curvature(mesh, heights, tolerance, pixel)
    if rise_per_run < math.inf:
        most = np.full(len(mesh.points), np.inf)
        most[: len(border)] = sunk
        if lines is not None:
            most[lines.fixed_in(mesh.points)] = 0.0
        _limit_slopes(state, tolerance, rise_per_run * pixel, most, ceiling or _open)
    return Surface(mesh.points.copy(), heights.z[: len(mesh.points)].copy(), mesh.triangles.copy())


class _Deviations:
    """Where each triangle misses the field most, at pixels on a coarser grid."""

    def __init__(self, heights: Heights, mesh: Triangulation, pixel: float) -> None:
        self.heights, self.mesh, self.pixel_mm = heights, mesh, pixel
        self.worst = np.zeros(0)
        self.pixel = np.zeros(0, dtype=np.int64)

    def look(self, triangles: IntArray, pitch: int) -> None:
        """Measure some triangles anew."""
        spare = len(self.mesh.triangles) - len(self.worst)
        if spare > 0:
            self.worst = np.concatenate([self.worst, np.zeros(spare)])
            self.pixel = np.concatenate([self.pixel, np.full(spare, -1)])
        self.worst[triangles], self.pixel[triangles] = deviation(
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
        if len(bad) > _START:  # at first all are needed
            bad = bad[first]
        _, one = np.unique(self.pixel[bad], return_index=True)
        bad = bad[one]
        blocked = self._blocked(bad)
        self.worst[bad[blocked]] = 0.0
        return np.asarray(bad[~blocked])

    def _blocked(self, triangles: IntArray) -> BoolArray:
        """Tell whose worst pixel lies on a corner, the border or a line, or as good as.

        A point there would make slivers; the heights there were given.
        """
        cols = self.heights.field.shape[1]
        pixel = self.pixel[triangles]
        p = np.stack([pixel % cols, -(pixel // cols)], axis=1).astype(np.float64)
        gap, across = distances(self.mesh, triangles, p)
        return np.asarray(
            (gap < _SLIVER) | np.any(self.mesh.walled(triangles) & (across < _SLIVER), axis=1)
        )

    def folded(self, fold: float, tolerance: float) -> IntArray:
        """Return triangles that meet a neighbour at more than an angle and could bend more.

        Left alone are triangles that have become small, and those that follow the field so
        closely that what shows is a crease of the field.
        """
        tri = self.mesh.triangles
        xy, z = self.mesh.points[tri], self.heights.z[tri]
        e1, e2 = xy[:, 1] - xy[:, 0], xy[:, 2] - xy[:, 0]
        area = 0.5 * cross2(e1, e2)
        gradient, _ = planes(xy, z)
        normal = np.column_stack([-gradient / self.pixel_mm, np.ones(len(tri))])
        normal /= np.linalg.norm(normal, axis=1)[:, None]
        some = np.flatnonzero((area > _SMALL) & (self.worst > _CREASE * tolerance))
        cosine = np.einsum("ij,ikj->ik", normal[some], normal[self.mesh.beside(some)])
        bent = (cosine < math.cos(fold)) & ~self.mesh.walled(some)
        return np.asarray(some[np.any(bent, axis=1)])


def _refine(state: _Deviations, todo: IntArray, pitch: int, tolerance: float) -> None:
    """Add points until no triangle misses by more than the tolerance.

    Raises
    ------
    SolidError
        If that does not end.
    """
    for _ in range(_ROUNDS):
        state.look(todo, pitch)
        where = state.peaks(np.flatnonzero(state.worst > tolerance))
        # the last few of a coarse pass are left to the next
        if len(where) <= (0 if pitch == 1 else _FEW * len(state.worst)):
            return
        todo = state.heights.insert(state.mesh, where, state.pixel[where])
    raise SolidError(f"the relief's surface does not come within {tolerance:g} mm of its model")


def _open(points: FloatArray) -> FloatArray:
    return np.full(len(points), np.inf)


def _limit_slopes(
    state: _Deviations,
    tolerance: float,
    slope: float,
    most: FloatArray,
    ceiling: Callable[[FloatArray], FloatArray],
) -> None:
    """Move corners until no triangle is steeper than a slope, mm in a pixel.

    Where that takes a large triangle away from the field, it is refined first.
    """
    mesh, heights = state.mesh, state.heights
    for last in range(_LEAN_ROUNDS, -1, -1):
        reduce_steepness(mesh, heights, tolerance, slope)
        own = heights.z
        far = np.append(most, np.full(len(own) - len(most), np.inf))
        give = np.where(np.isinf(far), _free_moves(state, tolerance), far)
        high = ceiling(mesh.points)
        held = limit_slopes(mesh.points, own, mesh.triangles, slope, give, far, high)
        near = np.flatnonzero(np.any((held != own)[mesh.triangles], axis=1))
        heights.z = held
        state.look(near, 1)
        bad = near[state.worst[near] > tolerance]
        if last == 0 or len(bad) == 0:
            return
        where, pixel = _cut_off(state, bad, np.abs(held - own))
        rest = _apart(state, np.setdiff1d(bad, where), held != own, tolerance)
        where, pixel = np.append(where, rest), np.append(pixel, state.pixel[rest])
        if len(where) == 0:
            return
        state.worst[near] = 0.0  # of the raised surface; those to be mended are chosen
        heights.z = own
        todo = heights.insert(mesh, where, pixel)
        _refine(state, todo, 1, tolerance)


def _cut_off(state: _Deviations, bad: IntArray, moved: FloatArray) -> tuple[IntArray, IntArray]:
    """Return large triangles at moved corners, and in each a pixel near that corner.

    With points there the corner takes only its surroundings along. Without, a coarse scan of a
    head came out with a facet that hung over.
    """
    mesh, field = state.mesh, state.heights.field
    corner = mesh.triangles[bad]
    xy = mesh.points[corner]
    own = xy[np.arange(len(bad)), moved[corner].argmax(axis=1)]
    away = xy.mean(axis=1) - own
    far = np.maximum(np.linalg.norm(away, axis=1), 1e-12)
    place = np.rint(own + away * (np.minimum(_BESIDE, 0.5 * far) / far)[:, None])
    side, off = np.roll(xy, -1, axis=1) - xy, place[:, None] - xy
    inside = (cross2(side, off) > 0).all(axis=1)
    gap, across = distances(mesh, bad, place)
    col, row = place[:, 0].astype(np.int64), -place[:, 1].astype(np.int64)
    pixel = row * field.shape[1] + col
    some = np.flatnonzero(inside & (gap > 1.0) & (across.min(axis=1) > 0.5))
    some = some[np.isfinite(field.ravel()[pixel[some]])]
    return bad[some], pixel[some]


def _apart(state: _Deviations, bad: IntArray, moved: BoolArray, tolerance: float) -> IntArray:
    """Return those of some triangles that miss by too much at other pixels than moved corners."""
    points, field = state.mesh.points[moved], state.heights.field
    on = np.flatnonzero(np.all(points == np.rint(points), axis=1))
    col, row = points[on, 0].astype(np.int64), -points[on, 1].astype(np.int64)
    kept = field[row, col].copy()
    field[row, col] = np.nan
    state.look(bad, 1)
    field[row, col] = kept
    return state.peaks(bad[state.worst[bad] > tolerance])


def _free_moves(state: _Deviations, tolerance: float) -> FloatArray:
    """Return by how much corners may be moved: little on pixels that the surface is held to."""
    points, field = state.mesh.points, state.heights.field
    col = np.clip(np.rint(points[:, 0]).astype(np.int64), 0, field.shape[1] - 1)
    row = np.clip(np.rint(-points[:, 1]).astype(np.int64), 0, field.shape[0] - 1)
    free = np.isnan(field)[row, col] | np.any(points != np.rint(points), axis=1)
    soft = np.zeros(len(points), dtype=bool)
    for down in (-2, -1, 0, 1, 2):
        for right in (-2, -1, 0, 1, 2):
            r = np.clip(row + down, 0, field.shape[0] - 1)
            c = np.clip(col + right, 0, field.shape[1] - 1)
            soft |= np.isnan(field[r, c])
    return tolerance * np.where(free, _FREE, np.where(soft, _SOFT, _FIRM))
