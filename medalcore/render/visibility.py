"""What a camera far away sees of meshes: which triangle at every sample, and its normal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..geometry.grid import Grid
from ..geometry.raster import top_surface
from ..geometry.types import Float32Array, FloatArray, Int32Array, IntArray

_SLIVER = 0.05  # samples: triangles narrower than this have one normal all over


@dataclass(frozen=True, eq=False)
class Sight:
    """What is seen.

    Attributes
    ----------
    grid : Grid
        Samples; u to the right, v up, z towards the viewer, mm.
    heights : (rows, cols) float32
        z of what is seen, −inf for nothing.
    index : (rows, cols) int32
        Which of the triangles is seen, −1 for none.
    slopes : (m, 9) float32
        How the normal of each triangle that is seen runs over columns and rows, and its
        value at sample [0, 0].
    """

    grid: Grid
    heights: Float32Array
    index: Int32Array
    slopes: Float32Array

    def normals(
        self, at: NDArray[np.integer], row: Float32Array, col: Float32Array
    ) -> tuple[Float32Array, Float32Array, Float32Array]:
        """Return unnormalised normals of triangles `at` where samples see them, three (n,)."""
        run = self.slopes.take(at, axis=0)
        value = run[:, 0:3] * col[:, None]
        value += run[:, 3:6] * row[:, None]
        value += run[:, 6:9]
        x, y, z = np.ascontiguousarray(value.T)
        return x, y, z


def look(
    vertices: FloatArray,
    triangles: IntArray,
    normals: Float32Array,
    grid: Grid,
) -> Sight:
    """Return what is seen of triangles from +z.

    Parameters
    ----------
    vertices : (n, 3) float64
        Right, up, towards the viewer, mm.
    triangles : (m, 3) int64
        All of them facing the viewer.
    normals : (m, 3, 3) float32
        By triangle and corner, in the same axes.
    grid : Grid
    """
    heights, index = top_surface(vertices, triangles, grid, with_index=True)
    assert index is not None
    seen = np.zeros(len(triangles) + 1, dtype=bool)
    seen[index] = True  # −1, nothing, marks the spare one at the end
    kept = np.flatnonzero(seen[:-1])
    slopes = np.empty((len(triangles), 9), dtype=np.float32)
    slopes[kept] = _slopes(vertices, triangles[kept], normals[kept], grid)
    return Sight(grid, heights.astype(np.float32), index, slopes)


def _slopes(
    vertices: FloatArray,
    triangles: IntArray,
    normals: Float32Array,
    grid: Grid,
) -> Float32Array:
    """Return how normals run over triangles, (m, 9); see `Sight`."""
    col = (vertices[:, 0] - grid.left) / grid.pixel
    row = (grid.top - vertices[:, 1]) / grid.pixel
    c0, c1, c2 = (col[triangles[:, i]] for i in range(3))
    r0, r1, r2 = (row[triangles[:, i]] for i in range(3))
    c1, c2, r1, r2 = c1 - c0, c2 - c0, r1 - r0, r2 - r0
    area = c1 * r2 - r1 * c2
    sides = (c1**2 + r1**2, c2**2 + r2**2, (c2 - c1) ** 2 + (r2 - r1) ** 2)
    wide = np.abs(area) > _SLIVER * np.sqrt(np.maximum.reduce(sides))
    share = np.where(wide, 1.0 / np.where(wide, area, 1.0), 0.0)[:, None]
    first = normals[:, 0].astype(np.float64)
    one, two = normals[:, 1] - first, normals[:, 2] - first
    over_cols = (one * r2[:, None] - two * r1[:, None]) * share
    over_rows = (two * c1[:, None] - one * c2[:, None]) * share
    base = first - over_cols * c0[:, None] - over_rows * r0[:, None]
    base[~wide] = normals[~wide].mean(axis=1)
    return np.concatenate([over_cols, over_rows, base], axis=1).astype(np.float32)
