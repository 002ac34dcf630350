"""Depth of a flat drawing: its levels, and forms that swell from their edges.

A form swells as a skin does that is fastened along its outline and blown up: it solves
ℓ² ∇²u = u − 1 with u = 0 on the outline, which rises to 1 over about three ℓ, has no ridge
where a form is narrow, and rises less there. The outline crosses the grid wherever it likes;
distances to it enter the equations (F. Gibou, R. Fedkiw, L.-T. Cheng, M. Kang, "A second-order
accurate symmetric discretization of the Poisson equation on irregular domains", J. Comput.
Phys. 176, 2002), so that nothing of the grid shows along it.
"""

from __future__ import annotations

import numpy as np

from ....geometry.contour import Contours
from ....geometry.grid import Grid, HeightField
from ....geometry.poisson import Poisson, Pyramid
from ....geometry.scanlines import covered, crossed
from ....geometry.types import BoolArray, Float32Array, FloatArray, IntArray
from ..keys import SourceKeys
from ..sources.drawing import Flat
from ..sources.fit import grid_around

_FOLDS = 3.0
"""A shoulder is so many times as wide as the length over which a skin lets go of its edge."""


_NEAREST = 0.05
"""Pixels: an outline that passes nearer to a pixel is taken to pass there."""


_DEPTH = 0.25
"""Depth of a drawing as a share of its larger side, as of a depth picture."""


def drawing_depth(flat: Flat, spec: SourceKeys, pixels: int) -> HeightField:
    """Return the depth that the levels of a drawing stand for.

    Parameters
    ----------
    flat : Flat
    spec : SourceKeys
        Its ``flat.shoulder`` and ``flat.edge``.
    pixels : int
        Along the larger side of the grid.

    Returns
    -------
    HeightField
        mm; the field of the piece is at 0, and the highest point at a quarter of the
        drawing's larger side.
    """
    grid = grid_around(flat.low, flat.high, pixels)
    level = level_map(flat.levels, grid)
    mask = level >= 0
    left = max(int(level.max()), 0)  # the highest level that a crop has left
    steps = np.diff(np.array([0.0, *flat.shares])) / flat.shares[left]
    share = np.array([*np.cumsum(steps), 0.0])
    edge = spec.flat.edge if spec.flat.shoulder > 0.0 else 1.0
    heights = edge * share[level]
    if edge < 1.0:
        rise = np.zeros(grid.shape)
        for n, contours in enumerate(flat.whole):
            rise += (1.0 - edge) * steps[n] * swell(contours, grid, spec.flat.shoulder, level >= n)
        # where forms stand over one another their highest places need not coincide: all swell
        # by as much more as brings the highest point to the height, and edges stay where asked
        heights += rise * _most_swelling(heights, rise, mask)
    heights = np.where(mask, heights * (_DEPTH * flat.size), 0.0)
    return HeightField(grid, heights.astype(np.float32), mask)


def _most_swelling(edges: FloatArray, rise: FloatArray, mask: BoolArray) -> float:
    """Return by what a rise may be multiplied for edges and rise to reach 1, and not more."""
    some = mask & (rise > 0.0)
    return float(np.min((1.0 - edges[some]) / rise[some])) if some.any() else 1.0


def swell(contours: Contours, grid: Grid, shoulder: float, mask: BoolArray) -> FloatArray:
    """Return how far a form has swollen, 0 at its outline and 1 where it has most.

    Parameters
    ----------
    contours : tuple of (n, 2) float64
        The whole form, mm.
    grid : Grid
    shoulder : float
        mm.
    mask : (rows, cols) bool
        Pixels of it that are wanted; where it is cut off it goes on level.
    """
    if not mask.any():
        return np.zeros(grid.shape)
    edges = pixel_edges(contours, grid)
    wall = _walls(edges, mask)
    wall += _walls(edges[:, :, ::-1] * -1.0, mask.T).T
    screen = np.float32((_FOLDS * grid.pixel / shoulder) ** 2)
    pyramid = Pyramid(mask)
    inside = pyramid.pad(mask)
    solver = Poisson(pyramid, pyramid.pad(wall * mask) + screen * inside)
    skin, _ = solver.solve(screen * inside, tolerance=1e-5)
    skin = np.where(mask, skin[: grid.rows, : grid.cols], 0.0)
    return np.asarray(np.maximum(skin, 0.0) / max(float(skin.max()), 1e-9), dtype=np.float64)


def _walls(edges: FloatArray, mask: BoolArray) -> Float32Array:
    """Return for each pixel the sum of 1 / distance to outlines crossed along its row."""
    rows, cols = mask.shape
    row, x = crossed(edges, rows)
    col = np.floor(x).astype(np.int64)
    some = (col >= 0) & (col < cols - 1)
    row, col, x = row[some], col[some], x[some]
    out = np.zeros(mask.shape, np.float32)
    left, right = mask[row, col], mask[row, col + 1]
    go = left & ~right
    np.maximum.at(out, (row[go], col[go]), 1.0 / np.maximum(x[go] - col[go], _NEAREST))
    wall = np.zeros(mask.shape, np.float32)
    go = right & ~left
    np.maximum.at(wall, (row[go], col[go] + 1), 1.0 / np.maximum(col[go] + 1 - x[go], _NEAREST))
    return np.asarray(out + wall)


def level_map(levels: tuple[Contours, ...], grid: Grid) -> IntArray:
    """Return the highest level that each pixel lies in, (rows, cols); −1 outside all."""
    level = np.full(grid.shape, -1, dtype=np.int64)
    for contours in levels:
        level += covered(pixel_edges(contours, grid), grid.shape)
    return level


def pixel_edges(contours: Contours, grid: Grid) -> FloatArray:
    """Return the edges of outlines, (n, 2, 2) in pixels: x = column, y = −row."""
    if not contours:
        return np.zeros((0, 2, 2))
    edges = [np.stack([c, np.roll(c, -1, axis=0)], axis=1) for c in contours]
    return np.asarray((np.concatenate(edges) - (grid.left, grid.top)) / grid.pixel)
