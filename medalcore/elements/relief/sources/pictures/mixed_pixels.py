"""Pixels of a depth picture that a cliff runs through, settled on one of its sides.

Where a picture was smoothed against stairs, the pixels along a cliff hold a mean of what is on
either side: heights that are nowhere on the form.
"""

from __future__ import annotations

import numpy as np

from .....geometry.types import BoolArray, Float32Array, IntArray

_LEVEL = 0.1
"""Share of a jump by which heights may change before and after it, and it be a cliff's."""

_ROUNDS = 6
"""At corners a pixel is told only once those beside it are settled."""

_SPANS = ((1, 1), (1, 2), (2, 1))
"""Pixels from one that is mixed to the nearest clear ones before and after it."""


def settle(values: Float32Array, mask: BoolArray, least: float) -> Float32Array:
    """Give mixed pixels the value of the side that the greater part of them lies on.

    Parameters
    ----------
    values : (rows, cols) float32
    mask : (rows, cols) bool
        Where they are known; nothing else counts.
    least : float
        Jump of values from which it is a cliff, above 0.

    Returns
    -------
    values : (rows, cols) float32
        The same array where nothing is mixed.
    """
    for _ in range(_ROUNDS):
        done = _once(values, mask, least)
        if done is values:
            break
        values = done
    return values


def _once(values: Float32Array, mask: BoolArray, least: float) -> Float32Array:
    found = [_mixed(values, mask, least)]
    at, to, size = _mixed(np.ascontiguousarray(values.T), np.ascontiguousarray(mask.T), least)
    rows, cols = values.shape
    found.append((at % rows * cols + at // rows, to, size))
    at, to, size = (np.concatenate(part) for part in zip(*found, strict=True))
    if not len(at):
        return values
    order = np.argsort(size, kind="stable")  # of several, the greatest jump has the last word
    out = values.copy()
    out.ravel()[at[order]] = to[order]
    return out


def _mixed(
    values: Float32Array, mask: BoolArray, least: float
) -> tuple[IntArray, Float32Array, Float32Array]:
    """Return mixed pixels of rows, the values they should have, and the jumps they lie in."""
    flat, known = values.ravel(), mask.ravel()
    cols = values.shape[1]
    some = np.abs(values[:, 1:-1] - values[:, :-2]) + np.abs(values[:, 2:] - values[:, 1:-1])
    row, col = np.nonzero(some > np.float32(0.3 * least))
    place, col = row * cols + col + 1, col + 1
    found = []
    for before, after in _SPANS:
        ok = (col >= before) & (col + after < cols)
        p = place[ok]
        steps = [flat[p + k + 1] - flat[p + k] for k in range(-before, after)]
        sure = np.logical_and.reduce([known[p + k] for k in range(-before, after + 1)])
        jump = flat[p + after] - flat[p - before]
        size = np.abs(jump)
        good = sure & (size >= np.float32(least))
        for step in steps:
            good &= step * jump > 0
        for clear, beyond, there in (
            (p - before, p - before - 1, col[ok] > before),
            (p + after, p + after + 1, col[ok] + after + 1 < cols),
        ):
            other = np.where(there, beyond, clear)
            change = np.where(known[other], np.abs(flat[clear] - flat[other]), np.float32(0))
            good &= change <= np.float32(_LEVEL) * size
        p, jump = p[good], jump[good]
        low, high = flat[p - before], flat[p + after]
        nearer = np.abs(flat[p] - low) < np.abs(high - flat[p])
        found.append((p, np.where(nearer, low, high), np.abs(jump)))
    at, to, size = (np.concatenate(part) for part in zip(*found, strict=True))
    return at, to, size
