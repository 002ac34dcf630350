"""Wall and bottom of a relief: from its surface to a closed shape.

A relief without draft has its wall hung on here, upright; it is not a `perimeter_wall` that
reaches nowhere. That one is part of a height field, which has no upright walls: with 0.2 degrees
of draft a figure and a shell of 22 mm come out up to 19 micrometres larger and with 51 % and 13 %
more triangles, at draft quality, and no part of the wall is upright. Heights are the same.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from ....context.ground import Ground
from ....errors import SolidError
from ....geometry.arrays import cross2
from ....geometry.bodies import triangulated
from ....geometry.grid import Grid
from ....geometry.silhouette import Silhouette, next_in_loop
from ....geometry.types import BoolArray, FloatArray, IntArray
from .greedy_insertion import Surface
from .hung_wall import Wall, gaps
from .hung_wall import leaning as leaning_out
from .slope_limit import limit_slopes

_HALF = 0.42  # of a gap: how far a wall may lean into it
_CLEARLY = 0.7  # of the wanted lean of a wall, below which its steepness is told
_SINK = 0.25  # mm that the bottom lies below the field
BELOW = 0.06
"""mm below the field where a drafted wall ends and an upright one begins."""


@dataclass(frozen=True, eq=False)
class Shape:
    """A relief as closed triangles, and what happened on the way.

    Attributes
    ----------
    vertices : (n, 3) float64
        Face coordinates, mm.
    triangles : (m, 3) int64
        The top's first (`top` of them), then wall and bottom.
    top : int
    height_mm : float
        Highest point above the field, measured on the vertices.
    size_mm : tuple of float
        Extent in u and v where the surface meets the field.
    pieces, holes : int
        Loops of the outline.
    islands_dropped, holes_filled : int
        Specks under two pixels.
    steep_share : float
        Share of the outline whose wall is clearly steeper than asked, because the gap it
        stands in is too narrow for it.
    """

    vertices: FloatArray
    triangles: IntArray
    top: int
    height_mm: float
    size_mm: tuple[float, float]
    pieces: int
    holes: int
    islands_dropped: int
    holes_filled: int
    steep_share: float


def closed_shape(
    surface: Surface,
    first: IntArray,
    mask: BoolArray,
    grid: Grid,
    ground: Ground,
    draft: float,
    specks: tuple[int, int],
) -> Shape:
    """Hang wall and bottom on the border of the top, whose points come first in it."""
    uv = grid.in_mm(surface.points)
    n, m = len(uv), int(first[-1])
    field_z = ground.height(uv)
    low = float(field_z.min())
    deep = space(low, ground)
    sink, below = min(_SINK, 0.9 * deep), min(BELOW, 0.3 * deep)
    wanted = np.maximum(surface.z[:m] - field_z[:m] + below, 0.0) * math.tan(max(draft, 0.0))
    wide = gaps(surface.points[:m], first, mask, wanted / grid.pixel) * grid.pixel
    wall = leaning_out(uv[:m], first, np.minimum(wanted, _HALF * wide))
    foot_z = ground.height(wall.points) - below
    if draft > 0:
        foot_z = _held(uv[:m], surface.z[:m], wall, foot_z, below, draft)
    bottom_z = min(low - sink, float(foot_z.min()) - 0.25 * sink)
    k = len(wall.points)
    vertices = np.concatenate(
        [
            np.column_stack([uv, surface.z]),
            np.column_stack([wall.points, foot_z]),
            np.column_stack([wall.points, np.full(k, bottom_z)]),
        ]
    )
    strip = np.where(wall.strip >= m, wall.strip + (n - m), wall.strip)
    ring = n + np.arange(k)
    after = n + next_in_loop(wall.first)
    upright = np.concatenate(
        [
            np.stack([ring + k, after + k, after], 1),
            np.stack([ring + k, after, ring], 1),
        ]
    )
    bottom = polygon(wall.points, wall.first)[:, ::-1] + n + k
    side = np.linalg.norm(uv[next_in_loop(first)] - uv[:m], axis=1)
    triangles = np.concatenate([surface.triangles, strip, upright, bottom])
    under = np.concatenate([field_z, foot_z + below, np.full(k, np.inf)])
    return _told(
        vertices,
        triangles,
        len(surface.triangles),
        float(np.max(surface.z - field_z)),
        _at_field(vertices, triangles, vertices[:, 2] - under),
        Silhouette(uv[:m], first),
        specks,
        float(np.sum(side[wall.reach < _CLEARLY * wanted]) / np.sum(side)),
    )


def hung_shape(
    surface: Surface,
    first: IntArray,
    grid: Grid,
    ground: Ground,
    outline: Silhouette,
    specks: tuple[int, int],
) -> Shape:
    """Hang upright walls and a bottom on the border of a top that ends below the field.

    `outline` is that of the relief, mm, and `specks` what was left out of it.
    """
    uv = grid.in_mm(surface.points)
    field_z = ground.height(uv)
    n, m = len(uv), int(first[-1])
    low = float(field_z.min())
    sink = min(_SINK, 0.9 * space(low, ground))
    bottom_z = min(low - sink, float(surface.z[:m].min()) - 0.25 * sink)
    ring, after = np.arange(m), next_in_loop(first)
    upright = np.concatenate(
        [np.stack([ring + n, after + n, after], 1), np.stack([ring + n, after, ring], 1)]
    )
    bottom = polygon(uv[:m], first)[:, ::-1] + n
    vertices = np.concatenate(
        [np.column_stack([uv, surface.z]), np.column_stack([uv[:m], np.full(m, bottom_z)])]
    )
    triangles = np.concatenate([surface.triangles, upright, bottom])
    height = float(np.max(surface.z - field_z))
    below = np.concatenate([field_z, np.full(m, np.inf)])
    size = _at_field(vertices, triangles, vertices[:, 2] - below)
    return _told(vertices, triangles, len(surface.triangles), height, size, outline, specks, 0.0)


def _at_field(vertices: FloatArray, triangles: IntArray, height: FloatArray) -> tuple[float, float]:
    """Return how far triangles reach in u and v where they pass the field, mm.

    `height` of the vertices is above the field, mm.
    """
    start, stop = triangles.ravel(), triangles[:, [1, 2, 0]].ravel()
    passes = (height[start] > 0.0) & (height[stop] <= 0.0)
    start, stop = start[passes], stop[passes]
    if not len(start):
        return 0.0, 0.0
    drop = np.where(np.isfinite(height[stop]), height[start] - height[stop], 1.0)
    share = np.where(np.isfinite(height[stop]), height[start] / drop, 0.0)[:, None]
    at = vertices[start, :2] + share * (vertices[stop, :2] - vertices[start, :2])
    extent = np.ptp(at, axis=0)
    return float(extent[0]), float(extent[1])


def _told(
    vertices: FloatArray,
    triangles: IntArray,
    top: int,
    height_mm: float,
    size_mm: tuple[float, float],
    outline: Silhouette,
    specks: tuple[int, int],
    steep: float,
) -> Shape:
    """Return a shape with what is known of it."""
    loops = outline.areas()
    return Shape(
        vertices=vertices,
        triangles=triangles,
        top=top,
        height_mm=height_mm,
        size_mm=size_mm,
        pieces=int(np.sum(loops > 0)),
        holes=int(np.sum(loops < 0)),
        islands_dropped=specks[0],
        holes_filled=specks[1],
        steep_share=steep,
    )


def _held(
    border: FloatArray,
    z: FloatArray,
    wall: Wall,
    foot_z: FloatArray,
    below: float,
    draft: float,
) -> FloatArray:
    """Return heights of the wall's foot, moved below the field so that it keeps the draft."""
    give = np.repeat([1e-9, 0.8 * below], [len(border), len(foot_z)])
    points = np.concatenate([border, wall.points])
    both = np.concatenate([z, foot_z])
    ceiling = np.full(len(both), math.inf)
    held = limit_slopes(points, both, wall.strip, 1 / math.tan(draft), give, give, ceiling)
    return held[len(border) :]


def narrowest(height: float) -> float:
    """Return over the tangent of the draft how wide a gap must be for walls on both sides, mm."""
    return (height + BELOW) / _HALF


def space(low: float, ground: Ground) -> float:
    """Return how far a foot may reach below the field.

    Raises
    ------
    SolidError
        If that is too little.
    """
    deep = low - ground.floor
    if deep < 0.02:
        raise SolidError(
            "the relief cannot reach into the piece, which is too thin below the field; "
            "make it thicker, or its fields less deep"
        )
    return deep


def polygon(points: FloatArray, first: IntArray) -> IntArray:
    """Triangulate the area within loops.

    Raises
    ------
    SolidError
        If the loops cross.
    """
    loops = [points[a:b] for a, b in itertools.pairwise(first)]
    triangles = triangulated(loops)
    corner = points[triangles]
    e1, e2 = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    area = cross2(e1, e2)
    if np.any(area < -1e-6):
        raise SolidError("the outline of the relief crosses itself")
    return triangles
