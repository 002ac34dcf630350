# SPDX-License-Identifier: GPL-3.0-or-later
"""Making, rebuilding and finishing a piece."""

from typing import Any

import bpy
from bpy.props import BoolProperty, EnumProperty, FloatProperty
from bpy_extras.object_utils import AddObjectHelper, object_data_add

from ..medalcore.errors import MedalError
from ..medalcore.spec import MedalSpec, spec_from_dict
from ..props import convert, groups, labels
from ..scene import sources, units
from ..scene.framing import frame
from ..work import live
from ..work.answers import Answer, OnPiece, draft, needs_piece, refuse
from ..work.jobs import Job


def add_piece(operator: Any, context: bpy.types.Context, spec: MedalSpec) -> Answer:
    """Make an object for a spec at the 3D cursor and build its first draft."""
    mesh = bpy.data.meshes.new(spec.medal.name)
    piece = object_data_add(context, mesh, operator=operator, name=spec.medal.name)
    with live.quietly():
        piece.medalwright.is_piece = True
        convert.fill(piece.medalwright.spec, spec)
    answer = draft(operator, piece, context)
    if answer == {"CANCELLED"}:
        bpy.data.meshes.remove(mesh)  # its object goes with it
        return answer
    width = max(spec.blank.diameter, spec.blank.height) * units.units_per_mm(context.scene)
    frame(context, piece.location, width)
    return answer


class MEDALWRIGHT_OT_new(bpy.types.Operator, AddObjectHelper):
    """Add a blank medal to work on"""

    bl_idname = "medalwright.new"
    bl_label = "Medal"
    bl_options = {"REGISTER", "UNDO"}

    diameter: FloatProperty(
        name="Diameter", unit="CAMERA", default=40.0, min=1.0, max=1000.0, precision=5, step=50
    )
    thickness: FloatProperty(
        name="Thickness", unit="CAMERA", default=3.0, min=0.1, max=200.0, precision=5, step=10
    )

    def execute(self, context: bpy.types.Context) -> Answer:
        """Add the object and begin its first draft."""
        if context.mode != "OBJECT":
            self.report({"ERROR"}, "Leave Edit Mode first: a medal is an object of its own")
            return {"CANCELLED"}
        asked = {"blank": {"diameter": self.diameter, "thickness": self.thickness}}
        try:
            spec = spec_from_dict(asked)
        except MedalError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        return add_piece(self, context, spec)


class MEDALWRIGHT_OT_rebuild(OnPiece, bpy.types.Operator):
    """Build the medal coarsely now, with its source objects as they are now"""

    bl_idname = "medalwright.rebuild"
    bl_label = "Rebuild"
    bl_options = {"REGISTER"}

    def execute(self, context: bpy.types.Context) -> Answer:
        """Begin the draft."""
        return draft(self, context.object, context)


class MEDALWRIGHT_OT_make_fine(OnPiece, bpy.types.Operator):
    """Build the medal at full fineness, as it is exported"""

    bl_idname = "medalwright.make_fine"
    bl_label = "Make Fine"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: bpy.types.Context) -> Answer:
        """Build here and now: for scripts."""
        try:
            self._say(live.build_now(context.object, "fine", context))
        except Exception as error:
            return refuse(self, context.object, error)
        return {"FINISHED"}

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """Queue the build and wait for it."""
        if bpy.app.background:
            return self.execute(context)
        try:
            self._job = live.start(context.object, "fine", context)
        except Exception as error:
            return refuse(self, context.object, error)
        live.session.watched.add(self._job.number)
        manager = context.window_manager
        self._timer = manager.event_timer_add(0.1, window=context.window)
        manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """Wait; everything but Esc goes on to the window. One undo step at the end."""
        job = self._job
        if job.is_over:
            return self._end(context)
        if event.type == "ESC" and event.value == "PRESS":
            live.session.builder.cancel(job)
            return {"RUNNING_MODAL"}
        if event.type == "TIMER":
            share = f"{labels.doing(job.label)}, {job.fraction:.0%}"
            context.workspace.status_text_set(f"{share}    Esc: stop")
        return {"PASS_THROUGH"}

    def _end(self, context: bpy.types.Context) -> Answer:
        self._leave(context)
        trouble = live.finish(self._job)
        if self._job.stale:
            self.report({"INFO"}, "The medal was changed meanwhile; what was built is not used")
            return {"CANCELLED"}
        if self._job.state == "cancelled":
            self.report({"INFO"}, "Stopped; the medal is as it was")
            return {"CANCELLED"}
        if trouble:
            self.report({"ERROR"}, labels.told(trouble))
            return {"CANCELLED"}
        self._say(self._job)
        return {"FINISHED"}

    def cancel(self, context: bpy.types.Context) -> None:
        """Blender itself ends the operator, for example with the window."""
        live.session.builder.cancel(self._job)
        self._leave(context)

    def _leave(self, context: bpy.types.Context) -> None:
        context.window_manager.event_timer_remove(self._timer)
        context.workspace.status_text_set(None)
        live.session.watched.discard(self._job.number)

    def _say(self, job: Job) -> None:
        report = job.result.report if job.result else {}
        seconds = report.get("seconds", {}).get("all", 0.0)
        self.report({"INFO"}, f"{report.get('triangles', 0):,} triangles in {seconds:.1f} s")


