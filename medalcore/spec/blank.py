"""The blank: outline, thickness, rim, holes, loop."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from .base import Table, chosen, doc, left_away
from .condition import Condition, given, one_of
from .core import Core
from .shape import Sides

_SIDED = one_of("outline", "polygon", "constant-width")
_CORNERED = one_of("outline", "rectangle", "polygon", "constant-width", "scalloped")
_TURNED = one_of(
    "outline", "oval", "rectangle", "polygon", "constant-width", "scalloped", "drawing"
)
_RAISED = given("width", plain=True) & given("height", plain=True)
_HOLE_RIM = given("/blank.hole.rim_width") & given("/blank.hole.rim_height")
_HUNG = one_of("kind", "lug", "eye")
_OPEN = one_of("shape", "round", "square", "polygon", "outline")


class Rim(Table, frozen=True):
    """The raised band along the outline of a face."""

    width: Annotated[
        float,
        doc(
            "Width of the rim's top; 0 leaves the rim away",
            unit="mm",
            when=given("height", plain=True),
            ge=0,
            le=100,
        ),
    ] = 1.2
    height: Annotated[
        float,
        doc(
            "Height of the rim above the field; 0 leaves the rim away",
            unit="mm",
            when=given("width", plain=True),
            ge=0,
            le=20,
        ),
    ] = 0.3
    section: Annotated[
        Literal["flat", "rounded", "bevelled", "stepped"],
        doc(
            "Section of the rim: flat, rounded over, bevelled inwards, or in two steps",
            when=_RAISED,
        ),
    ] = "flat"
    slope: Annotated[
        float,
        doc(
            "Draft of the rim's inner wall, from upright, and of the rim round a middle hole",
            unit="deg",
            when=_RAISED | _HOLE_RIM,
            ge=0,
            le=60,
        ),
    ] = 10.0
    fillet: Annotated[
        float,
        doc(
            "Radius between the inner wall and the field; 0 is sharp",
            unit="mm",
            when=_RAISED,
            ge=0,
            le=20,
        ),
    ] = 0.0


class Hole(Table, frozen=True):
    """A hole through the middle of the piece, with a rim of its own."""

    shape: Annotated[
        Literal["none", "round", "square", "polygon", "outline"],
        doc(
            "Shape of the hole in the middle; outline is the piece's own, drawn inwards to its size"
        ),
    ] = "none"
    size: Annotated[
        float,
        doc(
            "Width over all, as blank.diameter is measured; side of a square hole",
            unit="mm",
            when=_OPEN,
            gt=0,
            le=900,
        ),
    ] = 8.0
    sides: Sides = 6
    corner_radius: Annotated[
        float,
        doc(
            "Radius of the corners",
            unit="mm",
            when=one_of("shape", "square", "polygon"),
            ge=0,
            le=100,
        ),
    ] = 0.3
    turn: Annotated[
        float,
        doc(
            "Turn of the hole, counter-clockwise; 0 has a flat at the foot",
            unit="deg",
            when=one_of("shape", "square", "polygon"),
            ge=-360,
            le=360,
        ),
    ] = 0.0
    chamfer: Annotated[
        float,
        doc(
            "Width and height of the hole's broken edge; 0 leaves it sharp",
            unit="mm",
            when=_OPEN,
            ge=0,
            le=20,
        ),
    ] = 0.15
    rim_width: Annotated[
        float,
        doc(
            "Width of the top of the hole's rim; 0 leaves it away",
            unit="mm",
            when=_OPEN & given("rim_height", plain=True),
            ge=0,
            le=100,
        ),
    ] = 0.8
    rim_height: Annotated[
        float,
        doc(
            "Height of the hole's rim above the field; 0 leaves it away",
            unit="mm",
            when=_OPEN & given("rim_width", plain=True),
            ge=0,
            le=20,
        ),
    ] = 0.3


class Drill(Table, frozen=True):
    """A drilled hole near the edge, to hang the piece by."""

    only_with: ClassVar[Condition | None] = given("diameter")

    diameter: Annotated[
        float,
        doc("Diameter of the hole; 0 drills none", auto=left_away(2.0), unit="mm", ge=0, le=50),
    ] = 0.0
    inset: Annotated[
        float, doc("Distance of the hole's middle from the edge", unit="mm", gt=0, le=500)
    ] = 3.5
    angle: Annotated[
        float, doc("Where it is, clockwise from the top", unit="deg", ge=-360, le=360)
    ] = 0.0
    chamfer: Annotated[float, doc("Width and height of its broken edge", unit="mm", ge=0, le=5)] = (
        0.15
    )


class Loop(Table, frozen=True):
    """What the piece hangs by."""

    kind: Annotated[
        Literal["none", "lug", "eye"],
        doc("A flat lug pierced from face to face, an eye pierced from side to side, or none"),
    ] = "none"
    hole: Annotated[
        float,
        doc("Diameter of the hole", unit="mm", when=_HUNG, gt=0, le=100),
    ] = 3.0
    width: Annotated[
        float,
        doc(
            "Width of the metal round the hole",
            label="Wall Width",
            unit="mm",
            when=_HUNG,
            gt=0,
            le=50,
        ),
    ] = 1.3
    thickness: Annotated[
        float,
        doc(
            "Thickness of the lug; 0 chooses it",
            auto=chosen(start=2.0),
            unit="mm",
            when=one_of("kind", "lug"),
            ge=0,
            le=100,
        ),
    ] = 0.0
    gap: Annotated[
        float,
        doc(
            "Metal between the hole and the edge of the piece",
            label="Gap to Edge",
            unit="mm",
            when=_HUNG,
            ge=0.1,
            le=50,
        ),
    ] = 0.6
    fillet: Annotated[
        float,
        doc(
            "Radius where the loop runs into the piece",
            unit="mm",
            when=_HUNG,
            ge=0,
            le=50,
        ),
    ] = 1.2
    angle: Annotated[
        float,
        doc(
            "Where it stands, clockwise from the top",
            unit="deg",
            when=_HUNG,
            ge=-360,
            le=360,
        ),
    ] = 0.0


class Blank(Table, frozen=True):
    """The piece before anything is put on it."""

    outline: Annotated[
        Literal["round", "oval", "rectangle", "polygon", "constant-width", "scalloped", "drawing"],
        doc("Shape of the piece seen from above"),
    ] = "round"
    diameter: Annotated[
        float,
        doc(
            "Width over all: the largest over the edge; width of an oval or rectangle; larger side "
            "of a drawing as drawn",
            unit="mm",
            ge=1,
            le=1000,
        ),
    ] = 40.0
    height: Annotated[
        float,
        doc(
            "Height of the oval or rectangle; more than the diameter makes it the longer way",
            unit="mm",
            when=one_of("outline", "oval", "rectangle"),
            ge=1,
            le=1000,
        ),
    ] = 30.0
    sides: Annotated[
        int, doc("Number of sides; odd for constant width", when=_SIDED, ge=3, le=60)
    ] = 7  # fmt: skip
    flats: Annotated[
        float,
        doc(
            "Distance over the flats of an even polygon; sets the corner radius; 0 leaves it",
            auto=left_away(30.0),
            unit="mm",
            when=one_of("outline", "polygon"),
            ge=0,
            le=1000,
        ),
    ] = 0.0
    round_corners: Annotated[
        bool,
        doc(
            "Round the corners of a drawing, outward and inward ones, by corner_radius",
            when=one_of("outline", "drawing"),
        ),
    ] = False
    corner_radius: Annotated[
        float,
        doc(
            "Radius of the eased corners",
            unit="mm",
            when=_CORNERED & ~given("flats") | given("round_corners"),
            ge=0,
            le=200,
        ),
    ] = 1.0
    scallops: Annotated[
        int, doc("Number of scallops", when=one_of("outline", "scalloped"), ge=3, le=1000)
    ] = 12
    scallop_depth: Annotated[
        float,
        doc("Depth of the scallops", unit="mm", when=one_of("outline", "scalloped"), gt=0, le=100),
    ] = 1.0
    scallop_shape: Annotated[
        Literal["lobes", "notches"],
        doc(
            "Round lobes side by side, or hollows cut into a circle",
            when=one_of("outline", "scalloped"),
        ),
    ] = "lobes"
    scallop_width: Annotated[
        float,
        doc(
            "Width of a hollow at the edge; 0 chooses it",
            auto=chosen(start=2.0),
            unit="mm",
            when=one_of("scallop_shape", "notches"),
            ge=0,
            le=500,
        ),
    ] = 0.0
    drawing: Annotated[
        str,
        doc(
            "File (SVG) whose closed path is the outline",
            role="file",
            when=one_of("outline", "drawing"),
        ),
    ] = ""
    turn: Annotated[
        float,
        doc(
            "Turn of the outline, counter-clockwise; at 0 a polygon has a flat at the foot",
            unit="deg",
            when=_TURNED,
            ge=-360,
            le=360,
        ),
    ] = 0.0
    thickness: Annotated[
        float,
        doc(
            "Overall thickness at the rim, as a micrometer reads it",
            unit="mm",
            when=~given("mass") & ~given("cost"),
            is_note=True,
            gt=0,
            le=200,
        ),
    ] = 3.0
    mass: Annotated[
        float,
        doc(
            "Mass of the finished piece, met by the thickness; 0 takes the thickness as given",
            label="Aim for Mass",
            auto=left_away(30.0),
            unit="g",
            ge=0,
            le=100_000,
        ),
    ] = 0.0
    cost: Annotated[
        float,
        doc(
            "Cost of the metal, met by the thickness at medal.price; 0 keeps the given thickness",
            label="Aim for Cost",
            auto=left_away(10.0),
            ge=0,
            le=1e9,
        ),
    ] = 0.0
    chamfer: Annotated[
        float,
        doc(
            "Width and height of the broken edge; 0 leaves it sharp",
            label="Broken Edge",
            unit="mm",
            ge=0,
            le=20,
        ),
    ] = 0.3
    break_shape: Annotated[
        Literal["chamfer", "round"],
        doc(
            "Edge broken flat at 45 degrees, or rounded", label="Edge Shape", when=given("chamfer")
        ),
    ] = "chamfer"
    rim: Annotated[
        Rim,
        doc(
            "The rim of both faces",
            when=~(given("/obverse.rim") & given("/reverse.rim")),
            is_note=True,
        ),
    ] = Rim()
    hole: Hole = Hole()
    drill: Annotated[Drill, doc(label="Drilled Hole")] = Drill()
    loop: Loop = Loop()
    core: Core = Core()
