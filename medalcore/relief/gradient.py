"""Slopes of a model, brought to what a low relief in raking light can show.

Slopes live on the faces between neighbouring pixels: `across` (rows, cols − 1) from left to
right, `down` (rows − 1, cols) from top to bottom. They are dimensionless (mm per mm) and 0
where either pixel is outside the mask.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]

MODEL_LIGHT = math.radians(45.0)  # how a model in the round is usually lit
RELIEF_LIGHT = math.radians(25.0)  # raking light, by which a medal is looked at
# A surface that leans by the angle a from the picture plane differs between lights from
# opposite sides by 2 cos(light) sin(a), against sin(light) of a level one. The relief looks
# as the model does when sin(lean) shrinks by this ratio (Lambert's law).
LEAN = math.tan(RELIEF_LIGHT) / math.tan(MODEL_LIGHT)
# Height is short, and steep flanks use it up. Measured on fifteen models: the reading score
# gains 0.01 if gentle slopes are told more strongly and steep ones saturate sooner. It would
# be 0.003 higher at 1.5, where the broad form of heads begins to go.
_GENTLE, _STEEP = 1.3, 2.0


def slopes(heights: Array, mask: NDArray[np.bool_], pixel: float) -> tuple[Array, Array]:
    """Return forward differences inside the mask, (rows, cols − 1) and (rows − 1, cols)."""
    across = np.diff(heights, axis=1)
    across *= np.float32(1.0 / pixel)
    across *= mask[:, 1:] & mask[:, :-1]
    down = np.diff(heights, axis=0)
    down *= np.float32(1.0 / pixel)
    down *= mask[1:] & mask[:-1]
    return across, down


def attenuate(across: Array, down: Array, relax: float = 0.0) -> None:
    """Shrink slopes in place to what raking light shows as the model's own.

    With a the lean of the model and b that of the relief, sin b = LEAN · sin a would look the
    same under a light at 25° as the model under one at 45°: small slopes shrink to 0.47 of
    themselves, an upright wall to a slope of 0.53. The relief exaggerates gentle slopes, as
    medallists do: small ones shrink to 0.61, an upright wall to 0.48.

    Parameters
    ----------
    across, down : float32 arrays
        Slopes, changed in place.
    relax : float
        0 for the above, 1 to leave slopes as they are; between, the geometric mean.
    """
    square = np.zeros((across.shape[0], down.shape[1]), np.float32)
    half = across * across
    square[:, 1:] += half
    square[:, :-1] += half
    half = down * down
    square[1:] += half
    square[:-1] += half
    square *= np.float32(0.5)  # each cell has two faces in each direction
    # tan b / tan a = LEAN / sqrt(1 + (1 − LEAN²) tan² a)
    square *= np.float32(_STEEP * (1.0 - LEAN**2))
    square += np.float32(1.0)
    factor = np.float32(_GENTLE * LEAN) / np.sqrt(square, out=square)
    if relax > 0.0:
        factor **= np.float32(1.0 - relax)
    # the smaller of the two keeps a cliff from lending its factor to the faces beside it
    across *= np.minimum(factor[:, 1:], factor[:, :-1])
    down *= np.minimum(factor[1:], factor[:-1])


def divergence(across: Array, down: Array) -> Array:
    """Return −div of the slopes, (rows, cols): the right-hand side for heights in pixels."""
    out = np.zeros((across.shape[0], down.shape[1]), np.float32)
    out[:, 1:] += across
    out[:, :-1] -= across
    out[1:] += down
    out[:-1] -= down
    return out


@dataclass(frozen=True, eq=False)
class Outline:
    """The pixels along the outline of a mask.

    Attributes
    ----------
    index : (n,) int
        Their places in the flat grid.
    sides : (n,) float32
        How many of each one's four sides lie on the outline.
    open : (4, n) bool
        Whether its right, left, lower and upper side does.
    shape : (rows, cols)
        Of the grid.
    """

    index: NDArray[np.intp]
    sides: Array
    open: NDArray[np.bool_]
    shape: tuple[int, int]


def outline_of(mask: NDArray[np.bool_]) -> Outline:
    """Find the pixels along the outline of a mask."""
    wide = np.pad(mask, 1)
    within = wide[1:-1, 2:] & wide[1:-1, :-2]
    within &= wide[2:, 1:-1]
    within &= wide[:-2, 1:-1]
    index = np.flatnonzero(mask & ~within)
    row, col = np.divmod(index, mask.shape[1])
    outside = ~np.stack(
        [
            wide[row + 1, col + 2],
            wide[row + 1, col],
            wide[row + 2, col + 1],
            wide[row, col + 1],
        ]
    )
    return Outline(index, outside.sum(0).astype(np.float32), outside, mask.shape)


def beyond(across: Array, down: Array, outline: Outline) -> Array:
    """Return how much lower than its pixels the outline lies, summed over their open sides.

    The outline runs half a pixel outside the last pixels; their slope is carried on to it, so
    that a round form ends as low on coarse pixels as on fine ones. (n,) float32, in pixels.
    """
    row, col = np.divmod(outline.index, outline.shape[1])
    right, left, lower, upper = outline.open
    # slopes beyond the border of the grid are those of no face: 0
    across, down = np.pad(across, ((0, 0), (1, 1))), np.pad(down, ((1, 1), (0, 0)))
    fall: Array = left * across[row, col + 1] - right * across[row, col]
    fall += upper * down[row + 1, col] - lower * down[row, col]
    fall *= np.float32(0.5)
    return fall
