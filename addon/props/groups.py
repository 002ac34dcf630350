# SPDX-License-Identifier: GPL-3.0-or-later
"""Property groups made from the spec's own tables.

Every key the core declares becomes a Blender property with its limits, unit, default and
tooltip, so a key that is new in the core appears here by itself. `shape_of` says how a key
is held; `convert` and `panels` ask it too, so the three always agree.
"""

from __future__ import annotations

import math
import secrets
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from typing import Any, Literal, get_args, get_origin, get_type_hints

import bpy
from bpy.props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    FloatProperty,
    FloatVectorProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)

from ..medalcore.context.materials import materials
from ..medalcore.spec import Key, Table, keys_of
from . import automatic, fonts, labels

NUMBER = "NUMBER"
"""The enum entry that stands for 'a number, given beside'."""

NONE = "NONE"
"""The enum entry that stands for nothing chosen."""

TEXT = "TEXT"
"""The enum entry that stands for 'a text, given beside'."""

MESH_KINDS = {"MESH", "CURVE", "SURFACE", "META", "FONT"}
"""Object types that Blender turns into a mesh for us."""

Changed = Callable[[Any, bpy.types.Context], None]


def shape_of(key: Key) -> str:
    """Say how a key is held: the key's kind, or a way of our own.

    ``model`` a model source, object or file; ``lines`` text with line breaks; ``metal`` a
    name from the table of materials, ``metal-or-none`` that or nothing; ``font``; ``file`` a
    path; ``strokes`` a mesh; ``group`` a vertex group; ``word-or-number`` and
    ``word-or-text`` a choice with one entry that opens a value beside it.
    """
    if key.choices and key.kind != "choice":
        return "word-or-text" if key.kind == "str" else "word-or-number"
    if key.kind == "str":
        if key.role == "metal":
            return "metal" if key.default else "metal-or-none"
        return key.role or key.kind
    return key.kind


@cache
def keys(table: type[Table]) -> tuple[Key, ...]:
    """Return the keys of a table, read once: panels ask at every redraw.

    Words to choose from come in the order of their declaration, the usual one first, which
    the reader of types sorts by the alphabet.
    """
    hints = get_type_hints(table, include_extras=True)
    found = []
    for key in keys_of(table):
        words = [str(word) for word in _words(hints[key.name]) if str(word) in key.choices]
        found.append(replace(key, choices=tuple(words)) if key.choices else key)
    return tuple(found)


def _words(hint: Any) -> Iterator[Any]:
    """Yield the words of a type in the order they are written."""
    if get_origin(hint) is Literal:
        yield from get_args(hint)
        return
    for inner in get_args(hint):
        yield from _words(inner)


def attribute_of(key: Key) -> str:
    """Return the name a key's property has: its own, unless Blender's groups have that one."""
    base = bpy.types.PropertyGroup
    taken = key.name in base.bl_rna.properties or hasattr(base, key.name)
    return f"{key.name}_" if taken else key.name


def groups_for(
    table: type[Table], changed: Changed, taken: automatic.Taken
) -> list[type[bpy.types.PropertyGroup]]:
    """Make the property groups of a table and of the tables inside it, innermost first.

    Parameters
    ----------
    table : type
    changed : callable
        Called with the group of a property that was changed, and the context.
    taken : callable
        See `automatic.Taken`.
    """
    maker = _Maker(changed, taken)
    maker.group(table)
    return maker.classes


def group_name(table: type[Table]) -> str:
    """Return the class name of a table's property group."""
    return f"MEDALWRIGHT_PG_{table.__name__.lower()}"


