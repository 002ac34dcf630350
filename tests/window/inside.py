"""Runs inside Blender: plays a scene in the real window, then says that it is ready.

Called with ``--python inside.py -- SCENE READY HOLD``. A scene is a Python file with a
generator function ``play(bpy, tell)``: each value it yields is a time in seconds to let
Blender go on by itself (draw, run timers, answer events); ``tell(key=value)`` notes what
the test will look at.
"""

from __future__ import annotations

import json
import os
import runpy
import sys
import traceback
from typing import Any

import bpy

SCENE, READY, HOLD = sys.argv[sys.argv.index("--") + 1 :][:3]
TAB = "Medalwright"
TRIES = 40

told: dict[str, Any] = {}
state: dict[str, Any] = {"tries": 0, "play": None}


def write(status: str) -> None:
    """Write what was told, whole."""
    with open(READY + ".part", "w", encoding="utf-8") as handle:
        json.dump({"status": status, **told}, handle)
    os.replace(READY + ".part", READY)


def place() -> tuple[Any, Any, Any, Any]:
    """Return window, 3D View area, its main region and its sidebar."""
    for window in bpy.context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                regions = {region.type: region for region in area.regions}
                return window, area, regions["WINDOW"], regions["UI"]
    raise RuntimeError("no 3D View in this workspace")


def step() -> float | None:
    """Do the next thing; a timer, so that Blender stays a live program."""
    try:
        return go_on()
    except Exception:
        write(traceback.format_exc())
        return None


def go_on() -> float | None:
    """Open the tab, then play the scene bit by bit."""
    window, area, region, sidebar = place()
    if not area.spaces.active.show_region_ui:
        area.spaces.active.show_region_ui = True
        return 0.3
    if sidebar.active_panel_category != TAB:
        try:  # the tabs are only known once the sidebar has been drawn
            sidebar.active_panel_category = TAB
        except TypeError:
            state["tries"] += 1
            if state["tries"] > TRIES:
                raise
        area.tag_redraw()
        return 0.3
    if state["play"] is None:
        state["play"] = runpy.run_path(SCENE)["play"](bpy, told.update)
    with bpy.context.temp_override(window=window, area=area, region=region):
        wait = next(state["play"], None)
    if wait is None:
        for other in window.screen.areas:
            other.tag_redraw()
        bpy.app.timers.register(lambda: write("ok"), first_interval=1.0)
    return wait


preferences = bpy.context.preferences
preferences.view.show_splash = False
preferences.view.show_tooltips = False
preferences.view.smooth_view = 0
bpy.app.timers.register(step, first_interval=0.5, persistent=True)
bpy.app.timers.register(bpy.ops.wm.quit_blender, first_interval=float(HOLD), persistent=True)
