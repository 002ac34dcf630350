# SPDX-License-Identifier: GPL-3.0-or-later
"""Which way is seen: a face of the medal in the view, a side of a model in its relief."""

import math

import bpy
from bpy.props import EnumProperty, StringProperty
from mathutils import Matrix

from ..medalcore.context.ground import placement
from ..props import groups
from ..scene.framing import frame
from ..work.answers import Answer, OnPiece, needs_piece


class MEDALWRIGHT_OT_face(bpy.types.Operator):
    """Look straight at this face of the medal, upright"""

    bl_idname = "medalwright.face"
    bl_label = "Look at Face"

    side: EnumProperty(
        name="Face",
        items=(("obverse", "Obverse", ""), ("reverse", "Reverse", "")),
        description="Face to look at",
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Need an active piece and a 3D View."""
        return needs_piece(cls, context) and getattr(context, "region_data", None) is not None

    def execute(self, context: bpy.types.Context) -> Answer:
        """Turn the view, and bring it so near that the medal fills it."""
        piece, view = context.object, context.region_data
        spec = piece.medalwright.spec.medal
        way = spec.alignment_value if spec.alignment == groups.NUMBER else spec.alignment
        turn = turn_to(self.side, way)
        view.view_perspective = "ORTHO"
        view.view_rotation = (piece.matrix_world.to_3x3().normalized() @ turn).to_quaternion()
        frame(context, piece.matrix_world.translation, max(piece.dimensions))
        return {"FINISHED"}


def turn_to(side: str, way: str | float) -> Matrix:
    """Return how a face lies on the piece, as 3 by 3; an angle of `way` is in radians."""
    degrees = way if isinstance(way, str) else math.degrees(way)
    return Matrix(placement(degrees, 1 if side == "obverse" else -1)[:, :3].tolist())


TURNS = {
    "FRONT": (-90.0, 0.0, 0.0),
    "RIGHT": (-90.0, -90.0, 0.0),
    "LEFT": (-90.0, 90.0, 0.0),
    "BACK": (-90.0, 180.0, 0.0),
    "TOP": (0.0, 0.0, 0.0),
}
"""Degrees about x, then y, then z that bring what Blender's own view of that name shows to
+z, its upper side to +y."""


class MEDALWRIGHT_OT_seen_from(OnPiece, bpy.types.Operator):
    """Turn the model so that the relief shows it from this side"""

    bl_idname = "medalwright.seen_from"
    bl_label = "Seen From"
    bl_options = {"REGISTER", "UNDO", "INTERNAL"}

    path: StringProperty(options={"HIDDEN"})
    view: EnumProperty(
        name="Side",
        items=[(name, name.capitalize(), "") for name in TURNS],
        description="Side of the model that is seen, as in Blender's views",
    )

    def execute(self, context: bpy.types.Context) -> Answer:
        """Set the turn; the draft follows."""
        relief = context.object.medalwright.spec.path_resolve(self.path)
        relief.turn = [math.radians(angle) for angle in TURNS[self.view]]
        return {"FINISHED"}


_CLASSES = (MEDALWRIGHT_OT_face, MEDALWRIGHT_OT_seen_from)

register, unregister = bpy.utils.register_classes_factory(_CLASSES)
