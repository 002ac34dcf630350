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

from ....geometry.constraint_lines import Lines
from ....geometry.grid import Grid, HeightField
from ....geometry.poisson import Poisson, Pyramid
from ....geometry.silhouette import Silhouette, next_in_loop, trace_silhouette
from ....geometry.slope_envelope import raise_to_envelope
from ....geometry.types import BoolArray

_LAST = 0.004
"""Height, mm, at which the skirt ends: enough for a solid to cross the field cleanly."""

_FOLDS = 3.1
"""The e-fold is the radius over this: of an outline's height 4 % would be left at the radius."""


def blend_foot(field: HeightField, radius: float) -> HeightField:
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
    outside = _beside(trace_silhouette(mask), mask, radius / pixel)
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


def _beside(outline: Silhouette, mask: BoolArray, radius: float) -> BoolArray:
    """Return which pixels outside a mask are within a radius, pixels, of its outline.

    The way from a pixel to the place of the outline nearest to it stays outside and within the
    radius, so neither the pixels inside nor those farther off have to be looked at.
    """
    lines = Lines(
        outline.points,
        np.zeros(len(outline.points)),
        np.stack([np.arange(len(outline.points)), next_in_loop(outline.first)], axis=1),
    )
    beyond = np.float32(-radius - 1.0)  # what stays so low is farther off
    depth = np.pad(np.where(mask, np.float32(np.inf), beyond), 1, constant_values=np.inf)
    raise_to_envelope(depth, 1.0, np.zeros(0, dtype=np.int64), lines, 1)
    return np.asarray(~mask & (depth[1:-1, 1:-1] >= -radius))