class _Maker:
    """Makes each group once, though a face stands on both sides."""

    def __init__(self, changed: Changed, taken: automatic.Taken) -> None:
        self.changed = changed
        self.taken = taken
        self.known: dict[type[Table], type[bpy.types.PropertyGroup]] = {}
        self.classes: list[type[bpy.types.PropertyGroup]] = []
        self.line = self._add(
            "MEDALWRIGHT_PG_text_line",
            "One line of words",
            {"text": StringProperty(name="Line", description="Words of this line", update=changed)},
        )
        self.source = self._add(
            "MEDALWRIGHT_PG_source_object",
            "An object a relief is made from",
            {
                "object": PointerProperty(
                    name="Object",
                    description="Object the relief is made from, as it stands in the scene",
                    type=bpy.types.Object,
                    poll=_can_be_source,
                    update=_picked(changed),
                ),
                "choice": StringProperty(
                    name="Choice",
                    description="Stays while the same object is chosen, whatever its name",
                    options={"HIDDEN"},
                ),
            },
        )

    def _add(self, name: str, about: str, properties: dict[str, Any]) -> Any:
        made = type(
            name,
            (bpy.types.PropertyGroup,),
            {"__doc__": about, "__annotations__": properties, "__module__": __name__},
        )
        self.classes.append(made)
        return made

    def group(self, table: type[Table]) -> type[bpy.types.PropertyGroup]:
        """Return the group of a table, made on first use."""
        if table not in self.known:
            properties: dict[str, Any] = {
                "shown": BoolProperty(
                    name="On the Piece",
                    description="Leave this out of the piece without losing its values",
                    default=True,
                    update=self.changed,
                )
            }
            for key in keys(table):
                properties.update(self._properties(key))
            about = (table.__doc__ or table.__name__).splitlines()[0]
            self.known[table] = self._add(group_name(table), about, properties)
        return self.known[table]

    def _properties(self, key: Key) -> dict[str, Any]:
        name, shape = attribute_of(key), shape_of(key)
        title = labels.with_unit(labels.title(key), key.unit)
        common = {"name": title, "description": labels.sentence(key.text)}
        live = {**common, "update": self.changed}
        made: dict[str, Any] = {}
        if key.default is None and not key.required and shape not in ("tables", "none"):
            made[f"{name}_on"] = BoolProperty(
                name=common["name"], description=common["description"], update=self.changed
            )
        if key.auto:
            made[f"{name}_given"] = automatic.switch(key, name, key.auto, common, self.taken)
        if shape == "table":
            assert key.table is not None
            made[name] = PointerProperty(type=self.group(key.table), **common)
        elif shape == "tables":
            assert key.table is not None
            made[name] = CollectionProperty(type=self.group(key.table), **common)
            made[f"{name}_index"] = IntProperty(name="Active", min=0)
        elif shape == "lines":
            made[f"{name}_lines"] = CollectionProperty(type=self.line, **common)
            made[name] = StringProperty(get=_get_lines(name), set=_set_lines(name), **live)
        elif shape == "model":
            made[f"{name}_kind"] = EnumProperty(
                name="Source",
                description="Where the model comes from",
                items=(
                    ("OBJECT", "Objects", "Objects of this file, modifiers included"),
                    ("FILE", "File", "A file: a model or a depth picture"),
                ),
                update=self.changed,
            )
            made[f"{name}_objects"] = CollectionProperty(type=self.source, **common)
            made[name] = StringProperty(subtype="FILE_PATH", **live)
        elif shape == "strokes":
            made[name] = PointerProperty(type=bpy.types.Mesh, **live)
            made[f"{name}_sheet"] = PointerProperty(
                name="Sculpted Now",
                description="Sheet on which the relief is being sculpted",
                type=bpy.types.Object,
                update=self.changed,
            )
        elif shape == "font":
            made[name] = StringProperty(
                default=key.default or "", search=_fonts, search_options={"SUGGESTION"}, **live
            )
            made[f"{name}_block"] = fonts.block_property(self.changed)
        elif shape in ("metal", "metal-or-none"):
            items = [(k, m.title, f"{m.density:g} g/cm³") for k, m in materials().items()]
            if shape == "metal-or-none":
                items.insert(0, (NONE, labels.NO_METAL, "The metal of the piece"))
            made[name] = EnumProperty(items=items, default=key.default or NONE, **live)
        elif shape in ("word-or-number", "word-or-text"):
            made.update(self._word_or(key, shape, live))
        else:
            made[name] = _plain(key, shape, key.default, live)
        return made

    def _word_or(self, key: Key, shape: str, live: dict[str, Any]) -> dict[str, Any]:
        other, title = (NUMBER, "Number") if shape == "word-or-number" else (TEXT, "Other")
        if is_angle(key):
            title = "Angle"
        is_word = key.default in key.choices
        value = None if is_word else key.default
        beside = {**live, "name": title}
        kind = "str" if other == TEXT else key.kind
        return {
            attribute_of(key): EnumProperty(
                items=[*_items(key), (other, title, f"Give the {title.lower()} beside")],
                default=key.default if is_word else other,
                **live,
            ),
            f"{attribute_of(key)}_value": _plain(key, kind, value, beside),
        }


