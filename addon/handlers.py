# SPDX-License-Identifier: GPL-3.0-or-later
"""What Blender tells us: undo, redo, another file, and a changed source object."""

from __future__ import annotations

from typing import Any

import bpy
from bpy.app.handlers import persistent

from . import live


@persistent
def after_undo(*_: Any) -> None:
    """Bring meshes in line with the properties that undo or redo brought back."""
    live.session.errors.clear()
    live.session.models.clear()
    live.refresh(bpy.context)


@persistent
def after_load(*_: Any) -> None:
    """Forget the objects of the file before."""
    live.close()
    for item in bpy.data.objects:
        if live.is_piece(item):
            live.watch(item)


@persistent
def after_change(scene: Any, depsgraph: bpy.types.Depsgraph) -> None:
    """Let reliefs follow the objects they are made from; costs nothing where there are none."""
    if live.session.sculpted:
        live.sheets_changed()
    if not live.session.sources:
        return
    for update in depsgraph.updates:
        if isinstance(update.id, bpy.types.Object) and (
            update.is_updated_geometry or update.is_updated_transform
        ):
            live.source_changed(update.id.original.session_uid)


_HANDLERS = (
    ("undo_post", after_undo),
    ("redo_post", after_undo),
    ("load_post", after_load),
    ("depsgraph_update_post", after_change),
)


def register() -> None:
    """Add the handlers."""
    for name, handler in _HANDLERS:
        getattr(bpy.app.handlers, name).append(handler)


def unregister() -> None:
    """Remove the handlers and stop whatever still runs."""
    for name, handler in _HANDLERS:
        getattr(bpy.app.handlers, name).remove(handler)
    live.close()
