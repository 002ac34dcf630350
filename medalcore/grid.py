"""Height fields: a grid of pixel centres on a face, and heights on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Grid:
    """Square pixels; rows run down (−v), columns to the right (+u).

    Attributes
    ----------
    left, top : float
        u and v of the centre of pixel [0, 0], mm.
    pixel : float
        Pitch of the pixels, mm.
    rows, cols : int
    """

    left: float
    top: float
    pixel: float
    rows: int
    cols: int

    @property
    def shape(self) -> tuple[int, int]:
        """Return (rows, cols)."""
        return self.rows, self.cols

    def u(self) -> NDArray[np.float64]:
        """Return u of the columns, (cols,) mm."""
        return self.left + self.pixel * np.arange(self.cols, dtype=np.float64)

    def v(self) -> NDArray[np.float64]:
        """Return v of the rows, (rows,) mm."""
        return self.top - self.pixel * np.arange(self.rows, dtype=np.float64)


@dataclass(frozen=True, eq=False)
class HeightField:
    """Heights where they are defined.

    Attributes
    ----------
    grid : Grid
    heights : (rows, cols) float32
        mm; 0 where `mask` is False.
    mask : (rows, cols) bool
    """

    grid: Grid
    heights: NDArray[np.float32]
    mask: NDArray[np.bool_]
