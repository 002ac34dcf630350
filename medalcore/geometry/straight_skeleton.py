"""Outlines that grow at an even rate, and the plane wall faces their edges sweep.

Every edge of an outline moves along its own normal; a vertex stays where its two edges
meet (the mitre). When an edge has shrunk to nothing its neighbours meet instead. So each
edge sweeps one plane polygon, and a wall made of these polygons leans by exactly the draft
(the roof of the straight skeleton: Aichholzer, Aurenhammer, Alberts and Gärtner, *A novel
type of skeleton for polygons*, J. UCS 1 (1995)).

Most outlines only lose short edges while they grow, which is quick to follow. Where parts
meet that are not neighbours (serifs growing together, a counter closing in two halves) the
front has to be split too: that is tried only when the quick way left an outline that
crosses itself, on points moved by a millionth of a millimetre, since letters are full of
parallel and symmetrical edges that would meet all at the same moment. Moved edges are
nearly parallel still, so what happens first is then told by whole numbers, not by rounding.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .contour import Contours
from .front import Front, Sweep
from .splitting_front import SplittingFront

_SHIFT = 1e-6  # mm that points move by at most when the front has to be split
_TRIES = 3
_SIDE = np.array([[0.7548776662466927, 0.5698402909980532]])  # the plane's golden ratios


def sweep(
    contours: Contours,
    distance: float,
    *,
    stops: Sequence[float] = (),
    limit: float = 3.0,
    facets: float = 0.0,
) -> Sweep:
    """Grow clean contours by a distance and record what every edge sweeps.

    Parameters
    ----------
    contours : tuple of (n, 2) float64
        Outer ones counter-clockwise, mm.
    distance : float
        Above 0, mm. To shrink, turn the contours round (holes and outsides change places).
    stops : sequence of float
        Rising distances on the way at which the outline is to be known, mm.
    limit, facets
        As `with_joins`.
    """
    swept = Front(contours, limit, facets).run(distance, stops)
    if swept.is_simple:
        return swept
    count = sum(len(c) for c in contours)
    ends = np.cumsum([len(c) for c in contours])[:-1]
    for number in range(_TRIES):  # what meets unluckily with one shift does not with another
        index = np.arange(1, count + 1)[:, None] + 1000 * number
        shifts = 2.0 * _SHIFT * (np.mod(index * _SIDE, 1.0) - 0.5)
        moved = tuple(c + d for c, d in zip(contours, np.split(shifts, ends), strict=True))
        try:
            swept = SplittingFront(moved, limit, facets).run(distance, stops)
        except ZeroDivisionError:  # neighbours on parallel lines
            continue
        if swept.is_simple:
            break
    # The outline itself stays where it was.
    places = swept.places.copy()
    places[[i for ring in swept.begin for i in ring]] = np.concatenate(contours)
    return replace(swept, places=places)
