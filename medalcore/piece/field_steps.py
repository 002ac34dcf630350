"""Steps of the field, walls of panels and circles: what stands half on one level, half on another.

Also what is drilled through panels, circles and textures: they are ground, nobody loses to them.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from ..context.element import Finding, Severity
from ..context.ground import Ground
from ..context.openings import JOINT, NAMES, openings_of
from ..geometry.contour import Contours, circle, inside, offset, signed_area
from ..geometry.raster import top_surface
from ..geometry.types import FloatArray
from .standing import Standing, corners_of, grid_round, own_heights, points_of

_STEP_MM = 0.01
"""A step less high under an element is not told."""

_SHARE = 0.005
"""Share of a unit below which what of it stands on the other side is not told."""

_NAMED = 3
"""Letters told by name; the rest is counted."""

_SEVERITY: dict[str, Severity] = {"border": "note", "relief": "remark"}
"""By kind: a head may well break through a circle. Letters and emblems, which lie level, are in
the way of the step, or the step of them."""


@dataclass(frozen=True, eq=False)
class Step:
    """A panel or a circle of a field, by itself.

    Attributes
    ----------
    name : str
    ground : Ground
        A level field at 0 with nothing else on it.
    """

    name: str
    ground: Ground

    def is_level(self, low: FloatArray, high: FloatArray) -> bool:
        """Tell whether a box with (2,) corners keeps off its walls."""
        least, most = self.ground.terraced(low, high)
        if self.ground.terraces:
            return least == most
        far = float(np.hypot(*np.maximum(np.abs(low), np.abs(high))))
        near = float(np.hypot(*np.maximum(np.maximum(low, -high), 0.0)))
        return all(
            under == over or near >= end or far <= start
            for (start, under), (end, over) in pairwise(self.ground.steps)
        )

    def off(self, points: FloatArray) -> FloatArray:
        """Return how far (k, 2) points are from where its walls begin or end, mm."""
        if self.ground.terraces:
            return np.abs(self.ground.terraces[0].depth(points))
        radii = np.array([r for r, _ in self.ground.steps])
        return np.asarray(np.abs(np.hypot(*points.T)[:, None] - radii).min(axis=1))

    def walls(self, curve: float) -> Iterator[tuple[Wall, Contours, Contours]]:
        """Yield its walls with their lower and their upper end, as outlines, mm."""
        if self.ground.terraces:
            (terrace,) = self.ground.terraces

            def at(distance: float) -> Contours:
                return offset(terrace.contours, -distance, "mitre") if distance else flat

            knots, flat = terrace.section, terrace.contours
        else:
            knots = self.ground.steps

            def at(distance: float) -> Contours:
                return (circle(distance, curve),)

        for (start, under), (end, over) in pairwise(knots):
            if under != over:
                ends = (start, end) if under < over else (end, start)
                wall = Wall(self, min(under, over), max(under, over))
                yield wall, at(ends[0]), at(ends[1])


@dataclass(frozen=True, eq=False)
class Wall:
    """A wall of a step, and the rise of the field on its lower and on its upper side, mm."""

    step: Step
    low: float
    high: float


def steps_of(ground: Ground) -> tuple[Step, ...]:
    """Return the panels and circles of a field, each by itself."""
    found = [
        Step("a panel", Ground(0.0, ground.radius, 0.0, -math.inf, terraces=(t,)))
        for t in ground.terraces
    ]
    knots = list(ground.steps)
    while knots:
        count = 4 if knots[0][1] == 0.0 else 2  # a ring, or a panel that reaches to the middle
        own, knots = tuple(knots[:count]), knots[count:]
        found.append(Step("a circle", Ground(0.0, ground.radius, 0.0, -math.inf, steps=own)))
    return tuple(found)


@dataclass(frozen=True, eq=False)
class _Across:
    """How a unit stands across a step: its height, the share off the larger part, and where."""

    height: float
    share: float
    where: tuple[float, float]


def across_steps(
    standing: Sequence[Standing], words: Collection[str], told: Collection[str]
) -> Iterator[tuple[Finding, str]]:
    """Yield a finding for every element that stands across walls of panels or of circles.

    And whether it is panels or circles.

    By the drawn letters and emblems, their level faces, without their walls.

    Parameters
    ----------
    standing : sequence of Standing
    words : collection of str
        Kinds whose units are letters.
    told : collection of str
        Paths of elements of which it is told already that the field hides them.
    """
    for s in standing:
        if s.action not in ("add", "cut") or s.may_overlap or s.path in told:
            continue
        for name in dict.fromkeys(step.name for step in steps_of(s.ground)):
            found = []
            for n, unit in enumerate(s.units):
                if s.kind in words and not unit.keeps:
                    continue  # a line below words may run over anything
                across = _across(s, s.first + n, name)
                if across.height > _STEP_MM and across.share > _SHARE:
                    found.append((across, unit.name))
            if found:
                yield _told(s, name, found, "the words" if s.kind in words else "it"), name


def _told(s: Standing, step: str, found: Sequence[tuple[_Across, str]], what: str) -> Finding:
    worst, _ = max(found, key=lambda f: (f[0].height, f[0].share))
    names = list(dict.fromkeys(name for _, name in found if name))
    who = ", ".join(names[:_NAMED]) or "it"
    who += f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    u, v = worst.where
    severity = _SEVERITY.get(s.kind, "warning")
    message = (
        f"{who} {'stand' if len(names) > 1 else 'stands'} across the edge of {step}, a step of "
        f"{worst.height:.2f} mm, near {u:.1f}, {v:.1f} mm, with {100.0 * worst.share:.0f} % on "
        f"its other side"
    )
    if severity != "remark":
        message += f"; move {what} or {step.replace('a ', 'the ')}"
        message += ", or set overlap if it is meant" if severity == "warning" else ""
    return Finding("across-step", severity, message, s.path, worst.height, _STEP_MM)


def _across(s: Standing, number: int, name: str) -> _Across:
    """Return how a unit stands across the highest step of a name, if it does so at all."""
    worst = _Across(0.0, 0.0, (0.0, 0.0))
    corners = corners_of(s, number)
    low, high = corners.min(axis=0), corners.max(axis=0)
    steps = [t for t in steps_of(s.ground) if t.name == name and not t.is_level(low, high)]
    if not steps:
        return worst
    grid = grid_round(corners)
    points = points_of(grid, *np.nonzero(np.isfinite(own_heights(s, number, grid, level=True))))
    for step in steps:
        rise = step.ground.height(points)
        height = float(np.ptp(rise)) if len(rise) else 0.0
        if height > worst.height:
            share, where = _parted(step, points, rise, grid.pixel)
            worst = _Across(height, share, where)
    return worst


def _parted(
    step: Step, points: FloatArray, rise: FloatArray, pixel: float
) -> tuple[float, tuple[float, float]]:
    """Return the share of points on the side of a step where fewer are, and where they meet it."""
    share = float(np.mean(rise > 0.5 * (rise.min() + rise.max())))
    off = step.off(points)
    on_it = points[off <= off.min() + pixel]
    u, v = on_it[np.argmin(np.sum((on_it - points.mean(axis=0)) ** 2, axis=1))].tolist()
    return min(share, 1.0 - share), (u, v)


def drilled(side: str, ground: Ground, standing: Sequence[Standing]) -> Iterator[Finding]:
    """Yield a remark for every panel, circle and texture of a face with a hole or joint in it.

    Parameters
    ----------
    side : str
        obverse or reverse.
    ground : Ground
        Of that face.
    standing : sequence of Standing
    """
    openings = openings_of(replace(ground, outline=()))
    if not openings:
        return
    corner = np.full(2, ground.radius)
    grid = grid_round(np.array([-corner, corner]))
    rows, cols = (a.ravel() for a in np.indices(grid.shape))
    points = points_of(grid, rows, cols)
    areas = []
    for step in steps_of(ground):
        rise = np.abs(step.ground.height(points))
        areas.append((f"{side}.field", step.name, rise > 0.5 * rise.max(initial=0.0)))
    for s in standing:
        if s.action == "ground" and s.path.startswith(side):
            vertices, triangles, _ = s.own
            seen = np.isfinite(top_surface(vertices, triangles, grid)[0])
            areas.append((s.path, "it", seen.ravel()))
    for where, name, of in areas:
        for number, contours in openings.items():
            outer = tuple(c for c in contours if signed_area(c) > 0.0)
            within = of & inside(outer, points)
            share = int(np.count_nonzero(within)) / (int(np.count_nonzero(of)) or 1)
            if not _SHARE < share < (1.0 - _SHARE if number == JOINT else np.inf):
                continue
            near = points[within]
            u, v = near[np.argmin(np.sum((near - near.mean(axis=0)) ** 2, axis=1))].tolist()
            how = "lies across" if number == JOINT else "is cut through by"
            told = (
                f"{name} {how} {NAMES[number]}, near {u:.1f}, {v:.1f} mm: {100.0 * share:.0f} % "
                f"of it is {'inside' if number == JOINT else 'lost'}"
            )
            yield Finding("meeting", "remark", told, where, share)
