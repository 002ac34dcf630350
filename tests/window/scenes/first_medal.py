"""A medal with words and a relief made of Blender's monkey head, all through operators."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any


def play(bpy: Any, tell: Callable[..., None]) -> Iterator[float]:
    """Make the piece step by step, as a user would."""
    for item in list(bpy.data.objects):
        bpy.data.objects.remove(item)
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.mesh.primitive_monkey_add(size=30, location=(0, 60, 0), rotation=(-math.pi / 2, 0, 0))
    monkey = bpy.context.object
    bpy.ops.object.shade_smooth()
    bpy.ops.medalwright.new()
    piece = bpy.context.object
    piece.select_set(True)
    monkey.select_set(True)
    bpy.ops.medalwright.use_selected()
    spec = piece.medalwright.spec
    spec.edge.finish = "reeded"
    spec.edge.reeds = 120
    spec.obverse.relief[0].fit = 22.0
    bpy.ops.medalwright.edit_list(path="obverse.legend", action="ADD")
    bpy.ops.medalwright.edit_list(path="obverse.legend", action="ADD")
    spec.obverse.legend[0].text = "FENNICK LIGHT"
    spec.obverse.legend[1].text = "150 YEARS"
    for _ in range(60):
        yield 0.5
        report = piece.data.medalwright.report
        if report and len(piece.data.medalwright.zones.split(",")) >= 5:
            break
    monkey.hide_set(True)
    bpy.ops.object.select_all(action="DESELECT")
    piece.select_set(True)
    bpy.context.view_layer.objects.active = piece
    seen = {}
    for side, way in (("reverse", "coin"), ("reverse", "medal"), ("obverse", "medal")):
        spec.medal.alignment = way
        bpy.ops.medalwright.face(side=side)
        axes = bpy.context.region_data.view_rotation.to_matrix().transposed()
        seen[f"{side} {way}"] = [[round(v, 4) for v in axis] for axis in axes]
    tell(seen=seen, distance=bpy.context.region_data.view_distance)
    bpy.ops.view3d.view_orbit(angle=0.5, type="ORBITUP")
    tell(zones=piece.data.medalwright.zones, report=report)
    yield 1.0
