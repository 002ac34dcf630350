"""What a slider does: numbers of blank and edge change, and the next redraw has the new mesh.

Blender draws by the processor here, so the same run also measures Blender's own redraw,
after an object was merely moved.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any

PATIENCE = 60.0
TURNS = 4
MOST = 8
"""Turns of one change: more of them where other programs hold the processor."""

GOOD = 0.25
"""Seconds beside Blender's own redraw after which no further turn is needed."""

now = time.perf_counter


def play(bpy: Any, tell: Callable[..., None]) -> Iterator[float]:
    """Note for every change: seconds it was waited for, seconds to the end of its redraw."""
    for item in list(bpy.data.objects):
        bpy.data.objects.remove(item)
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.mesh.primitive_monkey_add(size=30, location=(0, 60, 0), rotation=(-math.pi / 2, 0, 0))
    monkey = bpy.context.object
    bpy.ops.object.modifier_add(type="SUBSURF")
    monkey.modifiers[0].levels = 3
    bpy.ops.medalwright.new()
    piece = bpy.context.object
    live = next(m for name, m in sys.modules.items() if name.endswith(".medalwright.work.live"))
    spec, built = piece.medalwright.spec, piece.data.medalwright
    monkey.select_set(True)
    bpy.ops.medalwright.use_selected()
    spec.obverse.relief[0].fit = 22.0
    spec.obverse.relief[0].height = 0.25  # left free it follows the rim, and is modelled anew
    spec.edge.finish = "reeded"
    spec.edge.reeds = 120
    for kind in ("legend", "border"):
        bpy.ops.medalwright.edit_list(path=f"obverse.{kind}", action="ADD")
    spec.obverse.legend[0].text = "FENNICK LIGHT"
    end = now() + PATIENCE
    while now() < end and len(built.zones.split(",")) < 6:
        yield 0.2
    yield 1.5
    monkey.hide_set(True)
    bpy.ops.object.select_all(action="DESELECT")
    piece.select_set(True)
    bpy.context.view_layer.objects.active = piece
    bpy.ops.view3d.view_axis(type="TOP")
    bpy.ops.view3d.view_selected()
    bpy.ops.view3d.view_orbit(angle=0.5, type="ORBITUP")
    yield 1.0
    tell(zones=built.zones, triangles=len(piece.data.polygons))

    drawn: list[str] = []  # what the mesh in each redraw was built from
    handler = bpy.types.SpaceView3D.draw_handler_add(
        lambda: drawn.append(built.digest), (), "WINDOW", "POST_PIXEL"
    )

    def measured(change: Callable[[], None], done: Callable[[], bool]) -> Iterator[float]:
        """Make a change and wait until Blender's loop comes back from the redraw that has it."""
        drawn.clear()
        start = now()
        change()
        held = now() - start
        while not done() and now() - start < PATIENCE:
            yield 0.0
        spent.append({"held": held, "all": now() - start, "redraws": len(drawn)})
        yield 0.4

    def move() -> None:
        piece.location.x += 0.1

    def add(owner: Any, name: str, step: float) -> Callable[[], None]:
        return lambda: setattr(owner, name, getattr(owner, name) + type(step)(step))

    spent: list[dict[str, float]] = []
    for _ in range(2 * TURNS):
        yield from measured(move, lambda: bool(drawn))
    tell(host=spent)
    host = min(turn["all"] for turn in spent)
    changes = {
        "diameter": add(spec.blank, "diameter", 0.2),
        "thickness": add(spec.blank, "thickness", 0.05),
        "chamfer": add(spec.blank, "chamfer", 0.02),
        "rim height": add(spec.blank.rim, "height", 0.02),
        "reeds": add(spec.edge, "reeds", 2),
        "reed depth": add(spec.edge, "depth", 0.01),
    }
    found = {}
    for name, change in changes.items():
        spent = []
        while len(spent) < TURNS or (
            len(spent) < MOST and min(turn["all"] for turn in spent) > host + GOOD
        ):
            old = built.digest
            yield from measured(change, lambda old=old: any(d != old for d in drawn))
        found[name] = spent
    tell(changes=found)

    # what takes long is not waited for, and comes all the same
    spent, old = [], built.report
    monkey.modifiers[0].levels = 5
    end = now() + PATIENCE
    while now() < end and built.report == old:
        yield 0.1
    yield 1.0
    for _ in range(2):
        old = built.digest
        yield from measured(
            add(spec.obverse.relief[0], "fit", -0.3), lambda old=old: any(d != old for d in drawn)
        )
    tell(heavy=spent)

    # a script that sets many numbers is held up once, and the last numbers are what is seen
    start = now()
    for _ in range(10):
        add(spec.blank, "diameter", 0.1)()
    tell(many=now() - start)
    while now() - start < PATIENCE:
        yield 0.1
        if abs(piece.dimensions.x - spec.blank.diameter) < 0.02:
            break
    worker = live.session.builder.worker.pid
    tell(computed=time.clock_gettime((~worker << 3) | 2))  # Linux's clock of a process, s
    tell(wide=piece.dimensions.x, asked=spec.blank.diameter)
    bpy.types.SpaceView3D.draw_handler_remove(handler, "WINDOW")
    yield 0.5
