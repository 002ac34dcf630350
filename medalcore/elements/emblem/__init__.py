"""Emblems: drawings as raised or sunk flat work, in levels, or as cells for enamel."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ...context.containment import past_field, scale_that_fits
from ...context.element import LOST, Built, Context, Finding, Part, Unit
from ...context.ground import Ground
from ...context.openings import NAMES, opening_at
from ...errors import SpecError
from ...geometry.contour import Contours, area, bounds, turned
from ...geometry.draft import Draft
from ...geometry.loft import drafted
from ...geometry.solid import Solid
from ...geometry.solid import united as joined
from ...geometry.types import FloatArray
from ...spec import Emblem
from ...svg.drawing import Colour, Drawing, read_drawing
from ...svg.levels import bare_colours, levels_of
from .cells import Cell, cut_off, walled
from .room import cell_room, run_up
from .well import well

__all__ = ["build_emblem"]

_BURIED = 0.1  # mm that a foot reaches below the lowest field under it
_ZONE = "emblem"
_WHOLE = (Unit("", keeps=True),)
_TOLD_SHARE = 0.005  # of a cell, taken by walls along the ends of the field


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
    drawing = read_drawing(spec.drawing, fit, context.tolerance.curve, bare_colours(spec.bare))
    drawing = _placed(drawing, spec)
    findings = [
        Finding("drawing", "note", f"{spec.drawing}: left out or simplified: {what}", "drawing")
        for what in drawing.left_out
    ]
    everything = drawing.contours
    runs_up = spec.work == "cells" and spec.to_rim
    findings += _check_place(everything, fit, spec, context.ground, spec.wall if runs_up else 0.0)
    context.progress(0.3, "walls")
    site = _site(everything, spec, context.ground)
    facts: dict[str, Any] = {"work": spec.work, "colours": len(drawing.colours)}
    if spec.work == "cells":
        return _cells(drawing, site, spec, context, facts, findings)
    facts["area_mm2"] = round(area(everything), 6)
    if spec.work == "sunk":
        part = Part(
            _laid(_sunk(everything, site, spec, context.ground), site, context), "cut", _WHOLE
        )
    else:
        solid = _raised(drawing, everything, site, spec, context.ground)
        part = Part(_laid(solid, site, context), "add", _WHOLE)
    return Built((part,), facts, tuple(findings))


@dataclass(frozen=True)
class _Site:
    """Where an emblem stands, mm.

    Attributes
    ----------
    base, lowest, highest : float
        z of the field under its middle, and at its least and most under all of it; of a
        field that is followed, with the hollow or dome taken out.
    hollow : Ground or None
        The hollow or dome that is followed.
    middle : tuple of float
    """

    base: float
    lowest: float
    highest: float
    hollow: Ground | None
    middle: tuple[float, float]

    def lift(self, uv: FloatArray) -> FloatArray:
        """Return what following the field adds to z at points, mm."""
        if self.hollow is None:
            return np.zeros(len(uv))
        return self.hollow.height(uv) - self.hollow.height(np.array(self.middle))


def _site(contours: Contours, spec: Emblem, ground: Ground) -> _Site:
    u, v = bounds(contours).mean(axis=0)
    base = float(ground.height(np.array((u, v))))
    rise = spec.height if spec.work != "sunk" else 0.0
    grown = Draft.of_degrees(spec.draft).run_per_rise * (
        rise + _BURIED + ground.highest - ground.lowest
    )
    if not (spec.follow and ground.dish != 0.0):
        lowest, highest = ground.span(contours, grown)
        return _Site(base, lowest, highest, None, (float(u), float(v)))
    # with the hollow or dome taken out, only what stands on it is left to rise or fall
    lowest, highest = replace(ground, level=0.0, dish=0.0).span(contours, grown)
    hollow = ground.lifted(0.0)
    middle = float(hollow.height(np.array((u, v))))
    return _Site(base, middle + lowest, middle + highest, hollow, (float(u), float(v)))


def _laid(solid: Solid, site: _Site, context: Context) -> Solid:
    """Return an emblem bent to the hollow or dome it follows."""
    hollow = site.hollow
    if hollow is None:
        return solid
    # a facet as long as that lies within the tolerance of a sphere: s = l² / 8r
    fine = solid.manifold.refine_to_length(math.sqrt(8.0 * hollow.sphere * context.tolerance.curve))

    def raise_points(points: FloatArray) -> FloatArray:
        lifted = np.array(points)
        lifted[:, 2] += site.lift(lifted[:, :2])
        return lifted

    return Solid(fine.warp_batch(raise_points), solid.labels)


def _placed(drawing: Drawing, spec: Emblem) -> Drawing:
    angle = math.radians(spec.turn)
    placed = (replace(c, contours=turned(c.contours, angle, spec.at)) for c in drawing.colours)
    return replace(drawing, colours=tuple(placed))


def _check_place(
    contours: Contours, fit: float, spec: Emblem, ground: Ground, most: float
) -> Iterator[Finding]:
    """Refuse a drawing that runs past the field by more than `most` mm; tell if it does by less.

    Raises
    ------
    SpecError
        Saying by how much, and what fit would do at the same place.
    """
    points = np.concatenate(contours)
    reach = past_field(ground, points)
    if reach is None:
        return
    fits = math.floor(100.0 * fit * scale_that_fits(ground, points, spec.at)) / 100.0
    cure = f"a fit of {fits:g} mm stays inside" if fits > 0.0 else "move it inwards"
    told = f"the drawing reaches {reach.far:.2f} mm past the edge of the field, {reach.near}"
    if reach.far > most:
        told += f", where to_rim lets it reach {most:g} mm" if most else ""
        raise SpecError(f"{told}; {cure}", key="fit" if fits > 0.0 else "at")
    yield Finding(
        "cells", "remark", f"{told}, and is cut off at the rim; {cure}", "to_rim", reach.far
    )


def _raised(
    drawing: Drawing, everything: Contours, site: _Site, spec: Emblem, ground: Ground
) -> Solid:
    draft = math.radians(spec.draft)
    lowest = float(site.lift(np.concatenate(everything)).min())
    foot = max(site.lowest - _BURIED, ground.floor - min(lowest, 0.0))
    if spec.work == "raised":
        return drafted(everything, foot, site.base + spec.height, draft, _ZONE)
    if spec.draft == 0.0:
        raise SpecError("levels need a draft above 0: upright walls would meet", key="draft")
    solids: list[Solid] = []
    for level in levels_of(drawing):
        # every level runs on below the higher ones, so that no two walls meet face to face
        top = site.base + spec.height * level.share
        solids.append(drafted(level.contours, foot - 0.003 * len(solids), top, draft, _ZONE))
    return joined(solids)


def _sunk(contours: Contours, site: _Site, spec: Emblem, ground: Ground) -> Solid:
    most = site.base + float(site.lift(np.concatenate(contours)).min()) - ground.floor
    if spec.depth >= most:
        raise SpecError(
            f"{spec.depth:g} mm deep comes too near to the other face; at most {most:.3g} mm",
            key="depth",
        )
    return well(contours, site.base, site.base - spec.depth, site.highest, spec.draft, _ZONE)


def _cells(
    drawing: Drawing,
    site: _Site,
    spec: Emblem,
    context: Context,
    facts: dict[str, Any],
    findings: list[Finding],
) -> Built:
    """Cut a recess for every coloured area; say how much fills those of each colour."""
    curve = context.tolerance.curve
    widening = _widening(drawing.contours, site, spec, context.ground)
    room = cell_room(
        context.ground,
        np.array(site.middle),
        spec.wall + widening,
        to_rim=spec.to_rim,
        tolerance=curve,
    )
    colours = drawing.colours
    if spec.to_rim:
        colours = tuple(
            replace(c, contours=run_up(c.contours, context.ground, spec.wall, curve))
            for c in colours
        )
    cells = walled(colours, spec.wall + 2.0 * widening, room, curve)
    findings += _drawn_back(cells, spec)
    findings += _cut_off(drawing.colours, site, spec, context)
    parts: list[Part] = []
    table: dict[str, Any] = {}
    for colour in dict.fromkeys(cell.colour for cell in cells):
        mouths = [c.contours for c in cells if c.colour == colour and c.contours]
        solids = [_sunk(mouth, site, spec, context.ground) for mouth in mouths]
        if not solids:
            continue
        volume = sum(
            float(s.manifold.trim_by_plane((0.0, 0.0, -1.0), -site.base).volume()) for s in solids
        )
        table[colour] = {
            "area_mm2": round(sum(area(mouth) for mouth in mouths), 4),
            "volume_mm3": round(volume, 4),
            "mass_g": round(volume * spec.density / 1000.0, 5),
        }
        unit = (Unit(f"cell of {colour}", keeps=True),)
        parts += [Part(_laid(solid, site, context), "cut", unit) for solid in solids]
    if not parts:
        raise SpecError(
            f"walls {spec.wall:g} mm wide leave no room for any cell; make them thinner", key="wall"
        )
    return Built(tuple(parts), facts | {"cells": table}, tuple(findings))


def _widening(contours: Contours, site: _Site, spec: Emblem, ground: Ground) -> float:
    """Return how much wider than drawn cells come out where a field rises round their middle."""
    if site.hollow is not None:
        return 0.0
    bare = ground.lifted(0.0)
    rise = bare.height(np.concatenate(contours)).max() - bare.height(np.array(site.middle))
    return max(float(rise), 0.0) * Draft.of_degrees(spec.draft).run_per_rise


def _drawn_back(cells: Sequence[Cell], spec: Emblem) -> Iterator[Finding]:
    """Tell what walls took of cells."""
    for colour in dict.fromkeys(cell.colour for cell in cells):
        if not any(c.contours for c in cells if c.colour == colour):
            told = f"nothing of colour {colour} is left beside walls {spec.wall:g} mm wide"
            yield Finding("cells", "warning", told, "wall")
    worst = max(cells, key=lambda cell: cell.drawn_back)
    if worst.drawn_back > _TOLD_SHARE:
        told = (
            f"cells were drawn back for walls {spec.wall:g} mm wide along the edge of the field, "
            f"holes, panels or circles; one of {worst.colour} near {worst.where[0]:.1f}, "
            f"{worst.where[1]:.1f} mm lost most by that, "
            f"{100.0 * worst.drawn_back:.0f} %: a smaller fit keeps it whole"
            + ("" if spec.to_rim else ", to_rim lets it run up to a rim")
        )
        yield Finding("cells", "note", told, "wall", worst.drawn_back, _TOLD_SHARE)


def _cut_off(
    colours: Sequence[Colour], site: _Site, spec: Emblem, context: Context
) -> Iterator[Finding]:
    """Tell of the cell that loses most to holes, or to what is not as high as its middle."""
    ground, curve, middle = context.ground, context.tolerance.curve, np.array(site.middle)
    found = []
    for bare in (replace(ground, voids=()), replace(ground, steps=(), terraces=())):
        room = cell_room(bare, middle, -curve, to_rim=spec.to_rim, tolerance=curve)
        found.append(cut_off(colours, room))
    worst = max(found, key=lambda cell: cell.share)
    if worst.share <= LOST or spec.overlap:
        return
    by = "the edge of a panel or a circle"
    if worst is not found[0]:
        by = NAMES[int(opening_at(ground, np.array([worst.where]))[0])]
    u, v = worst.where
    told = (
        f"cell of {worst.colour} lies across {by}: {100.0 * worst.share:.0f} % is lost, "
        f"near {u:.1f}, {v:.1f} mm; move it, or make it smaller, or set overlap if it is meant"
    )
    yield Finding("lost", "error", told, "", worst.share, LOST)
