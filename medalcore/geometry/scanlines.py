"""Outlines and the rows of a pixel grid: where they cross, and which pixels lie inside.

Edges are (n, 2, 2) float64 in pixels, from end to end: x = column, y = −row.
"""

from __future__ import annotations

import numpy as np

from .arrays import ragged
from .types import BoolArray, FloatArray, IntArray


def crossed(edges: FloatArray, rows: int) -> tuple[IntArray, FloatArray]:
    """Return the rows that edges cross, and at which column, not a whole number."""
    a, b = edges[:, 0], edges[:, 1]
    low = np.ceil(np.minimum(-a[:, 1], -b[:, 1])).astype(np.int64)
    high = np.ceil(np.maximum(-a[:, 1], -b[:, 1])).astype(np.int64)  # half open
    low, high = np.clip(low, 0, rows), np.clip(high, 0, rows)
    count = np.maximum(high - low, 0)
    edge, row = ragged(count)
    row += low[edge]
    t = (-row - a[edge, 1]) / (b[edge, 1] - a[edge, 1])
    return row, a[edge, 0] + t * (b[edge, 0] - a[edge, 0])


def covered(edges: FloatArray, shape: tuple[int, int]) -> BoolArray:
    """Tell which pixel centres lie inside outlines (even-odd along each row)."""
    row, x = crossed(edges, shape[0])
    flips = np.zeros((shape[0], shape[1] + 1), dtype=np.int32)
    np.add.at(flips, (row, np.clip(np.ceil(x).astype(np.int64), 0, shape[1])), 1)
    return np.asarray(np.cumsum(flips, axis=1)[:, :-1] % 2 == 1)
