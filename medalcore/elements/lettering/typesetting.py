"""One line of words, shaped and at its size, before it is put on an arc or a line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...context.element import Finding
from ...errors import SpecError
from ...geometry.contour import Contours, bounds
from ...geometry.types import FloatArray
from ...spec.lettering import Words
from .fonts import find_typeface
from .shaping import Letter, kerned, read_axes, read_features, read_kerning, shape
from .typeface import Typeface


@dataclass(frozen=True, eq=False)
class Setting:
    """What all lines of an element share.

    Attributes
    ----------
    typeface : Typeface
    scale : float
        mm per font unit.
    words : Words
        The spec table.
    tracked : bool
        Letters are spaced, so that ligatures stay apart.
    tolerance : float
        mm.
    """

    typeface: Typeface
    scale: float
    words: Words
    tracked: bool
    tolerance: float

    @property
    def size(self) -> float:
        """Return the size of the letters (one em), mm."""
        return self.scale * self.typeface.units


@dataclass(frozen=True, eq=False)
class Line:
    """The letters of a line that leave a mark.

    Attributes
    ----------
    letters : tuple of n Letter
    outlines : tuple of n contours
        Each from the middle of its ink on the baseline, mm.
    middles : (n,) float64
        Where those middles lie on the straight line without tracking, mm.
    spaces : (n,) float64
        How many tracked spaces lie before each letter.
    """

    letters: tuple[Letter, ...]
    outlines: tuple[Contours, ...]
    middles: FloatArray
    spaces: FloatArray

    def places(self, tracking_mm: float) -> FloatArray:
        """Return where the middles lie with tracking, (n,) mm."""
        return self.middles + tracking_mm * self.spaces

    def span(self, tracking_mm: float) -> tuple[float, float]:
        """Return where the ink starts and stops on the straight line, mm."""
        reach = np.array([bounds(o)[:, 0] for o in self.outlines])
        x = self.places(tracking_mm)
        return float((x + reach[:, 0]).min()), float((x + reach[:, 1]).max())


def setting(words: Words, tolerance: float, *, tracked: bool) -> Setting:
    """Open the typeface and fix the size.

    Raises
    ------
    SourceError
        If there is no such font.
    SpecError
        If the axes cannot be read.
    """
    typeface = find_typeface(words.font, read_axes(words.axes))
    return Setting(typeface, words.cap_height / typeface.cap_units, words, tracked, tolerance)


def line(text: str, how: Setting) -> Line | None:
    """Return a line of words, or None if they leave no mark.

    Words without small letters get the font's forms for capitals (feature ``case``: dashes,
    dots and brackets that stand higher), unless the features say otherwise.

    Raises
    ------
    SourceError
        If the font lacks characters.
    SpecError
        If features or kerning cannot be read.
    """
    words = how.words
    features = read_features(words.features)
    if text == text.upper():
        features = {"case": 1} | features
    shaped = shape(
        text.strip(), how.typeface, features=features, language=words.language,
        tracked=how.tracked,
    )  # fmt: skip
    per_mille = how.typeface.units / 1000.0
    pairs = {k: v * per_mille for k, v in read_kerning(words.kerning).items()}
    letters, outlines, middles, spaces = [], [], [], []
    for number, letter in enumerate(kerned(shaped, pairs)):
        drawn = letter.outline(how.typeface, how.tolerance / how.scale)
        if not drawn:
            continue
        # A letter turns about the middle of its ink: kerning must not tilt it.
        middle = float(bounds(drawn)[:, 0].mean())
        letters.append(letter)
        outlines.append(tuple((c - np.array([middle, 0.0])) * how.scale for c in drawn))
        middles.append((letter.x + middle) * how.scale)
        spaces.append(number)
    if not letters:
        return None
    return Line(
        tuple(letters), tuple(outlines), np.array(middles), np.array(spaces, dtype=np.float64)
    )


def nothing_to_set() -> SpecError:
    """Return the error for words that leave no mark."""
    return SpecError("the words leave no mark: they hold nothing but spaces", key="text")


def unknown_features(how: Setting, zone: str) -> list[Finding]:
    """Return a finding for features that are asked for but not in the font."""
    asked = {tag for tag, on in read_features(how.words.features).items() if on}
    missing = sorted(asked - how.typeface.features()) if asked else []
    if not missing:
        return []
    return [
        Finding(
            "font-feature", "warning",
            f"{how.typeface.name} has no feature {', '.join(missing)}: the words are set without",
            zone,
        )
    ]  # fmt: skip
