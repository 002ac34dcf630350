# SPDX-License-Identifier: GPL-3.0-or-later
"""Sculpting a relief: a sheet standing on the piece, strokes kept or dropped."""

from typing import Any

import bpy
import numpy as np
from bpy.props import BoolProperty, IntProperty, StringProperty

from .. import layout
from ..medalcore.context.element import Model
from ..medalcore.errors import MedalError
from ..medalcore.piece.sculpt import kept_strokes
from ..props import strokes
from ..scene import sheets, sources, units
from ..work import live
from ..work.answers import Answer, draft, needs_piece, refuse
from .sheet import Beside, Waiting, making, sheet_of, spec_as_built

LARGE = 150_000
"""Points of a sheet that are read in the blink of an eye."""


def relief_at(piece: bpy.types.Object, path: str) -> Any:
    """Return the relief of a path; without one, the active relief of the first face with any."""
    spec = piece.medalwright.spec
    if path:
        return spec.path_resolve(path)
    for face in sheets.FACES:
        side = getattr(spec, face)
        if len(side.relief):
            return side.relief[min(side.relief_index, len(side.relief) - 1)]
    return None


def sculpted_now(context: bpy.types.Context, path: str = "") -> tuple[Any, Any]:
    """Return the sheet that is meant, and its relief; None and None without one.

    It is the active object, or stands on the active piece.
    """
    active = context.object
    piece = active.parent if sheets.is_sheet(active) else active
    if not live.is_piece(piece):
        return None, None
    for own, relief in sheets.reliefs(piece):
        sheet = sheets.sheet_on(relief)
        if sheet is not None and (sheet == active or (piece == active and path in ("", own))):
            return sheet, relief
    return None, None


def needs_sheet(cls: Any, context: bpy.types.Context) -> bool:
    """Poll for operators that end the sculpting."""
    if sculpted_now(context)[0] is not None:
        return True
    cls.poll_message_set("No relief is being sculpted here")
    return False


