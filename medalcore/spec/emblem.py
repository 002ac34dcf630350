"""Emblems: flat work from a drawing."""

from __future__ import annotations

from typing import Annotated, Literal

from .base import Overlap, Pair, Table, chosen, doc
from .condition import given, one_of

_RAISED = one_of("work", "raised", "levels")
_SUNK = one_of("work", "sunk", "cells")
_CELLS = one_of("work", "cells")


class Emblem(Table, frozen=True):
    """A drawing as raised or sunk flat work, in levels, or as cells for enamel."""

    drawing: Annotated[str, doc("SVG file of the drawing", role="file", first=1, min_length=1)]
    work: Annotated[
        Literal["raised", "sunk", "levels", "cells"],
        doc(
            "raised or sunk throughout; levels, the darker the higher; "
            "cells, a recess for every coloured area"
        ),
    ] = "raised"
    fit: Annotated[
        float,
        doc(
            "Larger side of the drawing; 0 takes half the field",
            label="Larger Side",
            first=3,
            auto=chosen(start=16.0),
            unit="mm",
            ge=0,
            le=1000,
        ),
    ] = 0.0
    at: Annotated[
        Pair,
        doc(
            "Where the middle of the drawing lies, from the middle of the face",
            label="Place",
            first=2,
            unit="mm",
        ),
    ] = (0.0, 0.0)
    turn: Annotated[
        float, doc("Turn of the drawing, counter-clockwise", first=4, unit="deg", ge=-3600, le=3600)
    ] = 0.0
    height: Annotated[
        float, doc("Height above the field", unit="mm", when=_RAISED, gt=0, le=20)
    ] = 0.25
    depth: Annotated[float, doc("Depth below the field", unit="mm", when=_SUNK, gt=0, le=20)] = 0.3
    draft: Annotated[float, doc("Draft of the walls, from upright", unit="deg", ge=0, le=45)] = 8.0
    follow: Annotated[
        bool,
        doc(
            "Follow a hollow or domed field instead of standing level",
            label="Follow Field",
            when=given("^field.dish"),
            is_note=True,
        ),
    ] = True
    bare: Annotated[
        str,
        doc(
            "Colours that stay bare field, as #rrggbb with spaces between; they cover others",
            label="Bare Colours",
        ),
    ] = "#ffffff"
    wall: Annotated[
        float,
        doc(
            "Least width of the metal left between two cells, and between a cell and the edge of "
            "the field, a hole, a joint or the edge of a panel or circle",
            unit="mm",
            when=_CELLS,
            gt=0,
            le=20,
        ),
    ] = 0.3
    to_rim: Annotated[
        bool,
        doc(
            "Let cells run up to the rim where they come nearer to it than the wall, instead of "
            "leaving the wall there; a drawing may reach past it by as much, and is cut off there",
            when=_CELLS,
        ),
    ] = False
    overlap: Overlap = False
    density: Annotated[
        float,
        doc("Density of what fills the cells", unit="g/cm3", when=_CELLS, gt=0, le=30),
    ] = 2.5
