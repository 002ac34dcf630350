"""A closer look at what has lost something: by whom, how much of it, and where."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..context.openings import BASE, EDGE, opening_at
from ..geometry.grid import Grid
from ..geometry.raster import top_surface
from ..geometry.types import BoolArray, FloatArray, IntArray
from .standing import Finished, Owner, Standing, areas, is_level, rise, to_face

_PIXELS = 240
"""Along the larger side of a unit that is looked at closely."""


@dataclass(frozen=True, eq=False)
class Taken:
    """What one taker has of a unit: its share of it, and where, mm."""

    share: float
    where: FloatArray


class Look:
    """Looks closely at units that have lost something."""

    def __init__(self, finished: Finished, owner: Owner) -> None:
        self._finished = finished
        self._owner = owner
        self._faces: dict[int, tuple[FloatArray, IntArray, IntArray]] = {}

    def takers(self, number: int, lost: float) -> dict[int, Taken]:
        """Return by whom a unit was covered or cut, openings by their own numbers (`openings.py`).

        What stands wholly on an emblem is meant.
        """
        s, _ = self._owner[number]
        grid = _grid_round(_corners(s, number))
        own = _own_heights(s, number, grid, level=True)
        heights, index = self._seen(s, grid)
        unit_of = np.where(index < 0, EDGE, self._face(s)[2][index])
        gone = np.isfinite(own) & (unit_of != number)
        if s.action == "add":
            self._give_to_clearings(s, grid, gone & (heights < own), unit_of)
        if not gone.any():
            return {}
        rows, cols = np.nonzero(gone & (unit_of == EDGE))
        unit_of[rows, cols] = opening_at(s.ground, _points(grid, rows, cols))
        whole = np.isfinite(_own_heights(s, number, grid, level=False))
        found = {}
        for taker in np.unique(unit_of[gone]).tolist():
            by = gone & (unit_of == taker)
            if s.kind == "emblem" and taker >= 0 and self._stands_on(taker, whole, grid):
                continue
            rows, cols = np.nonzero(by)
            points = _points(grid, rows, cols)
            nearest = np.argmin(np.sum((points - points.mean(axis=0)) ** 2, axis=1))
            share = lost * np.count_nonzero(by) / np.count_nonzero(gone)
            found[int(taker)] = Taken(float(share), points[nearest])
        return found

    def _give_to_clearings(
        self, s: Standing, grid: Grid, lower: BoolArray, unit_of: IntArray
    ) -> None:
        """Say of places where the bare ground is seen who took away what stood there."""
        for number, (other, _) in self._owner.items():
            if other.action == "clear" and other.side == s.side:
                vertices, triangles, _ = other.own
                over = np.isfinite(top_surface(vertices, triangles, grid)[0])
                unit_of[lower & over & (unit_of == BASE)] = number

    def _stands_on(self, taker: int, whole: BoolArray, grid: Grid) -> bool:
        """Tell whether a unit lies wholly within what a grid shows of another."""
        s, _ = self._owner[taker]
        points = _corners(s, taker)
        low = grid.left, grid.top - (grid.rows - 1) * grid.pixel
        high = grid.left + (grid.cols - 1) * grid.pixel, grid.top
        if np.any(points.min(axis=0) < low) or np.any(points.max(axis=0) > high):
            return False
        theirs = np.isfinite(_own_heights(s, taker, grid, level=False))
        return not np.any(theirs & ~whole)

    def _seen(self, s: Standing, grid: Grid) -> tuple[FloatArray, IntArray]:
        """Return heights at the pixels of a grid, and the triangle of the face seen there, or -1.

        Heights are those of face coordinates.
        """
        vertices, triangles, _ = self._face(s)
        plan = vertices[:, :2][triangles]
        low = np.array([grid.left, grid.top - grid.rows * grid.pixel])
        high = np.array([grid.left + grid.cols * grid.pixel, grid.top])
        near = np.all((plan.min(axis=1) <= high) & (plan.max(axis=1) >= low), axis=1)
        some = np.flatnonzero(near)
        heights, index = top_surface(vertices, triangles[some], grid, with_index=True)
        assert index is not None
        if not len(some):
            return heights, np.full(grid.shape, -1)
        return heights, np.where(index < 0, -1, some[np.maximum(index, 0)]).astype(np.int64)

    def _face(self, s: Standing) -> tuple[FloatArray, IntArray, IntArray]:
        """Return vertices in face coordinates, and triangles and units that face its viewer."""
        if s.side not in self._faces:
            f = self._finished
            of = f.on(s.side)
            up = rise(f.vertices, f.triangles[of]) * s.side > 0.0
            self._faces[s.side] = (
                to_face(f.vertices, s.place),
                f.triangles[of][up],
                f.source[of][up],
            )
        return self._faces[s.side]


def _corners(s: Standing, number: int) -> FloatArray:
    vertices, triangles, unit = s.own
    return np.asarray(vertices[triangles[unit == number].ravel(), :2])


def _grid_round(points: FloatArray) -> Grid:
    low, high = points.min(axis=0), points.max(axis=0)
    pixel = max(float((high - low).max()) / _PIXELS, 1e-4)
    cols, rows = (np.ceil((high - low) / pixel).astype(int) + 3).tolist()
    return Grid(
        rows=rows, cols=cols, pixel=pixel,
        left=float(low[0]) - 0.93 * pixel, top=float(high[1]) + 0.91 * pixel,
    )  # fmt: skip


def _points(grid: Grid, rows: IntArray, cols: IntArray) -> FloatArray:
    return np.column_stack([grid.left + cols * grid.pixel, grid.top - rows * grid.pixel])


def _own_heights(s: Standing, number: int, grid: Grid, *, level: bool) -> FloatArray:
    """Return the heights of a unit's own surface above the field, -inf where there is none.

    Of what is cut, below the field; of its level faces only where they make up most of it.
    """
    vertices, triangles, unit = s.own
    triangles = triangles[unit == number]
    if level:
        every, flat = areas(vertices, triangles, np.zeros(len(triangles), dtype=np.int64), 1)
        if flat[0] >= 0.5 * every[0]:
            triangles = triangles[is_level(vertices, triangles)]
            return top_surface(vertices, triangles, grid)[0]
    heights = top_surface(vertices, triangles, grid)[0]
    rows, cols = np.nonzero(np.isfinite(heights))
    at = _points(grid, rows, cols)
    sign = -1.0 if s.action == "cut" else 1.0
    below = sign * (heights[rows, cols] - s.ground.height(at)) < 0.0
    heights[rows[below], cols[below]] = -np.inf
    return heights
