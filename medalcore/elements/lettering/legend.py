"""Words along an arc round the middle of the face."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import msgspec
import numpy as np

from ...context.element import Built, Context
from ...errors import SpecError
from ...geometry.contour import Contours, bounds
from ...geometry.types import FloatArray
from ...spec.lettering import Legend
from ...svg.drawing import read_drawing
from .arc import Arc, bands, optical_steps, sides
from .letters import PlacedGlyph, cut_letters
from .measure import measured
from .ornaments import MARKS, ornament
from .typesetting import Line, Setting, line, nothing_to_set, setting, unknown_features

_TIGHTEST = -120.0  # thousandths: closer than this words cannot be read
_LEAST_GAP = 0.6  # of the cap height, between legends round one border
_AIR = 0.45  # of the cap height, between words and the rim or a border
_LEVEL = 0.2  # sine of how far below the middle words at the side still read clockwise
_FULL = 2.0 * math.pi
_FITTED = 2e-5  # rad that words fitted by size may be too short, before tracking takes the rest
_RING = 360.0  # degrees of sweep at which words close to a ring
_RING_SPACES = 2  # where tracking falls between the last and the first word: round the space

_SEPARATOR = 24
"""Characters of a separator: more is a legend of its own."""


@dataclass(frozen=True, eq=False)
class _Set:
    """Words on their arc: angles of the letters from the middle of the ink, rad."""

    line: Line
    arc: Arc
    angles: FloatArray
    sweep: float
    tracking: float


def build_legend(spec: Legend, context: Context) -> Built:
    """Set the words of a legend (or several round one border) and cut them.

    Raises
    ------
    SpecError
        If the words do not fit; it says by how much and what would.
    SourceError
        If the font is missing or lacks characters.
    """
    texts = [t for t in spec.text.splitlines() if t.strip()]
    if not texts:
        raise nothing_to_set()
    if spec.sweep and spec.arc_length:
        raise SpecError("give either sweep or arc_length, not both", key="arc_length")
    if spec.fit == "size" and (spec.sweep or spec.arc_length):
        spec = _sized(spec, texts, context)
    how = _how(spec, context)
    legends = _round_border(spec, texts, how, context)
    cuts = [cut for legend in legends for cut in _cuts(spec, legend, how)]
    cuts += _separators(spec, legends, how)
    parts = cut_letters(cuts, spec, context, "legend")
    widths, findings = measured(cuts, spec, context, "legend")
    first = legends[0]
    facts: dict[str, Any] = {
        "text": spec.text,
        "font": how.typeface.name,
        "letters": len(cuts),
        "cap_height_mm": spec.cap_height,
        "baseline_radius_mm": first.arc.radius,
        "sweep_deg": math.degrees(first.sweep),
        "arc_length_mm": first.sweep * first.arc.radius,
        "tracking": float(first.tracking),
        "reading": "clockwise" if first.arc.clockwise else "counter-clockwise",
        **widths,
    }
    if len(legends) > 1:
        facts["sweeps_deg"] = [math.degrees(legend.sweep) for legend in legends]
    findings += unknown_features(how, "legend")
    return Built(parts, facts, tuple(findings))


def _how(spec: Legend, context: Context) -> Setting:
    tracked = bool(spec.tracking or spec.sweep or spec.arc_length)
    return setting(spec, context.tolerance.curve, tracked=tracked)


def _sized(spec: Legend, texts: list[str], context: Context) -> Legend:
    """Return the spec with the cap height at which the words fill their arc."""
    if len(texts) > 1:
        raise _one_only(spec)
    if line(texts[0], _how(spec, context)) is None:
        raise nothing_to_set()
    # Too short and too long, each with by how much, rad; the length is nearly as the size.
    low, short, high, long = 0.0, 0.0, 0.0, math.inf
    size = spec.cap_height
    for _ in range(60):
        over = _overlong(spec, texts[0], size, context)
        if over > 0.0:
            high, long = size, over
        else:
            low, short = size, over
        if -_FITTED < over <= 0.0 or (low and high and high - low < 1e-6 * high):
            break
        if not high:
            size *= 2.0
        elif not low or math.isinf(long):
            size = 0.5 * (low + high)
        else:
            share = (short + 0.5 * _FITTED) / (short - long)
            size = low + min(max(share, 0.02), 0.98) * (high - low)
    return msgspec.structs.replace(spec, cap_height=low or size, fit="tracking")


def _overlong(spec: Legend, text: str, size: float, context: Context) -> float:
    """Return by how much words of a size are longer than their arc, rad."""
    trial = msgspec.structs.replace(spec, cap_height=size)
    how = _how(trial, context)
    found = line(text, how)
    assert found is not None
    try:
        arc = _arc(trial, context, [found])
    except SpecError:  # too large to stand round the middle at all
        return math.inf
    angles = _stand(trial, found, arc, spec.tracking * how.size / 1000.0)
    start, stop = _ink(found, angles, arc, trial)
    return stop - start - _aim(trial, found, how, arc, trial.tracking)


def _one_only(spec: Legend) -> SpecError:
    return SpecError(
        "several legends round one border share it evenly; give each its own table to fit it",
        key="sweep" if spec.sweep else "arc_length",
    )


def _round_border(spec: Legend, texts: list[str], how: Setting, context: Context) -> list[_Set]:
    """Set one legend at its place, or several with equal gaps between them."""
    lines = [line(t, how) for t in texts]
    present = [found for found in lines if found is not None]
    if not present:
        raise nothing_to_set()
    if len(present) == 1:
        return [_set(spec, present[0], how, _arc(spec, context, present))]
    if spec.sweep or spec.arc_length:
        raise _one_only(spec)
    first = _arc(spec, context, present)
    middles = first.middle - np.arange(len(present)) * _FULL / len(present)
    for _ in range(4):  # where a legend stands decides how it reads, and that how long it is
        legends = [
            _set(spec, found, how, _beside(spec, first, float(middle)))
            for found, middle in zip(present, middles, strict=True)
        ]
        reach = np.array([_reach(spec, legend) for legend in legends])
        gap = (_FULL - reach.sum()) / len(legends)
        steps = reach[:-1, 1] + gap + reach[1:, 0]
        middles = first.middle - np.concatenate([[0.0], np.cumsum(steps)])
    least = _LEAST_GAP * spec.cap_height / first.radius
    if gap < least:
        fits = spec.cap_height * _FULL / (reach.sum() + least * len(legends))
        raise SpecError(
            f"the words need {math.degrees(reach.sum() + least * len(legends)):.1f} of 360 "
            f"degrees with their gaps; a cap height of {math.floor(fits * 100) / 100:g} mm "
            "would fit",
            key="cap_height",
        )
    return [
        _set(spec, found, how, _beside(spec, first, float(middle)))
        for found, middle in zip(present, middles, strict=True)
    ]


def _reach(spec: Legend, legend: _Set) -> tuple[float, float]:
    """Return how far ink reaches from the middle of the words, back and on clockwise, rad."""
    ends = []
    parts = zip(legend.line.letters, legend.line.outlines, legend.angles, strict=True)
    for letter, outline, angle in parts:
        points = np.concatenate(outline)
        if spec.form == "bent" or letter.joined:
            across = points[:, 0] / _true_radius(spec, legend.arc)
        else:
            across = np.arctan2(points[:, 0], legend.arc.radius + legend.arc.up * points[:, 1])
        ends += [angle + across.min(), angle + across.max()]
    back, on = -float(min(ends)), float(max(ends))
    return (back, on) if legend.arc.clockwise else (on, back)


def _beside(spec: Legend, first: Arc, middle: float) -> Arc:
    """Return the arc of another legend in the same band as the first."""
    clockwise = first.clockwise
    if spec.reading == "auto":
        clockwise = math.sin(middle) > -_LEVEL
    radius = first.radius + spec.cap_height * (int(first.clockwise) - int(clockwise))
    return Arc(radius, middle, clockwise)


def _arc(spec: Legend, context: Context, lines: list[Line]) -> Arc:
    """Return the arc of the first legend; the others stand in the same band."""
    named = {"top": 0.0, "bottom": 180.0}
    at = named[spec.at] if isinstance(spec.at, str) else float(spec.at)
    clockwise = spec.reading == "clockwise"
    if spec.reading == "auto":
        clockwise = math.cos(math.radians(at)) > -1e-9
    radius = spec.radius
    if radius == 0.0:
        margin = _AIR * spec.cap_height + _excess(spec, lines, clockwise)
        room = context.ground.within_borders(margin + (1.0 + _AIR) * spec.cap_height)
        radius = room - margin - (spec.cap_height if clockwise else 0.0)
    inner = radius if clockwise else radius - spec.cap_height
    if inner <= 0.0:
        if not spec.radius:
            raise SpecError(
                f"letters {spec.cap_height:g} mm high do not go round inside a field of "
                f"{room:.1f} mm radius; a third of that is high enough",
                key="cap_height",
            )
        raise SpecError(
            f"letters {spec.cap_height:g} mm high do not stand round the middle at this radius; "
            f"give a radius above {spec.cap_height:g} mm or smaller letters",
            key="radius",
        )
    return Arc(radius, math.radians(90.0 - at), clockwise)


def _excess(spec: Legend, lines: list[Line], clockwise: bool) -> float:
    """Return how far accents or tails reach out of the band of the capitals and some air, mm.

    Accents stand towards the rim where letters' feet look to the middle, tails where their
    heads do; with several legends both may.
    """
    boxes = np.array([bounds(outline)[:, 1] for found in lines for outline in found.outlines])
    accents = float(boxes[:, 1].max()) - spec.cap_height
    tails = -float(boxes[:, 0].min())
    outwards = accents if clockwise else tails
    if len(lines) > 1:
        outwards = max(accents, tails)
    return max(outwards - 0.2 * spec.cap_height, 0.0)


def _true_radius(spec: Legend, arc: Arc) -> float:
    """Return the radius at which lengths along the words are those of the straight line."""
    return arc.radius + (arc.up * spec.cap_height / 2.0 if spec.optical else 0.0)


def _set(spec: Legend, found: Line, how: Setting, arc: Arc) -> _Set:
    """Return the words centred on their arc, fitted if that is asked for."""
    aim = _aim(spec, found, how, arc, spec.tracking)
    tracking, unit = spec.tracking, how.size / 1000.0
    steps = found.spaces - found.spaces[0]
    angles = _stand(spec, found, arc, tracking * unit)
    if aim and len(found.letters) == 1:
        raise SpecError(
            "a single letter cannot be spaced to a length",
            key="sweep" if spec.sweep else "arc_length",
        )
    if aim:
        tracked = steps[-1] + (_RING_SPACES if spec.sweep >= _RING else 0)
        for _ in range(3):
            start, stop = _ink(found, angles, arc, spec)
            tracking += (aim - (stop - start)) * _true_radius(spec, arc) / (tracked * unit)
            angles = _stand(spec, found, arc, tracking * unit)
            aim = _aim(spec, found, how, arc, tracking)
        start, stop = _ink(found, angles, arc, spec)
        angles = angles + (aim - (stop - start)) / steps[-1] * steps
    start, stop = _ink(found, angles, arc, spec)
    _check_fit(spec, found, arc, stop - start, aim, tracking)
    return _Set(found, arc, angles - 0.5 * (start + stop), stop - start, tracking)


def _aim(spec: Legend, found: Line, how: Setting, arc: Arc, tracking: float) -> float:
    """Return the angle the ink of the words is to fill, rad; 0 leaves it natural.

    Words all round close like any two words do: with a space between the last and the first.
    """
    if spec.sweep < _RING:
        return math.radians(spec.sweep) if spec.sweep else spec.arc_length / arc.radius
    first, last = found.letters[0], found.letters[-1]
    space = float(how.typeface.font.get_glyph_h_advance(how.typeface.glyph(" ")))
    again = (last.x + last.advance + space - first.x) * how.scale + found.middles[0]
    ring = Line(
        (*found.letters, first),
        (*found.outlines, found.outlines[0]),
        np.append(found.middles, again),
        np.append(found.spaces, found.spaces[-1] + _RING_SPACES),
    )
    angles = _stand(spec, ring, arc, tracking * how.size / 1000.0)
    start, stop = _ink(found, angles[:-1], arc, spec)
    return _FULL - float(angles[-1] - (stop - start))


def _stand(spec: Legend, found: Line, arc: Arc, tracking_mm: float) -> FloatArray:
    """Return the angle of every letter from the first, rad."""
    apart = np.diff(found.places(tracking_mm))
    steps = apart / _true_radius(spec, arc)
    if spec.optical and spec.form == "turned" and len(apart):
        heights = bands(spec.cap_height)
        reach = [sides(outline, heights) for outline in found.outlines]
        joined = np.array([letter.joined for letter in found.letters])
        even = optical_steps(reach, apart, arc, spec.cap_height)
        steps = np.where(joined[:-1] | joined[1:], steps, even)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _ink(found: Line, angles: FloatArray, arc: Arc, spec: Legend) -> tuple[float, float]:
    """Return where the ink of the words starts and stops, rad."""
    starts, stops = [], []
    for letter, outline, angle in zip(found.letters, found.outlines, angles, strict=True):
        left, right = bounds(outline)[:, 0].tolist()
        if spec.form == "bent" or letter.joined:
            true_radius = _true_radius(spec, arc)
            starts.append(angle + left / true_radius)
            stops.append(angle + right / true_radius)
        else:
            starts.append(angle + arc.bearing(left))
            stops.append(angle + arc.bearing(right))
    return float(min(starts)), float(max(stops))


def _check_fit(
    spec: Legend, found: Line, arc: Arc, sweep: float, aim: float, tracking: float
) -> None:
    if aim and tracking < _TIGHTEST:
        a, b = _ink(found, _stand(spec, found, arc, 0.0), arc, spec)
        fits = spec.cap_height * aim / (b - a)
        raise SpecError(
            f"the words need {math.degrees(b - a):.1f} degrees, "
            f"{math.degrees(b - a - aim):.1f} more than they are given; "
            f"a cap height of {math.floor(fits * 100) / 100:g} mm would fit",
            key="sweep" if spec.sweep else "arc_length",
        )
    if sweep > _FULL:
        fits = spec.cap_height * _FULL / sweep * 0.98
        raise SpecError(
            f"the words need {math.degrees(sweep):.1f} degrees, "
            f"{math.degrees(sweep) - 360.0:.1f} more than the full circle; "
            f"a cap height of {math.floor(fits * 100) / 100:g} mm would fit",
            key="cap_height",
        )


def _cuts(spec: Legend, legend: _Set, how: Setting) -> list[PlacedGlyph]:
    cuts = []
    arc = legend.arc
    parts = zip(legend.line.letters, legend.line.outlines, legend.angles.tolist(), strict=True)
    for letter, outline, angle in parts:
        if spec.form == "bent" or letter.joined:
            wrapped = arc.bent(outline, angle, _true_radius(spec, arc), how.tolerance)
            key = (angle, arc.middle, letter.glyphs)
            cuts.append(PlacedGlyph(letter.text, wrapped, 0.0, (0.0, 0.0), key))
        else:
            turn, at = arc.frame(angle)
            cuts.append(PlacedGlyph(letter.text, outline, turn, at, letter.glyphs))
    return cuts


def _separators(spec: Legend, legends: list[_Set], how: Setting) -> list[PlacedGlyph]:
    """Return the marks in the middle of the gaps between legends."""
    if not spec.separator.strip():
        return []
    outline = _separator(spec, how)
    cuts = []
    for this, following in zip(legends, [*legends[1:], legends[0]], strict=True):
        end = this.arc.middle - _reach(spec, this)[1]
        start = following.arc.middle + _reach(spec, following)[0]
        middle = end - 0.5 * ((end - start) % _FULL)
        inner = this.arc.radius - (0.0 if this.arc.clockwise else spec.cap_height)
        arc = Arc(inner, middle, True)
        turn, at = arc.frame(0.0)
        cuts.append(PlacedGlyph(spec.separator, outline, turn, at, ("separator", spec.separator)))
    return cuts


def _separator(spec: Legend, how: Setting) -> Contours:
    """Return the mark between legends, its middle over the baseline's zero, mm."""
    up = np.array([0.0, spec.cap_height / 2.0])
    if spec.separator in MARKS:
        return tuple(c + up for c in ornament(spec.separator, spec.cap_height, how.tolerance))
    if spec.separator.lower().endswith(".svg"):
        size = 0.9 * spec.cap_height
        drawn = read_drawing(
            spec.separator, size, how.tolerance, frozenset({"#ffffff"}), upright=True
        )
        return tuple(c - bounds(drawn.contours).mean(axis=0) + up for c in drawn.contours)
    if len(spec.separator) > _SEPARATOR:
        raise SpecError(
            f"a separator of {len(spec.separator)} characters is no mark; at most {_SEPARATOR}",
            key="separator",
        )
    found = line(spec.separator, how)
    assert found is not None  # there is more than spaces in it
    places = zip(found.outlines, found.places(0.0), strict=True)
    outline = tuple(c + np.array([x, 0.0]) for o, x in places for c in o)
    return tuple(c - np.array([bounds(outline)[:, 0].mean(), 0.0]) for c in outline)
