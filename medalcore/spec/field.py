"""The field of a face: hollow or domed, with circles, panels and inner borders on it."""

from __future__ import annotations

from typing import Annotated, Literal

from .base import Pair, Table, doc
from .condition import one_of
from .shape import CornerRadius, OutlineFile, RoundCorners, Sides, Tall, Turn

_OWN = one_of("shape", "round", "oval", "rectangle", "polygon", "drawing")


class Circle(Table, frozen=True):
    """A circle about the middle of the field: a raised or sunk ring, or a whole panel."""

    radius: Annotated[
        float,
        doc("Outer radius: of the top if raised, at the field if sunk", unit="mm", gt=0, le=500),
    ]
    width: Annotated[
        float, doc("Width of the ring; 0 reaches to the middle, a panel", unit="mm", ge=0, le=500)
    ] = 0.4
    height: Annotated[
        float, doc("Height above the field; below 0 it is sunk", unit="mm", ge=-20, le=20)
    ] = 0.15
    slope: Annotated[float, doc("Draft of its walls, from upright", unit="deg", ge=1, le=60)] = 10.0


class Panel(Table, frozen=True):
    """A sunk or raised panel of any outline, or an inner border along one."""

    shape: Annotated[
        Literal["round", "oval", "rectangle", "polygon", "outline", "drawing"],
        doc("Its outline: a shape of its own, or the outline of the piece, farther in"),
    ] = "round"
    size: Annotated[
        float,
        doc(
            "Width over all, as blank.diameter is measured, of the top if raised, at the field if "
            "sunk",
            unit="mm",
            when=_OWN,
            gt=0,
            le=900,
        ),
    ] = 14.0
    tall: Tall = 10.0
    sides: Sides = 4
    round_corners: RoundCorners = False
    corner_radius: CornerRadius = 0.5
    drawing: OutlineFile = ""
    turn: Turn = 0.0
    at: Annotated[
        Pair,
        doc(
            "Its middle, from the middle of the face",
            label="Place",
            unit="mm",
            when=_OWN,
        ),
    ] = (0.0, 0.0)
    inset: Annotated[
        float,
        doc(
            "Distance from the edge of the piece",
            unit="mm",
            when=one_of("shape", "outline"),
            gt=0,
            le=500,
        ),
    ] = 4.0
    width: Annotated[
        float,
        doc(
            "Width of a border along the outline; 0 is a whole panel",
            label="Border Width",
            unit="mm",
            ge=0,
            le=500,
        ),
    ] = 0.0
    height: Annotated[
        float, doc("Height above the field; below 0 it is sunk", unit="mm", ge=-20, le=20)
    ] = -0.2
    slope: Annotated[float, doc("Draft of its walls, from upright", unit="deg", ge=1, le=60)] = 10.0


class Field(Table, frozen=True):
    """The ground of a face."""

    dish: Annotated[
        float,
        doc(
            "Depth of the hollow in the middle of the field, under its farthest point; 0 is flat, "
            "below 0 domed, over its nearest",
            unit="mm",
            ge=-20,
            le=20,
        ),
    ] = 0.0
    circle: Annotated[
        tuple[Circle, ...], doc("Circles and panels about the middle of the field")
    ] = ()
    panel: Annotated[
        tuple[Panel, ...], doc("Panels and inner borders of any outline, anywhere on the field")
    ] = ()
