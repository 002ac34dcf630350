# SPDX-License-Identifier: GPL-3.0-or-later
"""Rows of a panel, one for each key that counts."""

from __future__ import annotations

import math
from typing import Any

import bpy

from ..medalcore.spec import Auto, Key, Table
from ..props import (
    chosen_values,
    convert,
    fonts,
    groups,
    labels,
    vertex_groups,
    visibility,
)
from ..sculpting import operators as sculpting

SMALL = 2
"""Tables of at most this many keys stand in their parent's panel."""


def is_small(key: Key) -> bool:
    """Tell whether a table is drawn inside its parent's panel instead of its own."""
    assert key.table is not None
    inner = groups.keys(key.table)
    return len(inner) <= SMALL and all(k.kind not in ("table", "tables") for k in inner)


def draw_table(
    layout: Any, context: bpy.types.Context, group: Any, table: type[Table], path: str
) -> None:
    """Draw the keys of a table that count.

    Inner tables of a list's element are folded below it; elsewhere large ones have panels
    of their own, see `panels`.

    Parameters
    ----------
    layout : UILayout
        As wide as the panel.
    context : Context
    group : PropertyGroup
        Made from `table`.
    table : type
    path : str
        Of the group, below the spec's properties.
    """
    in_list = "[" in path
    counting = [k for k in visibility.counting(group, table) if k.kind != "tables"]
    counting.sort(key=lambda k: k.first or math.inf)
    folds = dict.fromkeys(k.fold for k in groups.keys(table) if k.fold) if in_list else {}
    column = _column(layout)
    for key in counting:
        if key.kind != "table" and key.fold not in folds:
            _draw_key(column, group, table, key, path)
    for key in counting:
        if key.kind == "table" and (in_list or is_small(key)):
            _draw_inner(layout, context, group, table, key, path)
    for title in folds:
        keys = [k for k in counting if k.fold == title]
        body = _fold(layout, f"{table.__name__}_{title}", title) if keys else None
        if body:
            for key in keys:
                _draw_key(_column(body), group, table, key, path)


def _column(layout: Any) -> Any:
    column = layout.column()
    column.use_property_split = True
    column.use_property_decorate = False
    return column


def _fold(layout: Any, name: str, title: str) -> Any:
    """Return the body of a closed fold, or None while it is closed."""
    header, body = layout.panel(f"medalwright_{name}".lower(), default_closed=True)
    header.label(text=title)
    return body


def _draw_inner(
    layout: Any,
    context: bpy.types.Context,
    group: Any,
    table: type[Table],
    key: Key,
    path: str,
) -> None:
    assert key.table is not None
    name = groups.attribute_of(key)
    if "[" in path:
        title = labels.title(key)
        layout = _fold(layout, f"{table.__name__}_{key.name}", title)
        if layout is None:
            return
    if hasattr(group, f"{name}_on"):
        _column(layout).prop(group, f"{name}_on")
        if not getattr(group, f"{name}_on"):
            return
    draw_table(layout, context, getattr(group, name), key.table, f"{path}.{name}")


def _draw_key(column: Any, group: Any, table: type[Table], key: Key, path: str) -> None:
    name, shape = groups.attribute_of(key), groups.shape_of(key)
    if key.auto:
        _draw_chosen(column, group, key, key.auto)
        return
    if hasattr(group, f"{name}_on"):
        column.prop(group, f"{name}_on")
        if not getattr(group, f"{name}_on"):
            return
    if shape == "model":
        _draw_model(column, group, name, path)
    elif shape == "strokes":
        sculpting.draw_strokes(column, group, path)
    elif shape == "group":
        vertex_groups.draw(column, group, name)
    elif shape == "lines":
        _draw_lines(column, group, key, path)
    elif shape in ("word-or-number", "word-or-text"):
        column.prop(group, name)
        if getattr(group, name) in (groups.NUMBER, groups.TEXT):
            column.prop(group, f"{name}_value")
    elif shape == "font":
        fonts.draw(column, group, name, path)
    elif shape == "vector":
        axes = column.column(align=True)
        title = group.bl_rna.properties[name].name
        for i in range(key.size):
            text = f"{title} {'XYZW'[i]}" if i == 0 else "XYZW"[i]
            axes.prop(group, name, index=i, text=text)
        if name == "turn":
            row = column.row()
            row.alignment = "RIGHT"
            row.operator_menu_enum("medalwright.seen_from", "view").path = path
    elif shape != "none":
        column.prop(group, name)


def _draw_chosen(column: Any, group: Any, key: Key, auto: Auto) -> None:
    """Draw a number that may be left to be chosen: a tick, then the number or what was taken."""
    name = groups.attribute_of(key)
    row = column.row(align=True, heading=group.bl_rna.properties[name].name)
    row.prop(group, f"{name}_given", text="")
    if getattr(group, f"{name}_given"):
        row.prop(group, name, text="")
    else:
        row.label(text=chosen_values.told(group, key, auto))


def _draw_model(column: Any, group: Any, name: str, path: str) -> None:
    column.row().prop(group, f"{name}_kind", expand=True)
    if getattr(group, f"{name}_kind") == "FILE":
        column.prop(group, name, text="File")
        return
    items = getattr(group, f"{name}_objects")
    objects = column.column(align=True)
    for i, item in enumerate(items):
        row = objects.row(align=True)
        row.alert = convert.is_lost(item)
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
        row.prop(item, "text", text=labels.title(key) if i == 0 else " ")
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
