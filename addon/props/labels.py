# SPDX-License-Identifier: GPL-3.0-or-later
"""Words of the panel: titles of keys, tables and choices where their own names do not do."""

from __future__ import annotations

import re
from functools import lru_cache

from ..medalcore.spec import MedalSpec, Table, keys_of

KEYS = {
    "at": "Place",
    "at_value": "Angle",
    "alignment": "Turned Over",
    "alignment_value": "Angle",
    "arc_length": "Length",
    "bare": "Bare Colours",
    "clear": "Kept Clear",
    "compression": "Flattened",
    "cost": "Aim for Cost",
    "edges": "Inner Edges",
    "fit": "Larger Side",
    "follow": "Follow Field",
    "less_on": "Modelled Less",
    "line": "Width of Line",
    "lock": "Lock Groove",
    "mass": "Aim for Mass",
    "more_on": "Modelled More",
    "price": "Price per Gram",
    "settle": "Settle Overhangs",
    "text": "Words",
    "words": "Words",
}
"""Titles of keys whose name alone would not tell an artist what they do."""

KEYS_IN = {
    "Blank": {"break_shape": "Edge Shape", "chamfer": "Broken Edge"},
    "Border": {"lines": "Number of Lines", "width": "Width of Tooth"},
    "Edge": {
        "corner_radius": "Notch Corners",
        "depth": "Notch Depth",
        "pattern": "Sections",
        "profile": "Notch Profile",
        "width": "Notch Width",
    },
    "EdgeText": {
        "at": "Middle",
        "clear": "Clear of Reeds",
        "fill": "Angle Filled",
        "heads": "Heads Towards",
        "repeat": "Times Round",
    },
    "Exergue": {"fit": "Fit to Segment", "level": "Line Level"},
    "Inscription": {"within": "Within Radius"},
    "Legend": {"fit": "Gives Way", "sweep": "Angle Filled"},
    "Loop": {"gap": "Gap to Edge", "width": "Wall Width"},
    "Panel": {"width": "Border Width"},
    "Texture": {"outer": "Ends at Radius", "inner": "Begins at Radius", "sweep": "Sector"},
}
"""Titles of keys that mean something of their own in one table, by the table's name."""

TABLES = {
    "medal": "Name, Metal, Process",
    "blank.drill": "Drilled Hole",
    "edge.text": "Edge Lettering",
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
    "gradient": "Keeping Form",
    "linear": "Evenly",
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


def title_of(name: str, table: str = "") -> str:
    """Return the title of a key, in title case; `table` is the name of its table's class."""
    own = KEYS_IN.get(table, {}).get(name) or KEYS.get(name)
    return own or name.replace("_", " ").title()


_FILES = "toml|stl|3mf|obj|mtl|glb|ply|off|svg|png|tiff?|exr|json"
_PLACE = re.compile(
    rf"\b(?![\w.-]*\.(?:{_FILES})\b)"  # obverse.depth.png is a file
    r"(medal|blank|edge|obverse|reverse)(\.[a-z_]+(\[\d+\])?)+(?![./\w])"
)


def told(text: str) -> str:
    """Return what the core says with keys and objects named as a person finds them in Blender."""
    return _PLACE.sub(lambda found: place(found.group()), text.replace("object:", ""))


@lru_cache(maxsize=256)
def place(path: str) -> str:
    """Return the titles that lead to a key of a spec, such as ``obverse.legend[0].radius``.

    Several are parted by commas. What is no such path comes back as it is.
    """
    if ", " in path:
        return "; ".join(place(part) for part in path.split(", "))
    if not re.fullmatch(r"[a-z_]+(\[\d+\])?(\.[a-z_]+(\[\d+\])?)*", path):
        return path
    steps = []
    table: type[Table] | None = MedalSpec
    for part in path.split("."):
        name, _, number = part.partition("[")
        title = title_of(name, table.__name__ if table else "")
        steps.append(title + (f" {int(number[:-1]) + 1}" if number else ""))
        table = next((k.table for k in keys_of(table) if k.name == name), None) if table else None
    return ", ".join(steps)


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


def doing(label: str, is_running: bool = True) -> str:
    """Return what a progress bar says of a build, by the label the core gives."""
    return sentence(told(label)) or ("Working" if is_running else "Waiting")


def sentence(text: str) -> str:
    """Return a tooltip: capital first, no full stop last."""
    return (text[:1].upper() + text[1:]).rstrip(".")
