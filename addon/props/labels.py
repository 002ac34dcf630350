# SPDX-License-Identifier: GPL-3.0-or-later
"""Words of the panel, made of what the spec declares with each key."""

from __future__ import annotations

import re
from functools import lru_cache

from ..medalcore.spec import Key, MedalSpec, Table, keys_of

NO_METAL = "As the Ring"
"""What stands for no metal of its own."""

_ONE_ONLY = "exergue"  # a face has room for one, so its list is no plural


def plain(name: str) -> str:
    """Return a word of the spec in title case."""
    return name.replace("-", " ").replace("_", " ").title().replace(" And ", " and ")


def title(key: Key) -> str:
    """Return the title of a key."""
    return key.label or plain(key.name)


def title_of_list(key: Key) -> str:
    """Return the title of a list of elements."""
    return title(key) if key.name == _ONE_ONLY else f"{title(key)}s"


def title_of_word(key: Key, word: str) -> str:
    """Return the title of a word to choose from."""
    return key.words.get(word) or plain(word)


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
        key = next((k for k in keys_of(table) if k.name == name), None) if table else None
        table = key.table if key else None
        step = title(key) if key else plain(name)
        steps.append(step + (f" {int(number[:-1]) + 1}" if number else ""))
    return ", ".join(steps)


def with_unit(title: str, unit: str) -> str:
    """Return a title with the unit that Blender does not show beside the number."""
    return title if unit in ("", "mm", "deg") else f"{title} ({unit})"


def doing(label: str, is_running: bool = True) -> str:
    """Return what a progress bar says of a build, by the label the core gives."""
    return sentence(told(label)) or ("Working" if is_running else "Waiting")


def sentence(text: str) -> str:
    """Return a tooltip: capital first, no full stop last."""
    return (text[:1].upper() + text[1:]).rstrip(".")
