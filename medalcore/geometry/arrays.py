"""Small operations on arrays that NumPy has not."""

from __future__ import annotations

import numpy as np

from .types import FloatArray, IntArray


def ragged(counts: IntArray) -> tuple[IntArray, IntArray]:
    """Return owner and place of each item of runs of different lengths.

    Parameters
    ----------
    counts : (n,) int64
        How many items every owner has, 0 or more.

    Returns
    -------
    owner : (counts.sum(),) int64
        Whose item it is: counts of (2, 0, 3) give (0, 0, 2, 2, 2).
    place : (counts.sum(),) int64
        Which of its owner's items it is, from 0: (0, 1, 0, 1, 2).
    """
    owner = np.repeat(np.arange(len(counts)), counts)
    return owner, np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)


def cross2(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the cross product of plane vectors, (..., 2) each, in the square of their unit.

    It is above 0 where `b` points to the left of `a`. From NumPy 2.5 on, `numpy.cross` takes
    vectors in space only.
    """
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])
