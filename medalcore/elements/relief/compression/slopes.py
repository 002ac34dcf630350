"""Slopes of a model, brought to what a low relief in raking light can show.

Slopes live on the faces between neighbouring pixels: `across` (rows, cols − 1) from left to
right, `down` (rows − 1, cols) from top to bottom. They are dimensionless (mm per mm) and 0
where either pixel is outside the mask.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ....geometry.types import BoolArray, Float32Array, IndexArray

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
_GAP = 0.12  # mm: a gap from which on the outline beside it is drawn to the field as any
_KINK = np.float32(0.3)  # by which a slope turns from one face to the next but one in a kink


def slopes(
    heights: Float32Array, mask: BoolArray, pixel: float
) -> tuple[Float32Array, Float32Array]:
    """Return forward differences inside the mask, (rows, cols − 1) and (rows − 1, cols)."""
    across = np.diff(heights, axis=1)
    across *= np.float32(1.0 / pixel)
    across *= mask[:, 1:] & mask[:, :-1]
    down = np.diff(heights, axis=0)
    down *= np.float32(1.0 / pixel)
    down *= mask[1:] & mask[:-1]
    return across, down


def attenuate(across: Float32Array, down: Float32Array) -> None:
    """Shrink slopes in place to what raking light shows as the model's own.

    With a the lean of the model and b that of the relief, sin b = LEAN · sin a would look the
    same under a light at 25° as the model under one at 45°: small slopes shrink to 0.47 of
    themselves, an upright wall to a slope of 0.53. The relief exaggerates gentle slopes, as
    medallists do: small ones shrink to 0.61, an upright wall to 0.48.

    Parameters
    ----------
    across, down : float32 arrays
        Slopes, changed in place.
    """
    kinks = [(slopes, _kinks(slopes, stride)) for slopes, stride in ((across, 1), (down, 0))]
    _shrink(across, down)
    for slopes, (face, before, after, share) in kinks:
        flat = slopes.reshape(-1)
        first = flat[before]
        flat[face] = first + share * (flat[after] - first)


def _shrink(across: Float32Array, down: Float32Array) -> None:
    """Shrink slopes, each by the lean that it and those at right angles to it have together."""
    rows, cols = across.shape[0], down.shape[1]
    above = np.zeros((1, cols), np.float32)  # squares of the faces above a band
    for top, end in bands(rows, cols):
        low = min(end, rows - 1)  # faces below the band's last row, or none
        next_row = across[top : min(end + 1, rows)]
        along = next_row * next_row
        fall = np.concatenate([above, down[top:low] * down[top:low]])
        if end == rows:
            fall = np.concatenate([fall, np.zeros((1, cols), np.float32)])
        above = fall[-1:].copy()
        middle = fall[1:] + fall[:-1]  # twice the mean at the cells
        square = middle[:, 1:] + middle[:, :-1]
        square *= np.float32(0.25)
        square += along[: end - top]
        across[top:end] *= _factor(square)
        cells = np.zeros((len(along), cols), np.float32)
        cells[:, 1:] += along
        cells[:, :-1] += along
        square = cells[1:] + cells[:-1]
        square *= np.float32(0.25)
        square += fall[1 : 1 + len(square)]
        down[top:low] *= _factor(square)


def _factor(square: Float32Array) -> Float32Array:
    """Return by what slopes shrink where their squares sum to `square`, which is used up."""
    # tan b / tan a = LEAN / sqrt(1 + (1 − LEAN²) tan² a)
    square *= np.float32(_STEEP * (1.0 - LEAN**2))
    square += np.float32(1.0)
    np.sqrt(square, out=square)
    factor: Float32Array = np.divide(np.float32(_GENTLE * LEAN), square, out=square)
    return factor


def _kinks(
    slopes: Float32Array, axis: int
) -> tuple[IndexArray, IndexArray, IndexArray, Float32Array]:
    """Find faces within which a slope turns into another, and where.

    The mean of two slopes shrinks less than they do, which would let a relief rise at every
    edge of a form, the more the larger the pixel. Such a face is shared out between the two.

    Returns
    -------
    face, before, after : (n,) int
        Flat indices of the faces and of those before and after them.
    share : (n,) float32
        How much of the face has the slope after it.
    """
    rows, cols = slopes.shape
    step, first, last = (1, 0, rows) if axis == 1 else (cols, 1, rows - 1)
    found = []
    for top, end in bands(rows, cols):
        top, end = max(top, first), min(end, last)
        if end <= top or slopes.shape[axis] < 3:
            continue
        if axis == 1:
            turn = slopes[top:end, 2:] - slopes[top:end, :-2]
        else:
            turn = slopes[top + 1 : end + 1] - slopes[top - 1 : end - 1]
        row, col = np.divmod(np.flatnonzero(np.abs(turn, out=turn) > _KINK), turn.shape[1])
        found.append((row + top) * cols + col + axis)
    face = np.concatenate(found) if found else np.zeros(0, np.intp)
    flat = slopes.reshape(-1)
    before = flat[face - step]
    share = (flat[face] - before) / (flat[face + step] - before)
    within = (share > 0.0) & (share < 1.0)
    face = face[within]
    return face, face - step, face + step, share[within]


def bands(rows: int, cols: int) -> Iterator[tuple[int, int]]:
    """Yield the first row of bands that fit the processor's cache, and the one after the last."""
    height = max(4, (1 << 15) // max(cols, 1))
    for top in range(0, rows, height):
        yield top, min(top + height, rows)


def divergence(across: Float32Array, down: Float32Array) -> Float32Array:
    """Return −div of the slopes, (rows, cols): the right-hand side for heights in pixels."""
    rows, cols = across.shape[0], down.shape[1]
    out = np.empty((rows, cols), np.float32)
    for top, end in bands(rows, cols):
        band, along = out[top:end], across[top:end]
        band[:, 1:] = along
        band[:, 0] = 0.0
        band[:, :-1] -= along
        first, last = max(top, 1), min(end, rows - 1)
        out[first:end] += down[first - 1 : end - 1]
        out[top:last] -= down[top:last]
    return out


@dataclass(frozen=True, eq=False)
class BoundaryPixels:
    """The pixels along the outline of a mask.

    Attributes
    ----------
    index : (n,) int
        Their places in the flat grid.
    sides : (n,) float32
        How many of each one's four sides lie on the outline; one at a narrow gap counts less.
    open : (4, n) float32
        How much its right, left, lower and upper side does.
    shape : (rows, cols)
        Of the grid.
    """

    index: IndexArray
    sides: Float32Array
    open: Float32Array
    shape: tuple[int, int]


def boundary_pixels(mask: BoolArray, pixel: float) -> BoundaryPixels:
    """Find the pixels along the outline of a mask; `pixel` in mm.

    No wall fits into a narrow gap: its sides are free to stay as high as they would be if it
    were closed.
    """
    wide = np.pad(mask, 1)
    within = wide[1:-1, 2:] & wide[1:-1, :-2]
    within &= wide[2:, 1:-1]
    within &= wide[:-2, 1:-1]
    index = np.flatnonzero(mask & ~within)
    row, col = np.divmod(index, mask.shape[1])
    enough = max(1, round(_GAP / pixel))
    outside = np.stack(
        [
            room(~mask, (row + down, col + right), (down, right), enough, beyond=True)
            for down, right in ((0, 1), (0, -1), (1, 0), (-1, 0))
        ]
    )
    return BoundaryPixels(index, outside.sum(0), outside, mask.shape)


def room(
    free: BoolArray,
    start: tuple[IndexArray, IndexArray],
    step: tuple[int, int],
    enough: int,
    *,
    beyond: bool,
) -> Float32Array:
    """Return how far free pixels reach from some places, as a share of `enough` of them.

    A strip of them ends anywhere between two pixels: half a pixel is its due.

    Parameters
    ----------
    free : (rows, cols) bool
    start : two (n,) int arrays
        Rows and columns of the first pixels.
    step : two int
        From one pixel to the next.
    enough : int
    beyond : bool
        Whether what lies beyond the grid is free.
    """
    row, col = start
    wide = np.pad(free, enough, constant_values=beyond).ravel()
    cols = free.shape[1] + 2 * enough
    at = (row + enough) * cols + col + enough
    count, still = np.zeros(at.shape, np.float32), np.ones(at.shape, bool)
    for _ in range(enough):
        still &= wide.take(at)
        count += still
        at = at + (step[0] * cols + step[1])
    count -= np.float32(0.5)
    np.maximum(count, np.float32(0.0), out=count)
    count /= np.float32(enough - 0.5)
    return count


def beyond(across: Float32Array, down: Float32Array, outline: BoundaryPixels) -> Float32Array:
    """Return how much lower than its pixels the outline lies, summed over their open sides.

    The outline runs half a pixel outside the last pixels; their slope is carried on to it, so
    that a round form ends as low on coarse pixels as on fine ones. (n,) float32, in pixels.
    """
    row, col = np.divmod(outline.index, outline.shape[1])
    right, left, lower, upper = outline.open
    fall = np.zeros(row.shape, np.float32)
    for side, slopes, r, c, sign in (
        (left, across, row, col, 1.0),
        (right, across, row, col - 1, -1.0),
        (upper, down, row, col, 1.0),
        (lower, down, row - 1, col, -1.0),
    ):  # slopes beyond the border of the grid are those of no face: 0
        some = (side > 0.0) & (r >= 0) & (r < slopes.shape[0]) & (c >= 0) & (c < slopes.shape[1])
        fall[some] += np.float32(sign) * side[some] * slopes[r[some], c[some]]
    fall *= np.float32(0.5)
    return fall
