"""Looking at a face of the piece, and at a model from one of its sides."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import bpy
import pytest
from mathutils import Euler, Vector


def test_an_angle_between_the_faces_turns_the_view(addon: Any, part: Any) -> None:
    """The axis the piece is turned over stays where it is, on both faces."""
    turn = part("ui.view").turn_to("reverse", math.radians(30.0))
    axis = (math.sin(math.radians(30.0)), math.cos(math.radians(30.0)), 0.0)
    assert tuple(turn @ Vector(axis)) == pytest.approx(axis, abs=1e-6)
    assert tuple(turn.col[2]) == pytest.approx((0, 0, -1), abs=1e-6)


@pytest.mark.parametrize(
    ("view", "right", "up"),
    [
        ("FRONT", (1, 0, 0), (0, 0, 1)),
        ("RIGHT", (0, 1, 0), (0, 0, 1)),
        ("LEFT", (0, -1, 0), (0, 0, 1)),
        ("BACK", (-1, 0, 0), (0, 0, 1)),
        ("TOP", (1, 0, 0), (0, 1, 0)),
    ],
)
def test_a_model_is_seen_as_in_blenders_views(
    addon: Any, view: str, right: tuple[int, ...], up: tuple[int, ...]
) -> None:
    """What lies to the right and up in Blender's view of that name does so in the relief."""
    bpy.ops.medalwright.new()
    spec = bpy.context.object.medalwright.spec
    spec.obverse.relief.add()
    bpy.ops.medalwright.seen_from(path="obverse.relief[0]", view=view)
    turn = Euler(spec.obverse.relief[0].turn, "XYZ").to_matrix()  # about x first, then y, z
    assert tuple(turn @ Vector(right)) == pytest.approx((1, 0, 0), abs=1e-6)
    assert tuple(turn @ Vector(up)) == pytest.approx((0, 1, 0), abs=1e-6)


def test_a_new_medal_fills_the_view(addon: Any, part: Any) -> None:
    """Seen in a 3D View of 50 mm lens: 40 mm of a view 1.3 times that wide, whatever the scene."""
    regions = [
        SimpleNamespace(type=kind, width=width, height=600)
        for kind, width in (("WINDOW", 900), ("TOOLS", 50), ("UI", 220))
    ]
    system = SimpleNamespace(use_region_overlap=False)
    view = SimpleNamespace(view_location=Vector(), view_distance=15.0)
    context = SimpleNamespace(
        region_data=view,
        area=SimpleNamespace(regions=regions),
        preferences=SimpleNamespace(system=system),
        space_data=SimpleNamespace(lens=50.0),
    )
    part("scene.framing").frame(context, Vector((1.0, 2.0, 3.0)), 0.04)
    assert tuple(view.view_location) == (1.0, 2.0, 3.0)
    # what a view shows across its longer side is 72 mm of film times distance over lens
    assert view.view_distance * 72.0 / 50.0 == pytest.approx(0.04 * 1.3 * 1.5)
    system.use_region_overlap = True  # 460 pixels in the middle are clear of the sidebar
    part("scene.framing").frame(context, Vector(), 0.04)
    assert view.view_distance * 72.0 / 50.0 == pytest.approx(0.04 * 1.3 * 900 / 460)
    part("scene.framing").frame(SimpleNamespace(region_data=None, area=None), Vector(), 1.0)
