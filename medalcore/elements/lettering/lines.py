"""Straight lines of words in the field, and at its foot."""

from __future__ import annotations

import math

from ...context.element import Built, Context
from ...spec.lettering import Inscription
from .letters import PlacedGlyph, cut_letters
from .line_breaking import break_lines
from .measure import measured
from .typesetting import Line, line, nothing_to_set, setting, unknown_features


def build_inscription(spec: Inscription, context: Context) -> Built:
    """Set the lines of an inscription and cut them.

    Raises
    ------
    SpecError
        If the words leave no mark, or do not fit their circle; it says what would.
    SourceError
        If the font is missing or lacks characters.
    """
    how = setting(spec, context.tolerance.curve, tracked=bool(spec.tracking))
    step = spec.leading * spec.cap_height
    texts = spec.text.splitlines()
    if spec.within:
        texts = break_lines(spec.text, how, spec.within, step)
    lines = [line(text, how) if text.strip() else None for text in texts]
    if not any(lines):
        raise nothing_to_set()
    tracking = spec.tracking * how.size / 1000.0
    spans = [found.span(tracking) for found in lines if found]
    widest = max(b - a for a, b in spans)
    # The block runs from the first line's capitals to the last line's baseline.
    top = 0.5 * (step * (len(lines) - 1) - spec.cap_height)
    cuts = []
    for number, found in enumerate(lines):
        if found is None:
            continue
        left, right = found.span(tracking)
        shift = {
            "centre": -0.5 * (left + right),
            "left": -0.5 * widest - left,
            "right": 0.5 * widest - right,
        }[spec.align]
        start = (shift, top - step * number)
        cuts += straight(found, tracking, start, spec.at, math.radians(spec.turn))
    parts = cut_letters(cuts, spec, context, "inscription")
    widths, findings = measured(cuts, spec, context, "inscription")
    facts = {
        "text": spec.text,
        "font": how.typeface.name,
        "letters": len(cuts),
        "cap_height_mm": spec.cap_height,
        "lines": len(lines),
        "width_mm": widest,
        **widths,
    }
    findings += unknown_features(how, "inscription")
    return Built(parts, facts, tuple(findings))


def straight(
    found: Line,
    tracking: float,
    start: tuple[float, float],
    about: tuple[float, float],
    turn: float,
) -> list[PlacedGlyph]:
    """Return the letters of a straight line.

    Parameters
    ----------
    found : Line
    tracking : float
        mm between letters.
    start : tuple of float
        Where the line's own zero lies, before it is turned, mm.
    about : tuple of float
        What it is turned about and shifted to, mm.
    turn : float
        Counter-clockwise, rad.
    """
    c, s = math.cos(turn), math.sin(turn)
    cuts = []
    places = found.places(tracking).tolist()
    for letter, outline, x in zip(found.letters, found.outlines, places, strict=True):
        u, v = x + start[0], start[1]
        at = (about[0] + u * c - v * s, about[1] + u * s + v * c)
        cuts.append(PlacedGlyph(letter.text, outline, turn, at, letter.glyphs))
    return cuts
