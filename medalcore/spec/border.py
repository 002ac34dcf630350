"""Borders: what runs round a face along its rim."""

from __future__ import annotations

from typing import Annotated, Literal

from .base import Table, chosen, doc
from .condition import above, given, one_of

_REPEATED = one_of("kind", "beads", "denticles", "rope", "motif")
_MOTIF = one_of("kind", "motif")


class Border(Table, frozen=True):
    """A ring of beads, teeth, rope, lines or motifs, closing exactly, with a gap if wanted."""

    kind: Annotated[
        Literal["beads", "denticles", "rope", "line", "motif"],
        doc(
            "What the border is made of: round beads, radial teeth, a twisted rope, plain lines, "
            "or a motif from a drawing",
            first=1,
        ),
    ] = "beads"
    drawing: Annotated[
        str, doc("SVG file of the motif; its head points outwards", role="file", when=_MOTIF)
    ] = ""
    mirrored: Annotated[
        bool,
        doc(
            "Mirror the motifs of the second half, clockwise from the middle of the gap, so that "
            "two branches meet as in a wreath",
            when=_MOTIF,
        ),
    ] = False
    count: Annotated[
        int,
        doc(
            "Number of beads, teeth, strands or motifs; 0 counts them from the pitch",
            auto=chosen("count", start=90),
            when=_REPEATED,
            ge=0,
            le=5000,
        ),
    ] = 0
    pitch: Annotated[
        float,
        doc(
            "Distance from one to the next along the border, closed to a whole count; "
            "0 suits it to the size",
            auto=chosen("pitch_mm", start=1.0),
            unit="mm",
            when=_REPEATED & ~given("count"),
            ge=0,
            le=100,
        ),
    ] = 0.0
    size: Annotated[
        float,
        doc(
            "Width across the border: of beads and rope at the field, of teeth, motifs and "
            "each line at the top; 0 suits it to the piece",
            auto=chosen("size_mm", start=0.8),
            unit="mm",
            ge=0,
            le=100,
        ),
    ] = 0.0
    width: Annotated[
        float,
        doc(
            "Width of a tooth along the border, at the top; 0 takes half the pitch",
            label="Width of Tooth",
            auto=chosen(start=0.5),
            unit="mm",
            when=one_of("kind", "denticles"),
            ge=0,
            le=100,
        ),
    ] = 0.0
    lines: Annotated[
        int,
        doc(
            "Number of lines, one inside the other",
            label="Number of Lines",
            when=one_of("kind", "line"),
            ge=1,
            le=9,
        ),
    ] = 1
    space: Annotated[
        float,
        doc(
            "Space between two lines, at the top; 0 takes their width",
            auto=chosen(start=0.4),
            unit="mm",
            when=above("lines", 1),
            ge=0,
            le=100,
        ),
    ] = 0.0
    twist: Annotated[
        Literal["right", "left"],
        doc(
            "Way the strands lean, seen from outside the rim",
            when=one_of("kind", "rope"),
        ),
    ] = "right"
    offset: Annotated[
        float,
        doc(
            "Field left free between border and rim; 0 joins the border to the rim",
            unit="mm",
            when=~given("radius"),
            ge=0,
            le=500,
        ),
    ] = 0.2
    radius: Annotated[
        float,
        doc(
            "Radius of the middle of the border; 0 takes it from the offset",
            auto=chosen(start=16.0),
            unit="mm",
            ge=0,
            le=1000,
        ),
    ] = 0.0
    height: Annotated[
        float,
        doc(
            "Height above the field; 0 suits it to the size",
            auto=chosen("height_mm", start=0.25),
            unit="mm",
            ge=0,
            le=20,
        ),
    ] = 0.0
    draft: Annotated[
        float, doc("Least draft of the walls, from upright", unit="deg", ge=0, le=45)
    ] = 8.0
    gap: Annotated[
        float,
        doc(
            "Angle left free for words or a loop, at the field, seen from the middle; 0 runs all "
            "round",
            fold="Gap",
            unit="deg",
            ge=0,
            le=350,
        ),
    ] = 0.0
    gap_at: Annotated[
        Literal["top", "bottom"] | float,
        doc(
            "Middle of the gap: top, bottom, or degrees clockwise from the top",
            role="angle",
            fold="Gap",
            when=given("gap") | given("mirrored"),
        ),
    ] = "bottom"
