"""Words on a face: legends along the border and inscriptions in the field."""

from __future__ import annotations

from typing import Annotated, Literal

from .base import Pair, Table, doc


class Legend(Table, frozen=True):
    """Words along an arc round the middle of the face."""

    text: Annotated[str, doc("The words", min_length=1)]
    font: Annotated[
        str, doc("Font file, or a family with an optional style such as serif-bold", min_length=1)
    ] = "serif-bold"
    cap_height: Annotated[float, doc("Height of the capitals", unit="mm", gt=0, le=200)] = 2.0
    radius: Annotated[
        float,
        doc(
            "Radius of the letters' baseline; 0 sets them just inside the rim",
            unit="mm",
            ge=0,
            le=1000,
        ),
    ] = 0.0
    at: Annotated[
        Literal["top", "bottom"] | float,
        doc("Middle of the words: top, bottom, or degrees clockwise from the top"),
    ] = "top"
    reading: Annotated[
        Literal["auto", "clockwise", "counter-clockwise"],
        doc("clockwise: feet to the middle; counter-clockwise: heads to it; auto: by the place"),
    ] = "auto"
    tracking: Annotated[
        float,
        doc("Extra space between letters, in thousandths of the letter size", ge=-200, le=3000),
    ] = 60.0
    sweep: Annotated[
        float,
        doc(
            "Angle the words fill, by tracking; 0 leaves them at their natural length",
            unit="deg",
            ge=0,
            le=360,
        ),
    ] = 0.0
    arc_length: Annotated[
        float,
        doc(
            "Length of the words along the baseline, by tracking; 0 leaves it natural",
            unit="mm",
            ge=0,
            le=5000,
        ),
    ] = 0.0
    height: Annotated[
        float, doc("Height of the letters above the field", unit="mm", gt=0, le=20)
    ] = 0.25
    draft: Annotated[
        float, doc("Draft of the letters' walls, from upright", unit="deg", ge=0, le=30)
    ] = 8.0
    form: Annotated[
        Literal["turned", "bent"],
        doc("turned keeps letters rigid, bent wraps them round the arc (joined scripts always)"),
    ] = "turned"
    optical: Annotated[
        bool,
        doc("Even out the spaces that an arc opens at the heads and closes at the feet of letters"),
    ] = True
    axes: Annotated[str, doc("Places on a variable font's axes, such as wght=650, wdth=90")] = ""
    features: Annotated[
        str, doc("OpenType features, such as smcp for small capitals, -kern or ss01=2")
    ] = ""
    language: Annotated[
        str, doc("Language of the words, such as tr or sr, for local letter forms")
    ] = ""


class Inscription(Table, frozen=True):
    """Straight lines of words in the field."""

    text: Annotated[str, doc("The words; a line break starts a new line", min_length=1)]
    font: Annotated[
        str, doc("Font file, or a family with an optional style such as serif-bold", min_length=1)
    ] = "serif-bold"
    cap_height: Annotated[float, doc("Height of the capitals", unit="mm", gt=0, le=200)] = 2.0
    leading: Annotated[
        float, doc("Distance of the baselines as a multiple of the cap height", gt=0, le=10)
    ] = 1.7
    at: Annotated[Pair, doc("Middle of the lines, from the middle of the face", unit="mm")] = (
        0.0,
        0.0,
    )
    turn: Annotated[float, doc("Turn of the lines, counter-clockwise", unit="deg")] = 0.0
    align: Annotated[Literal["centre", "left", "right"], doc("How the lines are ranged")] = "centre"
    tracking: Annotated[
        float,
        doc("Extra space between letters, in thousandths of the letter size", ge=-200, le=3000),
    ] = 40.0
    height: Annotated[
        float, doc("Height of the letters above the field", unit="mm", gt=0, le=20)
    ] = 0.25
    draft: Annotated[
        float, doc("Draft of the letters' walls, from upright", unit="deg", ge=0, le=30)
    ] = 8.0
    axes: Annotated[str, doc("Places on a variable font's axes, such as wght=650, wdth=90")] = ""
    features: Annotated[
        str, doc("OpenType features, such as smcp for small capitals, -kern or ss01=2")
    ] = ""
    language: Annotated[
        str, doc("Language of the words, such as tr or sr, for local letter forms")
    ] = ""
