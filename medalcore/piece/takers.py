"""A closer look at what has lost something: by whom, how much of it, and where."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..context.openings import BASE, EDGE, opening_at
from ..geometry.grid import Grid
from ..geometry.raster import top_surface
from ..geometry.types import BoolArray, FloatArray, IntArray
from .standing import (
    Finished,
    Owner,
    Standing,
    corners_of,
    grid_round,
    own_heights,
    points_of,
    rise,
    to_face,
)


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
        grid = grid_round(corners_of(s, number))
        own = own_heights(s, number, grid, level=True)
        heights, index = self._seen(s, grid)
        unit_of = np.where(index < 0, EDGE, self._face(s)[2][index])
        gone = np.isfinite(own) & (unit_of != number)
        if s.action == "add":
            self._give_to_clearings(s, grid, gone & (heights < own), unit_of)
        if not gone.any():
            return {}
        rows, cols = np.nonzero(gone & (unit_of == EDGE))
        unit_of[rows, cols] = opening_at(s.ground, points_of(grid, rows, cols))
        whole = np.isfinite(own_heights(s, number, grid, level=False))
        found = {}
        for taker in np.unique(unit_of[gone]).tolist():
            by = gone & (unit_of == taker)
            if s.kind == "emblem" and taker >= 0 and self._stands_on(taker, whole, grid):
                continue
            rows, cols = np.nonzero(by)
            points = points_of(grid, rows, cols)
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
        points = corners_of(s, taker)
        low = grid.left, grid.top - (grid.rows - 1) * grid.pixel
        high = grid.left + (grid.cols - 1) * grid.pixel, grid.top
        if np.any(points.min(axis=0) < low) or np.any(points.max(axis=0) > high):
            return False
        theirs = np.isfinite(own_heights(s, taker, grid, level=False))
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
