"""A foot that flows into the field instead of ending in a wall.

Outside the silhouette the relief is carried on as a skirt that falls from the height of the
outline and meets the field at a grazing angle, as far out as is asked all round, however high
the outline stands. The skirt solves ℓ² ∇²u = u between the outline and the line where it ends:
it dies away by the distance ℓ, e-fold by e-fold, fills corners between two walls as a modelling
tool would, and has no ridge anywhere.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..grid import Grid, HeightField
from .flanks import raise_flanks
from .lines import Lines
from .multigrid import Poisson, Pyramid
from .outline import Outline, following, silhouette

_LAST = 0.004
"""Height, mm, at which the skirt ends: enough for a solid to cross the field cleanly."""

_FOLDS = 3.1
"""The e-fold is the radius over this: of an outline's height 4 % would be left at the radius."""


def with_apron(field: HeightField, radius: float) -> HeightField:
    """Carry a relief on into the field.

    Parameters
    ----------
    field : HeightField
        Heights above the field, mm.
    radius : float
        How far the skirt reaches beyond the outline, mm.

    Returns
    -------
    HeightField
        On a larger grid of the same pixels; what was inside the mask is unchanged.
    """
    pixel, fold = field.grid.pixel, radius / _FOLDS
    highest = float(field.heights.max(initial=0.0))
    if radius <= 0.0 or highest <= _LAST:
        return field
    grow = math.ceil(radius / pixel) + 2
    grid = Grid(
        field.grid.left - grow * pixel,
        field.grid.top + grow * pixel,
        pixel,
        field.grid.rows + 2 * grow,
        field.grid.cols + 2 * grow,
    )
    heights, mask = np.pad(field.heights, grow), np.pad(field.mask, grow)
    outside = ~mask & (_distance(silhouette(mask), grid.shape) <= radius / pixel)
    wall = np.zeros(grid.shape, np.float32)  # faces that a pixel shares with what is given
    given = np.zeros(grid.shape, np.float32)  # and the heights beyond them
    beyond = np.where(mask, heights, np.float32(_LAST))
    for own, other in (
        (np.s_[:, 1:], np.s_[:, :-1]),
        (np.s_[:, :-1], np.s_[:, 1:]),
        (np.s_[1:], np.s_[:-1]),
        (np.s_[:-1], np.s_[1:]),
    ):
        wall[own] += ~outside[other]
        given[own] += np.where(outside[other], np.float32(0), beyond[other])
    screen = (wall + np.float32((pixel / fold) ** 2)) * outside
    pyramid = Pyramid(outside)
    skirt, _ = Poisson(pyramid, pyramid.pad(screen)).solve(
        pyramid.pad(given * outside), tolerance=1e-4
    )
    skirt = np.maximum(skirt[: grid.rows, : grid.cols], np.float32(_LAST))
    return HeightField(grid, np.where(outside, skirt, heights).astype(np.float32), mask | outside)


def _distance(outline: Outline, shape: tuple[int, int]) -> NDArray[np.float32]:
    """Return how far pixels are from an outline, pixels; what lies inside counts too."""
    lines = Lines(
        outline.points,
        np.zeros(len(outline.points)),
        np.stack([np.arange(len(outline.points)), following(outline.first)], axis=1),
    )
    depth = np.full((shape[0] + 2, shape[1] + 2), -np.inf, dtype=np.float32)
    depth[[0, -1]] = depth[:, [0, -1]] = np.inf  # never raised
    raise_flanks(depth, 1.0, np.zeros(0, dtype=np.int64), lines, 1)
    return -depth[1:-1, 1:-1]
