"""Elements as they stand on the finished piece, and the piece with the unit of every triangle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from ..context.element import Unit
from ..context.ground import Ground
from ..context.openings import BASE, EDGE, LOOP, RIM
from ..geometry.arrays import cross2
from ..geometry.grid import Grid
from ..geometry.raster import top_surface
from ..geometry.solid import Label, Side, Solid, arrays_of
from ..geometry.types import BoolArray, FloatArray, IntArray

_PIXELS = 240
"""Along the larger side of a unit that is looked at closely."""

_LEVEL = 0.75
"""Cosine of the slope up to which a face counts as level."""


@dataclass(frozen=True, eq=False)
class Standing:
    """A part of an element as it stands on the piece.

    Attributes
    ----------
    path, kind : str
    side : int
    action : str
        As `Part.action`.
    solid : Solid
        In piece coordinates, its labels with the numbers of its units.
    place : (3, 4) float64
        From face coordinates to the piece.
    ground : Ground
        Of its face.
    first : int
        Number of its first unit.
    units : tuple of Unit
    facts : mapping
        Of its element.
    may_overlap : bool
        Whether losses of it are accepted.
    """

    path: str
    kind: str
    side: Side
    action: str
    solid: Solid
    place: FloatArray
    ground: Ground
    first: int
    units: tuple[Unit, ...]
    facts: Mapping[str, Any]
    may_overlap: bool = False

    @cached_property
    def own(self) -> tuple[FloatArray, IntArray, IntArray]:
        """Return vertices in face coordinates, and the triangles and units of what is to be seen.

        Of what is cut that is what the cutter leaves in the metal.
        """
        vertices, triangles, code, labels = arrays_of(self.solid)
        unit = np.array([label.unit for label in labels])[code]
        facing = self.side * rise(vertices, triangles) > 0.0
        shown = facing != (self.action == "cut")
        return to_face(vertices, self.place), triangles[shown], unit[shown]


Owner = Mapping[int, tuple[Standing, Unit]]
"""By the number of a unit: the part it belongs to, and what it is."""


def to_face(points: FloatArray, place: FloatArray) -> FloatArray:
    """Return points of the piece in face coordinates, mm; inverse of a rigid (3, 4) transform."""
    return np.asarray((points - place[:, 3]) @ place[:, :3])


@dataclass(frozen=True, eq=False)
class Finished:
    """The finished piece.

    Attributes
    ----------
    vertices : (n, 3) float64
        mm.
    triangles : (m, 3) int64
    unit : (m,) int64
        Unit of every triangle; below 0 base, rim, edge or loop.
    source : (m,) int64
        The same, but textures, which are ground to stand on, have numbers of their own.
    side : (m,) int64
        1 obverse, −1 reverse, 0 what runs from one to the other.
    """

    vertices: FloatArray
    triangles: IntArray
    unit: IntArray
    source: IntArray
    side: IntArray

    def on(self, side: int) -> BoolArray:
        """Tell which triangles belong to a face, or to both."""
        return np.asarray((self.side == side) | (self.side == 0))

    @staticmethod
    def of(
        vertices: FloatArray, triangles: IntArray, code: IntArray, labels: Sequence[Label],
        grounds: set[int],
    ) -> Finished:  # fmt: skip
        """Return a piece by its labels; `grounds` are units that are ground to stand on."""
        other = {"rim": RIM, "edge": EDGE, "loop": LOOP}
        own = [v.unit if v.unit >= 0 else other.get(v.zone, BASE) for v in labels]
        source = np.array(own, dtype=np.int64)[code]
        unit = np.where(np.isin(source, list(grounds)), BASE, source)
        side = np.array([v.side for v in labels], dtype=np.int64)[code]
        return Finished(vertices, triangles, unit, source, side)


def rise(vertices: FloatArray, triangles: IntArray) -> FloatArray:
    """Return twice the area of triangles seen from above, above 0 if they face up, mm2."""
    a, b, c = (vertices[triangles[:, k], :2] for k in range(3))
    p, q = b - a, c - a
    return cross2(p, q)


def is_level(vertices: FloatArray, triangles: IntArray) -> BoolArray:
    """Tell which triangles are level, or nearly."""
    corner = vertices[triangles]
    cross = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    return np.asarray(np.abs(cross[:, 2]) > _LEVEL * np.linalg.norm(cross, axis=1))


def areas(
    vertices: FloatArray, triangles: IntArray, unit: IntArray, count: int
) -> tuple[FloatArray, FloatArray]:
    """Return the area seen from above of every unit, and of its level faces, mm2."""
    seen = np.abs(rise(vertices, triangles)) / 2.0
    level = is_level(vertices, triangles)
    every = np.bincount(unit, seen, count).astype(np.float64)
    return every, np.bincount(unit[level], seen[level], count).astype(np.float64)


def corners_of(s: Standing, number: int) -> FloatArray:
    """Return the corners of a unit's triangles, (k, 2) mm in face coordinates."""
    vertices, triangles, unit = s.own
    return np.asarray(vertices[triangles[unit == number].ravel(), :2])


def grid_round(points: FloatArray) -> Grid:
    """Return a grid over (k, 2) points, off the lines they may lie on."""
    low, high = points.min(axis=0), points.max(axis=0)
    pixel = max(float((high - low).max()) / _PIXELS, 1e-4)
    cols, rows = (np.ceil((high - low) / pixel).astype(int) + 3).tolist()
    return Grid(
        rows=rows, cols=cols, pixel=pixel,
        left=float(low[0]) - 0.93 * pixel, top=float(high[1]) + 0.91 * pixel,
    )  # fmt: skip


def points_of(grid: Grid, rows: IntArray, cols: IntArray) -> FloatArray:
    """Return the middles of pixels, (k, 2) mm."""
    return np.column_stack([grid.left + cols * grid.pixel, grid.top - rows * grid.pixel])


def own_heights(s: Standing, number: int, grid: Grid, *, level: bool) -> FloatArray:
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
    at = points_of(grid, rows, cols)
    sign = -1.0 if s.action == "cut" else 1.0
    below = sign * (heights[rows, cols] - s.ground.height(at)) < 0.0
    heights[rows[below], cols[below]] = -np.inf
    return heights
