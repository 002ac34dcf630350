"""Where units of elements meet on the finished piece: they share vertices there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..context.openings import BASE, EDGE, LOOP, RIM
from ..geometry.types import IntArray
from .standing import Finished, Owner, to_face

_BURIED_MM = 0.005
"""How far above the field, or below it, parts must meet to be seen; feet may cross at it."""


@dataclass(frozen=True)
class Meeting:
    """Where two units meet on their face, mm, and whether one of them lies across the other's end.

    What touches nothing but the other stands wholly on it, or is cut wholly into it.
    """

    where: tuple[float, float]
    straddles: bool


def meetings_of(finished: Finished, owner: Owner) -> dict[tuple[int, int], Meeting]:
    """Return the pairs of units of a face that meet, lower number first.

    Also pairs with rim, edge and loop, by their numbers below 0.
    """
    vertex, of = shared_vertices(finished)
    on_field = set(of[np.isin(vertex, vertex[of == BASE])].tolist())
    known = np.isin(of, [*owner, RIM, EDGE, LOOP])
    vertex, of = vertex[known], of[known]
    found: dict[tuple[int, int], list[int]] = {}
    starts = np.flatnonzero(np.diff(vertex, prepend=-1, append=-1))
    for start, stop in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True):
        units = of[start:stop].tolist()
        for k, one in enumerate(units):
            for two in units[k + 1 :]:
                found.setdefault((one, two), []).append(int(vertex[start]))
    meetings = {}
    for (one, two), at in found.items():
        if two not in owner:
            continue
        s = owner[two][0]
        if one in owner and owner[one][0].side != s.side:
            continue
        points = to_face(finished.vertices[at], s.place)
        off = np.abs(points[:, 2] - s.ground.height(points[:, :2]))
        farthest = int(np.argmax(off))
        if off[farthest] > _BURIED_MM:
            where = float(points[farthest, 0]), float(points[farthest, 1])
            meetings[one, two] = Meeting(where, one in on_field and two in on_field)
    return meetings


def shared_vertices(finished: Finished) -> tuple[IntArray, IntArray]:
    """Return vertices of triangles of more than one unit: (k,) vertex and unit, sorted, once."""
    tri, unit = finished.triangles, finished.unit
    last = np.full(len(finished.vertices), BASE)
    last[tri.ravel()] = np.repeat(unit, 3)
    is_shared = np.zeros(len(last), dtype=bool)
    is_shared[tri[last[tri] != unit[:, None]]] = True
    rows, cols = np.nonzero(is_shared[tri])
    many = int(unit.max(initial=0)) + 1 - LOOP
    pair = np.unique(tri[rows, cols] * many + unit[rows] - LOOP)
    return pair // many, pair % many + LOOP
