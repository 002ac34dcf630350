"""The fillet between a rim's wall and a hollow or domed field that meets it at many heights."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np

from ...context.ground import Ground
from ...context.tolerance import Tolerance
from ...geometry.corners import mitres
from ...geometry.shell import Shell
from ...geometry.solid import Label, Side, Solid
from ...geometry.types import FloatArray
from .circular import ring_step
from .general import Offsets
from .profile import FaceShape, chords_of
from .tower import refined

_PAST = 0.03
"""mm; how far the fillet runs on into the metal beyond either end, so that it crosses it."""

_SUNK = 0.01
"""mm; how deep below the field it ends."""

Place = Callable[[FloatArray], FloatArray]
"""Says where points lie when they are moved to distances from the edge, (n,) mm."""


def fillet_solid(outline: Offsets, face: FaceShape, side: Side, tolerance: Tolerance) -> Solid:
    """Return a ring whose upper side is the fillet, in the face's own direction (z up).

    Parameters
    ----------
    outline : Offsets
    face : FaceShape
        With a bed below its field.

    Raises
    ------
    SolidError
        If the ring folds over.
    """
    assert face.foot is not None
    ground, top, foot = replace(face.ground, terraces=()), face.outer[-2], face.foot
    lean = (foot.inset - top.inset) / (top.z - foot.z)
    lowest = float(ground.height(np.concatenate(outline.at(foot.inset))).min())
    inner = round(foot.inset + lean * (foot.z - lowest) + 3.0 * face.fillet, 6)
    under = face.outer[-1].z - 0.1 * (face.outer[-1].z - ground.floor)
    shell, label = Shell(), Label("rim", side)
    for contour in refined(outline.at(inner), ring_step(ground, tolerance)):
        way = _outwards(contour)

        def place(inset: FloatArray, q: FloatArray = contour, m: FloatArray = way) -> FloatArray:
            """Return where points of the inner contour lie at other distances from the edge."""
            return np.asarray(q + m * (inner - inset)[:, None])

        insets, heights = _section(place, ground, face, lean, len(contour), tolerance)
        rows = [
            shell.add(np.column_stack([place(d), z])) for d, z in zip(insets, heights, strict=True)
        ]
        flat = np.full(len(contour), under)
        outside, inside = (
            shell.add(np.column_stack([place(d), flat])) for d in (insets[0], insets[-1])
        )
        ring = [outside, *rows, inside, outside]
        for a, b in pairwise(ring):
            shell.strips([a], [b], label)
    return shell.solid()


def _outwards(contour: FloatArray) -> FloatArray:
    """Return how corners move for each mm that a contour grows, (n, 2)."""
    step = np.roll(contour, -1, axis=0) - contour
    normal = np.column_stack([step[:, 1], -step[:, 0]]) / np.hypot(*step.T)[:, None]
    return mitres(np.roll(normal, 1, axis=0), normal)


def _section(
    place: Place, ground: Ground, face: FaceShape, lean: float, count: int, tolerance: Tolerance
) -> tuple[FloatArray, FloatArray]:
    """Return distances from the edge and heights of the fillet's rows, (k, n) each, inwards.

    At each point the wall meets the field at F; the field is taken as a line there, inclined
    by φ inwards, and the wall falls by the angle t. The fillet of radius f touches both at
    f·tan((t + φ)/2) from F (plane geometry).
    """
    assert face.foot is not None
    top, f = face.outer[-2], face.fillet
    inset = np.full(count, face.foot.inset)
    for _ in range(4):
        level = ground.height(place(inset))
        inset = top.inset + lean * (top.z - level)
    fall = math.atan2(1.0, lean)  # of the wall, from level
    level_reach = f * math.tan(fall / 2.0)
    tilt = np.arctan2(ground.height(place(inset + level_reach)) - level, level_reach)
    reach = f * np.tan((fall + tilt) / 2.0)
    middle = inset + reach * np.cos(tilt) - f * np.sin(tilt)
    above = level + reach * np.sin(tilt) + f * np.cos(tilt)
    share = np.linspace(0.0, 1.0, chords_of(f, fall, tolerance) + 1)[:, None]
    turn = fall + share * (-tilt - fall)
    insets, heights = middle - f * np.sin(turn), above - f * np.cos(turn)
    last = insets[-1] + _PAST
    return (
        np.vstack([insets[0] - _PAST, insets, last]),
        np.vstack([heights[0], heights, ground.height(place(last)) - _SUNK]),
    )
