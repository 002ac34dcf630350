# SPDX-License-Identifier: GPL-3.0-or-later
"""Words of the panel: titles of keys, tables and choices where their own names do not do."""

from __future__ import annotations

KEYS = {
    "at": "Place",
    "at_value": "Angle",
    "alignment": "Turned Over",
    "alignment_value": "Angle",
    "edges": "Inner Edges",
    "fit": "Larger Side",
    "settle": "Settle Overhangs",
    "text": "Words",
    "turn": "Turn",
}
"""Titles of keys whose name alone would not tell an artist what they do."""

TABLES = {
    "medal": "Name, Metal, Process",
    "obverse.rim": "Rim of Its Own",
    "reverse.rim": "Rim of Its Own",
}
"""Titles of tables, by path, whose name alone would repeat or mislead."""

CHOICES = {
    "vee": "Vee",
    "centre": "Centred",
    "left": "Ranged Left",
    "right": "Ranged Right",
    "auto": "By Its Place",
    "medal": "Upright (Medal)",
    "coin": "Level (Coin)",
}

NO_METAL = "As the Ring"
"""What stands for no metal of its own."""

_LETTER_FORMS = (
    "draft", "section", "follow", "form", "optical", "kerning", "axes", "features", "language",
)  # fmt: skip

FOLDS = {
    "Relief": {"Outline and Surface": ("foot", "draft", "blend", "settle", "crease")},
    "Legend": {
        "Length": ("tracking", "sweep", "arc_length", "fit"),
        "Letter Forms": _LETTER_FORMS,
    },
    "Inscription": {"Letter Forms": _LETTER_FORMS},
    "Exergue": {"Letter Forms": _LETTER_FORMS},
    "Border": {"Gap": ("gap", "gap_at")},
}
"""Keys of an element that are looked for less often, folded away under a title."""

FIRST = {
    "Legend": ("text", "at", "reading", "separator", "radius"),
    "Inscription": ("text", "at", "turn", "align"),
    "Exergue": ("text", "level"),
    "Emblem": ("drawing", "at", "fit", "turn"),
    "Border": ("kind",),
}
"""Keys that stand first in an element's panel, whatever their order in a spec."""

PLURALS = {
    "relief": "Reliefs",
    "legend": "Legends",
    "inscription": "Inscriptions",
    "border": "Borders",
    "emblem": "Emblems",
    "exergue": "Exergue",
}


def title_of(name: str) -> str:
    """Return the title of a key, in title case."""
    return KEYS.get(name) or name.replace("_", " ").title()


def table_title(path: str) -> str:
    """Return the title of a table's panel."""
    return TABLES.get(path) or title_of(path.rpartition(".")[2])


def with_unit(title: str, unit: str) -> str:
    """Return a title with the unit that Blender does not show beside the number."""
    return title if unit in ("", "mm", "deg") else f"{title} ({unit})"


def choice_of(name: str) -> str:
    """Return the title of a word of a choice."""
    plain = name.replace("-", " ").replace("_", " ").title()
    return CHOICES.get(name) or plain.replace(" And ", " and ")


def plural_of(name: str) -> str:
    """Return the title of a list of elements."""
    return PLURALS.get(name) or title_of(name) + "s"


def sentence(text: str) -> str:
    """Return a tooltip: capital first, no full stop last."""
    return (text[:1].upper() + text[1:]).rstrip(".")
