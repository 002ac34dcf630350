# SPDX-License-Identifier: GPL-3.0-or-later
"""The sheet a relief is sculpted on: worked out beside Blender, then made an object."""

from __future__ import annotations

import threading

import bpy

from . import arrays, convert, live, sculpted, units
from .medalcore.element import Model
from .medalcore.sculpt import relief_sheet, sheet_mesh
from .medalcore.spec import MedalSpec, spec_from_dict


class Making(threading.Thread):
    """A sheet that is worked out: seconds for a large model. Nothing here touches Blender."""

    def __init__(
        self, spec: MedalSpec, place: tuple[str, int], models: dict[str, Model], across: int
    ) -> None:
        super().__init__(daemon=True)
        self.error: Exception | None = None
        self._asked = spec, place, models, across

    def run(self) -> None:
        """Work it out, or note what is wrong."""
        spec, place, models, across = self._asked
        try:
            self.made = relief_sheet(spec, *place, models, pixels=across)
            self.mesh = sheet_mesh(self.made)
        except Exception as error:  # told by whoever waits
            self.error = error


def sheet_of(piece: bpy.types.Object, making: Making) -> bpy.types.Object:
    """Return a sheet as an object that stands on its piece."""
    points, squares, pixel = making.mesh
    unit = units.units_per_mm(live.scene_of(piece))
    mesh = bpy.data.meshes.new(f"{piece.name} Relief")
    arrays.fill(mesh, points * unit, squares)
    mesh.update(calc_edges=True)
    before = mesh.copy()
    before.name = f"{piece.name} Relief Before Sculpting"
    sculpted.remember(before, making.made, pixel)
    before["medal_unit"] = unit
    mesh.shade_smooth()
    for material in piece.data.materials:
        if material is not None and material.medalwright.zone == "relief":
            mesh.materials.append(material)
    sheet = bpy.data.objects.new(mesh.name, mesh)
    sheet[sculpted.BEFORE] = before
    sheet.parent = piece  # same place, turn and size as the piece
    for collection in piece.users_collection:
        collection.objects.link(sheet)
    return sheet


def spec_as_built(piece: bpy.types.Object) -> MedalSpec:
    """Return what is asked for, at the thickness that was found for a wanted mass."""
    asked = convert.to_dict(piece.medalwright.spec)
    blank = asked.get("blank", {})
    if blank.get("mass") or blank.get("cost"):
        from .panels import report_of

        report = report_of(piece.data.medalwright.report or "{}")
        found = report.get("solved", {}).get("thickness_mm")
        kept = {k: v for k, v in blank.items() if k not in ("mass", "cost")}
        asked["blank"] = {**kept, **({"thickness": found} if found else {})}
    return spec_from_dict(asked)
