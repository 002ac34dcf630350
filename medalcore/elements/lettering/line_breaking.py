"""Breaking words into lines that fill a circle."""

from __future__ import annotations

import math
from collections.abc import Callable

from ...errors import SpecError
from .typesetting import Setting, line, nothing_to_set

_EMPTY = 0.3  # how much an empty circle weighs against uneven lines


def break_lines(text: str, how: Setting, radius: float, step: float) -> list[str]:
    """Return the lines that words are broken into to fill a circle.

    The lines are stacked round its middle, as few as hold the words or up to two more;
    among the ways to break them the one whose lines take the most equal shares of their
    chords, and leave little of it empty, is taken (least squares). Line breaks in the
    text are kept.

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
    ways: list[tuple[float, list[str]]] = []
    for lines in range(len(paragraphs), count + 1):
        chords = _chords(lines, radius, step, cap)
        if chords is None or len(ways) == 3:
            break
        way = _broken(paragraphs, chords, width)
        if way is not None:
            ways.append(way)
        elif ways:
            break
    if ways:
        return min(ways, key=lambda way: way[0])[1]
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
) -> tuple[float, list[str]] | None:
    """Return the most even way to break the words into these lines, and its faults."""
    words = [(w, n == len(p) - 1) for p in paragraphs for n, w in enumerate(p)]
    total = len(words)
    share = min(sum(width(" ".join(p)) for p in paragraphs) / sum(chords), 1.0)
    # best[i]: least unevenness of the lines so far, with the first i words set, and the lines.
    best: dict[int, tuple[float, tuple[str, ...]]] = {0: (0.0, ())}
    for chord in chords:
        following: dict[int, tuple[float, tuple[str, ...]]] = {}
        for i, (cost, done) in best.items():
            for j in range(i + 1, total + 1):
                if any(ends for _, ends in words[i : j - 1]):
                    break
                text = " ".join(w for w, _ in words[i:j])
                if width(text) > chord:
                    break
                new = cost + (width(text) / chord - share) ** 2
                if j not in following or new < following[j][0]:
                    following[j] = (new, (*done, text))
        best = following
    if total not in best:
        return None
    cost, lines = best[total]
    return cost / len(chords) + _EMPTY * (1.0 - share) ** 2, list(lines)
