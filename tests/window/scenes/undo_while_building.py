"""Undo, deletion and another change while a fine build runs; a deleted source; files reopened."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any

PATIENCE = 60.0


def play(bpy: Any, tell: Callable[..., None]) -> Iterator[float]:
    """Note after each step what is there and what could be undone and redone."""
    live = next(m for name, m in sys.modules.items() if name.endswith(".medalwright.work.live"))
    window = bpy.context.window

    def piece() -> Any:
        return bpy.data.objects["Medal"]

    def built() -> list[Any]:
        return [piece().data.medalwright.quality, round(width(), 2)]

    def width() -> float:
        return max((v.co.x for v in piece().data.vertices), default=0.0) * 2.0

    def until(done: Callable[[], bool]) -> Iterator[float]:
        end = time.monotonic() + PATIENCE
        while not done() and time.monotonic() < end:
            yield 0.02

    def near(value: float) -> Callable[[], bool]:
        return lambda: abs(width() - value) < 0.05

    def press(key: str, **held: bool) -> Iterator[float]:
        for value in ("PRESS", "RELEASE"):
            window.event_simulate(type=key, value=value, x=400, y=400, **held)
        yield 0.3

    def begin_fine() -> Iterator[float]:
        bpy.ops.medalwright.make_fine("INVOKE_DEFAULT", True)
        yield from until(lambda: any(j.state == "running" for j in live.session.builder.jobs))

    def words() -> int:
        return len(piece().medalwright.spec.obverse.legend)

    def settled() -> Iterator[float]:
        """Wait until nothing is going on; the mesh is what is asked then, or never will be."""
        yield 0.5
        yield from until(lambda: live.session.builder.is_idle and not live.session.pending)
        yield 0.5

    for item in list(bpy.data.objects):
        bpy.data.objects.remove(item)
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.ed.undo_push(message="Empty scene")
    bpy.ops.medalwright.new("INVOKE_DEFAULT", True)
    yield from until(near(40.0))
    window.event_simulate(type="MOUSEMOVE", value="NOTHING", x=400, y=400)
    for diameter in (36.0, 44.0):
        piece().medalwright.spec.blank.diameter = diameter
        bpy.ops.ed.undo_push(message=f"Diameter {diameter:g}")
        yield from until(near(diameter))
    for kind in ("legend", "inscription"):
        bpy.ops.medalwright.edit_list(path=f"obverse.{kind}", action="ADD")
    piece().medalwright.spec.obverse.legend[0].text = "A LONG LEGEND OF VERY MANY WORDS IN ALL"
    bpy.ops.ed.undo_push(message="Words")
    yield from settled()

    yield from begin_fine()
    jobs = list(live.session.builder.jobs)
    yield from press("Z", ctrl=True)  # the words
    yield from until(lambda: words() == 0)
    tell(stale=jobs[0].stale)  # seen at once, not when it comes
    yield from settled()
    tell(asked=[piece().medalwright.spec.blank.diameter, live.is_current(piece())])
    tell(
        undone=[*built(), words()],
        over=jobs[0].state,
    )
    yield from press("Z", ctrl=True, shift=True)
    yield from until(lambda: words() == 1)
    yield from settled()
    tell(redone=[*built(), words()])

    yield from begin_fine()
    job = live.session.builder.jobs[0]
    piece().medalwright.spec.blank.diameter = 45.0
    bpy.ops.ed.undo_push(message="Diameter 45")
    yield from settled()
    tell(changed=[*built(), job.state, job.stale])

    yield from begin_fine()
    yield from until(lambda: live.session.builder.is_idle)
    yield 0.5
    tell(fine=built())
    yield from press("Z", ctrl=True)  # the fine build is one step
    yield from until(lambda: piece().data.medalwright.quality == "draft")
    yield from settled()
    tell(after_fine=[built()[1], live.is_current(piece())])
    yield from press("Z", ctrl=True, shift=True)
    yield from until(lambda: piece().data.medalwright.quality == "fine")
    yield from settled()

    yield from begin_fine()
    job = live.session.builder.jobs[0]
    piece().select_set(True)
    bpy.ops.object.delete("EXEC_DEFAULT", True)
    yield from settled()
    tell(deleted=["Medal" in bpy.data.objects, job.state, job.stale])
    yield from press("Z", ctrl=True)
    yield from until(lambda: "Medal" in bpy.data.objects)
    yield from settled()
    tell(brought_back=[*built(), live.is_current(piece())])

    bpy.ops.mesh.primitive_monkey_add(size=20.0, location=(60.0, 0.0, 0.0))
    monkey = bpy.context.object
    bpy.context.view_layer.objects.active = piece()
    piece().select_set(True)
    monkey.select_set(True)
    bpy.ops.medalwright.use_selected("INVOKE_DEFAULT", True)
    yield from until(lambda: "relief" in piece().data.medalwright.zones)
    yield from settled()
    bpy.ops.object.select_all(action="DESELECT")
    bpy.data.objects["Suzanne"].select_set(True)
    bpy.ops.object.delete("EXEC_DEFAULT", True)
    bpy.context.view_layer.objects.active = piece()
    piece().select_set(True)
    yield from settled()
    folder = os.path.join(bpy.app.tempdir, "files")
    try:
        bpy.ops.medalwright.export_files(directory=folder, quality="draft", size=64)
    except RuntimeError as error:
        tell(refused=str(error))
    yield 1.0
    tell(lost=[live.trouble_of(piece()), live.is_current(piece()), os.path.exists(folder)])
    bpy.ops.view3d.view_axis(type="TOP")
    bpy.ops.view3d.view_selected()
    yield 0.5
