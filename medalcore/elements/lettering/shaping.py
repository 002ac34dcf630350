"""From text to letters in writing order, by HarfBuzz.

A *letter* is what moves as one piece: a base with its marks, a ligature, or a whole word
of a script whose letters join. All lengths here are font units; x runs along the
baseline from the left.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import uharfbuzz as hb
from fontTools import unicodedata as scripts

from ...errors import SourceError, SpecError, shortened
from ...geometry.contour import Contours, moved, united
from .bidi import Run, base_level, visual_runs
from .typeface import Typeface

# Scripts whose letters join or hang from one line: tracking would tear them apart.
JOINED = frozenset(
    {"Arab", "Syrc", "Mong", "Nkoo", "Mand", "Phag", "Adlm", "Rohg",
     "Deva", "Beng", "Guru"}
)  # fmt: skip


_FARTHEST = 10000
"""How far a pair can be set closer or wider, in thousandths of the letter size."""


@dataclass(frozen=True)
class Placed:
    """A glyph at its place in a letter."""

    glyph: int
    x: float
    y: float


@dataclass(frozen=True)
class Letter:
    """What moves as one piece.

    Attributes
    ----------
    text : str
        The characters it stands for.
    glyphs : tuple of Placed
        From the letter's own origin.
    x : float
        Origin on the line, font units.
    advance : float
    joined : bool
        Belongs to a script whose letters join.
    """

    text: str
    glyphs: tuple[Placed, ...]
    x: float
    advance: float
    joined: bool = False

    @property
    def is_space(self) -> bool:
        """Tell whether it only holds its place."""
        return not self.text.strip()

    def outline(self, typeface: Typeface, tolerance: float) -> Contours:
        """Return the clean outline from the letter's own origin, font units."""
        parts = []
        for g in self.glyphs:
            drawn = typeface.outline(g.glyph, tolerance)
            if drawn:
                parts.append(moved(drawn, np.array([[1.0, 0.0, g.x], [0.0, 1.0, g.y]])))
        if len(parts) > 1:
            return united(parts, tolerance / 20.0)
        return parts[0] if parts else ()


def read_features(text: str) -> dict[str, int]:
    """Return OpenType features by tag from text such as ``smcp, -liga, ss01=2``.

    Raises
    ------
    SpecError
        If a word is no feature.
    """
    found = {}
    for word in re.split(r"[,\s]+", text.strip()):
        match = re.fullmatch(r"([+-]?)([A-Za-z0-9]{4})(?:=([0-9]{1,5}))?", word)
        if word and not match:
            raise SpecError(
                f"'{shortened(word)}' is no OpenType feature; give tags such as smcp, -liga or "
                "ss01=2",
                key="features",
            )
        if match:
            sign, tag, value = match.groups()
            found[tag] = int(value) if value else int(sign != "-")
    return found


def read_axes(text: str) -> dict[str, float]:
    """Return a variable font's axis values from text such as ``wght=650, wdth=90``.

    Raises
    ------
    SpecError
        If a part is no axis with a number.
    """
    found = {}
    for part in filter(None, (p.strip() for p in text.split(","))):
        name, _, value = part.partition("=")
        try:
            found[name.strip()] = _number(value)
        except ValueError:
            raise SpecError(
                f"'{shortened(part)}' is no axis value; give it such as wght=650, wdth=90",
                key="axes",
            ) from None
    return found


def _number(text: str) -> float:
    """Return a number; a size on a piece is never nan or infinite."""
    value = float(text)
    if not math.isfinite(value):
        raise ValueError
    return value


def read_kerning(text: str) -> dict[str, float]:
    """Return pairs and their extra distance from text such as ``AV=-40, L'=30``.

    Raises
    ------
    SpecError
        If a part is no pair of characters with a number.
    """
    found = {}
    for part in filter(None, (p.strip() for p in text.split(","))):
        pair, _, value = part.rpartition("=")
        try:
            distance = _number(value)
        except ValueError:
            pair = ""
        if len(unicodedata.normalize("NFC", pair)) != 2:
            raise SpecError(
                f"'{shortened(part)}' is no pair to set closer or wider; give it such as AV=-40",
                key="kerning",
            )
        if abs(distance) > _FARTHEST:
            raise SpecError(
                f"'{shortened(part)}' is too far; give a distance from -{_FARTHEST} to "
                f"{_FARTHEST}, in thousandths of the letter size",
                key="kerning",
            )
        found[unicodedata.normalize("NFC", pair)] = distance
    return found


