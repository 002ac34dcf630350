"""Masks on a grid: what is beside them and within them."""

from __future__ import annotations

import numpy as np

from .types import BoolArray


def grown(mask: BoolArray) -> BoolArray:
    """Return the mask with its eight neighbours."""
    tall = mask.copy()
    tall[1:] |= mask[:-1]
    tall[:-1] |= mask[1:]
    wide = tall.copy()
    wide[:, 1:] |= tall[:, :-1]
    wide[:, :-1] |= tall[:, 1:]
    return wide


def away_from(mask: BoolArray) -> BoolArray:
    """Return the pixels all of whose eight neighbours are inside."""
    padded = np.pad(~mask, 1, constant_values=True)
    return np.asarray(~grown(padded)[1:-1, 1:-1])
