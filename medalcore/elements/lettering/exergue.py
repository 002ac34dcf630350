"""The exergue: a level line across the foot of a face and words in the segment below it."""

from __future__ import annotations

import math
from typing import Any

import msgspec
import numpy as np

from ...context.element import Built, Context, Finding
from ...context.ground import Ground
from ...errors import SpecError
from ...geometry.arrays import ragged
from ...geometry.contour import signed_area
from ...geometry.types import FloatArray
from ...spec.lettering import Exergue
from .letters import PlacedGlyph, cut_letters
from .lines import straight
from .measure import measured
from .typesetting import Line, line, setting, unknown_features

_GAP = 0.55  # of the cap height, between the line and the capitals below it
_STEP = 0.1  # mm between points of the edge that are looked at
_AIR = 0.35  # of the cap height, between the words and the edge of the field


def build_exergue(spec: Exergue, context: Context) -> Built:
    """Cut the line of an exergue and set the words below it.

    Raises
    ------
    SpecError
        If the line lies outside the field, the words do not fit below it (it says what size
        would), or there is neither line nor words.
    SourceError
        If the font is missing or lacks characters.
    """
    edge = _Edge(context.ground)
    level = spec.level or 2.0 * edge.reach / 3.0
    if level + spec.line >= edge.reach:
        raise SpecError(
            f"the line lies outside the field, which ends {edge.reach:.2f} mm below its middle",
            key="level",
        )
    bar = _bar(spec, level, edge)
    words: list[PlacedGlyph] = []
    facts: dict[str, Any] = {"text": spec.text, "level_mm": level}
    findings: list[Finding] = []
    if spec.text.strip():
        spec, words = _words(spec, level, edge, context)
        how = setting(spec, context.tolerance.curve, tracked=bool(spec.tracking))
        widths, findings = measured(words, spec, context, "inscription")
        findings += unknown_features(how, "inscription")
        facts |= {"font": how.typeface.name, "cap_height_mm": spec.cap_height, **widths}
    if not bar and not words:
        raise SpecError("give the exergue words or a line", key="text")
    parts = cut_letters(words, spec, context, "inscription") if words else ()
    if bar:  # across a hollow field a level line would drown at its ends
        lying = msgspec.structs.replace(spec, follow=True)
        parts += cut_letters(bar, lying, context, "inscription")
    return Built(parts, facts, tuple(findings))


class _Edge:
    """Where the field ends on both sides of a level line.

    Attributes
    ----------
    reach : float
        How far the field goes below its middle, mm.
    """

    def __init__(self, ground: Ground) -> None:
        self.reach = self._radius = ground.radius
        self._points: FloatArray | None = None
        outer = max((np.array(c) for c in ground.outline), key=signed_area, default=None)
        if outer is not None and np.hypot(*outer.T).max() > 1.001 * ground.radius:
            self._points = _filled_in(outer)
            self.reach = -float(outer[:, 1].min())

    def half(self, low: float, high: float, air: float) -> float:
        """Return half the width there is between two heights, mm; below 0 if there is none.

        Parameters
        ----------
        low, high : float
            Heights over the middle, mm; in a circle the lower one counts.
        air : float
            What is left free to the edge of the field, mm.
        """
        if self._points is None:
            inside = (self._radius - air) ** 2 - low**2
            return math.sqrt(inside) if inside > 0.0 and air < self._radius else -1.0
        u, v = self._points.T
        near = (v > low - air) & (v < high + air)
        return float(np.abs(u[near]).min()) - air if low - air > -self.reach else -1.0


def _filled_in(contour: FloatArray) -> FloatArray:
    """Return points of a closed contour that lie a tenth of a millimetre apart at most."""
    step = np.roll(contour, -1, axis=0) - contour
    count = np.maximum(np.ceil(np.hypot(*step.T) / _STEP), 1).astype(np.int64)
    edge, place = ragged(count)
    filled: FloatArray = contour[edge] + (place / count[edge])[:, None] * step[edge]
    return filled


def _bar(spec: Exergue, level: float, edge: _Edge) -> list[PlacedGlyph]:
    """Return the line; it ends shortly before the edge of the field."""
    if not spec.line:
        return []
    far, near = level + spec.line / 2.0, level - spec.line / 2.0
    half = edge.half(-far, -near, spec.line + 0.3)
    if half <= 0.0:
        raise SpecError(
            f"the line has no length so near the edge of the field, {edge.reach:.2f} mm below its "
            "middle",
            key="level",
        )
    bar = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array([half, spec.line / 2.0])
    return [PlacedGlyph("", (bar,), 0.0, (0.0, -level), "exergue line")]


def _words(
    spec: Exergue, level: float, edge: _Edge, context: Context
) -> tuple[Exergue, list[PlacedGlyph]]:
    """Return the spec with the cap height that is used, and the letters."""
    how = setting(spec, context.tolerance.curve, tracked=bool(spec.tracking))
    lines = [line(t, how) for t in spec.text.splitlines()]
    tracking = spec.tracking / 1000.0 * how.typeface.units / how.typeface.cap_units
    # Widths for a cap height of 1: all of it scales.
    spans = [
        tuple(v / spec.cap_height for v in found.span(tracking * spec.cap_height))
        if found
        else None
        for found in lines
    ]

    def fits(cap: float) -> bool:
        return all(
            span is None
            or cap * (span[1] - span[0]) <= 2.0 * edge.half(foot, foot + cap, _AIR * cap)
            for n, span in enumerate(spans)
            for foot in [_baseline(spec, level, cap, n)]
        )

    low, high = 0.0, spec.cap_height
    if not fits(high):
        for _ in range(40):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if fits(middle) else (low, middle)
        if not spec.fit:
            raise SpecError(
                f"the words do not go below the line at a cap height of {spec.cap_height:g} mm; "
                f"{math.floor(low * 100) / 100:g} mm would fit",
                key="cap_height",
            )
        if low < 0.05 * spec.cap_height:
            raise SpecError("there is no room for words below the line", key="level")
        spec = msgspec.structs.replace(spec, cap_height=low)
        how = setting(spec, context.tolerance.curve, tracked=bool(spec.tracking))
        lines = [line(t, how) for t in spec.text.splitlines()]
    return spec, _place_glyphs(lines, spec, level, tracking * spec.cap_height)


def _place_glyphs(
    lines: list[Line | None], spec: Exergue, level: float, tracking: float
) -> list[PlacedGlyph]:
    cuts = []
    for number, found in enumerate(lines):
        if found is not None:
            left, right = found.span(tracking)
            start = (-0.5 * (left + right), _baseline(spec, level, spec.cap_height, number))
            cuts += straight(found, tracking, start, (0.0, 0.0), 0.0)
    return cuts


def _baseline(spec: Exergue, level: float, cap: float, number: int) -> float:
    first = -level - spec.line / 2.0 - (_GAP + 1.0) * cap
    return first - spec.leading * cap * number
