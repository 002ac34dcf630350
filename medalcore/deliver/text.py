"""Long tables of numbers as text, quickly and without loss."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..geometry.types import FloatArray, IntArray

_CHUNK = 1 << 16  # rows formatted at once: the whole text of a million triangles is 80 MB


def exact_rows(form: str, points: FloatArray) -> Iterator[str]:
    """Yield rows of coordinates with the fewest digits that give the same float32 back.

    Different points so stay different in any reader.

    Parameters
    ----------
    form : str
        With one ``%s`` per column.
    points : (n, columns) float64
        Exactly representable as float32.
    """
    for start in range(0, len(points), _CHUNK):
        part = points[start : start + _CHUNK].astype(np.float32) + np.float32(0.0)  # −0 becomes 0
        yield (form * len(part)) % tuple(part.astype("U").ravel().tolist())


def integer_rows(form: str, table: IntArray) -> Iterator[str]:
    """Yield rows of integers put through a format with one ``%d`` per column."""
    for start in range(0, len(table), _CHUNK):
        part = table[start : start + _CHUNK]
        yield (form * len(part)) % tuple(part.ravel().tolist())
