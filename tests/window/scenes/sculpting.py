"""What a person does who overrules a relief: strokes with a brush, kept, undone, dropped."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import Any

PATIENCE = 60.0
PLACE = (0.0, 7.0)
"""Where the brush is drawn, mm."""


def play(bpy: Any, tell: Callable[..., None]) -> Iterator[float]:
    """Note what the mesh and the strokes are after each step; end in the middle of sculpting."""
    from bpy_extras.view3d_utils import location_3d_to_region_2d

    window, region = bpy.context.window, bpy.context.region
    view = bpy.context.area.spaces.active.region_3d

    def piece() -> Any:
        return bpy.data.objects["Medal"]

    def relief() -> Any:
        return piece().medalwright.spec.obverse.relief[0]

    def zones() -> list[str]:
        return piece().data.medalwright.zones.split(",")

    def top(u: float, v: float) -> float:
        hit, where, *_ = piece().ray_cast((u, v, 50.0), (0.0, 0.0, -1.0))
        return float(where[2]) if hit else 0.0

    def sheet_top() -> float:
        """Return the height of the sheet where the brush is drawn, in Sculpt Mode too."""
        points = bpy.context.object.data.vertices
        near = [p.co.z for p in points if abs(p.co.x - PLACE[0]) + abs(p.co.y - PLACE[1]) < 0.3]
        return sum(near) / len(near)

    def until(done: Callable[[], bool]) -> Iterator[float]:
        end = time.monotonic() + PATIENCE
        while not done() and time.monotonic() < end:
            yield 0.05

    def built(wanted: bool) -> Iterator[float]:
        yield from until(lambda: ("relief" in zones()) is wanted)
        yield 1.0
        yield from until(lambda: ("relief" in zones()) is wanted)

    def mouse(kind: str, value: str, u: float, v: float) -> None:
        at = location_3d_to_region_2d(region, view, (u, v, 2.0))
        window.event_simulate(
            type=kind, value=value, x=int(region.x + at.x), y=int(region.y + at.y)
        )

    def stroke(u: float, v: float) -> Iterator[float]:
        """Draw with the left button, as with a pen: three millimetres to the right."""
        mouse("MOUSEMOVE", "NOTHING", u - 1.5, v)
        yield 0.2
        mouse("LEFTMOUSE", "PRESS", u - 1.5, v)
        yield 0.2
        for step in range(7):
            mouse("MOUSEMOVE", "NOTHING", u - 1.5 + 0.5 * step, v)
            yield 0.1
        mouse("LEFTMOUSE", "RELEASE", u + 1.5, v)
        yield 0.5

    def take_brush() -> None:
        """Take a brush of our own: some builds of Blender come without any."""
        brush = bpy.data.brushes.new("Modelling Tool", mode="SCULPT")
        brush.asset_mark()
        name = f"Brush/{brush.name}"
        bpy.ops.brush.asset_activate(asset_library_type="LOCAL", relative_asset_identifier=name)
        bpy.context.tool_settings.unified_paint_settings.use_unified_size = False
        bpy.context.tool_settings.unified_paint_settings.use_unified_strength = False
        brush.use_locked_size = "SCENE"
        brush.unprojected_radius = 2.0
        brush.strength = 0.2

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
    yield from built(True)
    before = top(*PLACE)
    bpy.ops.view3d.view_axis(type="TOP")
    bpy.ops.view3d.view_selected()
    yield 0.5

    bpy.ops.medalwright.sculpt_relief("INVOKE_DEFAULT", True, across=768)
    beats = []  # Blender goes on while the sheet is worked out
    while bpy.context.mode != "SCULPT" and len(beats) < 3000:
        beats.append(time.monotonic())
        yield 0.02
    tell(beats=len(beats), mode=bpy.context.mode, active=bpy.context.object.name)
    yield from built(False)
    tell(left_out="relief" not in zones())
    take_brush()
    yield 0.5
    heights = [sheet_top()]
    for _ in range(2):
        yield from stroke(*PLACE)
        heights.append(sheet_top())
    bpy.ops.ed.undo()  # one stroke is one step
    yield 0.5
    heights.append(sheet_top())
    tell(still_sculpting=bpy.context.mode)
    bpy.ops.ed.redo()
    yield 0.5
    heights.append(sheet_top())
    tell(heights=heights)

    points = len(bpy.context.object.data.vertices)
    bpy.ops.medalwright.keep_strokes("INVOKE_DEFAULT", True)
    waited = relief().strokes is None  # a large sheet is read beside Blender
    yield from until(lambda: relief().strokes is not None)
    tell(points=points, waited=waited, kept=relief().strokes.name, again=bpy.context.mode)
    yield from built(True)
    tell(risen=top(*PLACE) - before)
    relief().detail = 1.3
    piece().medalwright.spec.blank.diameter = 42.0
    yield from until(lambda: abs(piece().dimensions.x - 42.0) < 0.1)
    yield 1.0
    bpy.ops.ed.undo_push(message="Detail and Diameter")
    tell(still=relief().strokes.name)
    with_strokes = top(*PLACE)

    bpy.ops.medalwright.drop_strokes("INVOKE_DEFAULT", True)
    yield 2.0
    yield from built(True)
    tell(dropped=relief().strokes is None, later=with_strokes - top(*PLACE))
    bpy.ops.ed.undo()
    yield 2.0
    tell(back=relief().strokes.name if relief().strokes else "")
    yield from until(lambda: abs(top(*PLACE) - with_strokes) < 0.01)
    tell(back_height=top(*PLACE) - with_strokes)

    bpy.context.view_layer.objects.active = piece()
    bpy.ops.medalwright.sculpt_relief("INVOKE_DEFAULT", True)
    yield from until(lambda: bpy.context.mode == "SCULPT")
    yield from built(False)
    again = sheet_top()
    bpy.ops.sculpt.mesh_filter("EXEC_DEFAULT", True, type="INFLATE", strength=0.05)
    yield 0.5
    tell(inflated=sheet_top() - again)
    bpy.ops.ed.undo()
    yield 0.5
    tell(deflated=sheet_top() - again)
    yield from stroke(-6.0, -4.0)
    yield 1.0
