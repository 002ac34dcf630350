# SPDX-License-Identifier: GPL-3.0-or-later
"""Properties to spec and back."""

from __future__ import annotations

import math
import ntpath
import os
from collections.abc import Callable, Iterator
from typing import Any

import bpy
import numpy as np

from ..medalcore.spec import Key, MedalSpec, Table
from . import fonts, groups, strokes, vertex_groups, visibility

OBJECT_MARK = "object:"
JOINED = " + "
"""Between the names of several objects that make one relief together."""


Source = Callable[[Any, str], str]


def to_dict(
    group: Any, table: type[Table] = MedalSpec, source: Source | None = None
) -> dict[str, Any]:
    """Return what a property group asks for, as plain data for `spec_from_dict`.

    Elements that are switched off or not complete yet are left out, and so are values at
    their defaults, and keys that have no effect beside the others and are not shown: what is
    written says what was decided. `source` gives the text of a model source in place of
    `source_text`.
    """
    found: dict[str, Any] = {}
    for key in visibility.counting(group, table):
        value = _read(group, key, source or source_text)
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


def missing(group: Any, table: type[Table]) -> list[Key]:
    """Return the keys of required texts that are still empty."""
    return [
        key
        for key in groups.keys(table)
        if key.required and key.kind == "str" and not _read(group, key, source_text)
    ]


def _read(group: Any, key: Key, source: Source) -> Any:
    name, shape = groups.attribute_of(key), groups.shape_of(key)
    if hasattr(group, f"{name}_on") and not getattr(group, f"{name}_on"):
        return None
    if shape == "table":
        assert key.table is not None
        return to_dict(getattr(group, name), key.table, source)
    if shape == "tables":
        assert key.table is not None
        items = getattr(group, name)
        built = (i for i in items if i.shown and not missing(i, key.table))
        return [to_dict(i, key.table, source) for i in built]
    if shape == "lines":
        return getattr(group, name).strip("\n")
    if shape == "model":
        return source(group, name)
    if shape == "group" and not vertex_groups.counts(group):
        return ""
    if shape == "strokes":
        return strokes.text_of(getattr(group, name))
    if shape in ("word-or-number", "word-or-text"):
        word = getattr(group, name)
        if word not in (groups.NUMBER, groups.TEXT):
            return word
        name = f"{name}_value"
    if shape == "font":
        return fonts.text_of(group, name) or key.default
    value = getattr(group, name)
    if shape == "metal-or-none":
        return "" if value == groups.NONE else value
    if shape == "file":
        return bpy.path.abspath(value) if value.startswith("//") else value
    if shape == "list":
        return [_number_or_text(part.strip()) for part in value.split(",") if part.strip()]
    if shape == "vector":
        return [_shortest(key, v) for v in value]
    return _shortest(key, value) if isinstance(value, float) else value


def _shortest(key: Key, value: float) -> float:
    """Return the number a person would have typed: Blender holds floats in 32 bits."""
    if groups.is_angle(key):
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
    entries = getattr(group, f"{name}_objects")
    names = [e.object.name if e.object else e.name for e in entries]
    return _joined(names)


def source_choice(group: Any, name: str = "source") -> str:
    """Return a text of a model source that stays when its objects are renamed or appended.

    For a choice made before such were kept, that is its name.
    """
    if getattr(group, f"{name}_kind") == "FILE":
        return source_text(group, name)
    entries = getattr(group, f"{name}_objects")
    return _joined([e.choice or (e.object.name if e.object else "") for e in entries])


def _joined(names: list[str]) -> str:
    chosen = [name for name in names if name]
    return OBJECT_MARK + JOINED.join(chosen) if chosen else ""


def source_objects(group: Any, name: str = "source") -> list[bpy.types.Object]:
    """Return the objects of a model source that are there."""
    entries = getattr(group, f"{name}_objects")
    return [e.object for e in entries if e.object is not None and not is_lost(e)]


def is_lost(entry: Any) -> bool:
    """Tell whether an object was chosen that is no more.

    One deleted by a person is only taken from its scenes, as this entry still uses it; of one
    removed by a script the name is left. One linked with its piece is in no scene.
    """
    if entry.object is None:
        return bool(entry.name)
    return entry.object.library is None and not entry.object.users_scene


def lost_source(spec: Any) -> tuple[str, str]:
    """Return key and name of the first object a piece is made from that is no more; or nothing."""
    for group, name in model_sources(spec):
        if getattr(group, f"{name}_kind") != "OBJECT" or not group.shown:
            continue
        for entry in getattr(group, f"{name}_objects"):
            if is_lost(entry):
                path = group.path_from_id().partition("spec.")[2]
                return f"{path}.{name}", entry.object.name if entry.object else entry.name
    return "", ""


def keep_names(spec: Any) -> None:
    """Note how source objects are called now, to name them when they are gone."""
    for group, name in model_sources(spec):
        for entry in getattr(group, f"{name}_objects"):
            if entry.object is not None and entry.name != entry.object.name:
                entry.name = entry.object.name


def model_sources(group: Any, table: type[Table] = MedalSpec) -> Iterator[tuple[Any, str]]:
    """Yield every group with a model source among its keys, and the key's name."""
    for key in groups.keys(table):
        shape = groups.shape_of(key)
        if shape == "model":
            yield group, groups.attribute_of(key)
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
    for key in groups.keys(type(spec)):
        _write(group, key, getattr(spec, key.name))


def _write(group: Any, key: Key, value: Any) -> None:
    name, shape = groups.attribute_of(key), groups.shape_of(key)
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
        setattr(group, name, held_path(value))
    elif shape == "file":
        setattr(group, name, held_path(value))
    elif shape in ("word-or-number", "word-or-text"):
        if value in key.choices:
            setattr(group, name, value)
            return
        setattr(group, name, groups.NUMBER if shape == "word-or-number" else groups.TEXT)
        setattr(group, f"{name}_value", _held(key, value))
    elif shape == "metal-or-none":
        setattr(group, name, value or groups.NONE)
    elif shape == "list":
        setattr(group, name, ", ".join(str(v) for v in value))
    elif shape == "vector":
        setattr(group, name, [_held(key, v) for v in value])
    else:
        setattr(group, name, _held(key, value))


def _held(key: Key, value: Any) -> Any:
    return groups.scaled(key, value) if isinstance(value, float) else value


def held_path(path: str, windows: bool = os.name == "nt") -> str:
    """Return a path of a spec as Blender holds it, where ``//`` means beside the file.

    In a spec it begins a path of the system's own: a share of another machine on Windows,
    which backslashes name as well; elsewhere just one slash too many.
    """
    if not path.startswith("//"):
        return path
    return ntpath.normpath(path) if windows else "/" + path.lstrip("/")


def _write_source(group: Any, name: str, value: str) -> None:
    objects = getattr(group, f"{name}_objects")
    objects.clear()
    if not value.startswith(OBJECT_MARK):
        setattr(group, f"{name}_kind", "FILE")
        setattr(group, name, held_path(value))
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