class MEDALWRIGHT_OT_sculpt_relief(Waiting, bpy.types.Operator):
    """Sculpt on the relief: it becomes a dense sheet that stands on the medal"""

    bl_idname = "medalwright.sculpt_relief"
    bl_label = "Sculpt Relief"
    bl_options = {"REGISTER", "UNDO"}

    path: StringProperty(options={"HIDDEN", "SKIP_SAVE"})
    across: IntProperty(
        name="Points Across",
        description="Points of the sheet along its larger side; more hold finer strokes",
        default=512,
        min=64,
        max=2048,
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Need an active piece with a relief."""
        if not needs_piece(cls, context):
            return False
        if any(True for _ in sheets.reliefs(context.object)):
            return True
        cls.poll_message_set("The medal has no relief yet")
        return False

    def execute(self, context: bpy.types.Context) -> Answer:
        """Make the sheet here and now, leave the relief out of drafts, begin to sculpt."""
        piece = context.object
        relief = relief_at(piece, self.path)
        sheet = sheets.sheet_on(relief)
        if sheet is not None:
            return self._enter(context, sheet)
        try:
            work = self._making(context, piece, relief)
        except MedalError as error:
            return refuse(self, piece, error)
        work.run()
        return self._finish(context, piece, relief, work)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """Work the sheet out beside Blender and wait for it."""
        piece = context.object
        relief = relief_at(piece, self.path)
        if bpy.app.background or sheets.sheet_on(relief) is not None:
            return self.execute(context)
        try:
            work = self._making(context, piece, relief)
        except MedalError as error:
            return refuse(self, piece, error)
        self._uid, self._digest = piece.session_uid, live.digest_of(piece)
        self._at = relief.path_from_id().partition("spec.")[2]
        return self.wait(context, work, "Making the relief a sheet to sculpt on")

    def waited(self, context: bpy.types.Context) -> Answer:
        """Put the sheet on the piece, if that is as it was."""
        piece = live.piece_by_uid(self._uid)
        if piece is None or context.mode != "OBJECT" or live.digest_of(piece) != self._digest:
            self.report({"INFO"}, "The medal was changed meanwhile; it is not sculpted")
            return {"CANCELLED"}
        return self._finish(context, piece, relief_at(piece, self._at), self._beside)

    def _making(self, context: bpy.types.Context, piece: bpy.types.Object, relief: Any) -> Beside:
        place = sheets.place_of(piece, relief.path_from_id().partition("spec.")[2])
        if place is None:
            raise MedalError("The relief is not on the piece: show it and give it its model first")
        found = sources.models_of(piece, context)
        models = {name: Model(*held) for name, held in found.items()}
        return making(spec_as_built(piece), place, models, self.across)

    def _finish(
        self, context: bpy.types.Context, piece: bpy.types.Object, relief: Any, work: Beside
    ) -> Answer:
        if work.error is not None:
            return refuse(self, piece, work.error)
        sheet = sheet_of(piece, work.made)
        with live.quietly():
            relief.strokes_sheet = sheet
        answer = draft(self, piece, context)
        if answer == {"CANCELLED"}:
            close(sheet, relief)
            return answer
        return self._enter(context, sheet)

    def _enter(self, context: bpy.types.Context, sheet: bpy.types.Object) -> Answer:
        activate(context, sheet)
        if not bpy.app.background:
            bpy.ops.object.mode_set(mode="SCULPT")
        return {"FINISHED"}


def activate(context: bpy.types.Context, item: bpy.types.Object) -> None:
    """Make an object the active and only selected one."""
    for other in context.selected_objects:
        other.select_set(False)
    item.select_set(True)
    context.view_layer.objects.active = item


def close(sheet: bpy.types.Object, relief: Any) -> None:
    """Take a sheet away; the relief comes back with the next draft."""
    with live.quietly():
        relief.strokes_sheet = None
    meshes = [sheet.data, sheet.get(sheets.BEFORE)]
    bpy.data.objects.remove(sheet)
    for mesh in meshes:
        if mesh is not None and not mesh.users:
            bpy.data.meshes.remove(mesh)


def put_strokes(relief: Any, new: bpy.types.Mesh | None) -> None:
    """Give a relief other strokes; those before go if nothing else uses them."""
    old = relief.strokes
    with live.quietly():
        relief.strokes = new
    if old is not None and old != new and not old.users:
        bpy.data.meshes.remove(old)


def leave_sculpting(context: bpy.types.Context, sheet: bpy.types.Object) -> None:
    """Go back to Object Mode, which writes what was sculpted into the mesh."""
    if context.object == sheet and sheet.mode != "OBJECT":
        bpy.ops.object.mode_set(mode="OBJECT")


class MEDALWRIGHT_OT_keep_strokes(Waiting, bpy.types.Operator):
    """Keep what was sculpted: it is added to the relief and stays when other numbers change"""

    bl_idname = "medalwright.keep_strokes"
    bl_label = "Keep Strokes"
    bl_options = {"REGISTER", "UNDO"}

    path: StringProperty(options={"HIDDEN", "SKIP_SAVE"})
    _passes = False  # nobody must go on sculpting what is being read

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Need a sheet."""
        return needs_sheet(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Read the sheet, store the difference, take the sheet away and rebuild."""
        work = self._reading(context)
        if work is None:
            return {"CANCELLED"}
        work.run()
        return self._finish(context, work)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """Find what a large sheet holds beside Blender and wait for it."""
        sheet, _ = sculpted_now(context, self.path)
        if bpy.app.background or sheet is None or len(sheet.data.vertices) < LARGE:
            return self.execute(context)
        work = self._reading(context)
        if work is None:
            return {"CANCELLED"}
        return self.wait(context, work, "Finding what was sculpted")

    def waited(self, context: bpy.types.Context) -> Answer:
        """Keep what was found."""
        return self._finish(context, self._beside)

    def _reading(self, context: bpy.types.Context) -> Beside | None:
        sheet, _ = sculpted_now(context, self.path)
        if sheet is None:
            self.report({"ERROR"}, "This relief is not being sculpted")
            return None
        leave_sculpting(context, sheet)
        try:
            return _strokes_on(sheet, context)
        except MedalError as error:
            refuse(self, sheet.parent, error)
            return None

    def _finish(self, context: bpy.types.Context, work: Beside) -> Answer:
        sheet, relief = sculpted_now(context, self.path)
        if sheet is None:
            self.report({"INFO"}, "The sheet is gone; nothing was kept")
            return {"CANCELLED"}
        piece, found = sheet.parent, work.made
        if work.error is not None:
            return refuse(self, piece, work.error)
        some = len(found.triangles) > 0
        put_strokes(relief, strokes.new_mesh(found) if some else None)
        close(sheet, relief)
        activate(context, piece)
        self.report({"INFO"}, _told(found) if some else "Nothing was sculpted")
        return draft(self, piece, context)


def _strokes_on(sheet: bpy.types.Object, context: bpy.types.Context) -> Beside:
    """Return the work that finds all strokes of a relief, those on its sheet with them.

    Raises
    ------
    SourceError
        If nothing is left of the sheet.
    """
    before = sheet[sheets.BEFORE]
    unit = float(before["medal_unit"])
    sheet.data.update()  # scripts may have moved points without telling
    world, triangles = sources.arrays_of([sheet], context)
    back = np.array(sheet.parent.matrix_world.inverted(), dtype=np.float64)
    scale = units.units_per_mm(context.scene)
    made = sheets.recalled(before, unit)

    def work() -> Model:
        own = world * scale @ back[:3, :3].T + back[:3, 3]
        return kept_strokes(made, own / unit, triangles)

    return Beside(work)


def _told(found: Model) -> str:
    z = found.vertices[:, 2]
    up, down = max(z.max(), 0.0), abs(min(z.min(), 0.0))
    return f"Kept strokes up to {up:.3f} mm up and {down:.3f} mm down"


class MEDALWRIGHT_OT_drop_strokes(bpy.types.Operator):
    """Take all strokes from the relief, kept ones and those on an open sheet"""

    bl_idname = "medalwright.drop_strokes"
    bl_label = "Drop Strokes"
    bl_options = {"REGISTER", "UNDO"}

    path: StringProperty(options={"HIDDEN", "SKIP_SAVE"})
    new_only: BoolProperty(
        name="New Only",
        description="Drop only what has been sculpted since the last time strokes were kept",
        options={"SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Need strokes or a sheet."""
        piece = context.object.parent if sheets.is_sheet(context.object) else context.object
        if live.is_piece(piece) and any(
            item.strokes or sheets.sheet_on(item) for _, item in sheets.reliefs(piece)
        ):
            return True
        cls.poll_message_set("There are no strokes here")
        return False

    @classmethod
    def description(cls, context: bpy.types.Context, properties: Any) -> str:
        """Say which strokes go."""
        if properties.new_only:
            return "Stop sculpting; the relief is as it was before, with the strokes kept earlier"
        return cls.__doc__ or ""

    def execute(self, context: bpy.types.Context) -> Answer:
        """Close the sheet, forget the strokes, rebuild."""
        sheet, relief = sculpted_now(context, self.path)
        piece = sheet.parent if sheet is not None else context.object
        if sheet is None:
            relief = relief_at(piece, self.path)
        else:
            leave_sculpting(context, sheet)
            close(sheet, relief)
            activate(context, piece)
        if not self.new_only:
            put_strokes(relief, None)
        return draft(self, piece, context)


def draw_sheet(column: Any, context: bpy.types.Context) -> bool:
    """Draw what there is to do with the sheet that is active; False if none is."""
    sheet = context.object
    if not sheets.is_sheet(sheet):
        return False
    layout.wrapped(column, context, f"Sculpting the relief of {sheet.parent.name}")
    column.operator("medalwright.keep_strokes", icon="CHECKMARK")
    row = column.row(align=True)
    stop = row.operator("medalwright.drop_strokes", text="Stop without Keeping", icon="X")
    stop.new_only = True
    return True


def draw_strokes(column: Any, relief: Any, path: str) -> None:
    """Draw the rows of a relief about strokes."""
    column.separator()
    row = column.row(align=True)
    if sheets.sheet_on(relief) is not None:
        row.operator("medalwright.keep_strokes", icon="CHECKMARK").path = path
        stop = row.operator("medalwright.drop_strokes", text="", icon="X")
        stop.path, stop.new_only = path, True
        return
    row.operator("medalwright.sculpt_relief", icon="SCULPTMODE_HLT").path = path
    if relief.strokes is not None:
        row.operator("medalwright.drop_strokes", text="", icon="TRASH").path = path


_CLASSES = (
    MEDALWRIGHT_OT_sculpt_relief,
    MEDALWRIGHT_OT_keep_strokes,
    MEDALWRIGHT_OT_drop_strokes,
)

register, unregister = bpy.utils.register_classes_factory(_CLASSES)
