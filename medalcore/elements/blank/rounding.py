"""The corners of a drawn outline, rounded."""

from __future__ import annotations

import math

import numpy as np

from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.arrays import cross2
from ...geometry.contour import (
    Contours,
    bounds,
    components,
    inside,
    intersected,
    offset,
    signed_area,
    subtracted,
    united,
)

_MOST_TURN = math.radians(170.0)
"""By how much an outline may turn where one piece of it is rounded away: the end of a tab, which
is no corner, turns by 180 degrees."""

_NEAR = 2e-3
"""mm; what lies so near to something rounded away belonged to it."""

_ROUNDS = 8
"""Rounds in which the size is settled; each leaves a few hundredths of the error."""


def rounded_outline(contours: Contours, radius: float, tolerance: Tolerance, key: str) -> Contours:
    """Return a drawn outline with every corner rounded, outward and inward ones.

    It is drawn a little larger first, so that its larger side is as asked once it is rounded.

    Parameters
    ----------
    contours : tuple of (n, 2) float64
        The outline and its holes, mm.
    radius : float
        mm.
    key : str
        Spec path of the radius, for errors.

    Returns
    -------
    contours : tuple of (n, 2) float64
        The outline counter-clockwise, holes clockwise, mm; the middle of its bounding box is
        the origin.

    Raises
    ------
    SpecError
        If a part of it is too narrow for the radius; it says what would fit.
    """
    side = _side(contours)
    made = _fitting(contours, radius, tolerance, key)
    scale = 1.0
    for _ in range(_ROUNDS):
        off = _side(made) / side
        if abs(off - 1.0) < 1e-9:
            break
        scale /= off
        made = _fitting(tuple(c * scale for c in contours), radius, tolerance, key)
    made = tuple(c * (side / _side(made)) for c in made)
    middle = bounds(made[:1]).mean(axis=0)
    return tuple(c - middle for c in made)


def _fitting(contours: Contours, radius: float, tolerance: Tolerance, key: str) -> Contours:
    made = _rounded(contours, radius, tolerance)
    if made is None:
        raise SpecError(
            f"corners of {radius:g} mm do not fit this drawing: some of it is narrower; "
            f"{_advice(contours, radius, tolerance)}",
            key=key,
        )
    return made


def _side(contours: Contours) -> float:
    return float(np.ptp(contours[0], axis=0).max())


def _rounded(contours: Contours, radius: float, tolerance: Tolerance) -> Contours | None:
    """Return contours rounded by a radius, or None if more than corners is lost.

    Shrunk and grown again by the radius, an outline has it at its outward corners; grown and
    shrunk, at its inward ones (opening and closing by a disc, as in mathematical morphology).
    Where both leave no outward corner sharp again, that is looked for.
    """
    opened = _in_and_out(contours, -radius, tolerance)
    made = _in_and_out(opened, radius, tolerance) if opened else ()
    if len(opened) != len(contours) or len(made) != len(contours):
        return None
    hair = 0.5 * tolerance.curve
    lost = subtracted(contours, offset(opened, hair, "round"))
    filled = subtracted(offset(made, -hair, "round"), opened)
    for parts, sign in ((lost, 1.0), (filled, -1.0)):
        for part in components(parts) if parts else ():
            if _turn_within(contours, part, sign) > _MOST_TURN:
                return None
    again = _in_and_out(made, -radius, tolerance)
    if subtracted(made, offset(again, 2.0 * tolerance.curve, "round")):
        return None
    return tuple(sorted(made, key=lambda c: -abs(signed_area(c))))


def _in_and_out(contours: Contours, distance: float, tolerance: Tolerance) -> Contours:
    """Return contours grown and shrunk again, or the other way round, by a distance, mm.

    What is grown first holds all that was there, and what is shrunk first nothing else. The
    chords of arcs miss that by a hair, which at a corner would move a later arc by far more.
    """
    fine = 0.25 * tolerance.curve
    there = offset(contours, distance, "round", tolerance=fine)
    back = offset(there, -distance, "round", tolerance=fine) if there else ()
    if not back:
        return ()
    return united((back, contours)) if distance > 0.0 else intersected(back, contours)


def _turn_within(contours: Contours, part: Contours, sign: float) -> float:
    """Return by how much outlines turn where a part of them was lost or filled, radians."""
    near = offset(part, _NEAR, "round")
    whole = 0.0
    for c in contours:
        before, after = c - np.roll(c, 1, axis=0), np.roll(c, -1, axis=0) - c
        cross = cross2(before, after)
        turn = np.arctan2(cross, np.sum(before * after, axis=1))
        whole += float(np.sum(sign * turn[inside(near, c)]))
    return whole


def _advice(contours: Contours, radius: float, tolerance: Tolerance) -> str:
    """Say nearly the largest radius that fits."""
    low, high = 0.0, radius
    for _ in range(10):
        middle = 0.5 * (low + high)
        fits = _rounded(contours, middle, tolerance) is not None
        low, high = (middle, high) if fits else (low, middle)
    most = math.floor(low * 100.0) / 100.0
    return f"at most {most:g} mm" if most > 0.0 else "its finest parts take none"
