"""Cells for enamel: areas of colour drawn back until metal enough stands round each of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...geometry.contour import (
    Contours,
    area,
    bounds,
    components,
    intersected,
    offset,
    subtracted,
    united,
)
from ...geometry.types import FloatArray
from ...svg.drawing import Colour


@dataclass(frozen=True, eq=False)
class Cell:
    """One area of one colour.

    Attributes
    ----------
    colour : str
        ``#rrggbb``.
    contours : contours
        Its mouth; empty where walls leave nothing of it, mm.
    drawn_back : float
        Share of it, once walls part it from other cells, that walls along the ends of the
        field took.
    where : (float, float)
        Its middle as drawn, mm.
    """

    colour: str
    contours: Contours
    drawn_back: float
    where: tuple[float, float]


@dataclass(frozen=True)
class CutOff:
    """What of a coloured area lies off a region: its colour, its share, and where, mm."""

    colour: str
    share: float
    where: tuple[float, float]


def walled(
    colours: Sequence[Colour], wall: float, room: Contours, tolerance: float
) -> tuple[Cell, ...]:
    """Return what is left of every coloured area, each its own cell.

    Where two areas touch, each gives half the wall. Where they are near but do not touch, that
    leaves too little, and the later one gives the rest. What lies outside `room` goes.
    """
    drawn = [(c.name, part) for c in colours for part in components(c.contours)]
    half = [offset(part, wall / 2.0, "round", tolerance=tolerance) for _, part in drawn]
    boxes = np.array([bounds(part) for _, part in drawn])
    first = [
        _less(part, [intersected(half[n], half[k]) for n in _near(boxes, k, wall)], tolerance)
        for k, (_, part) in enumerate(drawn)
    ]
    done: list[Contours] = []
    cells: list[Cell] = []
    for k, (name, _) in enumerate(drawn):
        before = [done[n] for n in _near(boxes, k, wall) if n < k and done[n]]
        left = first[k]
        if before and left:
            near = offset(united(before), wall, "round", tolerance=tolerance)
            left = subtracted(left, near, tolerance / 2.0)
        kept = intersected(left, room, tolerance / 2.0) if left else ()
        done.append(kept)
        taken = max(1.0 - area(kept) / area(left), 0.0) if left else 0.0
        u, v = bounds(drawn[k][1]).mean(axis=0).tolist()
        cells += [Cell(name, part, taken, (u, v)) for part in components(kept) or ((),)]
    return tuple(cells)


def cut_off(colours: Sequence[Colour], room: Contours) -> CutOff:
    """Return which coloured area loses most of itself outside a region, and where it does."""
    worst = CutOff("", 0.0, (0.0, 0.0))
    for name, part in ((c.name, part) for c in colours for part in components(c.contours)):
        lost = subtracted(part, room)
        share = area(lost) / area(part)
        if share > worst.share:
            points = np.concatenate(lost)
            off = np.sum((points - bounds(part).mean(axis=0)) ** 2, axis=1)
            u, v = points[np.argmin(off)].tolist()
            worst = CutOff(name, share, (u, v))
    return worst


def _near(boxes: FloatArray, k: int, wall: float) -> list[int]:
    """Return which other areas' boxes (n, 2, 2) come within a wall of the k-th."""
    apart = np.maximum(boxes[:, 0] - boxes[k, 1], boxes[k, 0] - boxes[:, 1]).max(axis=1)
    return [n for n in np.flatnonzero(apart < wall).tolist() if n != k]


def _less(contours: Contours, cutters: Sequence[Contours], tolerance: float) -> Contours:
    """Return contours without what lies inside any of the cutters."""
    present = [c for c in cutters if c]
    return subtracted(contours, united(present), tolerance / 2.0) if present else contours
