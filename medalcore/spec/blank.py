"""The blank: outline, thickness, rim, holes."""

from __future__ import annotations

from typing import Annotated, Literal

from .base import Table, doc


class Rim(Table, frozen=True):
    """The raised band along the outline of a face."""

    width: Annotated[float, doc("Width of the rim's top; 0 leaves the rim away", unit="mm", ge=0, le=100)] = 1.2
    height: Annotated[float, doc("Height of the rim above the field", unit="mm", ge=0, le=20)] = 0.3
    slope: Annotated[
        float, doc("Draft of the rim's inner wall, from upright", unit="deg", ge=0, le=60)
    ] = 10.0


class Blank(Table, frozen=True):
    """The piece before anything is put on it."""

    outline: Annotated[Literal["round"], doc("Shape of the piece seen from above")] = "round"
    diameter: Annotated[float, doc("Largest width over the edge", unit="mm", ge=1, le=1000)] = 40.0
    thickness: Annotated[
        float, doc("Overall thickness at the rim, as a micrometer reads it", unit="mm", gt=0, le=200)
    ] = 3.0
    chamfer: Annotated[
        float, doc("Width and height of the broken edge at 45 degrees; 0 leaves it sharp", unit="mm", ge=0, le=20)
    ] = 0.3
    rim: Rim = Rim()
