"""The outline of a relief and how high the relief stands along it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ....context.ground import Ground
from ....context.tolerance import Tolerance
from ....geometry.constraint_lines import Lines
from ....geometry.draft import Draft
from ....geometry.grid import Grid
from ....geometry.masks import grown
from ....geometry.silhouette import Silhouette, next_in_loop, simplify
from ....geometry.types import BoolArray, Float32Array, FloatArray, IntArray
from .edge_walls import envelope

_THIN = 0.065  # pixels: less than how far the outline keeps clear of pixel centres
_SPECK = 2.0  # pixels: an island or a hole smaller than this is an accident of the grid
_EVENED = 16  # times that heights along the outline are evened, each over a pixel or so
_WITHIN = 1.0  # pixels inside the outline where its height is read


@dataclass(frozen=True, eq=False)
class OutlineHeights:
    """The outline of a relief.

    Attributes
    ----------
    outline : Outline
    z : (n,) float64
        Of all its points, mm above the field.
    chosen : (m,) int64
        Points that draw it truly.
    first : (k + 1,) int64
        Where loops start among those.
    """

    outline: Silhouette
    z: FloatArray
    chosen: IntArray
    first: IntArray

    @property
    def line(self) -> Lines:
        """Return the outline drawn with few points."""
        edges = np.stack([np.arange(len(self.chosen)), next_in_loop(self.first)], axis=1)
        return Lines(self.outline.points[self.chosen], self.z[self.chosen], edges)


def pixel_at(flat: int, grid: Grid) -> FloatArray:
    """Return where a pixel lies, (1, 2) pixels."""
    row, col = divmod(flat, grid.cols)
    return np.array([[col, -row]], dtype=np.float64)


def edge_heights(
    outline: Silhouette, mask: BoolArray, height: Float32Array, pixel: float, draft: float
) -> tuple[FloatArray, Float32Array]:
    """Return heights along an outline, (n,), and the heights carried on beyond it, all mm."""
    known, height = _extrapolate(mask, height)
    edge_z = _along(outline, known, height)
    if draft > 0:
        drop_per_pixel = Draft(draft).drop_per_pixel(pixel)
        edge_z = np.minimum(edge_z, -envelope(outline.points, mask, -height, drop_per_pixel))
        edge_z = np.maximum(edge_z, envelope(outline.points, mask, height, drop_per_pixel))
    return edge_z, height


def drop_specks(outline: Silhouette, summit: int, grid: Grid) -> tuple[Silhouette, int, int]:
    """Drop islands and fill holes of less than two pixels; return also their numbers.

    An island with the summit, a flat pixel index, stays: the height asked for stands there.
    """
    area = outline.areas()
    small = np.abs(area) < _SPECK - 0.5  # the contour of n pixels covers about n − ½
    for k in np.flatnonzero(small & (area > 0)):
        loop = outline.points[outline.first[k] : outline.first[k + 1]]
        small[k] = np.any(np.abs(loop.mean(axis=0) - pixel_at(summit, grid)) > 1.5)
    if not np.any(small):
        return outline, 0, 0
    islands, holes = int(np.sum(small & (area > 0))), int(np.sum(small & (area <= 0)))
    return outline.keep(~small), islands, holes


def _extrapolate(
    mask: BoolArray, heights: Float32Array, layers: int = 3
) -> tuple[BoolArray, Float32Array]:
    """Carry heights beyond the mask: each layer the mean of the neighbours it has."""
    known = mask.copy()
    h = np.where(mask, heights, np.float32(0))
    rows, cols = mask.shape
    for _ in range(layers):
        ring = np.flatnonzero(grown(known) & ~known)
        r, c = ring // cols, ring % cols
        total, count = np.zeros(len(ring)), np.zeros(len(ring))
        for dr in (-1, 0, 1):
            for dc in (-1, 0, 1):
                rr, cc = r + dr, c + dc
                ok = (rr >= 0) & (rr < rows) & (cc >= 0) & (cc < cols)
                q = np.where(ok, rr * cols + cc, ring)
                has = known.ravel()[q]
                total += np.where(has, h.ravel()[q], 0)
                count += has
        h.ravel()[ring] = (total / np.maximum(count, 1)).astype(np.float32)
        known.ravel()[ring] = True
    return known, h


def _along(outline: Silhouette, known: BoolArray, height: Float32Array) -> FloatArray:
    """Read heights along the outline, a pixel inside it, evened over about a pixel.

    On a form that falls away steeply the outermost pixels stand as high as chance has put
    them nearer to the edge or farther from it; at one distance they stand alike.
    """
    rows, cols = height.shape
    way = (
        outline.points[next_in_loop(outline.first, 2)]
        - outline.points[next_in_loop(outline.first, -2)]
    )
    way /= np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)[:, None]
    x = np.clip(outline.points[:, 0] - _WITHIN * way[:, 1], 0, cols - 1)
    y = np.clip(-(outline.points[:, 1] + _WITHIN * way[:, 0]), 0, rows - 1)
    c, r = (
        np.minimum(x.astype(np.int64), cols - 2),
        np.minimum(y.astype(np.int64), rows - 2),
    )
    total, weight = np.zeros(len(x)), np.zeros(len(x))
    for dr in (0, 1):
        for dc in (0, 1):
            w = np.abs(1 - dr - (y - r)) * np.abs(1 - dc - (x - c)) + 1e-9
            w *= known[r + dr, c + dc]
            total += w * height[r + dr, c + dc]
            weight += w
    edge = total / weight
    nxt, prv = next_in_loop(outline.first), next_in_loop(outline.first, -1)
    for _ in range(_EVENED):
        edge = 0.25 * (edge[prv] + 2.0 * edge + edge[nxt])
    return edge


def choose_corners(
    outline: Silhouette,
    edge_z: FloatArray,
    ground: Ground,
    grid: Grid,
    tolerance: Tolerance,
) -> tuple[IntArray, IntArray]:
    """Choose the outline points to keep; return them and where the loops start among them."""
    z = edge_z + ground.height(grid.in_mm(outline.points))
    scale = np.array([min(tolerance.curve / grid.pixel, _THIN), 0.3 * tolerance.surface])
    chosen = simplify(np.column_stack([outline.points, z]), outline.first, scale)
    return chosen, np.searchsorted(chosen, outline.first)
