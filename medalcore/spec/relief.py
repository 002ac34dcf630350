"""A relief: a three-dimensional model told in a fraction of its depth."""

from __future__ import annotations

from typing import Annotated, Literal

from .base import Pair, Table, Triple, doc


class Relief(Table, frozen=True):
    """One modelled image on a face."""

    source: Annotated[
        str, doc("Model file (STL, OBJ, PLY, OFF, GLB), or object:NAME inside Blender", min_length=1)
    ]
    turn: Annotated[
        Triple, doc("Turns of the model about its own x, y and z axes before it is looked at from above", unit="deg")
    ] = (0.0, 0.0, 0.0)
    fit: Annotated[float, doc("Larger side of the relief; 0 fills the field", unit="mm", ge=0, le=1000)] = 0.0
    at: Annotated[Pair, doc("Where the middle of the relief lies, from the middle of the face", unit="mm")] = (0.0, 0.0)
    height: Annotated[float, doc("Height of the highest point above the field", unit="mm", gt=0, le=50)] = 0.5
    compression: Annotated[
        Literal["gradient", "linear"], doc("How the model's depth is brought to the height")
    ] = "gradient"
    detail: Annotated[
        float, doc("Fine modelling against broad modelling; 1 is even", when={"compression": ("gradient",)}, ge=0, le=4)
    ] = 1.0
    foot: Annotated[
        float, doc("Least height inside the outline; 0 chooses it from the height", unit="mm", ge=0, le=5)
    ] = 0.0
    draft: Annotated[float, doc("Draft of the wall at the outline, from upright", unit="deg", ge=0, le=60)] = 10.0
    settle: Annotated[bool, doc("Bring overhangs and floating parts down to the field")] = True
