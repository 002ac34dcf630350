"""Emblems: drawings as raised or sunk flat work, in levels, or as cells for enamel."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import Any

import numpy as np

from ..contour import Contours, area, bounds, inside, turned
from ..drawing import Drawing, read_drawing, unpinched
from ..element import Built, Context, Finding, Part
from ..errors import SpecError
from ..ground import Ground
from ..loft import drafted
from ..solid import Solid
from ..solid import united as joined
from ..spec import Emblem
from .cells import walled
from .well import well

__all__ = ["build_emblem"]

_BURIED = 0.1  # mm that a foot reaches below the lowest field under it
_ZONE = "emblem"


def build_emblem(spec: Emblem, context: Context) -> Built:
    """Build an emblem.

    Raises
    ------
    SourceError
        If the drawing cannot be read or leaves no mark.
    SpecError
        If it does not fit the face.
    """
    context.progress(0.0, "drawing")
    fit = spec.fit or context.ground.radius
    drawing = read_drawing(spec.drawing, fit, context.tolerance.curve, _bare(spec.bare))
    drawing = _placed(drawing, spec)
    findings = [
        Finding("drawing", "note", f"{spec.drawing}: left out or simplified: {what}", "drawing")
        for what in drawing.left_out
    ]
    everything = drawing.contours
    _check_place(everything, context.ground)
    context.progress(0.3, "walls")
    base = float(context.ground.height(bounds(everything).mean(axis=0)))
    facts: dict[str, Any] = {"work": spec.work, "colours": len(drawing.colours)}
    if spec.work in ("raised", "levels"):
        parts = (Part(_raised(drawing, everything, base, spec, context.ground)),)
        return Built(parts, facts | {"area_mm2": round(area(everything), 6)}, tuple(findings))
    if spec.work == "sunk":
        cut = _sunk(everything, base, spec, context)
        return Built(
            (Part(cut, "cut"),), facts | {"area_mm2": round(area(everything), 6)}, tuple(findings)
        )
    return _cells(drawing, base, spec, context, facts, findings)


def _bare(text: str) -> frozenset[str]:
    words = text.lower().split()
    for word in words:
        if not re.fullmatch(r"#[0-9a-f]{6}", word):
            raise SpecError(f'"{word}" is no colour; write it as "#rrggbb"', key="bare")
    return frozenset(words)


def _placed(drawing: Drawing, spec: Emblem) -> Drawing:
    angle = math.radians(spec.turn)
    placed = (replace(c, contours=turned(c.contours, angle, spec.at)) for c in drawing.colours)
    return replace(drawing, colours=tuple(placed))


def _check_place(contours: Contours, ground: Ground) -> None:
    points = np.concatenate(contours)
    if ground.outline:
        field = tuple(np.array(c, dtype=np.float64) for c in ground.outline)
        if not inside(field, points).all():
            raise SpecError(
                "the drawing reaches past the field; make it smaller or move it", key="fit"
            )
        return
    reach = float(np.hypot(*points.T).max())
    if reach > ground.radius:
        raise SpecError(
            f"the drawing reaches {reach:.3g} mm from the middle, the field ends at "
            f"{ground.radius:.3g} mm; make it smaller or move it",
            key="fit",
        )


def _lowest(contours: Contours, ground: Ground) -> float:
    """Return the lowest z of the field under an area, mm."""
    points = np.concatenate(contours)
    middle = points.mean(axis=0)[None]
    return float(ground.height(np.vstack([points, middle, 0.0 * middle])).min())


def _raised(
    drawing: Drawing, everything: Contours, base: float, spec: Emblem, ground: Ground
) -> Solid:
    draft = math.radians(spec.draft)
    foot = max(_lowest(everything, ground) - _BURIED, ground.floor)
    if spec.work == "raised":
        everything = everything if spec.draft else unpinched(everything)
        return drafted(everything, foot, base + spec.height, draft, _ZONE)
    if spec.draft == 0.0:
        raise SpecError("levels need a draft above 0: upright walls would meet", key="draft")
    ranks = sorted({round(1.0 - c.lightness, 4) for c in drawing.colours}, reverse=True)
    solids: list[Solid] = []
    for rank in ranks:
        # every level runs on below the higher ones, so that no two walls meet face to face
        under = drawing.merged([c for c in drawing.colours if 1.0 - c.lightness > rank - 5e-5])
        top = base + spec.height * max(rank, 0.02) / ranks[0]
        solids.append(drafted(under, foot - 0.003 * len(solids), top, draft, _ZONE))
    return joined(solids)


def _sunk(contours: Contours, base: float, spec: Emblem, context: Context) -> Solid:
    ground = context.ground
    floor = base - spec.depth
    if floor <= ground.floor:
        raise SpecError(
            f"{spec.depth:g} mm deep comes too near to the other face; at most "
            f"{base - ground.floor:.3g} mm",
            key="depth",
        )
    contours = contours if spec.draft else unpinched(contours)
    highest = float(ground.height(np.concatenate(contours)).max())
    return well(contours, base, floor, max(highest, ground.highest - 1e-3), spec.draft, _ZONE)


def _cells(
    drawing: Drawing,
    base: float,
    spec: Emblem,
    context: Context,
    facts: dict[str, Any],
    findings: list[Finding],
) -> Built:
    """Cut a recess for every colour; say how much fills it."""
    parts = []
    table = {}
    for colour, contours in walled(drawing.colours, spec.wall, context.tolerance.curve):
        if not contours:
            findings.append(
                Finding(
                    "cells",
                    "warning",
                    f"nothing of colour {colour} is left beside walls {spec.wall:g} mm wide",
                    "wall",
                )
            )
            continue
        solid = _sunk(contours, base, spec, context)
        volume = float(solid.manifold.trim_by_plane((0.0, 0.0, -1.0), -base).volume())
        table[colour] = {
            "area_mm2": round(area(contours), 4),
            "volume_mm3": round(volume, 4),
            "mass_g": round(volume * spec.density / 1000.0, 5),
        }
        parts.append(Part(solid, "cut"))
    if not parts:
        raise SpecError(
            f"walls {spec.wall:g} mm wide leave no room for any cell; make them thinner", key="wall"
        )
    return Built(tuple(parts), facts | {"cells": table}, tuple(findings))
