"""Keys of what has an outline of its own within a piece: holes, cores, panels of a field."""

from __future__ import annotations

from typing import Annotated

from .base import doc
from .condition import given, one_of

Tall = Annotated[
    float,
    doc(
        "Height of an oval or rectangle; more than its width makes it the longer way",
        unit="mm",
        when=one_of("shape", "oval", "rectangle"),
        gt=0,
        le=900,
    ),
]
Sides = Annotated[int, doc("Number of sides", when=one_of("shape", "polygon"), ge=3, le=60)]
CornerRadius = Annotated[
    float,
    doc(
        "Radius of the corners",
        unit="mm",
        when=one_of("shape", "rectangle", "polygon") | given("round_corners"),
        ge=0,
        le=200,
    ),
]
RoundCorners = Annotated[
    bool,
    doc(
        "Round the corners of a drawing, outward and inward ones, by corner_radius",
        when=one_of("shape", "drawing"),
    ),
]
OutlineFile = Annotated[
    str,
    doc(
        "File (SVG) whose closed path is the outline", role="file", when=one_of("shape", "drawing")
    ),
]
Turn = Annotated[
    float,
    doc(
        "Turn, counter-clockwise; at 0 a polygon has a flat at the foot",
        unit="deg",
        when=one_of("shape", "oval", "rectangle", "polygon", "drawing"),
        ge=-360,
        le=360,
    ),
]
