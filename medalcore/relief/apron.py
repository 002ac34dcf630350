"""A foot that flows into the field instead of ending in a wall.

Outside the silhouette the relief is carried on as a skirt that falls from the height of the
outline and meets the field at a grazing angle. The skirt solves ℓ² ∇²u = u: it dies away by
the distance ℓ, e-fold by e-fold, fills corners between two walls as a modelling tool would,
and has no ridge anywhere.
"""

from __future__ import annotations

import math

import numpy as np

from ..grid import Grid, HeightField
from .multigrid import Poisson, Pyramid

_LAST = 0.004
"""Height, mm, at which the skirt ends: enough for a solid to cross the field cleanly."""

_FOLDS = 3.1
"""The e-fold is the radius over this: an outline 0.09 mm high reaches `_LAST` at the radius."""


def with_apron(field: HeightField, radius: float) -> HeightField:
    """Carry a relief on into the field.

    Parameters
    ----------
    field : HeightField
        Heights above the field, mm.
    radius : float
        About how far the skirt reaches beyond the outline, mm.

    Returns
    -------
    HeightField
        On a larger grid of the same pixels; what was inside the mask is unchanged.
    """
    pixel, fold = field.grid.pixel, radius / _FOLDS
    highest = float(field.heights.max(initial=0.0))
    if radius <= 0.0 or highest <= _LAST:
        return field
    grow = math.ceil(fold * math.log(highest / _LAST) / pixel) + 2
    grid = Grid(
        field.grid.left - grow * pixel,
        field.grid.top + grow * pixel,
        pixel,
        field.grid.rows + 2 * grow,
        field.grid.cols + 2 * grow,
    )
    heights, mask = np.pad(field.heights, grow), np.pad(field.mask, grow)
    outside = ~mask
    wall = np.zeros(grid.shape, np.float32)  # faces that a pixel shares with the silhouette
    given = np.zeros(grid.shape, np.float32)  # and the heights beyond them
    for own, other in (
        (np.s_[:, 1:], np.s_[:, :-1]),
        (np.s_[:, :-1], np.s_[:, 1:]),
        (np.s_[1:], np.s_[:-1]),
        (np.s_[:-1], np.s_[1:]),
    ):
        wall[own] += mask[other]
        given[own] += heights[other]
    screen = (wall + np.float32((pixel / fold) ** 2)) * outside
    pyramid = Pyramid(outside)
    skirt, _ = Poisson(pyramid, pyramid.pad(screen)).solve(
        pyramid.pad(given * outside), tolerance=1e-4
    )
    skirt = skirt[: grid.rows, : grid.cols]
    apron = outside & (skirt > _LAST)
    return HeightField(grid, np.where(apron, skirt, heights).astype(np.float32), mask | apron)
