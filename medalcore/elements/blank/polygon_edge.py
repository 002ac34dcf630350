"""The reeded edge of any outline as columns of points, each with its own way inwards."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...context.tolerance import Tolerance
from ...geometry.arrays import cross2
from ...geometry.contour import edge_lengths
from ...geometry.types import BoolArray, FloatArray, IntArray
from ..edge import Reeding, notches_on
from .edge_wall import NEAR

_TOUCH = 1e-4
"""mm; a land shorter than this is one crest, and corners of the outline so near to the end of a
notch are left away."""

_BEND = 10.0
"""Radius, mm, on which the flat flank of a wide notch keeps its depth within tolerance."""


_SHARP = 6.0
"""Radius, mm, on which the straight pieces of slanted notches keep within tolerance."""


@dataclass(frozen=True, eq=False)
class MovingOutline:
    """An outline and how it moves inwards.

    Attributes
    ----------
    corners, mitres : (m, 2) float64
        mm, and the way of each as the outline moves inwards by 1 mm.
    ends : (m + 1,) float64
        Length up to each corner, and all of it, mm.
    start : float
        Length at which columns count from 0, mm.
    """

    corners: FloatArray
    mitres: FloatArray
    ends: FloatArray
    start: float

    def at(self, place: FloatArray, depth: FloatArray) -> FloatArray:
        """Return points (n, 2) at lengths, as columns count them, and depths, mm."""
        s = np.mod(place + self.start, self.ends[-1])
        i = np.clip(np.searchsorted(self.ends, s, side="right") - 1, 0, len(self.corners) - 1)
        j = (i + 1) % len(self.corners)
        t = ((s - self.ends[i]) / (self.ends[i + 1] - self.ends[i]))[:, None]
        inwards = self.mitres[i] + t * (self.mitres[j] - self.mitres[i])
        spot = self.corners[i] + t * (self.corners[j] - self.corners[i])
        return np.asarray(spot + inwards * depth[:, None])

    def is_smooth(self, tolerance: Tolerance) -> bool:
        """Tell whether points that move along it keep to it: it has no corner to speak of.

        Sagitta of an arc by its length and turn, l·τ/8, where a chord leaves a corner out.
        """
        way = np.roll(self.corners, -1, axis=0) - self.corners
        before = np.roll(way, 1, axis=0)
        cross = cross2(before, way)
        turn = np.abs(np.arctan2(cross, np.sum(before * way, axis=1)))
        one, other = np.hypot(way[:, 0], way[:, 1]), np.hypot(before[:, 0], before[:, 1])
        sharpest = float(np.min((one + other) / 2.0 / np.maximum(turn, 1e-9)))
        long = np.maximum(one, other)
        return sharpest > _SHARP and bool(np.max(turn * long) < 8.0 * tolerance.curve)


@dataclass(frozen=True, eq=False)
class PolygonEdge:
    """An edge that is not round; see `Columns`.

    Attributes
    ----------
    spots : (n, 2) float64
        Where the edge is at every column, mm.
    inset : (n,) float64
        How deep below the outline that is, mm.
    inwards : (n, 2) float64
        Way into the piece along which a column goes 1 mm deeper.
    place : (n,) float64
        Length along the outline, rising, mm.
    whole : float
        All of it, mm.
    line : MovingOutline
        The outline.
    shear : float
        How far the columns move along the outline with every mm upwards, mm.
    """

    spots: FloatArray
    inset: FloatArray
    inwards: FloatArray
    place: FloatArray
    whole: float
    line: MovingOutline
    shear: float = 0.0

    def rise(self, tolerance: Tolerance) -> float:
        """Return how high a straight piece of a slanted notch may be, mm; see `CircleEdge.rise`."""
        if not self.shear:
            return math.inf
        return math.sqrt(4.0 * _SHARP * tolerance.curve) / abs(self.shear)

    def is_close(self, picked: BoolArray, tolerance: Tolerance) -> bool:
        """Tell whether some of its columns are enough for a ring of their own.

        Sagitta of an arc by its length and turn: s = l·τ/8.
        """
        spots, inwards = self.spots[picked], self.inwards[picked]
        step, after = np.roll(spots, -1, axis=0) - spots, np.roll(inwards, -1, axis=0)
        turn = np.abs(cross2(inwards, after))
        return bool(np.max(np.hypot(step[:, 0], step[:, 1]) * turn) < 4.0 * tolerance.curve)

    def points(self, inset: float | FloatArray, z: float | FloatArray) -> FloatArray:
        """Return a point (n, 3) of every column at a depth and a height, mm."""
        depth, height = (np.broadcast_to(x, self.inset.shape) for x in (inset, z))
        if self.shear:
            xy = self.line.at(self.place + self.shear * height, depth)
        else:
            xy = self.spots + self.inwards * (depth - self.inset)[:, None]
        return np.column_stack([xy, height])

    def mirrored(self) -> PolygonEdge:
        """Return the edge as it is seen from the other side."""
        return replace(self, shear=-self.shear)

    def split(self, insets: Sequence[float]) -> PolygonEdge:
        """Return the edge with columns put in where it is as deep as given, mm."""
        track = self
        for level in insets:
            if NEAR < level < float(track.inset.max()) + NEAR:
                track = track._split(level)
        return track

    def _split(self, level: float) -> PolygonEdge:
        depth = np.where(np.abs(self.inset - level) < NEAR, level, self.inset)
        after = np.roll(depth, -1)
        at = np.flatnonzero((depth - level) * (after - level) < -1e-12)
        t = ((level - depth[at]) / (after[at] - depth[at]))[:, None]
        following = np.append(self.place[1:], self.place[0] + self.whole)

        def between(values: FloatArray, ends: FloatArray) -> FloatArray:
            found = (
                values[at] + np.reshape(t, (-1,) + (1,) * (values.ndim - 1)) * (ends - values)[at]
            )
            return np.insert(values, at + 1, found, axis=0)

        return replace(
            self,
            spots=between(self.spots, np.roll(self.spots, -1, axis=0)),
            inset=np.insert(depth, at + 1, level),
            inwards=between(self.inwards, np.roll(self.inwards, -1, axis=0)),
            place=between(self.place, following),
        )

    def holds(self, inset: float, height: float = 0.0) -> bool:
        """Tell whether all columns still stand side by side at a depth and a height, mm."""
        there = self.points(np.maximum(self.inset, inset), height)[:, :2]
        above = self.points(np.maximum(self.inset, inset) - 1e-3, height)[:, :2]
        way = 1e3 * (there - above)
        way = way + np.roll(way, -1, axis=0)
        step = np.roll(there, -1, axis=0) - there
        onwards = cross2(step, way)
        return bool(np.all(onwards > 1e-7))


def polygon_edge(
    reeding: Reeding, outline: FloatArray, tolerance: Tolerance, slant: float = 0.0
) -> PolygonEdge | None:
    """Return the reeded edge of an outline, or None where it cannot be had in columns.

    That is where a notch does not lie inside it, or slanted ones go round a corner.

    Parameters
    ----------
    outline : (n, 2) float64
        Counter-clockwise, mm; the stations of the reeds count from its first point.
    """
    most = math.sqrt(8.0 * _BEND * tolerance.curve)
    notches = [_short(notch, most) for notch in notches_on(reeding, outline, tolerance)]
    sizes = np.array([len(n) for n in notches])
    owner = np.repeat(np.arange(len(notches)), sizes)
    inner = np.ones(len(owner), dtype=bool)
    last = np.cumsum(sizes) - 1
    inner[last] = inner[last - sizes + 1] = False
    mitres = _mitres(outline)
    spots = np.concatenate(notches)
    inset, inwards, along = _measured(spots, owner, reeding, outline, mitres)
    if np.any(inset[inner] < 1e-7):
        return None
    inset[~inner] = 0.0
    whole, start = reeding.length, along[0] - _TOUCH
    ends = np.concatenate([[0.0], np.cumsum(edge_lengths(outline))])
    line = MovingOutline(outline, mitres, ends, float(start))
    if slant and not line.is_smooth(tolerance):
        return None
    gap = np.diff(reeding.stations, append=reeding.stations[0] + whole) - reeding.notch.opening
    once = np.ones(len(owner), dtype=bool)
    once[last] = gap > _TOUCH  # the next notch begins with the same point
    place = np.mod(along - start, whole)[once]
    if np.any(np.diff(place) <= 0.0):
        return None
    lands = _lands(reeding, outline)
    places = np.concatenate([place, np.mod(ends[:-1][lands] - start, whole)])
    order = np.argsort(places, kind="stable")
    return PolygonEdge(
        np.concatenate([spots[once], outline[lands]])[order],
        np.concatenate([inset[once], np.zeros(len(lands))])[order],
        np.concatenate([inwards[once], mitres[lands]])[order],
        places[order],
        whole,
        line,
        math.tan(math.radians(slant)),
    )


def _short(notch: FloatArray, most: float) -> FloatArray:
    """Put points on long chords of a notch: its flat flanks are not as flat as the outline."""
    steps = np.diff(notch, axis=0)
    times = np.maximum(1, np.ceil(np.hypot(*steps.T) / most)).astype(np.int64)
    if times.max() == 1:
        return notch
    parts = [
        a + s * np.arange(n)[:, None] / n for a, s, n in zip(notch, steps, times, strict=False)
    ]
    return np.vstack([*parts, notch[-1:]])


def _measured(
    points: FloatArray,
    owner: IntArray,
    reeding: Reeding,
    outline: FloatArray,
    mitres: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return depths below the outline, ways inwards and places along it of points of notches.

    A side of the outline keeps its ends on the mitres as it moves inwards; a point's way is the
    one between these that runs through it. Only the stretch of the outline beside its own notch
    is looked at for each.
    """
    n = len(outline)
    lengths = edge_lengths(outline)
    ends = np.concatenate([[0.0], np.cumsum(lengths)])
    reach = reeding.notch.opening + reeding.notch.depth
    twice = np.concatenate([ends[:-1] - ends[-1], ends, ends[1:] + ends[-1]])
    first = np.searchsorted(twice, reeding.stations - reach, side="right") - 1
    stop = np.searchsorted(twice, reeding.stations + reach, side="left")
    wide = min(int((stop - first).max()), n)
    edge = (first[owner][:, None] + np.arange(wide)) % n
    a = outline[edge]
    way = np.roll(outline, -1, axis=0)[edge] - a
    off = points[:, None] - a
    t = np.clip(np.sum(off * way, axis=2) / lengths[edge] ** 2, 0.0, 1.0)
    apart = off - way * t[:, :, None]
    best = np.argmin(np.sum(apart * apart, axis=2), axis=1)
    rows = np.arange(len(points))
    edge, off, way = edge[rows, best], off[rows, best], way[rows, best]
    long = lengths[edge]
    depth = cross2(way, off) / long
    right, left = mitres[edge], mitres[(edge + 1) % n]
    there = off - right * depth[:, None]
    side = way + (left - right) * depth[:, None]
    share = np.sum(there * side, axis=1) / np.sum(side * side, axis=1)
    return depth, right + (left - right) * share[:, None], ends[edge] + share * long


def _lands(reeding: Reeding, outline: FloatArray) -> IntArray:
    """Return which corners of the outline stand on lands."""
    at = np.concatenate([[0.0], np.cumsum(edge_lengths(outline))])[:-1]
    stations, whole = reeding.stations, reeding.length
    after = np.searchsorted(stations, at)
    ring = np.concatenate([[stations[-1] - whole], stations, [stations[0] + whole]])
    near = np.minimum(at - ring[after], ring[after + 1] - at)
    return np.flatnonzero(near > reeding.notch.opening / 2.0 + _TOUCH)


def _mitres(outline: FloatArray) -> FloatArray:
    """Return the way of every corner as the outline moves inwards by 1 mm, (n, 2)."""
    way = np.roll(outline, -1, axis=0) - outline
    upright = np.column_stack([-way[:, 1], way[:, 0]]) / edge_lengths(outline)[:, None]
    before = np.roll(upright, 1, axis=0)
    # (u + v) / (1 + u·v): the bisector, 1 / cos of half the turn long
    turn = 1.0 + np.sum(upright * before, axis=1)
    return np.asarray((upright + before) / np.maximum(turn, 0.05)[:, None])
