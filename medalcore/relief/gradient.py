"""Slopes of a model, brought to what a low relief in raking light can show.

Slopes live on the faces between neighbouring pixels: `across` (rows, cols − 1) from left to
right, `down` (rows − 1, cols) from top to bottom. They are dimensionless (mm per mm) and 0
where either pixel is outside the mask.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]

MODEL_LIGHT = math.radians(45.0)  # how a model in the round is usually lit
RELIEF_LIGHT = math.radians(25.0)  # raking light, by which a medal is looked at
# A surface that leans by the angle a from the picture plane differs between lights from
# opposite sides by 2 cos(light) sin(a), against sin(light) of a level one. The relief looks
# as the model does when sin(lean) shrinks by this ratio (Lambert's law).
LEAN = math.tan(RELIEF_LIGHT) / math.tan(MODEL_LIGHT)


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
    """Shrink slopes in place so that the relief lit at 25° looks as the model lit at 45°.

    With a the lean of the model and b that of the relief, sin b = LEAN · sin a: small slopes
    shrink to 0.47 of themselves, an upright wall to a slope of 0.53.

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
    square *= np.float32(1.0 - LEAN**2)
    square += np.float32(1.0)
    factor = np.float32(LEAN) / np.sqrt(square, out=square)
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


def open_sides(mask: NDArray[np.bool_]) -> Array:
    """Return how many sides of each pixel inside lie on the outline, (rows, cols) 0 to 4."""
    inside = np.pad(mask, 1).astype(np.float32)
    beside = inside[:-2, 1:-1] + inside[2:, 1:-1] + inside[1:-1, :-2] + inside[1:-1, 2:]
    sides: Array = mask * (np.float32(4.0) - beside)
    return sides


def beyond(across: Array, down: Array, mask: NDArray[np.bool_]) -> Array:
    """Return how much lower than its open pixels the outline lies, summed over their open sides.

    The outline runs half a pixel outside the last pixels; their slope is carried on to it, so
    that a round form ends as low on coarse pixels as on fine ones. (rows, cols), in pixels.
    """
    out = np.zeros(mask.shape, np.float32)
    for slope, own, cells in ((across, mask, out), (down.T, mask.T, out.T)):
        row, col = np.nonzero(own[:, 1:-1] & ~own[:, 2:])  # open to the right, or below
        cells[row, col + 1] -= slope[row, col]
        row, col = np.nonzero(own[:, 1:-1] & ~own[:, :-2])
        cells[row, col + 1] += slope[row, col + 1]
        last = own[:, -1]  # sides that lie on the border of the grid
        cells[last, -1] -= slope[last, -1]
        first = own[:, 0]
        cells[first, 0] += slope[first, 0]
    out *= np.float32(0.5)
    return out
