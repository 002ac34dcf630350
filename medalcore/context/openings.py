"""Which opening of the piece is at a place: the middle hole, a drilled one, the core's joint."""

from __future__ import annotations

import math

import numpy as np

from ..geometry.contour import Contours, inside, signed_area
from ..geometry.distance import to_contours
from ..geometry.types import FloatArray, IntArray
from .ground import Ground

BASE, RIM, EDGE, LOOP = -1, -2, -3, -4
"""Numbers of what is no unit of an element: the field and its panels, the rims, the edge with
the walls of holes and joints, the loop."""

HOLE, PIERCED, DRILL, JOINT = -11, -12, -13, -14
"""Numbers of what cuts through a face, beside `EDGE` and the others of the finished piece."""

NAMES = {
    EDGE: "the edge of the piece",
    HOLE: "the middle hole",
    PIERCED: "a hole in the outline",
    DRILL: "the drilled hole",
    JOINT: "the joint round the core",
}

_AT_ONCE = 1_000_000
"""Pairs of point and segment looked at at once: bounds the memory."""


def openings_of(ground: Ground) -> dict[int, Contours]:
    """Return the outlines of what is cut through a face, by its number, mm.

    A hole in the field is the middle one if it is round the middle of the piece. What is cut
    through the finished face is a joint if something is left standing in it.
    """
    found: dict[int, list[FloatArray]] = {}
    for contour in _arrays(ground.outline):
        if signed_area(contour) < 0.0:
            is_middle = bool(inside((contour,), np.zeros((1, 2)))[0])
            found.setdefault(HOLE if is_middle else PIERCED, []).append(contour)
    voids = _arrays(ground.voids)
    cores = [c for c in voids if signed_area(c) < 0.0]
    for contour in voids:
        has_core = any(c is contour or inside((contour,), c[:1])[0] for c in cores)
        found.setdefault(JOINT if has_core else DRILL, []).append(contour)
    return {number: tuple(contours) for number, contours in sorted(found.items())}


def opening_at(ground: Ground, points: FloatArray) -> IntArray:
    """Return the number of the opening that each of (k, 2) points lies in, or else is nearest to.

    That is `EDGE` where the outer edge of the field is nearest, and beyond it.
    """
    number = np.full(len(points), EDGE)
    openings = openings_of(ground)
    if not openings:
        return number
    for some in np.array_split(np.arange(len(points)), math.ceil(len(points) / 500) or 1):
        outer = tuple(c for c in _arrays(ground.outline) if signed_area(c) > 0.0)
        at = points[some]
        if outer:
            least = np.where(inside(outer, at), to_contours(at, outer), 0.0)
        else:
            least = np.maximum(ground.radius - np.hypot(*at.T), 0.0)
        for opening, contours in openings.items():
            off = np.where(inside(contours, at), 0.0, to_contours(at, contours))
            number[some[off < least]] = opening
            least = np.minimum(off, least)
    return number


def _arrays(outline: tuple[tuple[tuple[float, float], ...], ...]) -> Contours:
    return tuple(np.array(c, dtype=np.float64) for c in outline)
