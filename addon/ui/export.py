# SPDX-License-Identifier: GPL-3.0-or-later
"""Exporting the files of a piece."""

from pathlib import Path
from typing import Any

import bpy
from bpy.props import BoolProperty, EnumProperty, IntProperty, StringProperty

from .. import layout
from ..medalcore.cli import CAUTION
from ..medalcore.deliver import ALSO, file_names
from ..medalcore.spec import spec_from_dict
from ..props import convert, labels
from ..work import live
from ..work.answers import Answer, OnPiece, refuse

_ALSO = {
    "obj": "OBJ with Materials",
    "glb": "GLB",
    "depth": "Depth Pictures",
    "standing": "Both Faces",
}
"""Titles of the kinds of files the core can write besides the usual ones."""


class MEDALWRIGHT_OT_export_files(OnPiece, bpy.types.Operator):
    """Build the medal and write STL, 3MF, report and pictures into a folder, in millimetres"""

    bl_idname = "medalwright.export_files"
    bl_label = "Export Medal Files"
    bl_options = {"REGISTER"}

    directory: StringProperty(subtype="DIR_PATH")
    filter_folder: BoolProperty(default=True, options={"HIDDEN"})
    quality: EnumProperty(
        name="Quality",
        items=(
            ("fine", "Fine", "As it should be made"),
            ("draft", "Quick", "Coarse, for a first look"),
        ),
    )
    also: EnumProperty(
        name="Also",
        description="Files besides STL, 3MF, report and pictures",
        items=[(kind, _ALSO.get(kind, labels.plain(kind)), "") for kind in ALSO],
        options={"ENUM_FLAG"},
    )
    size: IntProperty(
        name="Picture Size",
        description="Width and height of the pictures",
        subtype="PIXEL",
        default=1400,
        min=64,
        max=8192,
    )
    overwrite: BoolProperty(
        name="Overwrite", description="Replace files of the same names", default=False
    )

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """Ask for the folder."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the options, the names of the files, and the caution."""
        column = self.layout.column()
        column.use_property_split = True
        column.prop(self, "quality")
        column.prop(self, "size")
        column.column(align=True).prop(self, "also")
        column.prop(self, "overwrite")
        spec = spec_from_dict(convert.to_dict(context.object.medalwright.spec))
        names = column.column(align=True)
        for name in file_names(spec.medal.slug, sorted(self.also)):
            names.label(text=name, icon="FILE_BLANK")
        layout.wrapped(self.layout, context, CAUTION, icon="INFO")

    def execute(self, context: bpy.types.Context) -> Answer:
        """Begin."""
        if not self.directory:
            self.report({"ERROR"}, "No folder was chosen")
            return {"CANCELLED"}
        folder = str(Path(bpy.path.abspath(self.directory)))
        deliver = {
            "folder": folder,
            "overwrite": self.overwrite,
            "size": self.size,
            "also": sorted(self.also),
        }
        piece = context.object
        try:
            if bpy.app.background:
                job = live.build_now(piece, self.quality, context, deliver)
                self.report({"INFO"}, job.written)
            else:
                live.start(piece, self.quality, context, deliver)
        except Exception as error:
            return refuse(self, piece, error)
        self.report({"INFO"}, CAUTION)
        return {"FINISHED"}


def _menu_export(menu: Any, context: bpy.types.Context) -> None:
    menu.layout.operator(
        MEDALWRIGHT_OT_export_files.bl_idname, text="Medal Files (.stl, .3mf, pictures)"
    )


def register() -> None:
    """Register the operator and its menu entry."""
    bpy.utils.register_class(MEDALWRIGHT_OT_export_files)
    bpy.types.TOPBAR_MT_file_export.append(_menu_export)


def unregister() -> None:
    """Take them back."""
    bpy.types.TOPBAR_MT_file_export.remove(_menu_export)
    bpy.utils.unregister_class(MEDALWRIGHT_OT_export_files)
