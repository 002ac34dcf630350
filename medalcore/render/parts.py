"""The parts of a piece, and their metals: one, or those of a ring and its core."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..context.medal import Medal
from ..geometry.closure import inner_bodies
from ..geometry.types import BoolArray
from .metals import Look, look_of


@dataclass(frozen=True, eq=False)
class MetalPart:
    """What of a piece is of one metal.

    Attributes
    ----------
    prefix : str
        For names: empty, or ``core-``.
    triangles : (m,) bool
    look : Look
    """

    prefix: str
    triangles: BoolArray
    look: Look


def by_metal(medal: Medal) -> tuple[MetalPart, ...]:
    """Return the parts of a piece that are of different metals, the ring first."""
    metals = [str(part["metal"]) for part in medal.report.get("parts", ())]
    whole = look_of(str(medal.report.get("metal", "bronze")))
    if len(set(metals)) < 2:
        return (MetalPart("", np.ones(len(medal.triangles), dtype=bool), whole),)
    core = inner_bodies(medal.vertices, medal.triangles)
    return MetalPart("", ~core, whole), MetalPart("core-", core, look_of(metals[1]))


def by_body(medal: Medal) -> tuple[tuple[str, BoolArray], ...]:
    """Return the names of a piece's parts, none for one that is whole, and their triangles."""
    names = [str(part["part"]) for part in medal.report.get("parts", ())]
    if len(names) < 2:
        return (("", np.ones(len(medal.triangles), dtype=bool)),)
    core = inner_bodies(medal.vertices, medal.triangles)
    return (names[0], ~core), (names[1], core)
