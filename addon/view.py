# SPDX-License-Identifier: GPL-3.0-or-later
"""Bringing the 3D View near enough to a medal, which is tiny in most scenes."""

import bpy
from mathutils import Vector

AROUND = 1.3
"""Width of the view as a multiple of the medal's."""

SENSOR = 72.0
"""mm: a 3D View with a lens of so many millimetres shows as much as its distance."""


def frame(context: bpy.types.Context, middle: Vector, width: float) -> None:
    """Bring the 3D View of a context, if it has one, over a medal so that this fills it.

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
    window = next(r for r in context.area.regions if r.type == "WINDOW")
    longer = max(window.width, window.height) / max(min(window.width, window.height), 1)
    view.view_location = middle
    view.view_distance = max(AROUND * width * longer, 1e-4) * context.space_data.lens / SENSOR
