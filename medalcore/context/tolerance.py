"""How finely a piece is worked: one set of numbers for each quality."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..errors import SpecError

Quality = Literal["draft", "fine"]


_LARGE = 40.0  # mm: larger reliefs get more pixels


@dataclass(frozen=True)
class Tolerance:
    """Allowed deviations, all in millimetres.

    Attributes
    ----------
    curve : float
        Largest distance between a true curve and its chords.
    surface : float
        Largest distance between a height field and its triangles.
    pixels : int
        Pixels along the larger side of a relief's height field.
    most : int
        Of a large relief, at most this many.
    """

    curve: float
    surface: float
    pixels: int
    most: int = 0

    def pixels_of(self, size: float) -> int:
        """Return how many pixels a relief `size` mm large has along its larger side.

        Up to 40 mm it has the usual number, beyond that pixels of that size.
        """
        return max(self.pixels, min(self.most, math.ceil(self.pixels * size / _LARGE)))

    def segments(self, radius: float, least: int = 48, share: float = 1.0) -> int:
        """Return how many chords a full circle of `radius` mm needs.

        Sagitta of a chord: s = r(1 − cos(π/n)) (plane geometry).

        Parameters
        ----------
        radius : float
            mm.
        least : int
            Fewest chords.
        share : float
            Share of the tolerance that may be used; a half keeps a width, which has two ends,
            within the whole.
        """
        allowed = share * self.curve
        if radius <= allowed:
            return least
        return max(least, math.ceil(np.pi / math.acos(1.0 - allowed / radius)))


TOLERANCES: dict[Quality, Tolerance] = {
    "draft": Tolerance(curve=0.010, surface=0.020, pixels=384, most=512),
    "fine": Tolerance(curve=0.002, surface=0.005, pixels=1024, most=2048),
}


def tolerance_for(quality: str) -> Tolerance:
    """Return the tolerances of a named quality.

    Raises
    ------
    SpecError
        If `quality` is not ``draft`` or ``fine``.
    """
    if quality not in TOLERANCES:
        raise SpecError(f"'{quality}' is no quality; it is one of: {', '.join(TOLERANCES)}")
    return TOLERANCES[quality]
