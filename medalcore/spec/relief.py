"""A relief: a three-dimensional model told in a fraction of its depth."""

from __future__ import annotations

from typing import Annotated, Literal

from .base import Pair, Table, Triple, chosen, doc
from .condition import given, one_of
from .kinds import from_a

_PRESSED = one_of("compression", "gradient")


class Cut(Table, frozen=True):
    """Planes a model is cut at before it is placed, as a bust is cut below the shoulders."""

    foot: Annotated[
        float,
        doc("Share of the model's height, as seen, that is cut away at its foot", ge=0, le=0.95),
    ] = 0.0
    slant: Annotated[
        float,
        doc(
            "Slant of that cut, rising to the right above 0",
            unit="deg",
            when=given("foot"),
            ge=-80,
            le=80,
        ),
    ] = 0.0
    back: Annotated[
        float,
        doc("Share of the model's depth, as seen, that is cut away at its back", ge=0, le=0.95),
    ] = 0.0


class Crop(Table, frozen=True):
    """A shape on the face, round the middle of the relief, outside which nothing is modelled.

    Walls at its border stand within it: it is as large as asked at the field.
    """

    shape: Annotated[Literal["none", "oval", "rectangle"], doc("Shape of the crop")] = "none"
    width: Annotated[
        float,
        doc(
            "Width of the crop at the field",
            unit="mm",
            when=one_of("shape", "oval", "rectangle"),
            gt=0,
            le=1000,
        ),
    ] = 20.0
    height: Annotated[
        float,
        doc(
            "Height of the crop at the field",
            unit="mm",
            when=one_of("shape", "oval", "rectangle"),
            gt=0,
            le=1000,
        ),
    ] = 20.0


class Picture(Table, frozen=True):
    """What the grey values of a depth picture stand for; models do not need it."""

    black: Annotated[
        float,
        doc(
            "Depth that black stands for at the placed size; without compression, its height "
            "above the field",
            unit="mm",
            ge=-1000,
            le=1000,
        ),
    ] = 0.0
    white: Annotated[
        float,
        doc(
            "Depth that white stands for; black and white both 0: white is nearest, by a quarter "
            "of the larger side",
            unit="mm",
            ge=-1000,
            le=1000,
        ),
    ] = 0.0
    empty: Annotated[
        Literal["lowest", "none"],
        doc("Which pixels are no part of the relief besides transparent ones: the lowest, or none"),
    ] = "lowest"


class Flat(Table, frozen=True):
    """How a flat drawing stands up; models and depth pictures do not need it."""

    levels: Annotated[
        Literal["dark", "light", "painted", "even"],
        doc(
            "What stands higher: dark, the darker the higher; light, the lighter the higher; "
            "painted, colours that appear later; even, everything alike"
        ),
    ] = "dark"
    bare: Annotated[
        str,
        doc(
            "Colours that stay bare field, as #rrggbb with spaces between; they cover others",
            label="Bare Colours",
        ),
    ] = "#ffffff"
    shoulder: Annotated[
        float,
        doc(
            "Width over which every form swells from its edge, as a modeller rounds it; 0 leaves "
            "it flat with a crisp edge",
            unit="mm",
            ge=0,
            le=1000,
        ),
    ] = 0.0
    edge: Annotated[
        float,
        doc(
            "Share of its rise at which the edge of a swelling form stands",
            when=given("shoulder"),
            ge=0.05,
            le=1,
        ),
    ] = 0.4


