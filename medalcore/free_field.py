"""What is left to a relief that is sized by what is round it: within words, below the rim."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from .element import Built
from .ground import Ground
from .solid import arrays_of

AROUND = ("legend", "exergue", "border")
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
