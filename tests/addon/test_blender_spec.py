"""Properties and spec say the same, in both directions; relief sources are Blender objects."""

from __future__ import annotations

import json
import math
import tomllib
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest

EVERYTHING = """
[medal]
name = "Fennick Light"
metal = "fine-silver"
alignment = 45.5
[blank]
diameter = 31.7
thickness = 2.65
[blank.rim]
width = 1.13
slope = 12.5
[edge]
finish = "reeded"
reeds = 97
[obverse.field]
dish = 0.15
[[obverse.relief]]
source = "model.stl"
turn = [90.0, 0.0, 20.25]
at = [0.1, -1.5]
height = 0.6
detail = 1.25
settle = false
[[obverse.legend]]
text = "FENNICK LIGHT"
at = 28.472
[[obverse.legend]]
text = "150 YEARS"
at = "bottom"
reading = "counter-clockwise"
[[reverse.inscription]]
text = "FIRST\\n\\nTHIRD"
at = [0.0, 2.5]
turn = -12.345
"""


@pytest.fixture
def piece(addon: Any) -> bpy.types.Object:
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.medalwright.new()
    return bpy.context.object


def test_a_spec_survives_the_properties(piece: bpy.types.Object, part: Any, tmp_path: Path) -> None:
    """Blender holds floats in 32 bits and angles in radians; the numbers come back as typed."""
    spec = part("medalcore.spec").parse_spec(EVERYTHING, folder=tmp_path)
    group = piece.medalwright.spec
    part("props.convert").fill(group, spec)
    again = part("medalcore.spec").spec_from_dict(part("props.convert").to_dict(group))
    assert again == spec
    assert group.obverse.relief[0].turn[0] == pytest.approx(math.pi / 2)
    assert group.reverse.inscription[0].text_lines[2].text == "THIRD"


def test_every_key_of_the_core_has_its_property(piece: bpy.types.Object, part: Any) -> None:
    """Walk the tables: each key is readable, has a title and the core's sentence as tooltip."""
    tables, spec = part("props.groups"), part("medalcore.spec")
    seen = 0

    def visit(table: Any, made: Any) -> None:
        nonlocal seen
        known = made.bl_rna.properties.keys()
        for key in tables.keys(table):
            shape = tables.shape_of(key)
            own = tables.attribute_of(key)
            name = {"none": "shown"}.get(shape, own)
            assert name in known, f"{table.__name__}.{key.name}"
            held = made.bl_rna.properties[name]
            if shape not in ("table", "tables", "none"):
                assert held.description[1:] == key.text.rstrip(".")[1:]
            seen += 1
            if key.kind == "table":
                visit(key.table, getattr(made, key.name))
            elif key.kind == "tables":
                items = getattr(made, key.name)
                visit(key.table, items.add())
                items.clear()

    visit(spec.MedalSpec, piece.medalwright.spec)
    assert seen > 50


def test_defaults_are_the_cores_defaults(piece: bpy.types.Object, part: Any) -> None:
    spec = part("medalcore.spec")
    asked = part("props.convert").to_dict(piece.medalwright.spec)
    assert asked == {}
    assert spec.spec_from_dict(asked) == spec.MedalSpec()


def test_limits_are_the_cores_limits(piece: bpy.types.Object) -> None:
    blank = piece.medalwright.spec.blank
    blank.diameter = 5000.0
    assert blank.diameter == 1000.0
    blank.rim.slope = math.radians(80)
    assert math.degrees(blank.rim.slope) == pytest.approx(60.0)


def test_what_is_hidden_or_incomplete_is_left_out(piece: bpy.types.Object, part: Any) -> None:
    group = piece.medalwright.spec
    for text, shown in (("ONE", True), ("TWO", False), ("", True)):
        legend = group.obverse.legend.add()
        legend.text, legend.shown = text, shown
    asked = part("props.convert").to_dict(group)
    assert [item["text"] for item in asked["obverse"]["legend"]] == ["ONE"]
    assert bpy.ops.medalwright.rebuild() == {"FINISHED"}


def test_rows_show_only_what_counts(piece: bpy.types.Object, part: Any) -> None:
    edge = piece.medalwright.spec.edge
    table = part("medalcore.spec").Edge
    counting = part("props.visibility").counting
    edge.finish = "plain"
    assert "reeds" not in [key.name for key in counting(edge, table)]
    edge.finish = "reeded"
    assert "reeds" in [key.name for key in counting(edge, table)]


