# SPDX-License-Identifier: GPL-3.0-or-later
"""Specs as files: opened as a new medal, saved to be built anywhere."""

import os
import unicodedata
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import bpy
from bpy.props import BoolProperty, StringProperty
from bpy_extras.io_utils import ExportHelper, ImportHelper
from bpy_extras.object_utils import AddObjectHelper

from ..medalcore.deliver.files import write_files
from ..medalcore.errors import DeliveryError, MedalError
from ..medalcore.spec import read_spec, spec_from_dict, write_spec
from ..props import convert, labels, strokes
from ..scene import sources
from ..work.answers import Answer, OnPiece
from .operators import add_piece


class MEDALWRIGHT_OT_open_spec(bpy.types.Operator, ImportHelper, AddObjectHelper):
    """Add a medal from a spec file"""

    bl_idname = "medalwright.open_spec"
    bl_label = "Open Medal Spec"
    bl_options = {"REGISTER", "UNDO"}

    filename_ext = ".toml"
    filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})
    # not remembered: a path that is set means that a file was dropped
    filepath: StringProperty(subtype="FILE_PATH", options={"HIDDEN", "SKIP_SAVE"})

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """Ask for the file, unless one was dropped."""
        if self.properties.is_property_set("filepath") and self.filepath:
            return self.execute(context)
        return super().invoke(context, event)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Read the whole spec first, so that a wrong one changes nothing."""
        try:
            spec = read_spec(self.filepath)
            sources.objects_in(spec)
            strokes.models_in(spec)
        except MedalError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        return add_piece(self, context, spec)

    def draw(self, context: bpy.types.Context) -> None:
        """Keep the file browser's side bar free of placement options."""


class MEDALWRIGHT_OT_save_spec(OnPiece, bpy.types.Operator, ExportHelper):
    """Write what is asked for as a spec file that builds the same medal anywhere"""

    bl_idname = "medalwright.save_spec"
    bl_label = "Save Medal Spec"
    bl_options = {"REGISTER"}

    filename_ext = ".toml"
    filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})
    with_models: BoolProperty(
        name="Save Models Beside It",
        description="Write source objects as files in the same folder, for use without Blender",
        default=True,
    )
    overwrite: BoolProperty(
        name="Overwrite",
        description="Replace files of the same names",
        default=False,
        options={"SKIP_SAVE"},
    )
    _browsed = False

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """Suggest a file name from the name of the piece."""
        self._browsed = (
            True  # the file browser asks before it gives the name of a spec that is there
        )
        slug = spec_from_dict(convert.to_dict(context.object.medalwright.spec)).medal.slug
        self.filepath = bpy.path.abspath(f"//{slug}.toml") if bpy.data.filepath else f"{slug}.toml"
        return super().invoke(context, event)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Write the models, then the spec that names them; nothing if one may not be written."""
        piece = context.object
        path = Path(bpy.path.abspath(self.filepath))
        try:
            asked = convert.to_dict(piece.medalwright.spec)
            models = sources.models_of(piece, context)
            files = model_files(models, path) if self.with_models else {}
            for text, (model, _) in files.items():
                _rename_source(asked, text, str(model))
            spec = spec_from_dict(asked)
            if not (self.overwrite or self._browsed):
                refuse([path])
            fresh = dict(files.values())
            if not self.overwrite:
                refuse([model for model, content in fresh.items() if not _holds(model, content)])
            write_files(fresh, overwrite=True)
            write_spec(spec, path)
        except MedalError as error:
            self.report({"ERROR"}, labels.told(str(error)))
            return {"CANCELLED"}
        except OSError as error:
            self.report({"ERROR"}, f"{error.filename}: {error.strerror}")
            return {"CANCELLED"}
        self.report({"INFO"}, f"Wrote {path.name}")
        return {"FINISHED"}


def model_files(models: Mapping[str, sources.Arrays], path: Path) -> dict[str, tuple[Path, bytes]]:
    """Return the file of each model beside a spec, and its content.

    No two have the same name, as systems see it that take "Head" and "head" for one.

    Parameters
    ----------
    models : mapping
        By the text of their source: a kind, a colon, the names of objects.
    path : Path
        Of the spec.
    """
    found: dict[str, tuple[Path, bytes]] = {}
    taken: set[str] = set()
    for text, arrays in models.items():
        ending, content = sources.as_file(arrays)
        plain = name = f"{path.stem}-{bpy.path.clean_name(text.split(':', 1)[1])}"
        number = 1
        while _folded(name + ending) in taken:
            number += 1
            name = f"{plain}-{number}"
        taken.add(_folded(name + ending))
        found[text] = path.with_name(name + ending), content
    return found


def _folded(name: str) -> str:
    """Return a name as systems compare it that do not tell capitals, or ways to write an é."""
    return unicodedata.normalize("NFD", name).casefold()


def refuse(paths: Iterable[Path]) -> None:
    """Refuse to replace files that are there.

    Raises
    ------
    DeliveryError
        Naming them.
    """
    there = [path for path in paths if os.path.lexists(path)]
    if there:
        names = ", ".join(path.name for path in there)
        are = "is there already" if len(there) == 1 else "are there already"
        raise DeliveryError(
            f"{there[0].parent}: {names} {are}; choose another name, or tick Overwrite"
        )


def _holds(path: Path, content: bytes) -> bool:
    """Tell whether a file holds just that: a model that was saved before and has not changed."""
    try:
        return path.read_bytes() == content
    except OSError:
        return False


def _rename_source(data: Any, old: str, new: str) -> None:
    """Put a file in the place of an object wherever plain spec data names it."""
    items = data.items() if isinstance(data, dict) else enumerate(data)
    for key, value in list(items):
        if isinstance(value, dict | list):
            _rename_source(value, old, new)
        elif key in ("source", "strokes") and value == old:
            data[key] = new


class MEDALWRIGHT_FH_spec(bpy.types.FileHandler):
    """Opens a spec that is dropped on a 3D view"""

    bl_idname = "MEDALWRIGHT_FH_spec"
    bl_label = "Medal Spec"
    bl_import_operator = "medalwright.open_spec"
    bl_file_extensions = ".toml"

    @classmethod
    def poll_drop(cls, context: bpy.types.Context) -> bool:
        """Take files on 3D views only."""
        return context.area is not None and context.area.type == "VIEW_3D"


def _menu_import(menu: Any, context: bpy.types.Context) -> None:
    menu.layout.operator(MEDALWRIGHT_OT_open_spec.bl_idname, text="Medal Spec (.toml)")


def _menu_export(menu: Any, context: bpy.types.Context) -> None:
    menu.layout.operator(MEDALWRIGHT_OT_save_spec.bl_idname, text="Medal Spec (.toml)")


_CLASSES = (MEDALWRIGHT_OT_open_spec, MEDALWRIGHT_OT_save_spec, MEDALWRIGHT_FH_spec)


def register() -> None:
    """Register the operators, their menu entries, and what dropped files do."""
    for made in _CLASSES:
        bpy.utils.register_class(made)
    bpy.types.TOPBAR_MT_file_import.append(_menu_import)
    bpy.types.TOPBAR_MT_file_export.append(_menu_export)


def unregister() -> None:
    """Take them back."""
    bpy.types.TOPBAR_MT_file_export.remove(_menu_export)
    bpy.types.TOPBAR_MT_file_import.remove(_menu_import)
    for made in reversed(_CLASSES):
        bpy.utils.unregister_class(made)
