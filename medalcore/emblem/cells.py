"""Cells for enamel: areas of colour drawn back until metal enough stands between them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ..contour import Contours, intersected, offset, subtracted, united
from ..drawing import Colour


def walled(
    colours: Sequence[Colour], wall: float, tolerance: float
) -> Iterator[tuple[str, Contours]]:
    """Yield every colour with what is left of its area.

    Where two colours touch, each gives half the wall. Where they are near but do not touch,
    that leaves too little, and the later one gives the rest.
    """
    half = [offset(c.contours, wall / 2.0, "round", tolerance=tolerance) for c in colours]
    first: list[Contours] = []
    for k, colour in enumerate(colours):
        others = [h for n, h in enumerate(half) if n != k]
        left = colour.contours
        if others:
            left = subtracted(left, intersected(united(others), half[k]), tolerance / 2.0)
        first.append(left)
    done: list[Contours] = []
    for colour, contours in zip(colours, first, strict=True):
        if done and contours:
            near = offset(united([d for d in done if d]), wall, "round", tolerance=tolerance)
            contours = subtracted(contours, near, tolerance / 2.0)
        done.append(contours)
        yield colour.name, contours
