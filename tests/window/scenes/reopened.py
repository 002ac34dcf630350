"""Files opened again: one as it was built, one saved before its draft came, one appended from."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any

PATIENCE = 60.0


def play(bpy: Any, tell: Callable[..., None]) -> Iterator[float]:
    """Note what comes by itself."""
    live = next(m for name, m in sys.modules.items() if name.endswith(".medalwright.work.live"))

    def piece() -> Any:
        return bpy.data.objects["Medal"]

    def width() -> float:
        return max((v.co.x for v in piece().data.vertices), default=0.0) * 2.0

    def until(done: Callable[[], bool]) -> Iterator[float]:
        end = time.monotonic() + PATIENCE
        while not done() and time.monotonic() < end:
            yield 0.02

    def settled() -> Iterator[float]:
        yield 1.0
        yield from until(lambda: live.session.builder.is_idle and not live.session.pending)
        yield 0.5

    def built() -> list[Any]:
        state = piece().data.medalwright
        return [state.quality, round(width(), 2), live.is_current(piece())]

    for item in list(bpy.data.objects):
        bpy.data.objects.remove(item)
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.mesh.primitive_monkey_add(size=20.0, location=(60.0, 0.0, 0.0))
    monkey = bpy.context.object
    bpy.ops.medalwright.new("INVOKE_DEFAULT", True)
    yield from until(lambda: len(piece().data.vertices) > 0)
    monkey.select_set(True)
    bpy.ops.medalwright.use_selected("INVOKE_DEFAULT", True)
    yield from until(lambda: "relief" in piece().data.medalwright.zones)
    yield from settled()
    bpy.ops.medalwright.make_fine("INVOKE_DEFAULT", True)
    yield from until(lambda: piece().data.medalwright.quality == "fine")
    yield from settled()
    fine, early = (os.path.join(bpy.app.tempdir, f"{name}.blend") for name in ("fine", "early"))
    bpy.ops.wm.save_as_mainfile(filepath=fine)
    with live.quietly():
        piece().medalwright.spec.blank.diameter = 36.0
    bpy.ops.wm.save_as_mainfile(filepath=early)

    bpy.ops.wm.open_mainfile(filepath=early)
    yield from until(lambda: abs(width() - 36.0) < 0.05)
    yield from settled()
    tell(early=built())
    bpy.ops.wm.open_mainfile(filepath=fine)
    yield from settled()
    tell(fine=built())

    bpy.ops.wm.read_homefile(use_empty=True)
    yield 0.5
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.mesh.primitive_monkey_add(size=5.0)
    for path, name in ((early, "appended_early"), (fine, "appended_fine")):
        bpy.ops.wm.append(
            filepath=f"{path}/Object/Medal", directory=f"{path}/Object/", filename="Medal"
        )
        yield from until(lambda: live.is_current(piece()))
        yield from settled()
        source = piece().medalwright.spec.obverse.relief[0].source_objects[0].object.name
        tell(**{name: [*built(), source != "Suzanne", live.trouble_of(piece())]})
        bpy.data.objects.remove(piece())
        yield 0.2
    bpy.ops.wm.link(filepath=f"{fine}/Object/Medal", directory=f"{fine}/Object/", filename="Medal")
    yield from settled()
    tell(linked=[*built(), piece().library is not None, live.trouble_of(piece())])
    yield 0.5
