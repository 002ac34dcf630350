# SPDX-License-Identifier: GPL-3.0-or-later
"""Properties to spec and back."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import bpy
import numpy as np

from . import fonts, groups, strokes, tables
from .medalcore.spec import Key, MedalSpec, Table

OBJECT_MARK = "object:"
JOINED = " + "
"""Between the names of several objects that make one relief together."""


def to_dict(group: Any, table: type[Table] = MedalSpec) -> dict[str, Any]:
    """Return what a property group asks for, as plain data for `spec_from_dict`.

    Elements that are switched off or not complete yet are left out, and so are values at
    their defaults: what is written says what was decided.
    """
    found: dict[str, Any] = {}
    for key in tables.keys(table):
        value = _read(group, key)
        if not _is_default(key, value):
            found[key.name] = value
    return found


def _is_default(key: Key, value: Any) -> bool:
    if value is None or (key.kind in ("table", "tables") and not value):
        return True
    if key.kind == "table" and key.default is None:
        return False  # an optional table counts by being there
    default = list(key.default) if isinstance(key.default, tuple) else key.default
    return not key.required and bool(value == default)


def missing(group: Any, table: type[Table]) -> list[str]:
    """Return the names of required texts that are still empty."""
    return [
        key.name
        for key in tables.keys(table)
        if key.required and key.kind == "str" and not _read(group, key)
    ]


def _read(group: Any, key: Key) -> Any:
    name, shape = tables.attribute_of(key), tables.shape_of(key)
    if hasattr(group, f"{name}_on") and not getattr(group, f"{name}_on"):
        return None
    if shape == "table":
        assert key.table is not None
        return to_dict(getattr(group, name), key.table)
    if shape == "tables":
        assert key.table is not None
        items = getattr(group, name)
        return [to_dict(i, key.table) for i in items if i.shown and not missing(i, key.table)]
    if shape == "lines":
        return getattr(group, name).strip("\n")
    if shape == "model":
        return source_text(group, name)
    if shape == "group" and not groups.counts(group):
        return ""
    if shape == "strokes":
        return strokes.text_of(getattr(group, name))
    if shape in ("word-or-number", "word-or-text"):
        word = getattr(group, name)
        if word not in (tables.NUMBER, tables.TEXT):
            return word
        name = f"{name}_value"
    if shape == "font":
        return fonts.text_of(group, name)
    value = getattr(group, name)
    if shape == "metal-or-none":
        return "" if value == tables.NONE else value
    if shape == "file":
        return bpy.path.abspath(value) if value.startswith("//") else value
    if shape == "list":
        return [_number_or_text(part.strip()) for part in value.split(",") if part.strip()]
    if shape == "vector":
        return [_shortest(key, v) for v in value]
    return _shortest(key, value) if isinstance(value, float) else value


def _shortest(key: Key, value: float) -> float:
    """Return the number a person would have typed: Blender holds floats in 32 bits."""
    if tables.is_angle(key):
        return round(math.degrees(value), 4)  # 32-bit radians are good to 0.00002 degrees
    return float(str(np.float32(value)))


def _number_or_text(part: str) -> Any:
    try:
        return float(part)
    except ValueError:
        return part


def source_text(group: Any, name: str = "source") -> str:
    """Return the text of a model source: a path, or ``object:`` and names."""
    if getattr(group, f"{name}_kind") == "FILE":
        return bpy.path.abspath(getattr(group, name))
    names = [o.name for o in source_objects(group, name)]
    return OBJECT_MARK + JOINED.join(names) if names else ""


def source_objects(group: Any, name: str = "source") -> list[bpy.types.Object]:
    """Return the objects of a model source that still stand in a scene."""
    chosen = (item.object for item in getattr(group, f"{name}_objects"))
    return [o for o in chosen if o is not None and o.users_scene]


def model_sources(group: Any, table: type[Table] = MedalSpec) -> Iterator[tuple[Any, str]]:
    """Yield every group with a model source among its keys, and the key's name."""
    for key in tables.keys(table):
        shape = tables.shape_of(key)
        if shape == "model":
            yield group, tables.attribute_of(key)
        elif shape == "table" and key.table is not None:
            yield from model_sources(getattr(group, key.name), key.table)
        elif shape == "tables" and key.table is not None:
            for item in getattr(group, key.name):
                yield from model_sources(item, key.table)


def fill(group: Any, spec: Table) -> None:
    """Set a property group from a spec.

    Raises
    ------
    KeyError
        If the spec names an object that this file does not have.
    """
    for key in tables.keys(type(spec)):
        _write(group, key, getattr(spec, key.name))


def _write(group: Any, key: Key, value: Any) -> None:
    name, shape = tables.attribute_of(key), tables.shape_of(key)
    if hasattr(group, f"{name}_on"):
        setattr(group, f"{name}_on", value is not None)
    if value is None:
        return
    if shape == "table":
        fill(getattr(group, name), value)
    elif shape == "tables":
        items = getattr(group, name)
        items.clear()
        for part in value:
            fill(items.add(), part)
    elif shape == "model":
        _write_source(group, name, value)
    elif shape == "strokes":
        setattr(group, name, strokes.mesh_of(value))
    elif shape == "font":
        setattr(group, f"{name}_block", None)
        setattr(group, name, value)
    elif shape in ("word-or-number", "word-or-text"):
        if value in key.choices:
            setattr(group, name, value)
            return
        setattr(group, name, tables.NUMBER if shape == "word-or-number" else tables.TEXT)
        setattr(group, f"{name}_value", _held(key, value))
    elif shape == "metal-or-none":
        setattr(group, name, value or tables.NONE)
    elif shape == "list":
        setattr(group, name, ", ".join(str(v) for v in value))
    elif shape == "vector":
        setattr(group, name, [_held(key, v) for v in value])
    else:
        setattr(group, name, _held(key, value))


def _held(key: Key, value: Any) -> Any:
    return tables.scaled(key, value) if isinstance(value, float) else value


def _write_source(group: Any, name: str, value: str) -> None:
    objects = getattr(group, f"{name}_objects")
    objects.clear()
    if not value.startswith(OBJECT_MARK):
        setattr(group, f"{name}_kind", "FILE")
        setattr(group, name, value)
        return
    setattr(group, f"{name}_kind", "OBJECT")
    for found in objects_named(value.removeprefix(OBJECT_MARK)):
        objects.add().object = found


def objects_named(text: str) -> list[bpy.types.Object]:
    """Return the objects that a source names, one or several joined.

    Raises
    ------
    KeyError
        With the name this file does not have.
    """
    if text in bpy.data.objects:
        return [bpy.data.objects[text]]
    names = text.split(JOINED)
    for name in names:
        if name not in bpy.data.objects:
            raise KeyError(name)
    return [bpy.data.objects[name] for name in names]


def copy(source: Any, target: Any) -> None:
    """Copy a property group, lists and all, without losing what is switched off."""
    for held in source.bl_rna.properties:
        name = held.identifier
        if name == "rna_type":
            continue
        value = getattr(source, name)
        if held.type == "COLLECTION":
            items = getattr(target, name)
            items.clear()
            for item in value:
                copy(item, items.add())
        elif held.type == "POINTER" and isinstance(value, bpy.types.PropertyGroup):
            copy(value, getattr(target, name))
        elif not held.is_readonly and f"{name}_lines" not in source.bl_rna.properties:
            setattr(target, name, value)
