"""The core of a piece of two metals."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from .base import Table, doc, left_away
from .condition import Condition, differs, given
from .shape import CornerRadius, OutlineFile, RoundCorners, Sides, Tall, Turn


class Core(Table, frozen=True):
    """A core of another metal: the piece comes as a ring and a core that nest."""

    only_with: ClassVar[Condition | None] = given("diameter")

    diameter: Annotated[
        float,
        doc(
            "Width over all, as blank.diameter is measured; 0 makes the piece in one part",
            auto=left_away(20.0),
            unit="mm",
            ge=0,
            le=900,
        ),
    ] = 0.0
    shape: Annotated[
        Literal["round", "oval", "rectangle", "polygon", "outline", "drawing"],
        doc("Outline of the core; outline is the piece's own, drawn inwards to its diameter"),
    ] = "round"
    tall: Tall = 16.0
    sides: Sides = 6
    round_corners: RoundCorners = False
    corner_radius: CornerRadius = 1.0
    drawing: OutlineFile = ""
    turn: Turn = 0.0
    clearance: Annotated[
        float, doc("Room between core and ring", unit="mm", gt=0, le=2)
    ] = 0.05  # fmt: skip
    metal: Annotated[
        str,
        doc(
            "Metal of the core, by its name in the table of materials; empty is the ring's",
            role="metal",
        ),
    ] = ""
    price: Annotated[
        float,
        doc(
            "Price of the core's metal for one gram, if it is another one; 0 is none",
            label="Price per Gram",
            auto=left_away(1.0),
            when=differs("metal", "/medal.metal"),
            is_note=True,
            ge=0,
            le=1e6,
        ),
    ] = 0.0
    lock: Annotated[
        float,
        doc(
            "Depth of a groove round the core that holds it fast; 0 leaves it plain",
            label="Lock Groove",
            unit="mm",
            ge=0,
            le=5,
        ),
    ] = 0.0
