# SPDX-License-Identifier: GPL-3.0-or-later
"""Bringing the 3D View near enough to a medal, which is tiny in most scenes."""

import bpy
from mathutils import Vector

AROUND = 1.3
"""Width of the view as a multiple of the medal's."""

SENSOR = 72.0
"""mm: a 3D View with a lens of so many millimetres shows as much as its distance."""


def _clear(context: bpy.types.Context) -> tuple[int, int, int]:
    """Return width and height of a 3D View, and the width round its middle that is free.

    Blender draws sidebar and toolbar over the view if the preferences say so.
    """
    regions = {region.type: region for region in context.area.regions}
    window = regions["WINDOW"]
    over = 0
    if context.preferences.system.use_region_overlap:
        over = max((regions[k].width for k in ("UI", "TOOLS") if k in regions), default=0)
    return window.width, window.height, max(window.width - 2 * over, window.width // 3)


def frame(context: bpy.types.Context, middle: Vector, width: float) -> None:
    """Bring the 3D View of a context, if it has one, over a medal that fills what is clear of it.

    Parameters
    ----------
    context : Context
    middle : Vector
        Of the medal, in the scene.
    width : float
        Its largest, in units of the scene.
    """
    view = getattr(context, "region_data", None)
    if view is None or context.area is None:
        return
    wide, high, clear = _clear(context)
    longer = max(wide, high) / max(min(clear, high), 1)
    view.view_location = middle
    view.view_distance = max(AROUND * width * longer, 1e-4) * context.space_data.lens / SENSOR