def _plain(key: Key, shape: str, default: Any, live: dict[str, Any]) -> Any:
    if shape == "bool":
        return BoolProperty(default=bool(default), **live)
    if shape == "int":
        return IntProperty(default=default or 0, **_limits(key, 1), **live)
    if shape == "float":
        return FloatProperty(default=scaled(key, default or 0.0), **_numeric(key), **live)
    if shape == "vector":
        start = tuple(scaled(key, v) for v in default or (0.0,) * key.size)
        return FloatVectorProperty(default=start, size=key.size, **_numeric(key), **live)
    if shape == "choice":
        return EnumProperty(items=_items(key), default=default or key.choices[0], **live)
    if shape == "file":
        return StringProperty(subtype="FILE_PATH", default=default or "", **live)
    if shape == "list":
        start_text = ", ".join(str(v) for v in default or ())
        note = {**live, "description": f"{live['description']}; commas between the values"}
        return StringProperty(default=start_text, **note)
    return StringProperty(default=default or "", **live)


def is_angle(key: Key) -> bool:
    """Tell whether a key is held in radians, as Blender holds angles."""
    return key.unit == "deg" or key.role == "angle"


def scaled(key: Key, value: float) -> float:
    """Return a number of the spec as Blender holds it."""
    return math.radians(value) if is_angle(key) else value


def _items(key: Key) -> list[tuple[str, str, str]]:
    return [(word, labels.title_of_word(key, word), "") for word in key.choices]


def _limits(key: Key, least: float) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if key.low is not None:
        found["min"] = scaled(key, key.low + (least if key.open_low else 0))
    if key.high is not None:
        found["max"] = scaled(key, key.high)
    return found


def _numeric(key: Key) -> dict[str, Any]:
    """Return limits, unit and the step of the arrows: 0.05 mm, 1 degree, 0.1 otherwise."""
    found = _limits(key, 0.001)
    labelled = {"subtype": "XYZ"} if key.kind == "vector" else {}
    if is_angle(key):
        return {**found, **labelled, "unit": "ROTATION", "step": 100, "precision": 2}
    if key.unit == "mm":
        # Blender's lens unit: millimetres whatever the scene's unit is. It counts digits
        # before the point too: with 3, a diameter of 41.35 reads 41.3.
        return {**found, **labelled, "unit": "CAMERA", "step": 5, "precision": 5}
    precision = 3 if key.unit == "g" else 2
    return {**found, **labelled, "step": 5, "precision": precision}


def _get_lines(name: str) -> Callable[[Any], str]:
    """Let scripts read a text of several lines as one."""
    return lambda group: "\n".join(line.text for line in getattr(group, f"{name}_lines"))


def _set_lines(name: str) -> Callable[[Any, str], None]:
    """Let scripts set a text of several lines as one; the lines are what is stored."""

    def put(group: Any, text: str) -> None:
        lines = getattr(group, f"{name}_lines")
        lines.clear()
        for part in text.split("\n") if text else ():
            lines.add().text = part

    return put


SHORT_FONTS = tuple(
    f"{family}{style}"
    for family in ("serif", "sans")
    for style in ("", "-italic", "-semibold", "-bold", "-bold-italic", "-black")
)
"""Names the core knows without looking for fonts; see its `lettering.fonts`."""


def _fonts(group: Any, context: bpy.types.Context, typed: str) -> list[str]:
    """Suggest the short names; fonts of the file are picked beside."""
    return [name for name in SHORT_FONTS if typed.lower() in name.lower()]


def _picked(changed: Changed) -> Changed:
    """Note by name and otherwise which object was picked, before the change is told on."""

    def update(entry: Any, context: bpy.types.Context) -> None:
        entry.name = entry.object.name if entry.object else ""
        entry.choice = secrets.token_hex(4) if entry.object else ""
        changed(entry, context)

    return update


def _can_be_source(group: Any, candidate: bpy.types.Object) -> bool:
    return candidate.type in MESH_KINDS and candidate != group.id_data
