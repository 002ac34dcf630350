# SPDX-License-Identifier: GPL-3.0-or-later
"""Millimetres and Blender's units: the one place that converts."""

from __future__ import annotations

import bpy
import numpy as np


def units_per_mm(scene: bpy.types.Scene) -> float:
    """Return how many Blender units one millimetre is in a scene.

    A unit is `scale_length` metres; with Blender's defaults that is one metre. Blender holds it
    in 32 bits, of which the decimal that was entered is taken: 0.001 would be 5e-8 more, and no
    coordinate came back from a file as it was.
    """
    return 0.001 / float(str(np.float32(scene.unit_settings.scale_length)))


def is_millimetres(scene: bpy.types.Scene) -> bool:
    """Tell whether one unit of the scene is one millimetre and shown as such."""
    units = scene.unit_settings
    return (
        units.system == "METRIC"
        and abs(units.scale_length - 0.001) < 1e-9
        and units.length_unit == "MILLIMETERS"
    )


def set_millimetres(scene: bpy.types.Scene) -> None:
    """Make one unit of the scene one millimetre. Only ever on request."""
    units = scene.unit_settings
    units.system = "METRIC"
    units.scale_length = 0.001
    units.length_unit = "MILLIMETERS"
