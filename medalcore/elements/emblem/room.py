"""Where cells may lie: the level field they are sunk into, less walls of metal along its ends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from ...context.ground import Ground
from ...errors import SpecError
from ...geometry.contour import (
    Contours,
    circle,
    components,
    intersected,
    offset,
    signed_area,
    subtracted,
    united,
)
from ...geometry.types import FloatArray

_INTO_RIM = 0.02
"""How far a cell that runs up to a rim cuts into its wall, mm: so their walls cross."""

_LEVEL = 1e-6  # mm


def cell_room(
    ground: Ground, middle: FloatArray, wall: float, *, to_rim: bool, tolerance: float
) -> Contours:
    """Return the region that the mouths of cells may lie in.

    Parameters
    ----------
    ground : Ground
    middle : (2,) float64
        Middle of the drawing, mm: the panel or circle that it lies on is that of all cells.
    wall : float
        Metal to be left along edges, holes, joints, and steps of the field, mm.
    to_rim : bool
        Whether cells may run up to where a rim stands.
    tolerance : float
        Largest distance between a curve and its chords, mm; walls are wider by as much, since
        the edge of the piece is made of chords too.

    Raises
    ------
    SpecError
        If cells are to run up to a rim and there is none along the edge.
    """
    if to_rim and not ground.rims[0]:
        raise SpecError("there is no rim along the edge of the field to run up to", key="to_rim")
    wide = wall + tolerance

    def grown(contours: Contours, by: float) -> Contours:
        return offset(contours, by, "round", tolerance=tolerance / 2.0)

    edge, holes = _ends(ground, tolerance)
    room = grown(edge, _INTO_RIM if to_rim else -wide)
    if holes:
        room = subtracted(room, grown(holes, -_INTO_RIM if to_rim and ground.rims[1] else wide))
    if ground.voids:
        room = subtracted(room, grown(_arrays(ground.voids), wide))
    return _level(room, ground, middle, wide, tolerance)


def run_up(contours: Contours, ground: Ground, wall: float, tolerance: float) -> Contours:
    """Return an area that runs up to rims wherever it comes nearer to one than a wall.

    Morphological closing of area and rim together: what a disc as wide as the wall does not
    pass between them is filled.
    """
    edge, holes = _ends(ground, tolerance)

    def grown(area: Contours, by: float) -> Contours:
        return offset(area, by, "round", tolerance=tolerance / 2.0)

    rims = subtracted(grown(edge, 2.0 * wall), edge)
    if holes and ground.rims[1]:
        rims = united([rims, holes])
    closed = grown(grown(united([contours, rims]), wall / 2.0), -wall / 2.0)
    filled = subtracted(subtracted(closed, rims), contours)
    filled = grown(intersected(filled, grown(rims, wall)), 1.5 * _INTO_RIM)
    # slivers where chords of the closing and the rim differ belong to nothing
    joined = [part for part in components(filled) if intersected(part, contours)]
    return united([contours, *joined]) if joined else contours


def _ends(ground: Ground, tolerance: float) -> tuple[Contours, Contours]:
    """Return the outer edge of a field, and its holes as areas."""
    field = _arrays(ground.outline) or (circle(ground.radius, tolerance / 2.0),)
    edge = tuple(c for c in field if signed_area(c) > 0.0)
    return edge, tuple(c[::-1] for c in field if signed_area(c) <= 0.0)


def _level(
    room: Contours, ground: Ground, middle: FloatArray, wide: float, tolerance: float
) -> Contours:
    """Return what of a region is as high as its middle, and farther than that from a step."""
    for terrace in ground.terraces:
        here, knots = float(terrace.rise(middle)), terrace.section

        def inset(by: float, outline: Contours = terrace.contours) -> Contours:
            return offset(outline, -by, "round", tolerance=tolerance / 2.0)

        bands: list[Contours] = []
        for low, high in _same(knots, here):
            within = inset(low + wide) if math.isfinite(low) else room
            ends = inset(high - wide) if math.isfinite(high) else ()
            bands.append(subtracted(within, ends) if ends else within)
        room = intersected(room, tuple(c for band in bands for c in band))
    if ground.steps:
        here = float(np.interp(np.hypot(*middle), *np.array(ground.steps).T))
        rings: list[FloatArray] = []
        for low, high in _same(ground.steps, here):
            outer = high - wide if math.isfinite(high) else 2.0 * ground.radius
            rings += [circle(outer, tolerance / 2.0)] if outer > 0.0 else []
            inner = low + wide
            rings += [circle(inner, tolerance / 2.0)[::-1]] if 0.0 < inner < outer else []
        room = intersected(room, tuple(rings))
    return room


def _same(knots: Sequence[tuple[float, float]], rise: float) -> list[tuple[float, float]]:
    """Return the stretches of a section that are as high as `rise`, without end at both ends."""
    ends = [(-math.inf, knots[0][1]), *knots, (math.inf, knots[-1][1])]
    return [
        (a, b)
        for (a, low), (b, high) in pairwise(ends)
        if abs(low - rise) < _LEVEL and abs(high - rise) < _LEVEL
    ]


def _arrays(outline: Sequence[Sequence[tuple[float, float]]]) -> Contours:
    return tuple(np.array(c, dtype=np.float64) for c in outline)