def test_what_has_no_effect_is_not_written_and_not_forgotten(
    piece: bpy.types.Object, part: Any
) -> None:
    """A hidden number would be refused by the core; it is there again when it counts again."""
    convert, core = part("props.convert"), part("medalcore.spec")
    spec = piece.medalwright.spec
    spec.blank.outline, spec.blank.corner_radius = "rectangle", 3.0
    assert convert.to_dict(spec)["blank"] == {"outline": "rectangle", "corner_radius": 3.0}
    spec.blank.outline = "oval"
    assert convert.to_dict(spec)["blank"] == {"outline": "oval"}
    assert core.spec_from_dict(convert.to_dict(spec)).blank.outline == "oval"
    spec.blank.outline = "rectangle"
    assert convert.to_dict(spec)["blank"]["corner_radius"] == 3.0


def test_words_come_in_the_order_they_are_declared(piece: bpy.types.Object) -> None:
    """The usual one first: a person looks for it there."""
    spec = piece.medalwright.spec
    for group, name, words in (
        (spec.edge, "finish", ["plain", "reeded", "grooved", "reeded and grooved"]),
        (spec.blank.hole, "shape", ["none", "round", "square", "polygon", "outline"]),
        (spec.medal, "alignment", ["medal", "coin", "NUMBER"]),
    ):
        items = group.bl_rna.properties[name].enum_items
        assert [item.identifier for item in items] == words


def test_lists_are_edited(piece: bpy.types.Object) -> None:
    edit = bpy.ops.medalwright.edit_list
    legends = piece.medalwright.spec.obverse.legend
    for _ in range(3):
        edit(path="obverse.legend", action="ADD")
    assert [x.at for x in legends] == ["top", "bottom", "bottom"]
    legends[2].text = "LAST"
    edit(path="obverse.legend", action="UP")
    assert legends[1].text == "LAST"
    assert piece.medalwright.spec.obverse.legend_index == 1
    edit(path="obverse.legend", action="REMOVE")
    assert "LAST" not in [x.text for x in legends]
    edit(path="reverse.inscription", action="ADD")
    edit(path="reverse.inscription[0].text_lines", action="ADD")
    assert len(piece.medalwright.spec.reverse.inscription[0].text_lines) == 3
    edit(path="reverse.inscription[0].text_lines", action="REMOVE", index=0)
    assert len(piece.medalwright.spec.reverse.inscription[0].text_lines) == 2


def select(*chosen: bpy.types.Object) -> None:
    bpy.ops.object.select_all(action="DESELECT")
    for item in chosen:
        item.select_set(True)
    bpy.context.view_layer.objects.active = chosen[-1]


def test_selected_objects_become_a_relief(piece: bpy.types.Object, part: Any) -> None:
    bpy.ops.mesh.primitive_cone_add(location=(0, 60, 0))
    cone = bpy.context.object
    bpy.ops.mesh.primitive_monkey_add(location=(2, 60, 0))
    monkey = bpy.context.object
    select(cone, monkey, piece)
    assert bpy.ops.medalwright.use_selected(face="reverse") == {"FINISHED"}
    relief = piece.medalwright.spec.reverse.relief[0]
    assert {s.object for s in relief.source_objects} == {cone, monkey}
    assert part("props.convert").source_text(relief) == "object:Cone + Suzanne"
    assert "relief" in piece.data.medalwright.zones.split(",")
    assert len(piece.medalwright.spec.obverse.relief) == 0


def test_sources_are_evaluated_where_they_stand(piece: bpy.types.Object, part: Any) -> None:
    """Modifiers, world transform, mirroring: by Blender's own evaluated mesh, in mm."""
    bpy.ops.mesh.primitive_cube_add(size=2, location=(10, 0, 5), rotation=(0, 0, 0.3))
    cube = bpy.context.object
    cube.scale = (1, -2, 3)
    cube.modifiers.new("Fine", "SUBSURF").levels = 2
    bpy.context.view_layer.update()
    vertices, triangles = part("scene.sources").arrays_of([cube], bpy.context)
    seen = cube.evaluated_get(bpy.context.evaluated_depsgraph_get())
    wanted = np.array([seen.matrix_world @ v.co for v in seen.data.vertices])
    assert vertices == pytest.approx(wanted, abs=1e-5)
    assert len(triangles) == 2 * len(seen.data.polygons)
    corner = vertices[triangles]
    volume = np.einsum("ij,ij->", corner[:, 0], np.cross(corner[:, 1], corner[:, 2])) / 6
    assert volume > 0  # a mirrored object still has its faces outwards
    bpy.context.scene.unit_settings.scale_length = 1.0
    in_metres, _ = part("scene.sources").arrays_of([cube], bpy.context)
    assert in_metres == pytest.approx(vertices * 1000.0, rel=1e-6)


