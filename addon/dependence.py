# SPDX-License-Identifier: GPL-3.0-or-later
"""Which keys count, given the values of the others: the panel shows no more than those."""

from __future__ import annotations

from typing import Any

from . import tables
from .medalcore.spec import Key, Table

_ALL = "*"

_NEEDS: dict[str, dict[str, tuple[str, ...]]] = {
    "Blank": {"break_shape": ("chamfer",)},
    "Border": {"gap_at": ("gap",)},
    "Core": {_ALL: ("diameter",)},
    "Cut": {"slant": ("foot",)},
    "Drill": {_ALL: ("diameter",)},
    "EdgeText": {_ALL: ("words",)},
    "Flat": {"edge": ("shoulder",)},
    "Hole": {"rim_height": ("rim_width",)},
    "Legend": {"fit": ("sweep", "arc_length")},
    "Rim": {_ALL: ("width",)},
}
"""Keys that count only where one of the others is neither 0 nor empty, by table."""

_UNLESS: dict[str, dict[str, tuple[str, ...]]] = {
    "Blank": {"corner_radius": ("flats",), "thickness": ("mass", "cost")},
    "Border": {"pitch": ("count",)},
    "Edge": {"pitch": ("reeds",)},
}
"""Keys that one of the others, neither 0 nor empty, stands in for."""


def counting(group: Any, table: type[Table]) -> list[Key]:
    """Return the keys of a table that count."""
    return [key for key in tables.keys(table) if applies(group, table, key)]


def applies(group: Any, table: type[Table], key: Key) -> bool:
    """Tell whether a key counts, given the values of the others."""
    if not all(_value(group, table, name) in values for name, values in key.when.items()):
        return False
    needs = needs_of(table).get(key.name, ())
    if needs and not any(_given(group, table, name) for name in needs):
        return False
    return not any(_given(group, table, name) for name in instead_of(table).get(key.name, ()))


def needs_of(table: type[Table]) -> dict[str, tuple[str, ...]]:
    """Return the keys that need one of others to be given."""
    found = dict(_NEEDS.get(table.__name__, {}))
    every = found.pop(_ALL, ())
    if every:
        found |= {key.name: every for key in tables.keys(table) if key.name not in every}
    return found


def instead_of(table: type[Table]) -> dict[str, tuple[str, ...]]:
    """Return the keys that others stand in for."""
    return _UNLESS.get(table.__name__, {})


def _given(group: Any, table: type[Table], name: str) -> bool:
    """Tell whether a key that counts itself is neither 0 nor empty."""
    key = next(k for k in tables.keys(table) if k.name == name)
    counts = all(_value(group, table, other) in values for other, values in key.when.items())
    return counts and bool(_value(group, table, name))


def _value(group: Any, table: type[Table], name: str) -> Any:
    key = next((k for k in tables.keys(table) if k.name == name), None)
    if key is None:
        return None
    attribute = tables.attribute_of(key)
    if hasattr(group, f"{attribute}_on") and not getattr(group, f"{attribute}_on"):
        return None
    return getattr(group, attribute)
