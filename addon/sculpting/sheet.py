# SPDX-License-Identifier: GPL-3.0-or-later
"""The sheet a relief is sculpted on: worked out beside Blender, then made an object."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import bpy

from .. import arrays
from ..medalcore.context.element import Model
from ..medalcore.piece.sculpt import ReliefSheet, relief_sheet, sheet_mesh
from ..medalcore.spec import MedalSpec, spec_from_dict
from ..props import convert
from ..scene import pieces, sheets, units
from ..work import live
from ..work.answers import Answer

Made = tuple[ReliefSheet, tuple[Any, Any, Any]]


class Beside(threading.Thread):
    """Work that is done beside Blender and does not touch it: seconds for a large model."""

    def __init__(self, work: Callable[[], Any]) -> None:
        super().__init__(daemon=True)
        self.made: Any = None
        self.error: Exception | None = None
        self._work = work

    def run(self) -> None:
        """Do it, or note what is wrong."""
        try:
            self.made = self._work()
        except Exception as error:  # told by whoever waits
            self.error = error


class Waiting:
    """What operators share that wait for work beside Blender; Esc stops waiting."""

    _passes = True  # whether what is done meanwhile goes on to the window

    def wait(self, context: bpy.types.Context, work: Beside, told: str) -> Answer:
        """Start the work, and say what is going on below the window."""
        self._beside = work
        work.start()
        manager = context.window_manager
        self._timer = manager.event_timer_add(0.1, window=context.window)
        manager.modal_handler_add(self)
        context.workspace.status_text_set(f"{told}    Esc: stop")
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """Wait for the work, then go on with it."""
        if event.type == "ESC" and event.value == "PRESS":
            self.cancel(context)
            return {"CANCELLED"}
        if self._beside.is_alive():
            return {"PASS_THROUGH"} if self._passes else {"RUNNING_MODAL"}
        self.cancel(context)
        return self.waited(context)

    def waited(self, context: bpy.types.Context) -> Answer:
        """Go on when the work is done."""
        raise NotImplementedError

    def cancel(self, context: bpy.types.Context) -> None:
        """Stop waiting; what is still being worked out is dropped."""
        context.window_manager.event_timer_remove(self._timer)
        context.workspace.status_text_set(None)


def making(
    spec: MedalSpec, place: tuple[str, int], models: dict[str, Model], across: int
) -> Beside:
    """Return the work on a sheet."""

    def work() -> Made:
        made = relief_sheet(spec, *place, models, pixels=across)
        return made, sheet_mesh(made)

    return Beside(work)


def sheet_of(piece: bpy.types.Object, work: Made) -> bpy.types.Object:
    """Return a sheet as an object that stands on its piece."""
    made, (points, squares, pixel) = work
    unit = units.units_per_mm(live.scene_of(piece))
    mesh = bpy.data.meshes.new(f"{piece.name} Relief")
    arrays.fill(mesh, points * unit, squares)
    mesh.update(calc_edges=True)
    before = mesh.copy()
    before.name = f"{piece.name} Relief Before Sculpting"
    sheets.remember(before, made, pixel)
    before["medal_unit"] = unit
    mesh.shade_smooth()
    for material in piece.data.materials:
        if material is not None and material.medalwright.zone == "relief":
            mesh.materials.append(material)
    sheet = bpy.data.objects.new(mesh.name, mesh)
    sheet[sheets.BEFORE] = before
    sheet.parent = piece  # same place, turn and size as the piece
    for collection in piece.users_collection:
        collection.objects.link(sheet)
    return sheet


def spec_as_built(piece: bpy.types.Object) -> MedalSpec:
    """Return what is asked for, at the thickness that was found for a wanted mass."""
    asked = convert.to_dict(piece.medalwright.spec)
    blank = asked.get("blank", {})
    if blank.get("mass") or blank.get("cost"):
        report = pieces.report_of(piece.data.medalwright.report or "{}")
        found = report.get("solved", {}).get("thickness_mm")
        kept = {k: v for k, v in blank.items() if k not in ("mass", "cost")}
        asked["blank"] = {**kept, **({"thickness": found} if found else {})}
    return spec_from_dict(asked)
