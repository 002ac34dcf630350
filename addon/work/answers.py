# SPDX-License-Identifier: GPL-3.0-or-later
"""What operators share: whether they may run, drafts begun, and how they say no."""

from typing import Any

import bpy

from ..props import labels
from . import live

Answer = set[str]


def needs_piece(cls: Any, context: bpy.types.Context) -> bool:
    """Poll for operators that work on the active piece."""
    piece = context.object
    if live.is_piece(piece) and not live.is_linked(piece):
        return True
    if live.is_piece(piece):
        cls.poll_message_set("The medal is linked from another file; change it there")
        return False
    cls.poll_message_set("Select a medal first")
    return False


class OnPiece:
    """What operators share that work on the active piece."""

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Need an active piece."""
        return needs_piece(cls, context)


def refuse(operator: Any, piece: bpy.types.Object, error: Exception) -> Answer:
    """Say what is wrong, here and in the panel."""
    live.session.fail(piece.session_uid, live.told(error))
    operator.report({"ERROR"}, labels.told(live.told(error)))
    return {"CANCELLED"}


def draft(operator: Any, piece: bpy.types.Object, context: bpy.types.Context) -> Answer:
    """Begin a draft; without a window, build it here and now."""
    try:
        if bpy.app.background:
            live.build_now(piece, "draft", context)
        else:
            live.start(piece, "draft", context)
    except Exception as error:
        return refuse(operator, piece, error)
    return {"FINISHED"}