def test_text_and_curves_are_sources_too(piece: bpy.types.Object, part: Any) -> None:
    bpy.ops.object.text_add()
    bpy.context.object.data.extrude = 0.1
    vertices, triangles = part("scene.sources").arrays_of([bpy.context.object], bpy.context)
    assert len(triangles) > 10
    assert vertices.shape[1] == 3


def test_an_object_without_faces_is_refused(piece: bpy.types.Object) -> None:
    empty = bpy.data.objects.new("Bare", bpy.data.meshes.new("Bare"))
    bpy.context.collection.objects.link(empty)
    select(empty, piece)
    with pytest.raises(RuntimeError, match="'Bare' has no faces"):
        bpy.ops.medalwright.use_selected()
    assert len(piece.medalwright.spec.obverse.relief) == 0


def test_a_changed_source_is_noticed(
    piece: bpy.types.Object, part: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    bpy.ops.mesh.primitive_cone_add(location=(0, 60, 0))
    cone = bpy.context.object
    select(cone, piece)
    bpy.ops.medalwright.use_selected()
    touched: list[Any] = []
    monkeypatch.setattr(part("work.live"), "touch", touched.append)
    bpy.context.view_layer.update()
    touched.clear()
    cone.rotation_euler = (0.5, 0, 0)
    bpy.context.view_layer.update()
    assert touched == [piece]
    touched.clear()
    piece.location = (1, 0, 0)
    bpy.context.view_layer.update()
    assert touched == []


def test_a_spec_file_becomes_a_piece_and_a_file_again(
    piece: bpy.types.Object, part: Any, tmp_path: Path
) -> None:
    # numbers that the 32 bits of an STL hold exactly
    corners = [(-1, -1, 0), (1.5, -1, 0), (1.25, 1, 0), (-1, 0.75, 0), (0.25, 0, 1.75)]
    mesh = bpy.data.meshes.new("pyramid")
    mesh.from_pydata(corners, [], [(0, 1, 4), (1, 2, 4), (2, 3, 4), (3, 0, 4), (3, 2, 1, 0)])
    pyramid = bpy.data.objects.new("pyramid", mesh)
    pyramid.location = (0, 60, 0)
    bpy.context.collection.objects.link(pyramid)
    bpy.context.view_layer.update()
    select(pyramid, piece)
    bpy.ops.medalwright.use_selected()
    out = tmp_path / "fennick.toml"
    assert bpy.ops.medalwright.save_spec(filepath=str(out)) == {"FINISHED"}
    data = tomllib.loads(out.read_text(encoding="utf-8"))
    model = tmp_path / data["obverse"]["relief"][0]["source"]
    assert model.suffix == ".stl"
    assert (len(model.read_bytes()) - 84) % 50 == 0
    before = len(bpy.data.objects)
    assert bpy.ops.medalwright.open_spec(filepath=str(out)) == {"FINISHED"}
    again = bpy.context.object
    assert len(bpy.data.objects) == before + 1
    assert "relief" in again.data.medalwright.zones.split(",")
    volumes = [json.loads(o.data.medalwright.report)["volume_mm3"] for o in (again, piece)]
    assert volumes[0] == volumes[1]  # though corners come in another order


def test_the_command_takes_objects_of_the_open_file(
    piece: bpy.types.Object, part: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bpy.ops.mesh.primitive_cone_add(location=(0, 60, 0))
    path, out = tmp_path / "spec.toml", tmp_path / "out"
    call = ["build", str(path), "--out", str(out), "--quality", "draft"]
    path.write_text('[[obverse.relief]]\nsource = "object:Cone"\n')
    assert part("registry")._run(call) == 0
    report = json.loads((out / "medal.report.json").read_text())
    assert report["area_mm2"]["relief"] > 100
    path.write_text('[[obverse.relief]]\nsource = "object:Cane"\n')
    assert part("registry")._run([*call, "--overwrite"]) == 2
    assert "obverse.relief[0].source: this file has no object 'Cane'" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[blank]\ndiamter = 3", "diameter"),
        ("[blank", "not valid TOML"),
        ('[[obverse.relief]]\nsource = "object:Nobody"', "no object 'Nobody'"),
        ('[[obverse.relief]]\nsource = "nowhere.stl"', "nowhere.stl"),
    ],
)
def test_a_wrong_spec_file_leaves_the_scene_alone(
    addon: Any, tmp_path: Path, text: str, words: str
) -> None:
    path = tmp_path / "wrong.toml"
    path.write_text(text)
    with pytest.raises(RuntimeError, match=words):
        bpy.ops.medalwright.open_spec(filepath=str(path))
    assert len(bpy.data.objects) == 0
    assert len(bpy.data.meshes) == 0
