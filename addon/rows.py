# SPDX-License-Identifier: GPL-3.0-or-later
"""Rows of a panel, one for each key that counts."""

from __future__ import annotations

from typing import Any

import bpy

from . import tables, wording
from .medalcore.spec import Key, Table

SMALL = 2
"""Tables of at most this many keys stand in their parent's panel."""


def is_small(key: Key) -> bool:
    """Tell whether a table is drawn inside its parent's panel instead of its own."""
    assert key.table is not None
    inner = tables.keys(key.table)
    return len(inner) <= SMALL and all(k.kind not in ("table", "tables") for k in inner)


def draw_table(
    layout: Any, context: bpy.types.Context, group: Any, table: type[Table], path: str
) -> None:
    """Draw the keys of a table that count, without its inner lists and large tables.

    Parameters
    ----------
    layout : UILayout
    context : Context
    group : PropertyGroup
    table : type
        The table the group was made from.
    path : str
        Of the group, below the spec's properties.
    """
    column = layout.column()
    column.use_property_split = True
    column.use_property_decorate = False
    in_list = path.endswith("]")
    for key in tables.keys(table):
        if not applies(group, table, key) or key.kind == "tables":
            continue
        if key.kind == "table":
            if in_list or is_small(key):
                _draw_inner(column, context, group, key, f"{path}.{key.name}")
            continue
        _draw_key(column, group, key, path)


def applies(group: Any, table: type[Table], key: Key) -> bool:
    """Tell whether a key counts, given the values of the others."""
    return all(_value(group, table, name) in values for name, values in key.when.items())


def _value(group: Any, table: type[Table], name: str) -> Any:
    key = next((k for k in tables.keys(table) if k.name == name), None)
    if key is None or (hasattr(group, f"{name}_on") and not getattr(group, f"{name}_on")):
        return None
    return getattr(group, name)


def _draw_inner(column: Any, context: bpy.types.Context, group: Any, key: Key, path: str) -> None:
    assert key.table is not None
    if hasattr(group, f"{key.name}_on"):
        column.prop(group, f"{key.name}_on")
        if not getattr(group, f"{key.name}_on"):
            return
    draw_table(column, context, getattr(group, key.name), key.table, path)


def _draw_key(column: Any, group: Any, key: Key, path: str) -> None:
    name, shape = key.name, tables.shape_of(key)
    if hasattr(group, f"{name}_on"):
        column.prop(group, f"{name}_on")
        if not getattr(group, f"{name}_on"):
            return
    if shape == "model":
        _draw_model(column, group, name, path)
    elif shape == "lines":
        _draw_lines(column, group, key, path)
    elif shape in ("word-or-number", "word-or-text"):
        column.prop(group, name)
        if getattr(group, name) in (tables.NUMBER, tables.TEXT):
            column.prop(group, f"{name}_value")
    elif shape != "none":
        column.prop(group, name)


def _draw_model(column: Any, group: Any, name: str, path: str) -> None:
    column.row().prop(group, f"{name}_kind", expand=True)
    if getattr(group, f"{name}_kind") == "FILE":
        column.prop(group, name, text="File")
        return
    items = getattr(group, f"{name}_objects")
    objects = column.column(align=True)
    for i, item in enumerate(items):
        row = objects.row(align=True)
        row.prop(item, "object", text="Object" if i == 0 else " ")
        list_button(row, f"{path}.{name}_objects", "REMOVE", "X", i)
    row = column.row(align=True)
    row.alignment = "RIGHT"
    list_button(row, f"{path}.{name}_objects", "ADD", "ADD", text="Object")


def _draw_lines(column: Any, group: Any, key: Key, path: str) -> None:
    items = getattr(group, f"{key.name}_lines")
    lines = column.column(align=True)
    for i, item in enumerate(items):
        row = lines.row(align=True)
        row.prop(item, "text", text=wording.title_of(key.name) if i == 0 else " ")
        list_button(row, f"{path}.{key.name}_lines", "REMOVE", "X", i)
    row = column.row(align=True)
    row.alignment = "RIGHT"
    list_button(row, f"{path}.{key.name}_lines", "ADD", "ADD", text="Line")


def list_button(
    layout: Any, path: str, action: str, icon: str, index: int = -1, text: str = ""
) -> None:
    """Draw a button that changes a list."""
    button = layout.operator("medalwright.edit_list", text=text, icon=icon)
    button.path, button.action, button.index = path, action, index
