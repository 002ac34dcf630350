"""Keep elements on the piece and its field: does one reach too far, by how much, what would fit."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..errors import SpecError
from ..geometry.arrays import cross2
from ..geometry.contour import Contours, circle, contours_of, inside, signed_area
from ..geometry.distance import to_contours
from ..geometry.grid import Grid
from ..geometry.raster import top_surface
from ..geometry.solid import Solid, arrays_of
from ..geometry.types import FloatArray, IntArray
from .element import Finding
from .ground import Ground
from .openings import EDGE, NAMES, opening_at

_BINS = 2048
"""Directions in which the farthest point of an element is looked at."""

_TOUCH_MM = 1e-3
"""An element may end on the very edge of the piece; rounding is not reaching beyond it."""

_SEEN_MM = 0.01
"""What stands less past the edge of a field, or above it, is not told."""

_FAR = 1e6
"""mm; numbers beyond are told by their power of ten, not digit by digit."""

_PIXELS = 160
"""Along the larger side of a relief, looked at where its field is not convex."""

_AT_ONCE = 2_000_000
"""Pairs of point and edge looked at at once: bounds the memory."""


@dataclass(frozen=True)
class Reach:
    """How far something reaches too far, mm, and where it does so most."""

    far: float
    where: tuple[float, float]

    @property
    def near(self) -> str:
        """Return the place as words."""
        u, v = (f"{x:.1e}" if abs(x) > _FAR else f"{round(x, 1) + 0.0:.1f}" for x in self.where)
        return f"near {u}, {v} mm"


def _length(length: float) -> str:
    return f"{length:.2f} mm" if length < _FAR else "far"


def silhouette(blank: Solid) -> Contours:
    """Return the outer outline of a blank seen from above, holes filled, mm."""
    return tuple(c for c in contours_of(blank.manifold.project()) if signed_area(c) > 0)


def keep_on(outline: Contours, part: Solid, cure: str = "") -> None:
    """Make sure that a part in piece coordinates lies inside the outline.

    Parameters
    ----------
    outline : contours
        mm.
    part : Solid
    cure : str
        What the element itself found would help.

    Raises
    ------
    SpecError
        Saying by how much and where it reaches beyond the edge.
    """
    rim = np.vstack(outline)
    points = farthest(np.asarray(part.manifold.to_mesh64().vert_properties)[:, :2])
    inscribed = np.hypot(rim[:, 0], rim[:, 1]).min()
    reach = _beyond(outline, points[np.hypot(points[:, 0], points[:, 1]) > 0.98 * inscribed])
    if reach is not None:
        raise SpecError(
            f"reaches {_length(reach.far)} beyond the edge of the piece, {reach.near}; "
            f"{cure or 'make it smaller or move it inwards'}"
        )


def keep_clear(outline: Contours, points: FloatArray, keep: float, cure: str = "") -> None:
    """Make sure that points stay clear of the outline of a piece, from within.

    Parameters
    ----------
    outline : contours
        mm.
    points : (k, 2) float64
        mm.
    keep : float
        How far they have to stay away from it, mm.
    cure : str
        What the element itself found would help.

    Raises
    ------
    SpecError
        Saying by how much and where they come too near, or reach beyond the edge.
    """
    rim = np.vstack(outline)
    inscribed = np.hypot(rim[:, 0], rim[:, 1]).min()
    points = points[np.hypot(points[:, 0], points[:, 1]) > 0.98 * inscribed - keep]
    cure = cure or "make it smaller or move it inwards"
    reach = _beyond(outline, points)
    if reach is not None:
        raise SpecError(
            f"reaches {_length(reach.far)} beyond the edge of the piece, {reach.near}; {cure}"
        )
    left = to_contours(points, outline)
    if left.min(initial=math.inf) < keep:
        reach = Reach(float(left.min()), tuple(points[int(np.argmin(left))].tolist()))
        raise SpecError(
            f"comes to {reach.far:.2f} mm from the edge of the piece, {reach.near}, where it needs "
            f"{keep:.2f} mm; {cure}"
        )


def past_field(ground: Ground, points: FloatArray) -> Reach | None:
    """Return how far points (k, 2) reach past the edge of a field or into a hole, or None."""
    return _beyond(_field(ground), points)


def scale_that_fits(ground: Ground, points: FloatArray, about: tuple[float, float]) -> float:
    """Return the largest scale about a place at which points (k, 2) lie on the field, 0 to 1.

    0 if the place itself does not lie on it.
    """
    field, middle = _field(ground), np.array(about)
    away = farthest(points - middle) if len(field) == 1 else points - middle
    low, high = 0.0, 1.0
    for _ in range(12):
        scale = 0.5 * (low + high)
        fits = _beyond(field, middle + scale * away) is None
        low, high = (scale, high) if fits else (low, scale)
    return low


def over_field(ground: Ground, part: Solid, fit: float, at: tuple[float, float]) -> Finding | None:
    """Return what to say of a relief in face coordinates that stands past the edge of its field.

    Parameters
    ----------
    ground : Ground
    part : Solid
    fit : float
        Its larger side as asked for, or 0, mm.
    at : (float, float)
        Where its middle is to lie, mm.
    """
    vertices, triangles, *_ = arrays_of(part)
    above = vertices[:, 2] > ground.height(vertices[:, :2]) + _SEEN_MM
    field = _field(ground)
    points = farthest(vertices[above, :2]) if len(field) == 1 else vertices[above, :2]
    if len(field) > 1 or not _is_convex(field[0]):
        points = np.vstack([points, _off_field(ground, vertices, triangles)])
    reach = past_field(ground, points)
    if reach is None or reach.far < _SEEN_MM:
        return None
    size = fit or float(np.ptp(points, axis=0).max())
    fits = math.floor(100.0 * size * scale_that_fits(ground, points, at)) / 100.0
    opening = int(opening_at(replace(ground, voids=()), np.array([reach.where]))[0])
    past, cure = "past the edge of the field", "move it inwards"
    if opening != EDGE:
        past, cure = f"into {NAMES[opening]}", f"move it off {NAMES[opening]}"
    if fits > 0.0:
        cure = f"a fit of {fits:g} mm keeps it " + ("inside" if opening == EDGE else "off it")
    told = f"reaches {reach.far:.2f} mm {past}, {reach.near}; {cure}"
    return Finding("relief-over-rim", "warning", told, "", reach.far, 0.0)


def _is_convex(outline: FloatArray) -> bool:
    step = np.roll(outline, -1, axis=0) - outline
    return bool(np.all(cross2(step, np.roll(step, -1, axis=0)) > -(_TOUCH_MM**2)))


def _off_field(ground: Ground, vertices: FloatArray, triangles: IntArray) -> FloatArray:
    """Return where what stands above a field lies off it, by pixels, (k, 2) mm.

    Between corners that lie on a field a long wall may still run over a bay or a hole of it.
    """
    low, high = vertices[:, :2].min(axis=0), vertices[:, :2].max(axis=0)
    pixel = max(float((high - low).max()) / _PIXELS, 1e-4)
    cols, rows = (np.ceil((high - low) / pixel).astype(int) + 1).tolist()
    grid = Grid(rows=rows, cols=cols, pixel=pixel, left=float(low[0]), top=float(high[1]))
    heights = top_surface(vertices, triangles, grid)[0]
    at_row, at_col = np.nonzero(np.isfinite(heights))
    points = np.column_stack([grid.left + at_col * pixel, grid.top - at_row * pixel])
    points = points[heights[at_row, at_col] > ground.height(points) + _SEEN_MM]
    off: FloatArray = points[~inside(_field(ground), points)]
    return off


def farthest(points: FloatArray) -> FloatArray:
    """Return the farthest of (n, 2) points in each of many directions, (k, 2) mm."""
    radius = np.hypot(points[:, 0], points[:, 1])
    turn = np.arctan2(points[:, 1], points[:, 0])
    bins = ((turn / (2.0 * np.pi) + 0.5) * _BINS).astype(np.int64) % _BINS
    order = np.lexsort((radius, bins))
    last = np.flatnonzero(np.diff(bins[order], append=-1))
    found: FloatArray = points[order[last]]
    return found


def _field(ground: Ground) -> Contours:
    """Return the outline of a field."""
    told = tuple(np.array(c, dtype=np.float64) for c in ground.outline)
    return told or (circle(ground.radius, _TOUCH_MM),)


def _beyond(outline: Contours, points: FloatArray) -> Reach | None:
    """Return how far, and where, points reach beyond an outline."""
    worst: Reach | None = None
    for some in np.array_split(
        points, math.ceil(len(points) * sum(map(len, outline)) / _AT_ONCE) or 1
    ):
        outside = some[~inside(outline, some)]
        far = to_contours(outside, outline)
        if far.max(initial=0.0) > (worst.far if worst else _TOUCH_MM):
            at = int(np.argmax(far))
            worst = Reach(float(far[at]), (float(outside[at, 0]), float(outside[at, 1])))
    return worst
