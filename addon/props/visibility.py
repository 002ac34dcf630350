# SPDX-License-Identifier: GPL-3.0-or-later
"""Which keys count, given the values of the others: the panel shows no more than those."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from ..medalcore.spec import Key, MedalSpec, Table, TreeView
from . import groups


@dataclass(frozen=True)
class GroupView(TreeView):
    """A property group as the conditions of the spec see it.

    Attributes
    ----------
    group : PropertyGroup
    table : type
        What it was made from.
    around : (GroupView, str) or None
        The group round it, and the name of its table there.
    """

    group: Any
    table: type[Table]
    around: tuple[GroupView, str] | None = None

    @property
    def of(self) -> type[Table]:
        """The class of the table."""
        return self.table

    @property
    def place(self) -> tuple[TreeView, str] | None:
        """The table round this one, and the name it has there."""
        return self.around

    def inner(self, name: str) -> GroupView:
        """Return a table inside this one."""
        key = _key(self.table, name)
        assert key.table is not None
        return GroupView(getattr(self.group, groups.attribute_of(key)), key.table, (self, name))

    def item(self, name: str, number: int) -> GroupView:
        """Return one of a list of tables inside this one."""
        key = _key(self.table, name)
        assert key.table is not None
        return GroupView(getattr(self.group, name)[number], key.table, (self, name))

    def value(self, name: str) -> Any:
        """Return the value of a key as a spec has it; of a source, what tells its kind."""
        key = _key(self.table, name)
        attribute, shape = groups.attribute_of(key), groups.shape_of(key)
        if not getattr(self.group, f"{attribute}_on", True):
            return None
        found = getattr(self.group, attribute)
        if shape == "model":
            is_file = getattr(self.group, f"{attribute}_kind") == "FILE"
            return found if is_file else "object:"
        if shape in ("word-or-number", "word-or-text") and found in (groups.NUMBER, groups.TEXT):
            found = getattr(self.group, f"{attribute}_value")
        if shape == "metal-or-none" and found == groups.NONE:
            return ""
        if isinstance(found, float) and groups.is_angle(key):
            return round(math.degrees(found), 4)  # 32-bit radians are good to 0.00002 degrees
        return found


def _key(table: type[Table], name: str) -> Key:
    return next(key for key in groups.keys(table) if key.name == name)


def view_of(group: Any) -> GroupView:
    """Return a property group of a piece as conditions see it, by its place in the spec."""
    view = GroupView(group.id_data.medalwright.spec, MedalSpec)
    for step in group.path_from_id().split(".")[2:]:
        name, _, number = step.partition("[")
        key = next(k for k in groups.keys(view.table) if groups.attribute_of(k) == name)
        view = view.item(key.name, int(number[:-1])) if number else view.inner(key.name)
    return view


def counting(group: Any, table: type[Table]) -> list[Key]:
    """Return the keys of a table that count, given the values of the others."""
    view = view_of(group)
    return [key for key in groups.keys(table) if view.hindrance(key.name) is None]
