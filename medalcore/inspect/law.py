"""Reminders of rules a piece may fall under. Pointers, not legal advice."""

from __future__ import annotations

import math

import numpy as np

from ..context.element import Finding
from ..context.medal import Medal
from ..spec import Blank, MedalSpec
from .size import size_of
from .small_parts import BORE_MM, DEEP_MM, SHALLOW_MM, is_small_part

_BAND_MM = (19.0, 28.0)
_BAND_SHARE = (0.07, 0.12)
"""Regulation (EC) 2182/2004, article 3 and Annex II, reference band: diameter 19.00 to
28.00 mm and edge height 7.00 to 12.00 % of it."""


def law_findings(medal: Medal, spec: MedalSpec) -> list[Finding]:
    """Return reminders for size and look."""
    width, thick = _widest(medal, spec.blank), spec.blank.thickness
    found = []
    share = thick / width
    round_off = 1e-9
    if (
        _BAND_MM[0] <= width <= _BAND_MM[1]
        and _BAND_SHARE[0] - round_off <= share <= _BAND_SHARE[1] + round_off
    ):
        found.append(
            Finding(
                "coin-size",
                "warning",
                f"{width:.4g} mm over its longest chord and {share:.1%} thick lies where euro "
                "coins lie; medals of this size are restricted in the EU (Regulation (EC) "
                "2182/2004); check before making",
                "blank",
                width,
            )
        )
    if is_small_part(medal.vertices):
        size = " x ".join(f"{x:.4g}" for x in np.ptp(medal.vertices, axis=0))
        found.append(
            Finding(
                "small-part",
                "note",
                f"{size} mm goes wholly into the test cylinder for small parts ({BORE_MM:g} mm "
                f"wide, {SHALLOW_MM:g} to {DEEP_MM:g} mm deep): not for children under three",
                "blank.diameter",
                width,
                BORE_MM,
            )
        )
    return found


def _widest(medal: Medal, blank: Blank) -> float:
    """Return the longest chord across the outline, mm: what 16 CFR 304.1 calls the diameter."""
    if blank.outline == "oval":
        return max(blank.diameter, blank.height)
    if blank.outline == "rectangle":
        r = blank.corner_radius
        return math.hypot(blank.diameter - 2.0 * r, blank.height - 2.0 * r) + 2.0 * r
    if blank.outline == "drawing":
        return size_of(medal, blank).largest_width
    return blank.diameter
