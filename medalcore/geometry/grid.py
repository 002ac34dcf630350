"""Height fields: a grid of pixel centres on a face, and heights on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..errors import SourceError
from .types import BoolArray, Float32Array, FloatArray


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

    def u(self) -> FloatArray:
        """Return u of the columns, (cols,) mm."""
        return self.left + self.pixel * np.arange(self.cols, dtype=np.float64)

    def v(self) -> FloatArray:
        """Return v of the rows, (rows,) mm."""
        return self.top - self.pixel * np.arange(self.rows, dtype=np.float64)

    def in_mm(self, points: FloatArray) -> FloatArray:
        """Return where points (n, 2) of the grid lie, mm; they are x = column, y = −row."""
        return np.asarray(points * self.pixel + np.array([self.left, self.top]))


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
    heights: Float32Array
    mask: BoolArray


def height_field(heights: Any, pixel: float, *, mask: Any = None) -> HeightField:
    """Make a height field of an array, as a source of a relief.

    Parameters
    ----------
    heights : (rows, cols) array of numbers
        In the unit of `pixel`, whatever that is: depth is scaled with width. Rows run down,
        columns to the right. NaN and infinity are outside.
    pixel : float
        Pitch of the pixels, above 0.
    mask : (rows, cols) array of bool, optional
        Where the form is; without it, wherever heights are finite.

    Returns
    -------
    HeightField
        Its first pixel at the origin.

    Raises
    ------
    SourceError
        One line: what is wrong with the array, and what would be right.

    Examples
    --------
    >>> y, x = np.mgrid[-1:1:200j, -1:1:200j]
    >>> dome = height_field(np.sqrt(0.8 - np.minimum(x * x + y * y, 0.8)), pixel=0.01)
    >>> dome.heights.shape
    (200, 200)
    """
    try:
        values = np.asarray(heights, dtype=np.float32)
        inside = None if mask is None else np.asarray(mask, dtype=bool)
    except (TypeError, ValueError):
        raise SourceError("a height field is an array of numbers, (rows, cols)") from None
    if values.ndim != 2 or min(values.shape) < 2:
        raise SourceError(
            f"a height field of shape {values.shape} is none; give (rows, cols), at least 2 by 2"
        )
    if not (np.isfinite(pixel) and pixel > 0):
        raise SourceError(f"pixels of {pixel:g} are none; give their pitch, above 0")
    if inside is not None and inside.shape != values.shape:
        raise SourceError(
            f"its mask has shape {inside.shape}, the height field {values.shape}; give the same"
        )
    known = np.isfinite(values)
    inside = known if inside is None else inside & known
    if not inside.any():
        raise SourceError("a height field needs some finite height inside its mask")
    grid = Grid(0.0, 0.0, float(pixel), *values.shape)
    return HeightField(grid, np.where(inside, values, np.float32(0)), inside)
