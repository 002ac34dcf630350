# SPDX-License-Identifier: GPL-3.0-or-later
"""What is added to Blender and taken back, in one order and its reverse."""

from __future__ import annotations

from typing import Any

import bpy

from .constants import TAB

_parts: list[Any] = []
_command: list[Any] = []


class MEDALWRIGHT_PT_broken(bpy.types.Panel):
    """Says that the libraries that travel with the extension cannot be used."""

    bl_label = "Medalwright"
    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = TAB
    reason = ""

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the reason and what helps."""
        from . import layout

        layout.wrapped(self.layout, context, self.reason, icon="ERROR")
        layout.wrapped(self.layout, context, "Remove the extension, install it again, restart")


def register() -> None:
    """Register every part; where the core cannot be imported, only the panel that says so."""
    try:
        from .props import properties
        from .sculpting import operators as sculpting
        from .ui import export, lists, operators, panels, spec_files, view
        from .work import handlers, live
    except ImportError as error:
        MEDALWRIGHT_PT_broken.reason = f"A library is missing or does not fit: {error}"
        bpy.utils.register_class(MEDALWRIGHT_PT_broken)
        return
    properties.register(lambda group, context: live.changed(group.id_data, type(group).__name__))
    _parts.append(properties)
    for part in (lists, operators, view, spec_files, export, sculpting, panels, handlers):
        part.register()
        _parts.append(part)
    _command.append(bpy.utils.register_cli_command("medalwright", _run))


def unregister() -> None:
    """Unregister in reverse."""
    while _command:
        bpy.utils.unregister_cli_command(_command.pop())
    if not _parts and hasattr(bpy.types, MEDALWRIGHT_PT_broken.__name__):
        bpy.utils.unregister_class(MEDALWRIGHT_PT_broken)
    while _parts:
        _parts.pop().unregister()


def _run(argv: list[str]) -> int:
    """Do what the core's own command does: same arguments, same exit status.

    A spec may name objects of the open file as sources besides.
    """
    from .medalcore.cli import main
    from .scene import sources

    return main(argv, prog="medalwright", models=lambda s: sources.models_in(s, bpy.context))
