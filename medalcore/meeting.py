"""Find words that run into other words or a border: elements do not know of each other."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import Any

import numpy as np

from .element import Built, Finding
from .ground import Ground
from .solid import FloatArray, Side, Solid

_WORDS = ("legend", "inscription", "exergue")
_LOOKED_AT = (*_WORDS, "border")
_BURIED_MM = 0.005
"""How far parts must meet above the field to be seen; feet may cross below it."""
_AIR = 0.45
"""Of the cap height, left between words and a border in what is proposed."""


@dataclass(frozen=True, eq=False)
class Element:
    """An element as it stands on a face.

    Attributes
    ----------
    path, kind : str
    side : int
    ground : Ground
        The field, at level 0.
    built : Built
        In face coordinates, on that field.
    """

    path: str
    kind: str
    side: Side
    ground: Ground
    built: Built

    @property
    def solids(self) -> list[Solid]:
        """Return what leaves a mark: what is added, and what is cut from the face."""
        return [p.solid for p in self.built.parts if p.action in ("add", "cut")]

    @property
    def has_words(self) -> bool:
        """Tell whether there are words in it; of an exergue they come before its line."""
        return "cap_height_mm" in self.built.facts

    @property
    def keeps_clear(self) -> bool:
        """Tell whether the element takes away what it meets."""
        return any(p.action == "clear" for p in self.built.parts)


def meetings(elements: Sequence[Element]) -> Iterator[Finding]:
    """Yield a finding for every pair of words, and of words and a border, that meet.

    Words on a relief or an emblem are left alone: they may well be meant to stand there. So
    are borders round letters that keep their surroundings clear, and an exergue's line, which
    may run up to the border.
    """
    places = {id(e): [_Place.of(s) for s in e.solids] for e in elements if e.kind in _LOOKED_AT}
    for a, b in combinations([e for e in elements if e.kind in _LOOKED_AT], 2):
        words, other = (a, b) if a.kind in _WORDS else (b, a)
        if a.side != b.side or words.kind not in _WORDS:
            continue
        if other.kind == "border" and words.keeps_clear:
            continue
        ones = places[id(words)]
        if words.kind == "exergue" and other.kind == "border":
            ones = ones[: 1 if words.has_words else 0]
        for one, two in product(ones, places[id(other)]):
            where = one.meets(two, a.ground)
            if where is not None:
                yield _told(words, other, where, one, two)
                break


@dataclass(frozen=True, eq=False)
class _Place:
    solid: Solid
    low: FloatArray
    high: FloatArray
    inner: float
    outer: float

    @staticmethod
    def of(solid: Solid) -> _Place:
        points = np.asarray(solid.manifold.to_mesh64().vert_properties)[:, :3]
        radius = np.hypot(points[:, 0], points[:, 1])
        return _Place(
            solid, points.min(axis=0), points.max(axis=0), float(radius.min()), float(radius.max())
        )

    def meets(self, other: _Place, ground: Ground) -> FloatArray | None:
        """Return where two solids meet above the field, or None; the boolean comes last."""
        if np.any(self.low >= other.high) or np.any(other.low >= self.high):
            return None
        if self.inner >= other.outer or other.inner >= self.outer:
            return None
        common = self.solid.manifold ^ other.solid.manifold
        if common.is_empty():
            return None
        points = np.asarray(common.to_mesh64().vert_properties)[:, :3]
        above = points[:, 2] - ground.height(points[:, :2])
        highest = int(np.argmax(above))
        return points[highest, :2] if above[highest] > _BURIED_MM else None


def _told(words: Element, other: Element, where: FloatArray, one: _Place, two: _Place) -> Finding:
    cure = "move one of them, or make it smaller"
    facts: Mapping[str, Any] = words.built.facts
    radius = facts.get("baseline_radius_mm")
    if other.kind == "border" and radius is not None and one.inner < two.inner < one.outer:
        inside = radius - (one.outer - two.inner) - _AIR * facts["cap_height_mm"]
        if inside > 0.0:
            cure = f"a radius of {np.floor(inside * 10.0) / 10.0:g} mm keeps the words inside it"
    told = (
        f"{words.path} and {other.path} run into each other near {where[0]:.1f}, "
        f"{where[1]:.1f} mm; {cure}"
    )
    return Finding("meeting", "warning", told, words.path)
