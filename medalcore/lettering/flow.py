"""Breaking words into lines that fill a circle."""

from __future__ import annotations

import math
from collections.abc import Callable

from ..errors import SpecError
from .setting import Setting, line, nothing_to_set


def flowed(text: str, how: Setting, radius: float, step: float) -> list[str]:
    """Return the lines that words are broken into to fill a circle.

    As few lines as hold the words are stacked round its middle; among the ways to break
    them the one whose lines fill their chords most evenly is taken (least squares of what
    is left over). Line breaks in the text are kept.

    Parameters
    ----------
    text : str
    how : Setting
    radius : float
        Of the circle, mm.
    step : float
        Between baselines, mm.

    Raises
    ------
    SpecError
        If the words do not go in; it says what size would.
    """
    paragraphs = [p.split() for p in text.splitlines() if p.strip()]
    if not paragraphs:
        raise nothing_to_set()
    cap, tracking = how.words.cap_height, how.words.tracking * how.size / 1000.0
    widths: dict[str, float] = {}

    def width(words: str) -> float:
        if words not in widths:
            found = line(words, how)
            span = found.span(tracking) if found else (0.0, 0.0)
            widths[words] = span[1] - span[0]
        return widths[words]

    count = sum(len(p) for p in paragraphs)
    for lines in range(len(paragraphs), count + 1):
        chords = _chords(lines, radius, step, cap)
        if chords is None:
            break
        best = _broken(paragraphs, chords, width)
        if best is not None:
            return best
    everything = sum(width(" ".join(p)) for p in paragraphs)
    fits = cap * math.sqrt(0.7 * math.pi * radius**2 / (everything * step))
    raise SpecError(
        f"the words do not go into a circle of {radius:g} mm radius; a cap height of about "
        f"{min(fits, 0.95 * cap):.2g} mm would fit",
        key="within",
    )


def _chords(lines: int, radius: float, step: float, cap: float) -> list[float] | None:
    """Return how wide each line may be, or None where there is no room for so many."""
    top = 0.5 * (step * (lines - 1) + cap)
    if top >= radius:
        return None
    chords = []
    for number in range(lines):
        high = top - step * number
        far = max(abs(high), abs(high - cap))
        chords.append(2.0 * math.sqrt(radius**2 - far**2))
    return chords


def _broken(
    paragraphs: list[list[str]], chords: list[float], width: Callable[[str], float]
) -> list[str] | None:
    """Return the most even way to break the words into exactly these lines."""
    words = [(w, n == len(p) - 1) for p in paragraphs for n, w in enumerate(p)]
    total = len(words)
    # best[i]: least leftover of the lines so far, with the first i words set, and the lines.
    best: dict[int, tuple[float, tuple[str, ...]]] = {0: (0.0, ())}
    for chord in chords:
        following: dict[int, tuple[float, tuple[str, ...]]] = {}
        for i, (cost, done) in best.items():
            for j in range(i + 1, total + 1):
                if any(ends for _, ends in words[i : j - 1]):
                    break
                text = " ".join(w for w, _ in words[i:j])
                left = chord - width(text)
                if left < 0.0:
                    break
                new = cost + (left / chord) ** 2
                if j not in following or new < following[j][0]:
                    following[j] = (new, (*done, text))
        best = following
    return list(best[total][1]) if total in best else None