class MEDALWRIGHT_OT_stop(OnPiece, bpy.types.Operator):
    """Stop building; the medal stays as it is"""

    bl_idname = "medalwright.stop"
    bl_label = "Stop Building"
    bl_options = {"INTERNAL"}

    def execute(self, context: bpy.types.Context) -> Answer:
        """Stop the piece's newest job."""
        job = live.session.builder.job_of(context.object.session_uid)
        if job is not None:
            live.session.builder.cancel(job)
        return {"FINISHED"}


class MEDALWRIGHT_OT_use_selected(bpy.types.Operator):
    """Make a relief from the other selected objects, with their modifiers, as they stand"""

    bl_idname = "medalwright.use_selected"
    bl_label = "Relief from Selected"
    bl_options = {"REGISTER", "UNDO"}

    face: EnumProperty(
        name="Face",
        items=(("obverse", "Obverse", ""), ("reverse", "Reverse", "")),
        description="Side of the medal the relief goes on",
    )
    replace: BoolProperty(
        name="Replace",
        description="Use the objects for the active relief instead of adding one",
        options={"SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Need an active piece and something else selected."""
        if not needs_piece(cls, context):
            return False
        if chosen_sources(context):
            return True
        cls.poll_message_set("Select the objects for the relief, then the medal last")
        return False

    def execute(self, context: bpy.types.Context) -> Answer:
        """Fill in the sources; the draft follows by itself where the piece is live."""
        piece = context.object
        side = getattr(piece.medalwright.spec, self.face)
        chosen = chosen_sources(context)
        try:
            sources.arrays_of(chosen, context)
        except MedalError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        with live.quietly():
            if not (self.replace and len(side.relief)):
                side.relief.add()
                side.relief_index = len(side.relief) - 1
            relief = side.relief[min(side.relief_index, len(side.relief) - 1)]
            relief.source_kind = "OBJECT"
            relief.source_objects.clear()
            for item in chosen:
                relief.source_objects.add().object = item
        return draft(self, piece, context)


def chosen_sources(context: bpy.types.Context) -> list[bpy.types.Object]:
    """Return the selected objects a relief can be made from, by name."""
    found = [
        o
        for o in context.selected_objects
        if o != context.object and o.type in groups.MESH_KINDS and not live.is_piece(o)
    ]
    return sorted(found, key=lambda o: o.name)


class MEDALWRIGHT_OT_use_millimetres(bpy.types.Operator):
    """Make one unit of this scene one millimetre; nothing else is changed or scaled"""

    bl_idname = "medalwright.use_millimetres"
    bl_label = "Set Scene to Millimetres"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: bpy.types.Context) -> Answer:
        """Set the units, then bring every piece to them."""
        units.set_millimetres(context.scene)
        for item in context.scene.objects:
            if live.is_piece(item) and not live.is_linked(item) and not live.is_current(item):
                draft(self, item, context)
        return {"FINISHED"}


def _menu_add(menu: Any, context: bpy.types.Context) -> None:
    menu.layout.operator(MEDALWRIGHT_OT_new.bl_idname, icon="MESH_CYLINDER")


_CLASSES = (
    MEDALWRIGHT_OT_new,
    MEDALWRIGHT_OT_rebuild,
    MEDALWRIGHT_OT_make_fine,
    MEDALWRIGHT_OT_stop,
    MEDALWRIGHT_OT_use_selected,
    MEDALWRIGHT_OT_use_millimetres,
)


def register() -> None:
    """Register the operators and their menu entries."""
    for made in _CLASSES:
        bpy.utils.register_class(made)
    bpy.types.VIEW3D_MT_mesh_add.append(_menu_add)


def unregister() -> None:
    """Take them back."""
    bpy.types.VIEW3D_MT_mesh_add.remove(_menu_add)
    for made in reversed(_CLASSES):
        bpy.utils.unregister_class(made)
