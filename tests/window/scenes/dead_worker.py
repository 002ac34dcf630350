"""The system kills the building process, idle and in the middle of a build; Blender goes on."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any

PATIENCE = 30.0


def play(bpy: Any, tell: Callable[..., None]) -> Iterator[float]:
    """Note what is told and what is built after each death."""
    live = next(m for name, m in sys.modules.items() if name.endswith(".medalwright.work.live"))

    def piece() -> Any:
        return bpy.data.objects["Medal"]

    def until(done: Callable[[], bool]) -> Iterator[float]:
        end = time.monotonic() + PATIENCE
        while not done() and time.monotonic() < end:
            yield 0.02

    def near(value: float) -> Callable[[], bool]:
        return lambda: abs(piece().dimensions.x - value) < 0.05

    def kill() -> None:
        worker = live.session.builder.worker
        os.kill(worker.pid, signal.SIGKILL)
        end = time.monotonic() + PATIENCE
        while worker.is_alive() and time.monotonic() < end:
            time.sleep(0.01)

    def lines() -> list[str]:
        owner = piece().session_uid
        return [live.session.errors.get(owner, ""), live.session.notes.get(owner, "")]

    for item in list(bpy.data.objects):
        bpy.data.objects.remove(item)
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.medalwright.new("INVOKE_DEFAULT", True)
    yield from until(near(40.0))
    yield 0.3

    tell(signal=int(signal.getsignal(signal.SIGPIPE)))
    kill()
    piece().medalwright.spec.blank.diameter = 36.0
    yield from until(near(36.0))
    tell(idle=[piece().dimensions.x, *lines()])

    for kind in ("legend", "inscription"):
        bpy.ops.medalwright.edit_list(path=f"obverse.{kind}", action="ADD")
    yield from until(lambda: "inscription" in piece().data.medalwright.zones)
    bpy.ops.medalwright.make_fine("INVOKE_DEFAULT")
    yield from until(lambda: any(j.state == "running" for j in live.session.builder.jobs))
    kill()
    bpy.ops.medalwright.stop()  # asks a process to stop that is no more
    yield from until(lambda: live.session.builder.is_idle)
    tell(stopped=[piece().data.medalwright.quality, *lines()])

    piece().medalwright.spec.blank.diameter = 37.0
    yield from until(near(37.0))
    bpy.ops.medalwright.make_fine("INVOKE_DEFAULT")
    yield from until(lambda: any(j.state == "running" for j in live.session.builder.jobs))
    kill()
    yield from until(lambda: live.session.builder.is_idle)
    yield 0.5
    tell(middle=[piece().data.medalwright.quality, *lines()])
    bpy.ops.medalwright.make_fine("INVOKE_DEFAULT")
    yield from until(lambda: piece().data.medalwright.quality == "fine")
    tell(again=[piece().data.medalwright.quality, *lines()])
    kill()
    bpy.ops.preferences.addon_disable(module="bl_ext.user_default.medalwright")
    tell(disabled=True)
    bpy.ops.preferences.addon_enable(module="bl_ext.user_default.medalwright")
    yield 0.5

    piece().medalwright.spec.blank.diameter = 38.0
    yield from until(near(38.0))
    tell(enabled=[piece().data.medalwright.quality, *lines()])
    bpy.ops.view3d.view_axis(type="TOP")
    bpy.ops.view3d.view_selected()
    live.start(piece(), "fine", bpy.context)  # without the operator's window before the panel
    yield from until(lambda: any(j.state == "running" for j in live.session.builder.jobs))
    kill()
    yield 1.0
