# SPDX-License-Identifier: GPL-3.0-or-later
"""Small helpers for drawing; nothing here needs the core."""

from __future__ import annotations

import textwrap

import bpy


def wrapped(
    layout: bpy.types.UILayout, context: bpy.types.Context, text: str, icon: str = "NONE"
) -> None:
    """Draw a sentence over as many lines as the sidebar's width asks for."""
    column = layout.column(align=True)
    column.scale_y = 0.8
    for i, line in enumerate(fitted(context, text, indent=36 if icon == "NONE" else 60)):
        if icon == "NONE":
            column.label(text=line)
        else:
            column.label(text=line, icon=icon if i == 0 else "BLANK1")


def fitted(
    context: bpy.types.Context, text: str, share: float = 1.0, indent: int = 60
) -> list[str]:
    """Return the lines that a text takes in a share of the sidebar's width."""
    scale = context.preferences.system.ui_scale or 1.0  # 0 without a window
    wide = context.region.width if context.region else 300
    letters = max(12, int((wide / scale - indent) * share / 6.3))
    return textwrap.wrap(text, letters) or [""]


def redraw() -> None:
    """Ask every sidebar to draw itself anew."""
    for window in bpy.context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                for region in area.regions:
                    if region.type == "UI":
                        region.tag_redraw()