class Relief(Table, frozen=True):
    """One modelled image on a face."""

    source: Annotated[
        str,
        doc(
            "Model (STL, OBJ, PLY, OFF, GLB, 3MF), depth picture (PNG, TIFF, EXR), flat drawing "
            "(SVG), or object:NAME in Blender",
            role="model",
            min_length=1,
        ),
    ]
    turn: Annotated[
        Triple,
        doc(
            "Turns about x, then y, then z before the model is looked at from above (+z); "
            "-90 about x shows the front of one that stands upright in Blender",
            unit="deg",
        ),
    ] = (0.0, 0.0, 0.0)
    mirror: Annotated[bool, doc("Swap left and right")] = False
    fit: Annotated[
        float,
        doc(
            "Larger side of the relief where it meets the field; of its outline if that is a "
            "drawing's, flows out or stands one to one; 0 fills what words and borders leave of "
            "the field",
            label="Larger Side",
            auto=chosen("size_mm", start=20.0),
            unit="mm",
            ge=0,
            le=1000,
        ),
    ] = 0.0
    at: Annotated[
        Pair,
        doc(
            "Where the middle of the relief lies, from the middle of the face",
            label="Place",
            unit="mm",
        ),
    ] = (0.0, 0.0)
    cut: Cut = Cut()
    crop: Crop = Crop()
    crease: Annotated[
        float,
        doc(
            "Angle at which edges of a coarse model stay sharp, facets below it are smoothed; "
            "0 keeps every facet",
            fold="Outline and Surface",
            unit="deg",
            when=from_a("model", "array"),
            ge=0,
            le=180,
        ),
    ] = 65.0
    picture: Annotated[
        Picture, doc("What a depth picture's grey values stand for", when=from_a("picture"))
    ] = Picture()
    flat: Annotated[Flat, doc("How a flat drawing stands up", when=from_a("drawing"))] = Flat()
    height: Annotated[
        float,
        doc(
            "Height of the highest point above the field; 0 stays below the rim, at half a "
            "millimetre at most",
            auto=chosen("height_mm", start=0.5),
            unit="mm",
            when=~one_of("compression", "none"),
            ge=0,
            le=50,
        ),
    ] = 0.0
    compression: Annotated[
        Literal["gradient", "linear", "none"],
        doc(
            "How depth is brought to the height: gradient keeps what raking light shows, linear "
            "scales, none takes depths as heights, one to one: a picture's black and white are "
            "then heights above the field",
            label="Flattened",
            words={"gradient": "Keeping Form", "linear": "Evenly"},
            when=from_a("model", "picture", "array"),
        ),
    ] = "gradient"
    detail: Annotated[
        float,
        doc(
            "Fine modelling against broad modelling; 1 is even",
            when=_PRESSED,
            ge=0,
            le=4,
        ),
    ] = 1.0
    edges: Annotated[
        float,
        doc(
            "How hard one part stands before another; 1 is even, 0 lets them run together",
            label="Inner Edges",
            when=_PRESSED,
            ge=0,
            le=4,
        ),
    ] = 1.0
    emphasis: Annotated[
        str,
        doc(
            "Picture over the relief that says where modelling counts: mid-grey is even, white "
            "doubles it, black levels it",
            role="file",
            when=_PRESSED,
        ),
    ] = ""
    more_on: Annotated[
        str,
        doc(
            "Vertex group of the source that is modelled more: twice as strongly where its weight "
            "is 1",
            label="Modelled More",
            role="group",
            when=_PRESSED & from_a("model", "array"),
        ),
    ] = ""
    less_on: Annotated[
        str,
        doc(
            "Vertex group of the source that is modelled less: flattened where its weight is 1",
            label="Modelled Less",
            role="group",
            when=_PRESSED & from_a("model", "array"),
        ),
    ] = ""
    foot: Annotated[
        float,
        doc(
            "Least height inside the outline, which compression lifts the lowest place to; 0 "
            "chooses it from the height",
            fold="Outline and Surface",
            auto=chosen("foot_mm", start=0.05),
            unit="mm",
            ge=0,
            le=5,
        ),
    ] = 0.0
    draft: Annotated[
        float,
        doc(
            "Draft of every wall from upright, at the outline and inside: hollows beside steeper "
            "walls are filled",
            fold="Outline and Surface",
            unit="deg",
            ge=0,
            le=60,
        ),
    ] = 10.0
    blend: Annotated[
        float,
        doc(
            "How far the foot flows out into the field round the outline; 0 ends it with a wall",
            fold="Outline and Surface",
            unit="mm",
            ge=0,
            le=20,
        ),
    ] = 0.0
    strokes: Annotated[
        str,
        doc(
            "Strokes sculpted on the relief: a model file of what they add in height, or empty",
            role="strokes",
        ),
    ] = ""
    settle: Annotated[
        bool,
        doc(
            "Bring overhangs and floating parts down to the field",
            label="Settle Overhangs",
            fold="Outline and Surface",
            when=_PRESSED,
        ),
    ] = True
