"""Blender's own monkey head as relief: three loose shells, few triangles, ears that overhang."""

import bpy
import numpy as np
import pytest
from relief_check import check_relief


@pytest.fixture(scope="module")
def monkey():
    """Return vertices and triangles of the head, facing up, as Blender makes it."""
    bpy.ops.mesh.primitive_monkey_add(rotation=(-np.pi / 2, 0.0, 0.0))
    made = bpy.context.object
    bpy.context.view_layer.update()
    mesh = made.data
    mesh.calc_loop_triangles()
    points = np.empty(len(mesh.vertices) * 3, dtype=np.float32)
    mesh.vertices.foreach_get("co", points)
    triangles = np.empty(len(mesh.loop_triangles) * 3, dtype=np.int32)
    mesh.loop_triangles.foreach_get("vertices", triangles)
    turn = np.array(made.matrix_world)[:3, :3]
    bpy.data.objects.remove(made)
    return points.reshape(-1, 3).astype(float) @ turn.T, triangles.reshape(-1, 3).astype(np.int64)


@pytest.mark.parametrize(("diameter", "height"), [(20.0, 0.3), (40.0, 0.6), (90.0, 1.5)])
def test_the_monkey_head_becomes_a_sound_relief(monkey, diameter, height):
    assert len(monkey[1]) > 900
    check_relief(*monkey, diameter, height)


@pytest.mark.parametrize("dish", [0.25, -0.25])
def test_also_on_curved_fields(monkey, dish):
    check_relief(*monkey, 40.0, 0.6, "reverse", dish)
