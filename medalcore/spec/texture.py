"""Textures: fine lines and grain worked into the field."""

from __future__ import annotations

from typing import Annotated, Literal

from .base import Pair, Table, chosen, doc
from .condition import below, one_of

_LINES = one_of("kind", "rays", "rings")
_GRAIN = one_of("kind", "stipple", "matt")


class Texture(Table, frozen=True):
    """A part of the field that is lined, stippled or matt; what stands on it stays whole."""

    kind: Annotated[
        Literal["rays", "rings", "stipple", "matt"],
        doc("Lines from a middle, lines round it, punched dots, or a grain"),
    ] = "rays"
    pitch: Annotated[
        float,
        doc(
            "From line to line, of rays at their outer end, suited to a whole number; from dot to "
            "dot; size of the grain",
            unit="mm",
            gt=0,
            le=20,
        ),
    ] = 0.5
    depth: Annotated[
        float,
        doc(
            "Depth below the field of the deepest places, of rays where they begin to run out at "
            "their outer end; feet of letters reach deeper",
            unit="mm",
            gt=0,
            le=0.09,
        ),
    ] = 0.06
    section: Annotated[
        Literal["round", "vee"],
        doc("Section of a line, as of the tool that cuts it", words={"vee": "Vee"}, when=_LINES),
    ] = "round"
    land: Annotated[
        float,
        doc("Share of the pitch that stays bare field between lines", when=_LINES, ge=0, lt=1),
    ] = 0.0
    at: Annotated[
        Pair,
        doc(
            "Where the middle of the texture lies, from the middle of the face",
            label="Place",
            unit="mm",
        ),
    ] = (0.0, 0.0)
    inner: Annotated[
        float,
        doc(
            "Radius about its middle where texture begins; 0 begins as near as lines allow",
            label="Begins at Radius",
            auto=chosen(start=2.0),
            unit="mm",
            ge=0,
            le=1000,
        ),
    ] = 0.0
    outer: Annotated[
        float,
        doc(
            "Radius up to which there is texture; 0 fills the field",
            label="Ends at Radius",
            auto=chosen(start=12.0),
            unit="mm",
            ge=0,
            le=1000,
        ),
    ] = 0.0
    margin: Annotated[
        float, doc("Bare field left where the field ends", unit="mm", ge=0.02, le=100)
    ] = 0.3
    towards: Annotated[
        float,
        doc(
            "Middle of the worked sector, clockwise from the top; all round, where rays begin",
            unit="deg",
            when=below("sweep", 360.0) | one_of("kind", "rays"),
            ge=-360,
            le=360,
        ),
    ] = 0.0
    sweep: Annotated[
        float,
        doc("Angle of the sector; 360 is all round", label="Sector", unit="deg", gt=0, le=360),
    ] = 360.0
    fade: Annotated[
        float,
        doc(
            "Length over which the texture runs out at its borders: at both radii, and of all but "
            "rays at the sides of a sector",
            unit="mm",
            ge=0.01,
            le=20,
        ),
    ] = 0.6
    arrangement: Annotated[
        int, doc("Another number arranges dots and grain anew", when=_GRAIN, ge=0, le=999999)
    ] = 0
