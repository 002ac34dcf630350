"""What is left to an element that is sized by what is round it: within words, below the rim."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from ..context.element import Built
from ..context.ground import Ground
from ..geometry.solid import arrays_of
from ..spec import Border, Legend

AROUND = ("border", "legend", "exergue")
"""Kinds of elements that run round the middle of a face; built before what fills it."""


def free_field(ground: Ground, rim_z: float, around: Iterable[Built]) -> Ground:
    """Return the ground of a face with the room that is left on it.

    Parameters
    ----------
    ground : Ground
    rim_z : float
        z of the rim's top above the middle of the piece, mm.
    around : iterable of Built
        What runs round the middle of the face.
    """
    rim = max(rim_z - ground.level, 0.0) if ground.rims[0] else 0.0
    near = [
        float(np.hypot(*arrays_of(part.solid)[0][:, :2].T).min())
        for built in around
        for part in built.parts
    ]
    return replace(ground, rim=rim, free=min(near, default=0.0))


def within_borders(
    ground: Ground, words: Legend, borders: Iterable[tuple[Border, Built]]
) -> Ground:
    """Return the ground of a face with the borders that a legend has to stand inside or beside.

    Parameters
    ----------
    ground : Ground
    words : Legend
        A border whose gap their middle stands in leaves the gap to them.
    borders : iterable of (Border, Built)
        The borders of the face.
    """
    reaches = []
    alone = len([t for t in words.text.splitlines() if t.strip()]) == 1
    for table, built in borders:
        if alone and table.gap and _apart(words.at, table.gap_at) < 0.5 * table.gap:
            continue
        for part in built.parts:
            out = np.hypot(*arrays_of(part.solid)[0][:, :2].T)
            reaches.append((float(out.min()), float(out.max())))
    return replace(ground, borders=tuple(sorted(reaches, reverse=True)))


def _apart(one: str | float, other: str | float) -> float:
    """Return the angle between two places round a face, deg."""
    named = {"top": 0.0, "bottom": 180.0}
    a, b = (named[v] if isinstance(v, str) else v for v in (one, other))
    return abs((a - b + 180.0) % 360.0 - 180.0)
