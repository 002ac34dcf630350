"""Words along an arc round the middle of the face."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..contour import Contours, FloatArray, bounds
from ..element import Built, Context, Finding, Part
from ..errors import SpecError
from ..spec import Legend
from .arc import Arc, bands, optical_steps, sides
from .fonts import find_typeface
from .letters import Cut, raised
from .shaping import Letter, read_axes, read_features, shape
from .typeface import Typeface

_TIGHTEST = -120.0  # thousandths: closer than this words cannot be read


@dataclass(frozen=True, eq=False)
class _Line:
    """The letters that leave a mark, on the straight line."""

    letters: tuple[Letter, ...]
    outlines: tuple[Contours, ...]
    apart: FloatArray  # mm between the middles of their ink, without tracking
    spaces: FloatArray  # how many tracked spaces lie between them


def build_legend(spec: Legend, context: Context) -> Built:
    """Set the words of a legend and cut them.

    Raises
    ------
    SpecError
        If the words do not fit; it says by how much and what would.
    SourceError
        If the font is missing or lacks characters.
    """
    typeface = find_typeface(spec.font, read_axes(spec.axes))
    scale = spec.cap_height / typeface.cap_units
    line = _line(spec, typeface, scale, context.tolerance.curve)
    arc = _arc(spec, context)
    angles, tracking = _angles(spec, line, arc, scale * typeface.units)
    start, stop = _ink(line, angles, arc, spec)
    angles = angles - 0.5 * (start + stop)
    cuts = []
    true_radius = _true_radius(spec, arc)
    for letter, outline, angle in zip(line.letters, line.outlines, angles, strict=True):
        if spec.form == "bent" or letter.joined:
            wrapped = arc.bent(outline, float(angle), true_radius, context.tolerance.curve)
            cuts.append(Cut(letter.text, wrapped, 0.0, (0.0, 0.0), (float(angle), letter.glyphs)))
        else:
            turn, at = arc.frame(float(angle))
            cuts.append(Cut(letter.text, outline, turn, at, letter.glyphs))
    solid = raised(cuts, spec.height, math.radians(spec.draft), context, "legend")
    sweep = stop - start
    facts = {
        "text": spec.text,
        "font": typeface.name,
        "letters": len(cuts),
        "cap_height_mm": spec.cap_height,
        "baseline_radius_mm": arc.radius,
        "sweep_deg": math.degrees(sweep),
        "arc_length_mm": sweep * arc.radius,
        "tracking": tracking,
        "reading": "clockwise" if arc.clockwise else "counter-clockwise",
    }
    return Built((Part(solid),), facts, tuple(_field_findings(cuts, context)))


def _line(spec: Legend, typeface: Typeface, scale: float, tolerance: float) -> _Line:
    tracked = bool(spec.tracking or spec.sweep or spec.arc_length)
    shaped = shape(
        spec.text, typeface, features=read_features(spec.features), language=spec.language,
        tracked=tracked,
    )  # fmt: skip
    letters, outlines, middles, gaps = [], [], [], []
    gap = 0
    for letter in shaped:
        outline = letter.outline(typeface, tolerance / scale)
        if outline:
            # A letter turns about the middle of its ink: kerning must not tilt it.
            middle = float(bounds(outline)[:, 0].mean())
            letters.append(letter)
            outlines.append(tuple((c - np.array([middle, 0.0])) * scale for c in outline))
            middles.append((letter.x + middle) * scale)
            gaps.append(gap)
            gap = 0
        gap += 1
    if not letters:
        raise SpecError("the words leave no mark: they hold nothing but spaces", key="text")
    return _Line(
        tuple(letters), tuple(outlines), np.diff(middles), np.array(gaps[1:], dtype=np.float64)
    )


def _arc(spec: Legend, context: Context) -> Arc:
    named = {"top": 0.0, "bottom": 180.0}
    at = named[spec.at] if isinstance(spec.at, str) else float(spec.at)
    clockwise = spec.reading == "clockwise"
    if spec.reading == "auto":
        clockwise = math.cos(math.radians(at)) > -1e-9
    radius = spec.radius
    if radius == 0.0:
        margin = 0.45 * spec.cap_height
        radius = context.ground.radius - margin - (spec.cap_height if clockwise else 0.0)
    inner = radius if clockwise else radius - spec.cap_height
    if inner <= 0.0:
        raise SpecError(
            f"letters {spec.cap_height:g} mm high do not stand round the middle at this radius; "
            f"give a radius above {0 if clockwise else spec.cap_height:g} mm or smaller letters",
            key="radius" if spec.radius else "cap_height",
        )
    return Arc(radius, math.radians(90.0 - at), clockwise)


def _true_radius(spec: Legend, arc: Arc) -> float:
    """Return the radius at which lengths along the words are those of the straight line."""
    return arc.radius + (arc.up * spec.cap_height / 2.0 if spec.optical else 0.0)


def _angles(spec: Legend, line: _Line, arc: Arc, size: float) -> tuple[FloatArray, float]:
    """Return the angle of every letter from the first, rad, and the tracking used."""
    if spec.sweep and spec.arc_length:
        raise SpecError("give either sweep or arc_length, not both", key="arc_length")
    aim = math.radians(spec.sweep) if spec.sweep else spec.arc_length / arc.radius
    tracking = spec.tracking
    true_radius = _true_radius(spec, arc)
    per_unit = float(line.spaces.sum()) * size / 1000.0 / true_radius
    angles = _stand(spec, line, arc, tracking * size / 1000.0)
    if aim and per_unit > 0.0:
        for _ in range(3):
            start, stop = _ink(line, angles, arc, spec)
            tracking += (aim - (stop - start)) / per_unit
            angles = _stand(spec, line, arc, tracking * size / 1000.0)
        start, stop = _ink(line, angles, arc, spec)
        rest = (aim - (stop - start)) / float(line.spaces.sum())
        angles = angles + rest * np.concatenate([[0.0], np.cumsum(line.spaces)])
    _check_fit(spec, line, arc, angles, aim, tracking)
    return angles, tracking


def _stand(spec: Legend, line: _Line, arc: Arc, tracking_mm: float) -> FloatArray:
    apart = line.apart + tracking_mm * line.spaces
    if spec.optical and spec.form == "turned" and len(apart):
        heights = bands(spec.cap_height)
        reach = [sides(outline, heights) for outline in line.outlines]
        steps = optical_steps(reach, apart, arc, spec.cap_height)
        bent = [a.joined or b.joined for a, b in zip(line.letters, line.letters[1:], strict=False)]
        steps = np.where(bent, apart / _true_radius(spec, arc), steps)
    else:
        steps = apart / _true_radius(spec, arc)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _ink(line: _Line, angles: FloatArray, arc: Arc, spec: Legend) -> tuple[float, float]:
    """Return where the ink of the words starts and stops, rad."""
    starts, stops = [], []
    for letter, outline, angle in zip(line.letters, line.outlines, angles, strict=True):
        points = np.concatenate(outline)
        if spec.form == "bent" or letter.joined:
            reach = points[:, 0] / _true_radius(spec, arc)
        else:
            reach = arc.bearing(points)
        starts.append(angle + reach.min())
        stops.append(angle + reach.max())
    return float(min(starts)), float(max(stops))


def _check_fit(
    spec: Legend, line: _Line, arc: Arc, angles: FloatArray, aim: float, tracking: float
) -> None:
    start, stop = _ink(line, angles, arc, spec)
    natural = _stand(spec, line, arc, 0.0)
    a, b = _ink(line, natural, arc, spec)
    if aim and tracking < _TIGHTEST:
        fits = spec.cap_height * aim / (b - a)
        raise SpecError(
            f"the words need {math.degrees(b - a):.1f} degrees, "
            f"{math.degrees(b - a - aim):.1f} more than they are given; "
            f"a cap height of {math.floor(fits * 100) / 100:g} mm would fit",
            key="sweep" if spec.sweep else "arc_length",
        )
    if aim and len(line.letters) == 1 and abs(stop - start - aim) > 1e-9:
        raise SpecError(
            "a single letter cannot be spaced to a length",
            key="sweep" if spec.sweep else "arc_length",
        )
    full = 2.0 * math.pi
    if stop - start > full:
        fits = spec.cap_height * full / (stop - start) * 0.98
        raise SpecError(
            f"the words need {math.degrees(stop - start):.1f} degrees, "
            f"{math.degrees(stop - start) - 360.0:.1f} more than the full circle; "
            f"a cap height of {math.floor(fits * 100) / 100:g} mm would fit",
            key="cap_height",
        )


def _field_findings(cuts: list[Cut], context: Context) -> list[Finding]:
    reach = max(float(np.hypot(*np.concatenate(c.placed).T).max()) for c in cuts)
    over = reach - context.ground.radius
    if over <= 0.0:
        return []
    return [
        Finding(
            "legend-over-rim", "warning",
            f"the letters reach {over:.2f} mm over the edge of the field; "
            "a smaller radius or cap height keeps them inside",
            "legend", reach, context.ground.radius,
        )
    ]  # fmt: skip
