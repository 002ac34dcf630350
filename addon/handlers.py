# SPDX-License-Identifier: GPL-3.0-or-later
"""What Blender tells us: undo, redo, and another file."""

from __future__ import annotations

from typing import Any

import bpy
from bpy.app.handlers import persistent

from . import live


@persistent
def after_undo(*_: Any) -> None:
    """Bring meshes in line with the properties that undo or redo brought back."""
    live.session.errors.clear()
    live.refresh(bpy.context)


@persistent
def after_load(*_: Any) -> None:
    """Forget the objects of the file before."""
    live.close()


def register() -> None:
    """Add the handlers."""
    bpy.app.handlers.undo_post.append(after_undo)
    bpy.app.handlers.redo_post.append(after_undo)
    bpy.app.handlers.load_post.append(after_load)


def unregister() -> None:
    """Remove the handlers and stop whatever still runs."""
    bpy.app.handlers.undo_post.remove(after_undo)
    bpy.app.handlers.redo_post.remove(after_undo)
    bpy.app.handlers.load_post.remove(after_load)
    live.close()
