"""Heights of a grid known at some pixels, carried on beyond them and read between them."""

from __future__ import annotations

import numpy as np

from .masks import grown
from .types import BoolArray, Float32Array, FloatArray, IntArray

_STEEP = 2.0  # pixels: heights that change by more are not carried on at that slope


class ExtendedHeights:
    """Heights known at some pixels, read anywhere near them.

    Parameters
    ----------
    values : (rows, cols) float32
        mm.
    known : (rows, cols) bool
    pixel : float
        mm.
    beyond : float
        What is read farther than some pixels from all that is known.
    """

    _LAYERS = 4

    def __init__(self, values: Float32Array, known: BoolArray, pixel: float, beyond: float) -> None:
        self.values = np.where(known, values, np.float32(np.nan))
        most = np.float32(_STEEP * pixel)
        cols = values.shape[1]
        have = known.copy()
        for _ in range(self._LAYERS if known.any() else 0):
            ring = np.flatnonzero(grown(have) & ~have)
            self._carry(ring, cols, most)
            have.ravel()[ring] = True
        self.values = np.where(np.isnan(self.values), np.float32(beyond), self.values)

    def _carry(self, ring: IntArray, cols: int, most: np.float32) -> None:
        """Carry heights on to pixels beside known ones, at the slope they have there."""
        flat = self.values.ravel()
        size = len(flat)
        total, count = np.zeros(len(ring)), np.zeros(len(ring))
        for dr in (-1, 0, 1):
            for dc in (-1, 0, 1):
                if not dr and not dc:
                    continue
                way = dr * cols + dc
                first = flat[np.clip(ring + way, 0, size - 1)]
                slope = first - flat[np.clip(ring + 2 * way, 0, size - 1)]
                slope = np.where(np.abs(slope) <= most, slope, np.float32(0))  # also if unknown
                known = ~np.isnan(first)
                total += np.where(known, first + slope, 0.0)
                count += known
        flat[ring] = (total / np.maximum(count, 1)).astype(np.float32)
        self.values = flat.reshape(self.values.shape)

    def at(self, points: FloatArray) -> FloatArray:
        """Return heights at points (n, 2), between pixels by straight lines."""
        rows, cols = self.values.shape
        x = np.clip(points[:, 0], 0, cols - 1.001)
        y = np.clip(-points[:, 1], 0, rows - 1.001)
        c, r = x.astype(np.int64), y.astype(np.int64)
        fx, fy = x - c, y - r
        v = self.values.astype(np.float64) if self.values.size < 64 else self.values
        top = v[r, c] * (1 - fx) + v[r, c + 1] * fx
        low = v[r + 1, c] * (1 - fx) + v[r + 1, c + 1] * fx
        return np.asarray(top * (1 - fy) + low * fy, dtype=np.float64)
