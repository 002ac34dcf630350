"""Outlines of what lies within a piece: panels of a field, the core of a ring, the hole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from msgspec import structs

from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.contour import Contours
from ...geometry.types import FloatArray
from ...spec import Blank, Hole
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
    def round_corners(self) -> bool:
        """Whether the corners of a drawing are rounded."""

    @property
    def turn(self) -> float:
        """Turn counter-clockwise, degrees."""


@dataclass(frozen=True)
class _Own:
    """A shape that a hole has; see `Shaped`."""

    shape: str
    tall: float
    sides: int
    corner_radius: float
    turn: float
    drawing: str = ""
    round_corners: bool = False


def hole_outline(hole: Hole, tolerance: Tolerance) -> FloatArray:
    """Return the outline of a middle hole of its own shape, (n, 2) mm, counter-clockwise.

    Raises
    ------
    SpecError
        If the corners do not fit.
    """
    shape = "rectangle" if hole.shape == "square" else hole.shape
    own = _Own(shape, hole.size, hole.sides, hole.corner_radius, hole.turn)
    return shape_of(own, hole.size, "blank.hole", tolerance)[0]


def shape_of(table: Shaped, size: float, key: str, tolerance: Tolerance) -> Contours:
    """Return the outline of a shape about the origin; see `outline_of`.

    Parameters
    ----------
    size : float
        Its width over all, mm, as `Blank.diameter` is measured.
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
        round_corners=table.round_corners,
    )  # fmt: skip
    if table.shape == "drawing" and table.drawing:
        read_drawing(table.drawing, size, tolerance, f"{key}.drawing")  # told by the right key
    try:
        return outline_of(blank, tolerance)
    except SpecError as error:
        raise SpecError(error.plain, key=f"{key}.{error.key.rpartition('.')[2]}") from None
