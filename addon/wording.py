# SPDX-License-Identifier: GPL-3.0-or-later
"""Words of the panel: titles of keys, tables and choices where their own names do not do."""

from __future__ import annotations

KEYS = {
    "at": "Place",
    "at_value": "Angle",
    "alignment": "Turned Over",
    "alignment_value": "Angle",
    "arc_length": "Arc Length",
    "cap_height": "Capitals",
    "fit": "Larger Side",
    "settle": "Settle Overhangs",
    "text": "Words",
    "turn": "Turn",
}
"""Titles of keys whose name alone would not tell an artist what they do."""

CHOICES = {
    "vee": "Vee",
    "centre": "Centred",
    "left": "Ranged Left",
    "right": "Ranged Right",
    "auto": "By Its Place",
    "medal": "Upright (Medal)",
    "coin": "Level (Coin)",
}

PLURALS = {
    "relief": "Reliefs",
    "legend": "Legends",
    "inscription": "Inscriptions",
    "border": "Borders",
    "emblem": "Emblems",
}


def title_of(name: str) -> str:
    """Return the title of a key, in title case."""
    return KEYS.get(name) or name.replace("_", " ").title()


def choice_of(name: str) -> str:
    """Return the title of a word of a choice."""
    return CHOICES.get(name) or name.replace("-", " ").replace("_", " ").title()


def plural_of(name: str) -> str:
    """Return the title of a list of elements."""
    return PLURALS.get(name) or title_of(name) + "s"


def sentence(text: str) -> str:
    """Return a tooltip: capital first, no full stop last."""
    return (text[:1].upper() + text[1:]).rstrip(".")
