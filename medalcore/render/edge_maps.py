"""What stands in the light on a piece's edge: its surface unrolled, and maps of its heights.

The maps of a face say nothing of its edge, which they see as a line: looked up there they
gave stripes of the pixels' size. The edge gets maps of its own, over the way round it and
along its thickness.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..geometry.grid import Grid
from ..geometry.raster import top_surface
from ..geometry.types import Float32Array, FloatArray, IntArray
from .occlusion import RIDGE_MM, Relief, relief_of
from .shading import mottled

_NOTCH_MM = 4.0
"""Gaps in the outline up to this wide count as hollows of the edge, not as its shape."""

_SPARE_MM = 5.0
"""How far the maps run past where they begin again: more than light is looked for."""

_WIDEST = np.radians(2.0)
"""Triangles are cut until they span no more: between corners radius is taken as linear."""

_CUTS = 8

_DEEPEST_MM = 2.0
"""What lies further in than this is not of the edge that is seen from outside."""


@dataclass(frozen=True, eq=False)
class EdgeMaps:
    """Maps of an unrolled edge.

    Attributes
    ----------
    grid : Grid
        u counter-clockwise round the z axis, as an angle times `radius`; v along z. mm.
    radius : float
        mm.
    shape : (cols,) float32
        Distance from the axis of the outline, its notches closed, mm.
    relief : Relief
        Of the heights over that shape.
    uneven : (rows, cols) float32
        Variation of the toning.
    """

    grid: Grid
    radius: float
    shape: Float32Array
    relief: Relief
    uneven: Float32Array

    def places(
        self, x: Float32Array, y: Float32Array, z: Float32Array
    ) -> tuple[Float32Array, Float32Array, Float32Array]:
        """Return row, column and height over the shape of points, mm in the face's axes.

        Rows and columns count as in `Cast.on_face`.
        """
        along = np.arctan2(y, x) * np.float32(self.radius)
        col = (along - np.float32(self.grid.left)) / np.float32(self.grid.pixel) + np.float32(0.5)
        row = (np.float32(self.grid.top) - z) / np.float32(self.grid.pixel) + np.float32(0.5)
        col = np.clip(col, np.float32(0.5), np.float32(self.grid.cols - 0.51))
        row = np.clip(row, np.float32(0.5), np.float32(self.grid.rows - 0.51))
        return row, col, np.hypot(x, y) - self.shape.take(col.astype(np.int32))


def edge_maps(face: FloatArray, triangles: IntArray, pixel: float) -> EdgeMaps | None:
    """Return the maps of an edge, or None where nothing of it can be seen from outside.

    Parameters
    ----------
    face : (n, 3) float64
        All points of the piece in a face's axes, mm, about the z axis.
    triangles : (m, 3) int64
        Those of the edge.
    pixel : float
        Pitch of the maps, mm.
    """
    if not len(triangles):
        return None
    corners = _unrolled(face[triangles])
    radius = float(corners[..., 2].max())
    corners[..., 0] *= radius
    low, high = (float(f(corners[..., 1])) for f in (np.min, np.max))
    rows = max(3, round((high - low) / pixel))
    cols = max(3, round(2.0 * np.pi * radius / pixel))
    pixel = 2.0 * np.pi * radius / cols  # a whole number of them goes round
    grid = Grid(-np.pi * radius + pixel / 2.0, (low + high) / 2.0 + pixel * (rows - 1) / 2.0,
                pixel, rows, cols)  # fmt: skip
    points = corners.reshape(-1, 3)
    heights, _ = top_surface(points, np.arange(len(points)).reshape(-1, 3), grid)
    outline = heights.max(axis=0)
    if not np.all(np.isfinite(outline)):
        return None
    shape = _closed(outline, max(1, round(_NOTCH_MM / pixel)))
    heights = np.maximum(_filled(heights) - shape, -_DEEPEST_MM)
    spare = min(cols, round(_SPARE_MM / pixel))
    wide = np.pad(heights, ((0, 0), (spare, spare)), mode="wrap").astype(np.float32)
    grid = Grid(grid.left - spare * pixel, grid.top, pixel, rows, cols + 2 * spare)
    round_about = np.pad(shape, spare, mode="wrap").astype(np.float32)
    half = mottled(rows, (grid.cols + 1) // 2, pixel)  # mirrored, so that it has no seam
    uneven = np.hstack([half, half[:, ::-1]])[:, : grid.cols]
    return EdgeMaps(grid, radius, round_about, relief_of(wide, pixel, RIDGE_MM, ()), uneven)


def _unrolled(corners: FloatArray) -> FloatArray:
    """Return triangles over angle, z and radius, (k, 3, 3), small enough to be linear there.

    Those over the seam at ±π come twice, once at either end.
    """
    done = []
    for cut in range(_CUTS + 1):
        angle = np.arctan2(corners[..., 1], corners[..., 0])
        angle = np.where(angle - angle[:, :1] > np.pi, angle - 2.0 * np.pi, angle)
        angle = np.where(angle - angle[:, :1] < -np.pi, angle + 2.0 * np.pi, angle)
        wide = np.ptp(angle, axis=1) > _WIDEST
        if cut == _CUTS:
            wide[:] = False
        radius = np.hypot(corners[..., 0], corners[..., 1])
        done.append(np.stack([angle, corners[..., 2], radius], axis=-1)[~wide])
        corners = _quartered(corners[wide])
    flat = np.concatenate(done)
    left = flat[flat[..., 0].min(axis=1) < -np.pi] + np.array([2.0 * np.pi, 0.0, 0.0])
    right = flat[flat[..., 0].max(axis=1) > np.pi] - np.array([2.0 * np.pi, 0.0, 0.0])
    return np.concatenate([flat, left, right])


def _quartered(corners: FloatArray) -> FloatArray:
    """Return each triangle, (m, 3, 3), as four."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, bc, ca = (a + b) / 2.0, (b + c) / 2.0, (c + a) / 2.0
    parts = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    return np.concatenate([np.stack(part, axis=1) for part in parts])


def _closed(outline: FloatArray, width: int) -> FloatArray:
    """Return a closed line of heights with hollows up to `width` steps filled (grey closing)."""
    width = min(width, len(outline)) | 1

    def swept(values: FloatArray) -> FloatArray:
        padded = np.pad(values, width // 2, mode="wrap")
        return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, width).max(axis=1))

    return -swept(-swept(outline))


def _filled(heights: FloatArray) -> FloatArray:
    """Return heights with what nothing was seen of, −inf, as high as the next row that is."""
    middle = len(heights) // 2
    for rows in (range(middle + 1, len(heights)), range(middle - 1, -1, -1)):
        before = middle
        for row in rows:
            heights[row] = np.where(np.isfinite(heights[row]), heights[row], heights[before])
            before = row
    return heights
