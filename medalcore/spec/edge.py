"""The edge: the surface that runs round the piece."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from .base import Table, chosen, doc
from .condition import Condition, given, one_of

_REEDED = one_of("finish", "reeded", "reeded and grooved")
_GROOVED = one_of("finish", "grooved", "reeded and grooved")


class EdgeText(Table, frozen=True):
    """Words round the edge, by arc length."""

    only_with: ClassVar[Condition | None] = given("words")

    words: Annotated[str, doc("The words; none leaves the edge without")] = ""
    font: Annotated[
        str,
        doc(
            "Font file, or a family with an optional style such as sans-bold",
            role="font",
            min_length=1,
        ),
    ] = "sans-bold"
    cap_height: Annotated[
        float,
        doc(
            "Height of the capitals, of sunk ones at the edge's surface; 0 takes half of the "
            "plain edge, between grooves if there are any",
            auto=chosen("words_cap_height_mm", start=1.2),
            unit="mm",
            ge=0,
            le=50,
        ),
    ] = 0.0
    form: Annotated[
        Literal["sunk", "raised"], doc("Letters cut into the edge, or standing on it")
    ] = "sunk"
    depth: Annotated[
        float, doc("Depth of sunk letters, height of raised ones", unit="mm", gt=0, le=10)
    ] = 0.2
    draft: Annotated[
        float, doc("Draft of the letters' walls, from upright", unit="deg", ge=0, le=30)
    ] = 10.0
    tracking: Annotated[
        float,
        doc(
            "Extra space between letters, in thousandths of the letter size",
            when=~given("fill"),
            is_note=True,
            ge=-200,
            le=3000,
        ),
    ] = 80.0
    repeat: Annotated[
        int, doc("How often the words go round", label="Times Round", ge=1, le=60)
    ] = 1
    fill: Annotated[
        float,
        doc(
            "How much of the edge's length the words fill once, by tracking, the whole counted as "
            "360; 0 is natural",
            label="Angle Filled",
            auto=chosen(start=90.0, word="Natural"),
            unit="deg",
            ge=0,
            le=360,
        ),
    ] = 0.0
    at: Annotated[
        float,
        doc(
            "Middle of the words, clockwise from the top",
            label="Middle",
            unit="deg",
            ge=-360,
            le=360,
        ),
    ] = 180.0
    heads: Annotated[
        Literal["obverse", "reverse"],
        doc("The face that the letters' heads point to", label="Heads Towards"),
    ] = "obverse"
    clear: Annotated[
        bool,
        doc(
            "Leave reeds away under the words",
            label="Clear of Reeds",
            when=one_of("^finish", "reeded", "reeded and grooved"),
            is_note=True,
        ),
    ] = True


class Edge(Table, frozen=True):
    """How the edge is finished."""

    finish: Annotated[
        Literal["plain", "reeded", "grooved", "reeded and grooved"], doc("Kind of edge")
    ] = "plain"
    reeds: Annotated[
        int,
        doc(
            "Number of reeds; 0 counts them from the pitch",
            auto=chosen("reeds", start=120),
            when=_REEDED,
            ge=0,
            le=5000,
        ),
    ] = 0
    pitch: Annotated[
        float,
        doc(
            "Distance between reeds along the edge, closed to a whole count, wider over corners "
            "that no notch crosses; 0 chooses it",
            auto=chosen("pitch_mm", start=0.8),
            unit="mm",
            when=_REEDED & ~given("reeds"),
            ge=0,
            le=100,
        ),
    ] = 0.0
    profile: Annotated[
        Literal["vee", "round", "square"],
        doc(
            "Section of the notch between two reeds",
            label="Notch Profile",
            words={"vee": "Vee"},
            when=_REEDED,
        ),
    ] = "vee"
    depth: Annotated[
        float,
        doc("Depth of the notches", label="Notch Depth", unit="mm", when=_REEDED, gt=0, le=20),
    ] = 0.25
    width: Annotated[
        float,
        doc(
            "Width of a notch at the edge; 0 lets neighbouring notches nearly meet",
            label="Notch Width",
            auto=chosen("notch_width_mm", start=0.5),
            unit="mm",
            when=_REEDED,
            ge=0,
            le=50,
        ),
    ] = 0.0
    corner_radius: Annotated[
        float,
        doc(
            "Radius at the root and the crests of the notches",
            label="Notch Corners",
            unit="mm",
            when=_REEDED,
            ge=0,
            le=10,
        ),
    ] = 0.05
    pattern: Annotated[
        str,
        doc(
            "Degrees of reeded and plain edge by turns, seen from the middle, clockwise from the "
            'start, repeated until it closes, such as "60 60"; empty is reeded all round',
            label="Sections",
            when=_REEDED,
        ),
    ] = ""
    start: Annotated[
        float,
        doc(
            "Where the pattern begins, clockwise from the top",
            unit="deg",
            when=_REEDED & given("pattern"),
            ge=-360,
            le=360,
        ),
    ] = 0.0
    slant: Annotated[
        float,
        doc(
            "Slant of the reeds from upright, clockwise as one looks at the edge",
            unit="deg",
            when=_REEDED,
            ge=-60,
            le=60,
        ),
    ] = 0.0
    grooves: Annotated[
        int,
        doc(
            "Number of grooves round the edge, spaced evenly over its height; groove_heights "
            "goes before it",
            when=_GROOVED & ~given("groove_heights"),
            ge=1,
            le=20,
        ),
    ] = 1
    groove_heights: Annotated[
        str,
        doc(
            "Heights of the grooves' middles over the middle of the edge, mm, a groove for each, "
            'such as "-0.6 0.2"; empty spaces them evenly',
            when=_GROOVED,
        ),
    ] = ""
    groove_width: Annotated[
        float, doc("Width of a groove at the edge", unit="mm", when=_GROOVED, gt=0, le=50)
    ] = 0.5
    groove_depth: Annotated[
        float, doc("Depth of a groove", unit="mm", when=_GROOVED, gt=0, le=20)
    ] = 0.25
    groove_profile: Annotated[
        Literal["vee", "round", "square"],
        doc(
            "Section of a groove; its corners are eased by a tenth of its width or depth, the "
            "smaller, and by 0.05 mm at most",
            words={"vee": "Vee"},
            when=_GROOVED,
        ),
    ] = "round"
    text: Annotated[EdgeText, doc(label="Edge Lettering")] = EdgeText()
