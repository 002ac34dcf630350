"""The section of a face from the edge inwards: edge break, rim, inner wall."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..errors import SpecError
from ..spec import Blank, Rim


@dataclass(frozen=True)
class Step:
    """One corner of the section.

    Attributes
    ----------
    inset : float
        Distance from the outline, inwards, mm.
    z : float
        Height over the mid-plane, out of the face, mm.
    zone : str
        Zone of the band between the corner before and this one.
    """

    inset: float
    z: float
    zone: str


def face_steps(blank: Blank, rim: Rim, reach: float) -> tuple[Step, ...]:
    """Return the corners of a face from the outline to the foot of the rim.

    Parameters
    ----------
    reach : float
        Largest inset the outline allows (its inscribed radius), mm.

    Raises
    ------
    SpecError
        If rim and edge break do not fit.
    """
    top = blank.thickness / 2.0
    c = blank.chamfer
    if c >= top:
        raise SpecError(
            f"two edge breaks of {c:g} mm do not fit a thickness of {blank.thickness:g} mm; "
            f"at most {math.floor(top * 90) / 100:g} mm",
            key="blank.chamfer",
        )
    steps = [Step(0.0, top - c, "edge")]
    if c > 0.0:
        steps.append(Step(c, top, "edge"))
    if rim.width > 0.0 and rim.height > 0.0:
        wall = rim.height * math.tan(math.radians(rim.slope))
        foot = c + rim.width + wall
        if foot >= reach:
            raise SpecError(
                f"a rim of {rim.width:g} mm does not fit: with edge break and inner wall it "
                f"takes {foot:.3g} mm of the {reach:.3g} mm from edge to middle",
                key="blank.rim.width",
            )
        steps.append(Step(c + rim.width, top, "rim"))
        steps.append(Step(foot, top - rim.height, "rim"))
    elif c >= reach:
        raise SpecError(f"an edge break of {c:g} mm takes the whole face", key="blank.chamfer")
    return tuple(steps)
