"""Words on a face: legends along the border, inscriptions in the field, the exergue."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, ClassVar, Literal

from .base import Overlap, Pair, Table, chosen, doc, left_away
from .condition import Condition, given, in_lines, one_of

_RAISED = one_of("work", "raised")
_SUNK = one_of("work", "sunk")
_WALLED = one_of("section", "flat", "rounded") | given("clear")
_FILLS = given("sweep") | given("arc_length")
_WORDED = given("text")


class Words(Table, frozen=True):
    """What all lettering has in common."""

    text: Annotated[str, doc("The words", min_length=1)]
    font: Annotated[
        str,
        doc(
            "Font file, or a family with an optional style such as serif-bold",
            role="font",
            min_length=1,
        ),
    ] = "serif-bold"
    cap_height: Annotated[float, doc("Height of the capitals", unit="mm", gt=0, le=200)] = 2.5
    tracking: Annotated[
        float,
        doc("Extra space between letters, in thousandths of the letter size", ge=-200, le=3000),
    ] = 60.0
    work: Annotated[
        Literal["raised", "sunk"], doc("Letters standing on the field or cut into it")
    ] = "raised"
    height: Annotated[
        float, doc("Height above the field", unit="mm", when=_RAISED, gt=0, le=20)
    ] = 0.25
    depth: Annotated[float, doc("Depth below the field", unit="mm", when=_SUNK, gt=0, le=20)] = 0.25
    draft: Annotated[
        float,
        doc(
            "Draft of the letters' walls, from upright",
            fold="Letter Forms",
            unit="deg",
            when=_WALLED,
            ge=0,
            le=30,
        ),
    ] = 8.0
    section: Annotated[
        Literal["flat", "rounded", "vee"],
        doc(
            "Section of a stroke: flat on top, rounded, or as a chisel cuts it",
            words={"vee": "Vee"},
            fold="Letter Forms",
        ),
    ] = "flat"
    follow: Annotated[
        bool,
        doc(
            "Let flat tops follow a hollow or domed field instead of standing level",
            label="Follow Field",
            fold="Letter Forms",
            when=one_of("section", "flat") & given("^field.dish"),
            is_note=True,
        ),
    ] = False
    overlap: Overlap = False
    clear: Annotated[
        float,
        doc(
            "Width round the letters kept free of reliefs, borders and emblems; 0 lets them meet",
            label="Kept Clear",
            unit="mm",
            when=_RAISED,
            ge=0,
            le=50,
        ),
    ] = 0.0
    kerning: Annotated[
        str,
        doc(
            "Pairs to set closer or wider, in thousandths of the letter size: AV=-40, L'=30",
            fold="Letter Forms",
        ),
    ] = ""
    axes: Annotated[
        str, doc("Places on a variable font's axes, such as wght=650, wdth=90", fold="Letter Forms")
    ] = ""
    features: Annotated[
        str,
        doc(
            "OpenType features, such as smcp for small capitals, -kern or ss01=2",
            fold="Letter Forms",
        ),
    ] = ""
    language: Annotated[
        str,
        doc("Language of the words, such as tr or sr, for local letter forms", fold="Letter Forms"),
    ] = ""


class Legend(Words, frozen=True):
    """Words along an arc round the middle of the face."""

    further: ClassVar[Mapping[str, Condition]] = {
        "tracking": ~(_FILLS & one_of("fit", "tracking")),
        "cap_height": ~(_FILLS & one_of("fit", "size")),
    }
    folds: ClassVar[Mapping[str, str]] = {"tracking": "Length"}

    text: Annotated[
        str,
        doc(
            "The words; a line break starts another legend round the same border",
            label="Words",
            role="lines",
            first=1,
            min_length=1,
        ),
    ]
    radius: Annotated[
        float,
        doc(
            "Radius of the letters' baseline; 0 sets them just inside the rim and its borders",
            first=5,
            auto=chosen("baseline_radius_mm", start=14.0),
            unit="mm",
            ge=0,
            le=1000,
        ),
    ] = 0.0
    at: Annotated[
        Literal["top", "bottom"] | float,
        doc(
            "Middle of the words: top, bottom, or degrees clockwise from the top",
            label="Place",
            role="angle",
            first=2,
        ),
    ] = "top"
    reading: Annotated[
        Literal["auto", "clockwise", "counter-clockwise"],
        doc(
            "clockwise: feet to the middle; counter-clockwise: heads to it; auto: by the place",
            words={"auto": "By Its Place"},
            first=3,
        ),
    ] = "auto"
    sweep: Annotated[
        float,
        doc(
            "Angle the words fill, a whole turn with a space where they close; 0 leaves them at "
            "their natural length",
            label="Angle Filled",
            fold="Length",
            auto=chosen("sweep_deg", start=90.0, word="Natural"),
            unit="deg",
            ge=0,
            le=360,
        ),
    ] = 0.0
    arc_length: Annotated[
        float,
        doc(
            "Length of the words along the baseline; 0 leaves it natural",
            label="Length",
            fold="Length",
            auto=chosen("arc_length_mm", start=20.0, word="Natural"),
            unit="mm",
            ge=0,
            le=5000,
        ),
    ] = 0.0
    fit: Annotated[
        Literal["tracking", "size"],
        doc(
            "What gives way so that the words fill their sweep or length",
            label="Gives Way",
            fold="Length",
            when=_FILLS,
        ),
    ] = "tracking"
    form: Annotated[
        Literal["turned", "bent"],
        doc(
            "turned keeps letters rigid, bent wraps them round the arc (joined scripts always)",
            fold="Letter Forms",
        ),
    ] = "turned"
    optical: Annotated[
        bool,
        doc(
            "Even out the spaces that an arc opens at the heads and closes at the feet of letters",
            fold="Letter Forms",
        ),
    ] = True
    separator: Annotated[
        str,
        doc(
            "Mark between legends round one border: dot, star, diamond, cross, characters, "
            "or an SVG file",
            first=4,
        ),
    ] = ""


class Inscription(Words, frozen=True):
    """Straight lines of words in the field."""

    text: Annotated[
        str,
        doc(
            "The words; a line break starts a new line",
            label="Words",
            role="lines",
            first=1,
            min_length=1,
        ),
    ]
    leading: Annotated[
        float,
        doc(
            "Distance of the baselines as a multiple of the cap height",
            when=in_lines("text") | given("within"),
            is_note=True,
            gt=0,
            le=10,
        ),
    ] = 1.7
    at: Annotated[
        Pair,
        doc("Middle of the lines, from the middle of the face", label="Place", first=2, unit="mm"),
    ] = (
        0.0,
        0.0,
    )
    turn: Annotated[float, doc("Turn of the lines, counter-clockwise", first=3, unit="deg")] = 0.0
    align: Annotated[
        Literal["centre", "left", "right"],
        doc(
            "How the lines are ranged",
            words={"centre": "Centred", "left": "Ranged Left", "right": "Ranged Right"},
            first=4,
            when=in_lines("text") | given("within"),
            is_note=True,
        ),
    ] = "centre"
    within: Annotated[
        float,
        doc(
            "Radius of a circle round the middle of the lines that the words are broken to fill; "
            "0 keeps the lines as they are",
            label="Within Radius",
            auto=left_away(10.0),
            unit="mm",
            ge=0,
            le=1000,
        ),
    ] = 0.0


class Exergue(Words, frozen=True):
    """The segment at the foot of a face: a level line and words below it."""

    further: ClassVar[Mapping[str, Condition]] = dict.fromkeys(
        ("font", "cap_height", "tracking", "kerning", "axes", "features", "language"), _WORDED
    )

    text: Annotated[
        str,
        doc(
            "The words below the line; a line break starts a new line",
            label="Words",
            role="lines",
            first=1,
        ),
    ] = ""
    level: Annotated[
        float,
        doc(
            "How far the line lies below the middle; 0 chooses two thirds of the way to the edge "
            "of the field",
            label="Line Level",
            first=2,
            auto=chosen("level_mm", start=11.0),
            unit="mm",
            ge=0,
            le=1000,
        ),
    ] = 0.0
    line: Annotated[
        float,
        doc("Width of the line; 0 leaves it away", label="Width of Line", unit="mm", ge=0, le=20),
    ] = 0.3
    fit: Annotated[
        bool,
        doc(
            "Make the letters as large as the segment allows, up to the cap height",
            label="Fit to Segment",
            when=_WORDED,
        ),
    ] = True
    leading: Annotated[
        float,
        doc(
            "Distance of the baselines as a multiple of the cap height",
            when=in_lines("text"),
            is_note=True,
            gt=0,
            le=10,
        ),
    ] = 1.6
