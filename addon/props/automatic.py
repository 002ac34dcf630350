# SPDX-License-Identifier: GPL-3.0-or-later
"""Numbers that need not be given: 0 in a spec, in the panel a tick to take and what is chosen."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from bpy.props import BoolProperty

from ..medalcore.spec import Key


@dataclass(frozen=True)
class Choice:
    """What a number is when nobody gives it.

    Attributes
    ----------
    fact : str
        Name of the fact that tells what was chosen; empty if none does.
    start : float
        What the number begins at when it is to be given and no fact is known.
    word : str
        What the panel says in place of a number.
    """

    fact: str = ""
    start: float = 1.0
    word: str = "Auto"


def _none(start: float) -> Choice:
    return Choice(start=start, word="None")


CHOICES: dict[str, dict[str, Choice]] = {
    "Identity": {"price": _none(1.0)},
    "Blank": {
        "mass": _none(30.0),
        "cost": _none(10.0),
        "flats": _none(30.0),
        "scallop_width": Choice(start=2.0),
    },
    "Core": {"diameter": _none(20.0), "price": _none(1.0)},
    "Drill": {"diameter": _none(2.0)},
    "Loop": {"thickness": Choice(start=2.0)},
    "Edge": {
        "reeds": Choice("reeds", 120),
        "pitch": Choice("pitch_mm", 0.8),
        "width": Choice("notch_width_mm", 0.5),
    },
    "EdgeText": {
        "cap_height": Choice("words_cap_height_mm", 1.2),
        "fill": Choice(start=90.0, word="Natural"),
    },
    "Relief": {
        "fit": Choice("size_mm", 20.0),
        "height": Choice("height_mm", 0.5),
        "foot": Choice("foot_mm", 0.05),
    },
    "Legend": {
        "radius": Choice("baseline_radius_mm", 14.0),
        "sweep": Choice("sweep_deg", 90.0, "Natural"),
        "arc_length": Choice("arc_length_mm", 20.0, "Natural"),
    },
    "Inscription": {"within": _none(10.0)},
    "Exergue": {"level": Choice("level_mm", 11.0)},
    "Border": {
        "count": Choice("count", 90),
        "pitch": Choice("pitch_mm", 1.0),
        "size": Choice("size_mm", 0.8),
        "width": Choice(start=0.5),
        "space": Choice(start=0.4),
        "radius": Choice(start=16.0),
        "height": Choice("height_mm", 0.25),
    },
    "Emblem": {"fit": Choice(start=16.0)},
    "Texture": {"inner": Choice(start=2.0), "outer": Choice(start=12.0)},
}
"""Keys that are chosen, or left away, where they are 0; by table. Where 0 is a length like
any other, as of a chamfer, the number itself is shown."""


Taken = Callable[[Any, Choice], float | None]
"""Gives what was chosen in the last build for a group, in the unit of the spec."""


def choice_of(key: Key, table: str) -> Choice | None:
    """Return what is chosen for a key of a table's class, or None if 0 is just a number."""
    return CHOICES.get(table, {}).get(key.name)


def switch(key: Key, name: str, choice: Choice, common: dict[str, str], taken: Taken) -> Any:
    """Return the property that tells, and sets, whether a number is given.

    Parameters
    ----------
    key : Key
    name : str
        Of the property that holds the number, angles in radians.
    choice : Choice
    common : dict
        Name and description.
    taken : callable
        See `Taken`.
    """

    def is_given(group: Any) -> bool:
        return bool(getattr(group, name))

    def give(group: Any, wanted: bool) -> None:
        if wanted == is_given(group):
            return
        value = taken(group, choice) or choice.start
        if key.unit == "deg":
            value = math.radians(value)
        setattr(group, name, (round(value) if key.kind == "int" else value) if wanted else 0)

    return BoolProperty(get=is_given, set=give, **common)
