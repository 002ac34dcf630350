"""Colours of a drawing as levels that stand one over another."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from ..errors import SpecError
from ..geometry.contour import Contours
from .drawing import Colour, Drawing

Order = Literal["dark", "light", "painted", "even"]

_LEAST = 0.02
"""Share of the height at which the lowest of shades still stands."""


@dataclass(frozen=True, eq=False)
class Level:
    """One level of a drawing.

    Attributes
    ----------
    share : float
        Of the height, above 0 and up to 1.
    contours : tuple of (n, 2) float64
        All that stands as high or higher, mm: levels run on below the higher ones.
    """

    share: float
    contours: Contours


def levels_of(drawing: Drawing, order: Order = "dark") -> tuple[Level, ...]:
    """Return the levels of a drawing, the highest first.

    Parameters
    ----------
    drawing : Drawing
    order : str
        ``dark``, the darker the higher, in proportion to CIE lightness; ``light``, the lighter
        the higher; ``painted``, colours that appear later stand higher, in even steps;
        ``even``, all at one height.
    """
    rank = [round(_rank(c, n, order), 4) for n, c in enumerate(drawing.colours)]
    most = max(rank) or 1.0
    return tuple(
        Level(
            max(r / most, _LEAST) if most > _LEAST else 1.0,
            drawing.merged([c for c, k in zip(drawing.colours, rank, strict=True) if k >= r]),
        )
        for r in sorted(set(rank), reverse=True)
    )


def _rank(colour: Colour, number: int, order: Order) -> float:
    if order == "dark":
        return 1.0 - colour.lightness
    if order == "light":
        return colour.lightness
    return number + 1.0 if order == "painted" else 1.0


def bare_colours(text: str, key: str = "bare") -> frozenset[str]:
    """Read the colours of a drawing that stay bare field.

    Raises
    ------
    SpecError
        If one is not written as #rrggbb.
    """
    words = text.lower().split()
    for word in words:
        if not re.fullmatch(r"#[0-9a-f]{6}", word):
            raise SpecError(f'"{word}" is no colour; write it as "#rrggbb"', key=key)
    return frozenset(words)
