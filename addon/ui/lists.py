# SPDX-License-Identifier: GPL-3.0-or-later
"""Lists of elements, lines and source objects: adding, removing, moving, showing."""

from typing import Any

import bpy
from bpy.props import EnumProperty, IntProperty, StringProperty
from bpy_extras.io_utils import ImportHelper

from ..medalcore.spec import Key, MedalSpec, Table
from ..props import convert, groups
from ..work import live
from ..work.answers import Answer, OnPiece
from .operators import chosen_sources

FIRST_WORDS = {
    "legend": "WORDS ROUND THE PIECE",
    "inscription": "FIRST LINE\nSECOND LINE",
    "exergue": "WORDS AT THE FOOT",
}
"""What a new element says, so that it can be seen; others ask for their text."""

FIRST_CAPS = 2.5
"""Cap height of new words, mm: the thinnest strokes of the usual font, of its A, are
then wide enough to be cast or engraved."""

FIRST_SHARES = {"circle": {"radius": 0.3}, "panel": {"size": 0.35}}
"""Sizes of a new element as shares of the diameter, so that it fits the piece at hand."""


class MEDALWRIGHT_UL_elements(bpy.types.UIList):
    """The elements of one kind on a face."""

    def draw_item(
        self,
        context: bpy.types.Context,
        layout: bpy.types.UILayout,
        data: Any,
        item: Any,
        icon: int,
        active_data: Any,
        active_property: str,
        index: int = 0,
        flt_flag: int = 0,
    ) -> None:
        """Draw what the element says, and whether it is on the piece."""
        row = layout.row(align=True)
        row.label(text=title_of_item(item))
        shown = "HIDE_OFF" if item.shown else "HIDE_ON"
        row.prop(item, "shown", text="", icon=shown, emboss=False)


def title_of_item(item: Any) -> str:
    """Return what tells one element from another: its words, its model, its kind, its size."""
    if hasattr(item, "text"):
        return " / ".join(item.text.split("\n")) or "No Words Yet"
    if hasattr(item, "source_kind"):
        text = convert.source_text(item)
        if item.source_kind == "FILE":
            return bpy.path.basename(text) or "No File Yet"
        return text.removeprefix(convert.OBJECT_MARK) or "No Object Yet"
    kind = next((name for name in ("kind", "shape") if hasattr(item, name)), "")
    if kind and getattr(item, kind) not in FROM_FILES:
        word: str = item.bl_rna.properties[kind].enum_items[getattr(item, kind)].name
        return f"{word}, {_form(item)}" if kind == "shape" else word
    if hasattr(item, "drawing"):
        return bpy.path.basename(item.drawing) or "No File Yet"
    return f"{_form(item)}, {2.0 * item.radius:.4g} mm" if hasattr(item, "radius") else "Element"


FROM_FILES = ("motif", "drawing")
"""Kinds of elements that are told apart by their files."""


def _form(item: Any) -> str:
    """Return what a part of the field is: a border or a whole panel, sunk or raised."""
    level = "Sunk" if item.height < 0 else "Raised"
    whole = "Panel" if item.width == 0.0 else "Border" if hasattr(item, "shape") else "Ring"
    return f"{level} {whole}"


def key_at(path: str) -> Key:
    """Return the spec key of a list's data path below the spec's properties."""
    table: type[Table] | None = MedalSpec
    found: Key | None = None
    for step in path.split("."):
        name = step.split("[")[0]
        assert table is not None
        found = next(k for k in groups.keys(table) if name in _property_names(k))
        table = found.table
    assert found is not None
    return found


def _property_names(key: Key) -> tuple[str, ...]:
    return key.name, f"{key.name}_lines", f"{key.name}_objects"


class MEDALWRIGHT_OT_edit_list(OnPiece, bpy.types.Operator):
    """Change a list of the medal"""

    bl_idname = "medalwright.edit_list"
    bl_label = "Edit List"
    bl_options = {"REGISTER", "UNDO", "INTERNAL"}

    path: StringProperty(options={"HIDDEN"})
    action: EnumProperty(
        items=(
            ("ADD", "Add", "Add one after the others"),
            ("REMOVE", "Remove", "Take this one away"),
            ("UP", "Up", "Move this one up"),
            ("DOWN", "Down", "Move this one down"),
        ),
        options={"HIDDEN"},
    )
    index: IntProperty(default=-1, options={"HIDDEN"})

    @classmethod
    def description(cls, context: bpy.types.Context, properties: Any) -> str:
        """Say what the button does."""
        return properties.bl_rna.properties["action"].enum_items[properties.action].description

    def execute(self, context: bpy.types.Context) -> Answer:
        """Change the list and let the draft follow."""
        piece = context.object
        spec = piece.medalwright.spec
        items = spec.path_resolve(self.path)
        owner_path, _, name = self.path.rpartition(".")
        owner = spec.path_resolve(owner_path)
        active = f"{name}_index"
        index = self.index if self.index >= 0 else getattr(owner, active, len(items) - 1)
        with live.quietly():
            if self.action == "ADD":
                _fill_new(items.add(), key_at(self.path), items, context)
                index = len(items) - 1
            elif not 0 <= index < len(items):
                return {"CANCELLED"}
            elif self.action == "REMOVE":
                items.remove(index)
                index = min(index, len(items) - 1)
            else:
                other = index + (-1 if self.action == "UP" else 1)
                if not 0 <= other < len(items):
                    return {"CANCELLED"}
                items.move(index, other)
                index = other
            if hasattr(owner, active):
                setattr(owner, active, max(index, 0))
        live.changed(piece, key_at(self.path).name)
        return {"FINISHED"}


def _fill_new(item: Any, key: Key, items: Any, context: bpy.types.Context) -> None:
    """Give a new element what lets it be seen at once."""
    if key.name in FIRST_WORDS:
        item.text, item.cap_height = FIRST_WORDS[key.name], FIRST_CAPS
    for name, share in FIRST_SHARES.get(key.name, {}).items():
        setattr(item, name, round(share * item.id_data.medalwright.spec.blank.diameter, 1))
    if hasattr(item, "source_kind"):
        for chosen in chosen_sources(context):
            item.source_objects.add().object = chosen
        if not len(item.source_objects):
            item.source_objects.add()
    others = [i for i in items if i != item]
    if key.name == "legend" and any(o.at == "top" for o in others):
        item.at = "bottom"


class MEDALWRIGHT_OT_choose_font(OnPiece, bpy.types.Operator, ImportHelper):
    """Choose a font file"""

    bl_idname = "medalwright.choose_font"
    bl_label = "Choose Font"
    bl_options = {"REGISTER", "UNDO", "INTERNAL"}

    path: StringProperty(options={"HIDDEN"})
    filter_glob: StringProperty(default="*.ttf;*.otf;*.ttc;*.otc", options={"HIDDEN"})

    def execute(self, context: bpy.types.Context) -> Answer:
        """Set the font; the draft follows."""
        owner_path, _, name = self.path.rpartition(".")
        owner = context.object.medalwright.spec.path_resolve(owner_path)
        setattr(owner, f"{name}_block", None)
        setattr(owner, name, self.filepath)
        return {"FINISHED"}


_CLASSES = (MEDALWRIGHT_UL_elements, MEDALWRIGHT_OT_edit_list, MEDALWRIGHT_OT_choose_font)

register, unregister = bpy.utils.register_classes_factory(_CLASSES)
