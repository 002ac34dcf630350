"""The edge: the surface that runs round the piece."""

from __future__ import annotations

from typing import Annotated, Literal

from .base import Table, doc

_REEDED = {"finish": ("reeded",)}


class Edge(Table, frozen=True):
    """How the edge is finished."""

    finish: Annotated[Literal["plain", "reeded"], doc("Kind of edge")] = "plain"
    reeds: Annotated[
        int, doc("Number of reeds; 0 counts them from the pitch", when=_REEDED, ge=0, le=5000)
    ] = 0
    pitch: Annotated[
        float,
        doc("Distance between reeds along the edge, closed to a whole count", unit="mm", when=_REEDED, ge=0, le=100),
    ] = 0.0
    profile: Annotated[
        Literal["vee", "round", "square"], doc("Section of the notch between two reeds", when=_REEDED)
    ] = "vee"
    depth: Annotated[float, doc("Depth of the notches", unit="mm", when=_REEDED, gt=0, le=20)] = 0.25
    width: Annotated[
        float,
        doc("Width of a notch at the edge; 0 lets neighbouring notches nearly meet", unit="mm", when=_REEDED, ge=0, le=50),
    ] = 0.0
    corner_radius: Annotated[
        float, doc("Radius at the root and the crests of the notches", unit="mm", when=_REEDED, ge=0, le=10)
    ] = 0.05
