"""Straight lines of words in the field."""

from __future__ import annotations

import math

import numpy as np

from ..contour import Contours
from ..element import Built, Context, Finding, Part
from ..errors import SpecError
from ..spec import Inscription
from .fonts import find_typeface
from .letters import Cut, raised
from .shaping import Letter, read_axes, read_features, shape
from .typeface import Typeface


def build_inscription(spec: Inscription, context: Context) -> Built:
    """Set the lines of an inscription and cut them.

    Raises
    ------
    SpecError
        If the words leave no mark.
    SourceError
        If the font is missing or lacks characters.
    """
    typeface = find_typeface(spec.font, read_axes(spec.axes))
    scale = spec.cap_height / typeface.cap_units
    lines = [
        _line(text, spec, typeface, scale, context.tolerance.curve)
        for text in spec.text.splitlines()
    ]
    if not any(lines):
        raise SpecError("the words leave no mark: they hold nothing but spaces", key="text")
    spans = [_span(line) for line in lines if line]
    widest = max(b - a for a, b in spans)
    step = spec.leading * spec.cap_height
    # The block runs from the first line's capitals to the last line's baseline.
    top = 0.5 * (step * (len(lines) - 1) - spec.cap_height)
    turn = math.radians(spec.turn)
    cuts = []
    for number, line in enumerate(lines):
        if not line:
            continue
        left, right = _span(line)
        shift = {
            "centre": -0.5 * (left + right),
            "left": -0.5 * widest - left,
            "right": 0.5 * widest - right,
        }[spec.align]
        y = top - step * number
        for letter, outline, x in line:
            u, v = x + shift, y
            at = (
                spec.at[0] + u * math.cos(turn) - v * math.sin(turn),
                spec.at[1] + u * math.sin(turn) + v * math.cos(turn),
            )
            cuts.append(Cut(letter.text, outline, turn, at, letter.glyphs))
    solid = raised(cuts, spec.height, math.radians(spec.draft), context, "inscription")
    facts = {
        "text": spec.text,
        "font": typeface.name,
        "letters": len(cuts),
        "cap_height_mm": spec.cap_height,
        "lines": len(lines),
        "width_mm": widest,
    }
    return Built((Part(solid),), facts, tuple(_findings(cuts, context)))


def _line(
    text: str, spec: Inscription, typeface: Typeface, scale: float, tolerance: float
) -> list[tuple[Letter, Contours, float]]:
    """Return letters that leave a mark, their outlines from their origin, and its x, mm."""
    if not text.strip():
        return []
    shaped = shape(
        text.strip(), typeface, features=read_features(spec.features), language=spec.language,
        tracked=bool(spec.tracking),
    )  # fmt: skip
    tracking = spec.tracking * scale * typeface.units / 1000.0
    found = []
    for number, letter in enumerate(shaped):
        outline = letter.outline(typeface, tolerance / scale)
        if outline:
            found.append(
                (letter, tuple(c * scale for c in outline), letter.x * scale + tracking * number)
            )
    return found


def _span(line: list[tuple[Letter, Contours, float]]) -> tuple[float, float]:
    """Return where the ink of a line starts and stops, mm."""
    left = min(x + min(float(c[:, 0].min()) for c in outline) for _, outline, x in line)
    right = max(x + max(float(c[:, 0].max()) for c in outline) for _, outline, x in line)
    return left, right


def _findings(cuts: list[Cut], context: Context) -> list[Finding]:
    reach = max(float(np.hypot(*np.concatenate(c.placed).T).max()) for c in cuts)
    over = reach - context.ground.radius
    if over <= 0.0:
        return []
    return [
        Finding(
            "inscription-over-rim", "warning",
            f"the lines reach {over:.2f} mm over the edge of the field; "
            "a smaller cap height or more lines keep them inside",
            "inscription", reach, context.ground.radius,
        )
    ]  # fmt: skip
