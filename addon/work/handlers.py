# SPDX-License-Identifier: GPL-3.0-or-later
"""What Blender tells us: undo, redo, another file, and a changed source object."""

from __future__ import annotations

from typing import Any

import bpy
from bpy.app.handlers import persistent

from . import following, live


@persistent
def after_undo(*_: Any) -> None:
    """Bring meshes in line with the properties that undo or redo brought back."""
    live.session.errors.clear()
    live.session.models.clear()
    live.drop_stale(drafts=True)
    following.refresh(bpy.context)


@persistent
def after_load(*_: Any) -> None:
    """Forget the file before, and look at the pieces of this one."""
    live.close()
    following.refresh(bpy.context)


@persistent
def after_change(scene: Any, depsgraph: bpy.types.Depsgraph) -> None:
    """Let reliefs follow the objects they are made from; costs little where there are none."""
    if live.session.sculpted:
        following.sheets_changed()
    for update in depsgraph.updates:
        if isinstance(update.id, bpy.types.Object) and (
            update.is_updated_geometry or update.is_updated_transform
        ):
            following.object_changed(update.id.original)
    if live.session.sources.pieces and depsgraph.id_type_updated("COLLECTION"):
        following.objects_changed()


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
