# SPDX-License-Identifier: GPL-3.0-or-later
"""A material for every zone: made once, then the user's.

Zones of a core of another metal have materials of their own. A zone's faces stay with the slot
they are in, whatever the user put there. Only a material that we made gives way to another of
ours, when the piece changes to another metal.
"""

from __future__ import annotations

import colorsys
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np
from numpy.typing import NDArray

from .. import arrays
from ..medalcore.geometry.closure import inner_bodies
from ..props import labels

if TYPE_CHECKING:
    from .result import Result

_METALS = {
    "gold": (0.86, 0.62, 0.24),
    "copper": (0.72, 0.37, 0.23),
    "bronze": (0.55, 0.35, 0.16),
    "brass": (0.73, 0.56, 0.25),
    "silver": (0.80, 0.79, 0.76),
    "cupronickel": (0.66, 0.64, 0.61),
    "platinum": (0.70, 0.69, 0.67),
    "palladium": (0.66, 0.65, 0.64),
    "aluminium": (0.76, 0.77, 0.78),
    "zinc": (0.54, 0.56, 0.58),
    "steel": (0.56, 0.56, 0.56),
    "nickel": (0.62, 0.60, 0.56),
    "iron": (0.40, 0.39, 0.38),
    "tin": (0.68, 0.68, 0.67),
    "pewter": (0.58, 0.58, 0.57),
    "titanium": (0.52, 0.50, 0.48),
    "wax": (0.18, 0.42, 0.30),
    "resin": (0.42, 0.44, 0.48),
}
"""Colours by the word in a material's name; chosen by eye, no source."""

_ZONES = {
    "field": (0.62, 0.22),
    "rim": (0.95, 0.24),
    "edge": (0.85, 0.30),
    "relief": (1.0, 0.36),
    "legend": (1.0, 0.24),
    "inscription": (1.0, 0.24),
    "border": (1.0, 0.24),
    "emblem": (1.0, 0.28),
    "loop": (0.85, 0.26),
    "texture": (0.72, 0.30),
}
"""Brightness and roughness of a zone: a polished darker field, lighter matt devices."""


VIEWPORT_SHINE = 0.25
"""Metallic of the viewport's plain shading, which has no surroundings to mirror: at 1 a
piece is nearly black there. Renders get 1."""


def slots_for(
    mesh: bpy.types.Mesh, old: dict[str, int], zones: Sequence[str], metals: Sequence[str]
) -> NDArray[np.int32]:
    """Return the material slot of each zone, adding slots and materials where needed.

    Parameters
    ----------
    mesh : Mesh
    old : dict
        Slot of each zone on the mesh as it is now, see `slots_in_use`.
    zones, metals : sequence of str
        Names, see `grouped`, and the metal of each.

    Returns
    -------
    slots : (zones,) int32
    """
    slots = []
    for zone, metal in zip(zones, metals, strict=True):
        slot = old.get(zone, -1)
        if not 0 <= slot < len(mesh.materials):
            slot = _slot_of_ours(mesh, zone)
        if slot < 0:
            mesh.materials.append(_material(zone, metal))
            slot = len(mesh.materials) - 1
        there = mesh.materials[slot]
        if there is not None and there.medalwright.zone == zone:
            if there.medalwright.metal != metal:
                mesh.materials[slot] = _material(zone, metal)
        slots.append(slot)
    return np.array(slots, dtype=np.int32)


_CORE = "core "


def grouped(
    zone: NDArray[Any], core: NDArray[Any] | None, zones: Sequence[str]
) -> tuple[NDArray[np.int32], list[str]]:
    """Return which material group each face is in, and the names of the groups.

    Parameters
    ----------
    zone : (m,) int
    core : (m,) int or bool, optional
        What is of a core of another metal.
    zones : sequence of str
        Names of the zones; those of a core get names of their own after them.
    """
    code, names = zone.astype(np.int32), list(zones)
    if core is not None:
        for i in np.unique(zone[core > 0]).tolist():
            code[(core > 0) & (zone == i)] = len(names)
            names.append(f"{_CORE}{zones[i]}")
    return code, names


def core_of(result: Result) -> NDArray[np.bool_] | None:
    """Return which faces of a build are a core of another metal, or None."""
    metals = [part["metal"] for part in result.report.get("parts", ())]
    if len(set(metals)) < 2:
        return None
    return inner_bodies(result.vertices.astype(np.float64), result.triangles)


def metals_of(report: Mapping[str, Any], names: Sequence[str]) -> list[str]:
    """Return the metal of each group of faces."""
    whole = str(report.get("metal", ""))
    core = str(report["parts"][1]["metal"]) if report.get("parts") else whole
    return [core if name.startswith(_CORE) else whole for name in names]


def slots_in_use(mesh: bpy.types.Mesh, zones: Sequence[str]) -> dict[str, int]:
    """Return the slot most faces of each zone are in, so that reordered slots stay so."""
    zone, slot = arrays.faces(mesh, "medal_zone"), arrays.faces(mesh, "material_index")
    if zone is None:
        return {}
    if slot is None:  # Blender leaves it out where every face is in the first slot
        slot = np.zeros_like(zone)
    found = {}
    code, names = grouped(zone, arrays.faces(mesh, "medal_core"), zones)
    for i, name in enumerate(names):
        mine = slot[code == i]
        if len(mine):
            found[name] = int(np.bincount(mine).argmax())
    return found


def _slot_of_ours(mesh: bpy.types.Mesh, zone: str) -> int:
    for i, there in enumerate(mesh.materials):
        if there is not None and there.medalwright.zone == zone:
            return i
    return -1


def _material(zone: str, metal: str) -> bpy.types.Material:
    for made in bpy.data.materials:
        if (made.medalwright.zone, made.medalwright.metal) == (zone, metal):
            return made
    name = f"{labels.plain(metal)} {labels.plain(zone)}"
    made = bpy.data.materials.new(name)
    made.medalwright.zone, made.medalwright.metal = zone, metal
    bright, rough = _ZONES.get(zone.removeprefix(_CORE), (1.0, 0.3))
    hue, saturation, value = colorsys.rgb_to_hsv(*_colour(metal))
    colour = (*colorsys.hsv_to_rgb(hue, saturation, value * bright), 1.0)
    shine = 0.0 if metal in ("wax", "resin") else 1.0
    light = colorsys.hsv_to_rgb(hue, saturation * 0.9, min(1.0, value * bright * 1.45))
    made.diffuse_color = (*light, 1.0)
    made.metallic = shine * VIEWPORT_SHINE
    made.roughness = rough
    if made.node_tree is None:  # from Blender 5 on, there is one always
        made.use_nodes = True
    shader = made.node_tree.nodes.get("Principled BSDF")
    if shader is not None:
        shader.inputs["Base Color"].default_value = colour
        shader.inputs["Metallic"].default_value = shine
        shader.inputs["Roughness"].default_value = rough
    return made


def _colour(metal: str) -> tuple[float, float, float]:
    for word, colour in _METALS.items():
        if word in metal:
            return colour
    return (0.6, 0.6, 0.6)
