"""Samples of a picture as its file holds them, before they mean heights."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from numpy.typing import NDArray

from .....geometry.types import Float32Array

LARGEST = 1 << 28
"""Samples of a picture, beyond which a file is taken for damaged rather than read."""


@dataclass(frozen=True, eq=False)
class Samples:
    """What the pixels of a picture hold.

    Attributes
    ----------
    colours : (rows, cols, 1 or 3)
        Whole numbers or floating-point numbers.
    cover : (rows, cols) float32, optional
        0 where the picture is transparent, 1 where it is not.
    multiplied : bool
        The colours were multiplied with the cover.
    """

    colours: NDArray[Any]
    cover: Float32Array | None = None
    multiplied: bool = False
