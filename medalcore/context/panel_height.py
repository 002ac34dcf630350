"""Parts of a field at another level: what they add to its height, point by point."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from ..geometry.arrays import cross2, ragged
from ..geometry.contour import Contours
from ..geometry.distance import to_edges
from ..geometry.types import BoolArray, FloatArray, IntArray

_CELLS = 128
_PAIRS = 1_000_000
"""Pairs of point and edge looked at at once: bounds the memory."""


@dataclass(frozen=True)
class Terrace:
    """A panel or a band of any outline, sunk into a field or raised above it.

    Attributes
    ----------
    outline : tuple of closed contours, each a tuple of (u, v)
        Its upper edge: of the top if raised, of the opening if sunk; outer contours
        counter-clockwise, holes clockwise, mm.
    section : tuple of (distance, rise)
        What it adds to the height at rising distances inside the outline (below 0 outside),
        straight in between and level beyond, mm.
    """

    outline: tuple[tuple[tuple[float, float], ...], ...]
    section: tuple[tuple[float, float], ...]

    @property
    def contours(self) -> Contours:
        """Return the outline as arrays."""
        return tuple(np.array(c, dtype=np.float64) for c in self.outline)

    @property
    def height(self) -> float:
        """Return the rise of its level part, mm."""
        return max((rise for _, rise in self.section), key=abs)

    def depth(self, uv: FloatArray) -> FloatArray:
        """Return how far (..., 2) points lie inside the outline, mm; below 0 outside.

        Distances beyond those of the section, and a little more, are cut off there.
        """
        points = np.asarray(uv, dtype=np.float64)
        return self._finder.depth(points.reshape(-1, 2)).reshape(points.shape[:-1])

    def rise(self, uv: FloatArray) -> FloatArray:
        """Return what it adds to the height at (..., 2) points, mm."""
        distance, rise = np.array(self.section).T
        return np.asarray(np.interp(self.depth(uv), distance, rise))

    def rises(self, low: FloatArray, high: FloatArray) -> tuple[float, float]:
        """Return the least and the most it may add within a box with (2,) corners, mm."""
        if self._finder.is_clear(low, high):
            only = float(self.rise((low + high) / 2.0))
            return only, only
        every = [rise for _, rise in self.section]
        return min(every), max(every)

    def on_wall(self, corners: FloatArray, clear: float, steep: float) -> BoolArray:
        """Tell which triangles (m, 3, 2) come within `clear` mm of a wall steeper than that."""
        depth = self.depth(corners)
        low, high = depth.min(axis=1) - clear, depth.max(axis=1) + clear
        found = np.zeros(len(corners), dtype=bool)
        for (start, under), (end, over) in pairwise(self.section):
            if abs(over - under) > steep * (end - start):
                found |= (high > start) & (low < end)
        return found

    @cached_property
    def _finder(self) -> _Finder:
        reach = max(abs(distance) for distance, _ in self.section)
        return _Finder(self.contours, reach + 0.1)


class _Finder:
    """Finds signed distances to contours, looking only at what lies near.

    The plane is parted into cells; each knows the edges within reach of it and whether its
    middle lies inside.
    """

    def __init__(self, contours: Contours, reach: float) -> None:
        stacked = np.concatenate(contours)
        self._reach = reach
        self._low = stacked.min(axis=0) - reach
        size = stacked.max(axis=0) + reach - self._low
        self._cell = max(float(size.max()) / _CELLS, 1e-3)
        self._shape = np.ceil(size / self._cell).astype(np.int64) + 1
        self._start, self._stop = self._pieces(contours)
        first, last = self._cells_of(self._start, self._stop)
        cells, edges = [], []
        for dx in range(int((last - first)[:, 0].max()) + 1):
            for dy in range(int((last - first)[:, 1].max()) + 1):
                at = first + np.array((dx, dy))
                here = np.flatnonzero((at <= last).all(axis=1))
                cells.append(self._number(at[here]))
                edges.append(here)
        cell, edge = np.concatenate(cells), np.concatenate(edges)
        # Off the lines that outlines are drawn on, so that no way to a middle runs along one.
        off = np.array((0.5137, 0.5071))
        at = np.stack(np.meshgrid(*(np.arange(n) for n in self._shape), indexing="ij"), axis=2)
        self._middle = self._low + self._cell * (at.reshape(-1, 2) + off)
        self._inside = _inside_rows(contours, self._middle.reshape(*self._shape, 2)).ravel()
        cell, edge = self._nearest_ones(cell, edge)
        self._edge = edge
        self._begin = np.searchsorted(cell, np.arange(len(self._middle) + 1))

    def _nearest_ones(self, cell: IntArray, edge: IntArray) -> tuple[IntArray, IntArray]:
        """Return pairs of cell and edge, sorted, without edges that nothing in a cell is near to.

        A point of a cell is at most r from its middle, and so at most 2r farther from the
        edge nearest to the middle than the middle is.
        """
        order = np.argsort(cell, kind="stable")
        cell, edge = cell[order], edge[order]
        far, _ = to_edges(self._middle[cell], self._start[edge], self._stop[edge])
        least = np.full(len(self._middle), np.inf)
        np.minimum.at(least, cell, far)
        r = 0.75 * self._cell  # half the diagonal, and the middle is not quite in the middle
        kept = far <= least[cell] + 2.0 * r
        return cell[kept], edge[kept]

    def is_clear(self, low: FloatArray, high: FloatArray) -> bool:
        """Tell whether a box keeps off the outline by more than its reach."""
        near = np.minimum(self._start, self._stop) - self._reach
        far = np.maximum(self._start, self._stop) + self._reach
        return not bool(((near <= high) & (far >= low)).all(axis=1).any())

    def depth(self, points: FloatArray) -> FloatArray:
        """Return how far (n, 2) points lie inside, cut off at the reach, mm."""
        found = np.full(len(points), -self._reach)
        at = np.floor((points - self._low) / self._cell).astype(np.int64)
        within = np.flatnonzero(((at >= 0) & (at < self._shape)).all(axis=1))
        cell = self._number(at[within])
        found[within] = np.where(self._inside[cell], self._reach, -self._reach)
        many = self._begin[cell + 1] - self._begin[cell]
        near = np.flatnonzero(many)
        if len(near):
            parts = np.cumsum(many[near]) // _PAIRS
            for part in np.split(near, np.flatnonzero(np.diff(parts)) + 1):
                found[within[part]] = self._near(points[within[part]], cell[part], many[part])
        return found

    def _near(self, points: FloatArray, cell: IntArray, many: IntArray) -> FloatArray:
        """Return signed distances of points that have edges near."""
        first = np.concatenate([[0], np.cumsum(many)[:-1]])
        which = np.repeat(np.arange(len(points)), many)
        edge = self._edge[self._begin[cell][which] + np.arange(len(which)) - first[which]]
        a, way = self._start[edge], self._stop[edge] - self._start[edge]
        to_middle = (self._middle[cell] - points)[which]
        off = points[which] - a
        distance, _ = to_edges(points[which], a, self._stop[edge])
        # The way to the middle of the cell crosses the outline an odd number of times, or not.
        spans = (cross2(to_middle, -off) > 0.0) != (cross2(to_middle, way - off) > 0.0)
        parts = (cross2(way, off) > 0.0) != (cross2(way, off + to_middle) > 0.0)
        odd = np.add.reduceat((spans & parts).astype(np.int64), first) % 2 == 1
        nearest = np.minimum(np.minimum.reduceat(distance, first), self._reach)
        return np.where(self._inside[cell] != odd, nearest, -nearest)

    def _pieces(self, contours: Contours) -> tuple[FloatArray, FloatArray]:
        """Return the edges as pieces no longer than a cell."""
        starts, stops = [], []
        for points in contours:
            way = np.roll(points, -1, axis=0) - points
            parts = np.maximum(np.ceil(np.hypot(*way.T) / self._cell), 1).astype(np.int64)
            edge, step = ragged(parts)
            share = (step / parts[edge])[:, None]
            begin = points[edge] + share * way[edge]
            starts.append(begin)
            stops.append(np.roll(begin, -1, axis=0))
        return np.concatenate(starts), np.concatenate(stops)

    def _cells_of(self, start: FloatArray, stop: FloatArray) -> tuple[IntArray, IntArray]:
        low = np.minimum(start, stop) - self._reach - self._low
        high = np.maximum(start, stop) + self._reach - self._low
        first = np.maximum(np.floor(low / self._cell), 0).astype(np.int64)
        last = np.minimum(np.floor(high / self._cell).astype(np.int64), self._shape - 1)
        return first, last

    def _number(self, at: IntArray) -> IntArray:
        return np.asarray(at[:, 0] * self._shape[1] + at[:, 1])


def _inside_rows(contours: Contours, at: FloatArray) -> BoolArray:
    """Tell which places of a lattice, (k, n, 2), lie inside clean contours, a row at a time."""
    a = np.concatenate(contours)
    b = np.concatenate([np.roll(c, -1, axis=0) for c in contours])
    found = np.zeros(at.shape[:2], dtype=bool)
    for i, x in enumerate(at[:, 0, 0].tolist()):
        over = np.flatnonzero((a[:, 0] > x) != (b[:, 0] > x))
        p, q = a[over], b[over]
        y = np.sort(p[:, 1] + (x - p[:, 0]) * (q[:, 1] - p[:, 1]) / (q[:, 0] - p[:, 0]))
        found[i] = np.searchsorted(y, at[i, :, 1]) % 2 == 1
    return found


def lean_of(height: float, slope: float) -> float:
    """Return how far a wall of `height` mm runs at `slope` degrees from upright, mm."""
    return abs(height) * math.tan(math.radians(slope))


def section_of(height: float, lean: float, width: float) -> tuple[tuple[float, float], ...]:
    """Return the section of a part of a field: a band `width` mm wide, or all of it at 0."""
    if height > 0.0:
        knots = [(-lean, 0.0), (0.0, height)]
        back = [(width, height), (width + lean, 0.0)]
    else:
        knots = [(0.0, 0.0), (lean, height)]
        back = [(width - lean, height), (width, 0.0)]
    return tuple(knots + (back if width else []))