def kerned(letters: Sequence[Letter], pairs: Mapping[str, float]) -> tuple[Letter, ...]:
    """Return letters with pairs moved apart (or together, below 0) by font units."""
    moved_on, found = 0.0, []
    for before, letter in zip((None, *letters), letters, strict=False):
        if before is not None:
            moved_on += pairs.get(before.text[-1:] + letter.text[:1], 0.0)
        found.append(replace(letter, x=letter.x + moved_on))
    return tuple(found)


def shape(
    text: str,
    typeface: Typeface,
    *,
    features: Mapping[str, int] | None = None,
    language: str = "",
    tracked: bool = False,
) -> tuple[Letter, ...]:
    """Return the letters of one line from left to right, as HarfBuzz places them.

    Parameters
    ----------
    text : str
        In reading order; directions may be mixed.
    typeface : Typeface
    features : mapping, optional
        OpenType features on (1), off (0) or by number.
    language : str
        Such as ``sr`` or ``tr``, for local forms.
    tracked : bool
        Letters will be spaced: ligatures that are not a must are left apart (as CSS Text
        Module Level 3, section 8.2, asks of letter-spacing).

    Raises
    ------
    SourceError
        If the font has no glyph for some character; it names them all.
    """
    text = re.sub(r"[\t-\r]", " ", unicodedata.normalize("NFC", text))
    wanted = {"liga": 0, "clig": 0, "calt": 0} if tracked else {}
    wanted |= features or {}
    letters: list[Letter] = []
    missing: list[str] = []
    pen = 0.0
    base = base_level(text)
    for run in visual_runs(text, base):
        for part in _by_script(text, run):
            for letter in _shaped(text, part, typeface, wanted, language, missing):
                letters.append(
                    Letter(letter.text, letter.glyphs, pen, letter.advance, letter.joined)
                )
                pen += letter.advance
    if missing:
        named = ", ".join(f"'{c}' (U+{ord(c):04X})" for c in dict.fromkeys(missing))
        raise SourceError(
            f"font {typeface.name} has no glyph for {named}; choose another font for these words"
        )
    return tuple(_words(letters))


def _by_script(text: str, run: Run) -> list[tuple[Run, str]]:
    """Split a run where the script changes; returned in writing order from the left."""
    parts: list[tuple[Run, str]] = []
    start, current = run.start, ""
    for i in range(run.start, run.stop):
        script = scripts.script(text[i])
        if script in ("Zyyy", "Zinh", "Zzzz"):
            continue
        if current and script != current:
            parts.append((Run(start, i, run.level), current))
            start = i
        current = script
    parts.append((Run(start, run.stop, run.level), current or "Zyyy"))
    return parts[::-1] if run.level % 2 else parts


def _shaped(
    text: str,
    part: tuple[Run, str],
    typeface: Typeface,
    features: Mapping[str, int],
    language: str,
    missing: list[str],
) -> Iterator[Letter]:
    """Yield the letters of one run in one script, left to right."""
    run, script = part
    buffer = hb.Buffer()
    # The whole text goes in as context, so that joining looks across run ends.
    buffer.add_str(text, run.start, run.stop - run.start)
    buffer.direction = "rtl" if run.level % 2 else "ltr"
    buffer.script = script
    if language:
        buffer.language = language
    buffer.guess_segment_properties()
    hb.shape(typeface.font, buffer, dict(features))
    clusters: list[tuple[int, list[tuple[int, int, int, int, int]]]] = []
    for info, at in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        row = (info.codepoint, at.x_offset, at.y_offset, at.x_advance, at.y_advance)
        if clusters and clusters[-1][0] == info.cluster:
            clusters[-1][1].append(row)
        else:
            clusters.append((info.cluster, [row]))
    end = dict(pairwise([*sorted({c for c, _ in clusters}), run.stop]))
    for cluster, rows in clusters:
        shown = text[cluster : end[cluster]]
        if any(row[0] == 0 for row in rows):
            missing += typeface.lacks(shown) or shown
        pen, placed = 0, []
        for glyph, dx, dy, advance, _ in rows:
            placed.append(Placed(glyph, pen + dx, dy))
            pen += advance
        yield Letter(shown, tuple(placed), 0.0, float(pen), script in JOINED)


def _words(letters: list[Letter]) -> Iterator[Letter]:
    """Yield letters with those of joining scripts put together into words."""
    word: list[Letter] = []
    for letter in [*letters, None]:
        if letter is not None and letter.joined and not letter.is_space:
            word.append(letter)
            continue
        if word:
            first = word[0].x
            yield Letter(
                "".join(w.text for w in word),
                tuple(Placed(g.glyph, g.x + w.x - first, g.y) for w in word for g in w.glyphs),
                first,
                word[-1].x + word[-1].advance - first,
                True,
            )
            word = []
        if letter is not None:
            yield letter
