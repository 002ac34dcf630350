"""What each stage of a relief is handed of its table, and so all that it can depend on.

With a stage's input these are what its result is kept by: what a stage is not handed it
cannot read, so no list says beside the code what it does not depend on.
"""

from __future__ import annotations

from typing import Literal, Self

from msgspec import Struct

from ...spec.relief import Crop, Cut, Flat, Picture, Relief


class _Keys(Struct, frozen=True):
    """Some keys of a relief's table."""

    @classmethod
    def of(cls, spec: Relief) -> Self:
        """Return those keys of a table."""
        return cls(*(getattr(spec, name) for name in cls.__struct_fields__))


class SourceKeys(_Keys, frozen=True):
    """What says which depth is seen: the source, and how it lies on the face."""

    source: str
    turn: tuple[float, float, float]
    mirror: bool
    fit: float
    at: tuple[float, float]
    cut: Cut
    crop: Crop
    crease: float
    picture: Picture
    flat: Flat
    more_on: str
    less_on: str


class CompressionKeys(_Keys, frozen=True):
    """What says how the depth is brought down to the height of a relief."""

    height: float
    compression: Literal["gradient", "linear", "none"]
    detail: float
    edges: float
    emphasis: str
    foot: float
    blend: float
    settle: bool


class DraftKeys(_Keys, frozen=True):
    """What is done to the low relief before it gets its surface."""

    draft: float
    strokes: str
