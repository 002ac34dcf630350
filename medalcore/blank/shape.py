"""Outlines of what lies within a piece: panels of a field, the core of a ring."""

from __future__ import annotations

from typing import Protocol

from msgspec import structs

from ..contour import Contours
from ..errors import SpecError
from ..spec import Blank
from ..tolerance import Tolerance
from .drawing import read_drawing
from .outline import outline_of


class Shaped(Protocol):
    """What tables with a shape of their own have in common."""

    @property
    def shape(self) -> str:
        """Kind of outline."""

    @property
    def tall(self) -> float:
        """Height of an oval, mm."""

    @property
    def sides(self) -> int:
        """Sides of a polygon."""

    @property
    def corner_radius(self) -> float:
        """Radius of its corners, mm."""

    @property
    def drawing(self) -> str:
        """File of an outline."""

    @property
    def turn(self) -> float:
        """Turn counter-clockwise, degrees."""


def shape_of(table: Shaped, size: float, key: str, tolerance: Tolerance) -> Contours:
    """Return the outline of a shape about the origin; see `outline_of`.

    Parameters
    ----------
    size : float
        Its largest width, mm.
    key : str
        Spec path of the table, for errors.

    Raises
    ------
    SpecError, SourceError
        If it cannot be drawn.
    """
    turn = table.turn if table.shape != "round" else 0.0
    blank = structs.replace(
        Blank(), outline=table.shape, diameter=size, height=table.tall, sides=table.sides,
        corner_radius=table.corner_radius, turn=turn, drawing=table.drawing,
    )  # fmt: skip
    if table.shape == "drawing" and table.drawing:
        read_drawing(table.drawing, size, tolerance, f"{key}.drawing")  # told by the right key
    try:
        return outline_of(blank, tolerance)
    except SpecError as error:
        raise SpecError(error.plain, key=f"{key}.{error.key.rpartition('.')[2]}") from None
