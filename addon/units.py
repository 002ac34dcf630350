# SPDX-License-Identifier: GPL-3.0-or-later
"""Millimetres and Blender's units: the one place that converts."""

from __future__ import annotations

import bpy


def units_per_mm(scene: bpy.types.Scene) -> float:
    """Return how many Blender units one millimetre is in a scene.

    A unit is `scale_length` metres; with Blender's defaults that is one metre.
    """
    return 0.001 / scene.unit_settings.scale_length


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
