"""How finely a piece is worked: one set of numbers for each quality."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from .errors import SpecError

Quality = Literal["draft", "fine"]


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
    """

    curve: float
    surface: float
    pixels: int

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
    "draft": Tolerance(curve=0.010, surface=0.020, pixels=384),
    "fine": Tolerance(curve=0.002, surface=0.005, pixels=1024),
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
