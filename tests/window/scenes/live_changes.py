"""What a person does in a window: change, undo, redo, finish, stop, and get it wrong."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable, Iterator
from typing import Any

PATIENCE = 30.0


def whole(folder: str) -> list[str]:
    """Return the files of a folder by name; those being written begin with a point."""
    names = os.listdir(folder) if os.path.isdir(folder) else []
    return sorted(name for name in names if not name.startswith("."))


def play(bpy: Any, tell: Callable[..., None]) -> Iterator[float]:
    """Note what the mesh and the properties are after each step."""

    def piece() -> Any:
        return bpy.data.objects["Medal"]

    def width() -> float:
        mesh = piece().data
        return max((v.co.x for v in mesh.vertices), default=0.0) * 2.0

    def until(done: Callable[[], bool]) -> Iterator[float]:
        end = time.monotonic() + PATIENCE
        while not done() and time.monotonic() < end:
            yield 0.02

    def near(value: float) -> Callable[[], bool]:
        return lambda: abs(width() - value) < 0.05

    for item in list(bpy.data.objects):
        bpy.data.objects.remove(item)
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.ed.undo_push(message="Empty scene")
    bpy.ops.medalwright.new("INVOKE_DEFAULT", True)  # with undo, as from a menu
    yield from until(near(40.0))
    bpy.ops.ed.undo()
    tell(gone="Medal" not in bpy.data.objects)
    bpy.ops.ed.redo()
    yield from until(near(40.0))
    tell(first=width())

    times = []
    for diameter in (36.0, 44.0, 30.0):
        start = time.monotonic()
        piece().medalwright.spec.blank.diameter = diameter
        yield from until(near(diameter))
        times.append(time.monotonic() - start)
    tell(changed=width(), seconds=times)
    bpy.ops.ed.undo_push(message="Diameter")
    piece().medalwright.spec.blank.diameter = 50.0
    bpy.ops.ed.undo_push(message="Diameter")
    yield from until(near(50.0))
    yield 0.3

    bpy.ops.ed.undo()
    yield from until(near(30.0))
    tell(undone=[piece().medalwright.spec.blank.diameter, width()])
    bpy.ops.ed.redo()
    yield from until(near(50.0))
    tell(redone=[piece().medalwright.spec.blank.diameter, width()])

    before = [v.co.copy() for v in piece().data.vertices]
    piece().medalwright.spec.blank.thickness = 0.05
    yield 1.5
    tell(kept=[v.co for v in piece().data.vertices] == before)
    piece().medalwright.spec.blank.thickness = 3.0
    yield from until(lambda: piece().data.medalwright.quality == "draft")

    bpy.ops.medalwright.edit_list(path="obverse.legend", action="ADD")
    bpy.ops.medalwright.edit_list(path="reverse.inscription", action="ADD")
    yield from until(lambda: "inscription" in piece().data.medalwright.zones)
    answer = bpy.ops.medalwright.make_fine("INVOKE_DEFAULT")
    tell(running=sorted(answer))
    yield from until(lambda: piece().data.medalwright.quality == "fine")
    tell(fine=piece().data.medalwright.quality)
    yield 0.5
    bpy.ops.medalwright.rebuild()
    yield from until(lambda: piece().data.medalwright.quality == "draft")
    piece().medalwright.spec.blank.diameter = 51.0
    yield from until(near(51.0))

    window = bpy.context.window
    bpy.ops.medalwright.make_fine("INVOKE_DEFAULT")
    window.event_simulate(type="ESC", value="PRESS", x=400, y=400)
    window.event_simulate(type="ESC", value="RELEASE", x=400, y=400)
    yield 2.0
    tell(escaped=piece().data.medalwright.quality)
    bpy.ops.medalwright.make_fine("INVOKE_DEFAULT")
    bpy.ops.medalwright.stop()
    yield 2.0
    tell(stopped=piece().data.medalwright.quality)

    folder = os.path.join(bpy.app.tempdir, "files")
    bpy.ops.medalwright.export_files(directory=folder, quality="draft", size=64)
    yield from until(lambda: len(whole(folder)) == 5)
    tell(files=whole(folder))
    yield 1.0
    report = json.loads(piece().data.medalwright.report)
    tell(report=report, objects=len(bpy.data.objects))
    bpy.ops.view3d.view_axis(type="TOP")
    bpy.ops.view3d.view_selected()
    yield 0.5
