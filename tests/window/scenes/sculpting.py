"""What a person does who overrules a relief: sculpt on it, keep the strokes, undo, redo."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import Any

PATIENCE = 60.0


def play(bpy: Any, tell: Callable[..., None]) -> Iterator[float]:
    """Note what the mesh and the strokes are after each step; end in the middle of sculpting."""

    def piece() -> Any:
        return bpy.data.objects["Medal"]

    def relief() -> Any:
        return piece().medalwright.spec.obverse.relief[0]

    def zones() -> list[str]:
        return piece().data.medalwright.zones.split(",")

    def top(u: float, v: float) -> float:
        hit, where, *_ = piece().ray_cast((u, v, 50.0), (0.0, 0.0, -1.0))
        return float(where[2]) if hit else 0.0

    def until(done: Callable[[], bool]) -> Iterator[float]:
        end = time.monotonic() + PATIENCE
        while not done() and time.monotonic() < end:
            yield 0.05

    def stroke(u: float, v: float) -> None:
        """Raise the sheet round a place; a script, as some builds come without any brush."""
        bpy.ops.object.mode_set(mode="OBJECT")
        mesh = bpy.context.object.data
        for vertex in mesh.vertices:
            away = (vertex.co.x - u) ** 2 + (vertex.co.y - v) ** 2
            vertex.co.z += 0.15 * 2.718 ** (-away / 2.0)
        mesh.update()
        bpy.ops.ed.undo_push(message="Stroke")
        bpy.ops.object.mode_set(mode="SCULPT")

    for item in list(bpy.data.objects):
        bpy.data.objects.remove(item)
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.mesh.primitive_monkey_add(size=20.0, location=(60.0, 0.0, 0.0))
    bpy.ops.object.modifier_add(type="SUBSURF")
    monkey = bpy.context.object
    monkey.modifiers[0].levels = 3
    bpy.ops.medalwright.new("INVOKE_DEFAULT", True)
    yield from until(lambda: len(piece().data.vertices) > 0)
    monkey.select_set(True)
    bpy.ops.medalwright.use_selected("INVOKE_DEFAULT", True)
    relief().height = 0.9
    yield from until(lambda: "relief" in zones())
    yield 1.0
    yield from until(lambda: "relief" in zones())
    before = top(0.0, 9.0)
    bpy.ops.view3d.view_axis(type="TOP")
    bpy.ops.view3d.view_selected()
    yield 0.5

    bpy.ops.medalwright.sculpt_relief("INVOKE_DEFAULT", True)
    tell(mode=bpy.context.mode, active=bpy.context.object.name)
    yield from until(lambda: "relief" not in zones())
    tell(left_out="relief" not in zones())
    yield 0.5
    stroke(0.0, 9.0)
    yield 0.5
    bpy.ops.medalwright.keep_strokes("INVOKE_DEFAULT", True)
    tell(kept=relief().strokes.name, again=bpy.context.mode)
    yield from until(lambda: "relief" in zones())
    yield 0.3
    tell(risen=top(0.0, 9.0) - before)
    relief().detail = 1.3
    yield 1.5
    yield from until(lambda: "relief" in zones())
    tell(still=relief().strokes.name)

    bpy.ops.ed.undo()
    yield 0.5
    tell(undone=relief().strokes is None, sheet=relief().strokes_sheet is not None)
    bpy.ops.ed.redo()
    yield 0.5
    tell(redone=relief().strokes.name if relief().strokes else "")

    bpy.context.view_layer.objects.active = piece()
    bpy.ops.medalwright.sculpt_relief("INVOKE_DEFAULT", True)
    yield from until(lambda: "relief" not in zones())
    stroke(-6.0, -4.0)
    yield 1.0
