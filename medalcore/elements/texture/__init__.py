"""Textures: rays, rings, stipple and matt grounds as true geometry in the field."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from ...context.element import Built, Context, Finding, Part
from ...context.ground import Ground
from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.arrays import cross2
from ...spec import Texture
from .grain import matt, stipple
from .lines import NARROWEST, breaks, rays, rings
from .sheet import Sheet, cutter, whole
from .zone import Zone, zone_of

__all__ = ["build_texture"]

MOST = 300_000
"""Triangles of one texture."""

_TRACE = 0.002
"""mm that the bare field of a texture lies below the field round it."""

_PER_CELL = {"stipple": 30.0, "matt": 2.0}


def build_texture(spec: Texture, context: Context) -> Built:
    """Work a texture into the field.

    Returns
    -------
    Built
        One part that is cut from the blank before anything stands on it, zone ``texture``.
        Facts: ``count`` of lines or dots, ``pitch_mm``, ``depth_mm`` of the deepest place,
        ``triangles``, ``area_mm2`` seen from above.

    Raises
    ------
    SpecError
        If it lies off the field, is too deep for the piece, or would be of too many triangles.
    """
    ground = context.ground
    context.progress(0.0, "texture")
    zone = zone_of(spec, ground)
    _check_depth(spec, ground)
    _check_count(spec, zone, context.tolerance)
    top = _top(spec, ground, context.tolerance)
    facts: dict[str, Any] = {"kind": spec.kind}
    findings: tuple[Finding, ...] = ()
    if spec.kind in ("rays", "rings"):
        make = rays if spec.kind == "rays" else rings
        lined = make(spec, zone, context.tolerance, top)
        sheet = whole(lined.sheet, lined.keep & zone.is_clear(lined.sheet.uv), ground)
        facts |= {"count": lined.count, "pitch_mm": round(lined.pitch, 6)}
        findings = tuple(_fine(spec, lined.narrowest))
    else:
        grained = stipple(spec, zone, top) if spec.kind == "stipple" else matt(spec, zone, top)
        sheet = whole(grained.sheet, grained.keep & zone.is_clear(grained.sheet.uv), ground)
        facts |= {"count": grained.count, "pitch_mm": spec.pitch}
        findings = tuple(_fine(spec, spec.pitch))
    findings += tuple(_shallow(spec, zone, sheet))
    if not len(sheet.triangles):
        raise SpecError(
            "nothing of it lies on the field; make the pitch or the inner radius smaller",
            key="pitch",
        )
    context.progress(0.5, "texture")
    solid = cutter(sheet, ground)
    facts |= {
        "depth_mm": round(float(sheet.drop.max()), 6),
        "triangles": len(sheet.triangles),
        "area_mm2": round(_area(sheet), 4),
    }
    return Built((Part(solid, "ground"),), facts, findings)


def _top(spec: Texture, ground: Ground, tolerance: Tolerance) -> float:
    """Return how far the bare field of the texture lies below the field, mm.

    A dished field of the blank is made of facets; the texture stays clear of them.
    """
    kinds = ("rays", "rings", "stipple", "matt")
    trace = _TRACE * (1.0 + 0.1 * kinds.index(spec.kind))  # two that overlap are not coplanar
    return min(trace + (0.0 if ground.is_flat else 1.5 * tolerance.curve), 0.3 * spec.depth)


def _check_depth(spec: Texture, ground: Ground) -> None:
    left = ground.lowest - ground.floor
    if spec.depth > left:
        raise SpecError(
            f"{spec.depth:g} mm comes too near to the other face; at most {left:.3g} mm",
            key="depth",
        )


def _check_count(spec: Texture, zone: Zone, tolerance: Tolerance) -> None:
    """Raise before anything large is made."""
    outer, share = zone.outer, zone.sweep / (2.0 * math.pi)
    corners = len(breaks(spec, tolerance))
    if spec.kind == "rays":
        many = 2.0 * share * 2.0 * math.pi * outer / spec.pitch * corners * 26
        power = 1.0
    elif spec.kind == "rings":
        many = 2.0 * outer / spec.pitch * corners * tolerance.segments(outer) * share
        power = 1.0
    else:
        area = share * math.pi * float(np.mean(zone.limits**2))
        many = _PER_CELL[spec.kind] * area / (spec.pitch**2 * math.sqrt(0.75))
        power = 0.5
    if many > MOST:
        least = spec.pitch * (many / MOST) ** power
        raise SpecError(
            f"{spec.pitch:g} mm would make {many / 1e6:.2g} million triangles of it; from about "
            f"{math.ceil(least * 100) / 100:g} mm on there are less than {MOST:,}",
            key="pitch",
        )


def _fine(spec: Texture, narrowest: float) -> Iterator[Finding]:
    if narrowest < NARROWEST - 1e-9:
        what = (
            "lines"
            if spec.kind in ("rays", "rings")
            else "dots"
            if spec.kind == "stipple"
            else "grains"
        )
        yield Finding(
            "texture-fine",
            "warning",
            f"{what} come down to {narrowest:.3f} mm; narrower than {NARROWEST:g} mm they are "
            "hardly made: widen the pitch or begin farther out",
            measured=narrowest,
            limit=NARROWEST,
        )


def _shallow(spec: Texture, zone: Zone, sheet: Sheet) -> Iterator[Finding]:
    """Tell of a texture that runs out before it has come to its depth."""
    room = float((zone.limits - zone.inner).max()) / 2.0
    if spec.kind != "rays":  # which do not run out at the sides of a sector
        room = float(zone.depth_in(sheet.uv).max(initial=0.0))
    if room < 0.95 * spec.fade:
        effect = "is shortened" if spec.kind == "rays" else "leaves it shallower than its depth"
        yield Finding(
            "texture-fade",
            "note",
            f"a fade of {spec.fade:g} mm from all its borders {effect}: its middle lies {room:.2g} "
            "mm from them; give a fade of no more than that",
            "fade",
            spec.fade,
            room,
        )


def _area(sheet: Sheet) -> float:
    corner = sheet.uv[sheet.triangles]
    one, two = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    return float(np.abs(cross2(one, two)).sum() / 2.0)
