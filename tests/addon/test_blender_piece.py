"""A piece in Blender's own data: made, rebuilt in place, refused, taken back."""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest


@pytest.fixture
def piece(addon: Any) -> bpy.types.Object:
    bpy.ops.medalwright.use_millimetres()
    assert bpy.ops.medalwright.new(diameter=30.0) == {"FINISHED"}
    return bpy.context.object


def spec_of(piece: bpy.types.Object) -> Any:
    return piece.medalwright.spec


def points_of(mesh: bpy.types.Mesh) -> Any:
    flat = np.empty(len(mesh.vertices) * 3, dtype=np.float32)
    mesh.vertices.foreach_get("co", flat)
    return flat.reshape(-1, 3)


def faces_of(mesh: bpy.types.Mesh, name: str) -> Any:
    values = np.empty(len(mesh.polygons), dtype=np.int32)
    if name == "material_index":
        mesh.polygons.foreach_get(name, values)
    else:
        mesh.attributes[name].data.foreach_get("value", values)
    return values


def rebuild() -> None:
    assert bpy.ops.medalwright.rebuild() == {"FINISHED"}


def test_three_cycles_leave_nothing_behind(package: Any) -> None:
    def things() -> Any:
        handlers = bpy.app.handlers
        lists = (handlers.undo_post, handlers.redo_post, handlers.load_post)
        drawn = [
            len(menu._dyn_ui_initialize())
            for menu in (
                bpy.types.VIEW3D_MT_mesh_add,
                bpy.types.TOPBAR_MT_file_import,
                bpy.types.TOPBAR_MT_file_export,
            )
        ]
        ours = sorted(n for n in dir(bpy.types) if "MEDALWRIGHT" in n)
        return [len(x) for x in lists], drawn, ours, hasattr(bpy.types.Object, "medalwright")

    before = things()
    for _ in range(3):
        package.register()
        assert bpy.ops.medalwright.new() == {"FINISHED"}
        package.unregister()
        assert things() == before
    assert before[2] == []


def test_the_mesh_is_the_piece_in_millimetres(piece: bpy.types.Object) -> None:
    points = points_of(piece.data)
    assert np.ptp(points, axis=0) == pytest.approx([30.0, 30.0, 3.0], abs=0.01)
    report = json.loads(piece.data.medalwright.report)
    assert report["closed"] is True
    assert report["diameter_mm"] == pytest.approx(30.0, abs=0.001)
    assert piece.data.validate(verbose=True) is False  # nothing had to be mended


def test_every_edge_has_two_faces_in_blender_too(piece: bpy.types.Object) -> None:
    edges = np.empty(len(piece.data.loops), dtype=np.int32)
    piece.data.loops.foreach_get("edge_index", edges)
    assert np.all(np.bincount(edges) == 2)


@pytest.mark.parametrize("scale", [1.0, 0.001, 0.0254])
def test_size_is_true_in_any_scene_unit(addon: Any, scale: float) -> None:
    """One unit is `scale_length` metres (Blender's manual, scene units)."""
    bpy.context.scene.unit_settings.scale_length = scale
    bpy.ops.medalwright.new(diameter=30.0)
    wide = np.ptp(points_of(bpy.context.object.data)[:, 0])
    assert wide * scale * 1000.0 == pytest.approx(30.0, rel=1e-4)


def test_units_change_only_on_request(addon: Any) -> None:
    units = bpy.context.scene.unit_settings
    before = (units.system, units.scale_length, units.length_unit)
    bpy.ops.medalwright.new()
    assert (units.system, units.scale_length, units.length_unit) == before
    bpy.ops.medalwright.use_millimetres()
    assert units.scale_length == pytest.approx(0.001)
    assert np.ptp(points_of(bpy.context.object.data)[:, 0]) == pytest.approx(40.0, abs=0.01)


def test_rebuild_keeps_everything_of_the_users(piece: bpy.types.Object) -> None:
    mesh = piece.data
    piece.location = (3, 2, 1)
    piece.scale = (2, 2, 2)
    piece.modifiers.new("Mine", "BEVEL")
    piece["mine"] = 7
    mesh["also"] = 8
    own = bpy.data.materials.new("My Patina")
    slot = faces_of(mesh, "material_index")[0]
    mesh.materials[slot] = own
    count = len(bpy.data.objects), len(bpy.data.meshes), len(bpy.data.materials)
    spec_of(piece).blank.diameter = 34.0
    rebuild()
    assert piece.data == mesh
    assert tuple(piece.location) == (3, 2, 1)
    assert tuple(piece.scale) == (2, 2, 2)
    assert [m.name for m in piece.modifiers] == ["Mine"]
    assert (piece["mine"], mesh["also"]) == (7, 8)
    assert mesh.materials[slot] == own
    assert faces_of(mesh, "material_index")[0] == slot
    assert (len(bpy.data.objects), len(bpy.data.meshes), len(bpy.data.materials)) == count
    assert np.ptp(points_of(mesh)[:, 0]) == pytest.approx(34.0, abs=0.01)


def test_a_material_for_every_zone_made_once(piece: bpy.types.Object) -> None:
    mesh = piece.data
    zones = mesh.medalwright.zones.split(",")
    zone, slot = faces_of(mesh, "medal_zone"), faces_of(mesh, "material_index")
    assert len(mesh.materials) == len(zones)
    for i, name in enumerate(zones):
        used = set(slot[zone == i])
        assert len(used) == 1
        assert mesh.materials[used.pop()].medalwright.zone == name
    made = len(bpy.data.materials)
    bpy.ops.medalwright.new()
    assert len(bpy.data.materials) == made


def test_reordered_slots_stay_reordered(piece: bpy.types.Object) -> None:
    mesh = piece.data
    mesh.materials[0], mesh.materials[1] = mesh.materials[1], mesh.materials[0]
    slot = faces_of(mesh, "material_index")
    swapped = np.where(slot == 0, 1, np.where(slot == 1, 0, slot)).astype(np.int32)
    mesh.polygons.foreach_set("material_index", swapped)
    rebuild()
    zone, slot = faces_of(mesh, "medal_zone"), faces_of(mesh, "material_index")
    for i, name in enumerate(mesh.medalwright.zones.split(",")):
        assert mesh.materials[slot[zone == i][0]].medalwright.zone == name


def test_another_metal_changes_only_our_materials(piece: bpy.types.Object) -> None:
    mesh = piece.data
    own = bpy.data.materials.new("My Patina")
    mesh.materials[0] = own
    bpy.data.materials["Bronze Rim"].diffuse_color = (1, 0, 0, 1)
    spec_of(piece).medal.metal = "fine-silver"
    rebuild()
    assert mesh.materials[0] == own
    assert all(m.medalwright.metal == "fine-silver" for m in mesh.materials if m != own)
    spec_of(piece).medal.metal = "bronze"
    rebuild()
    rim = next(m for m in mesh.materials if m.medalwright.zone == "rim")
    assert tuple(rim.diffuse_color) == (1, 0, 0, 1)  # the user's change was kept


def test_a_core_of_another_metal_gets_materials_of_its_own(piece: bpy.types.Object) -> None:
    core = spec_of(piece).blank.core
    core.diameter, core.metal = 20.0, "brass"
    rebuild()
    mesh = piece.data
    slot = faces_of(mesh, "material_index")
    seen = [mesh.materials[i].medalwright for i in np.unique(slot)]
    by_zone = {m.zone: m.metal for m in seen}
    assert (by_zone["field"], by_zone["core field"]) == ("bronze", "brass")
    middle = [np.hypot(*polygon.center[:2]) for polygon in mesh.polygons]
    of_brass = np.array([m.medalwright.metal == "brass" for m in mesh.materials])[slot]
    assert max(r for r, b in zip(middle, of_brass, strict=True) if b) < 10.01
    assert min(r for r, b in zip(middle, of_brass, strict=True) if not b) > 9.99
    own = bpy.data.materials.new("My Brass")
    mesh.materials[int(np.bincount(slot[of_brass]).argmax())] = own
    core.diameter = 18.0
    rebuild()
    slot = faces_of(piece.data, "material_index")
    assert own in [piece.data.materials[i] for i in np.unique(slot)]
    core.metal = "NONE"
    rebuild()
    assert all(
        piece.data.materials[i].medalwright.metal == "bronze"
        for i in np.unique(faces_of(piece.data, "material_index"))
    )


def test_shape_keys_are_left_alone(piece: bpy.types.Object) -> None:
    """Shape keys belong to a number of vertices: the old mesh stays, the piece gets another."""
    old = piece.data
    old.use_fake_user = True
    piece.shape_key_add(name="Basis")
    spec_of(piece).edge.finish = "reeded"
    spec_of(piece).edge.reeds = 60
    rebuild()
    assert piece.data != old
    assert piece.data.shape_keys is None
    assert old.shape_keys is not None
    assert list(piece.data.materials) == list(old.materials)


def test_a_wrong_value_says_so_and_changes_nothing(piece: bpy.types.Object) -> None:
    before = points_of(piece.data).tobytes()
    spec_of(piece).blank.thickness = 0.05
    with pytest.raises(RuntimeError) as caught:
        bpy.ops.medalwright.rebuild()
    assert "Traceback" not in str(caught.value).replace("Traceback (most recent call last)", "", 0)
    assert str(caught.value).count("\n") <= 1
    assert "Blank, Broken Edge: " in str(caught.value)  # as the panel calls it
    assert points_of(piece.data).tobytes() == before


def test_a_failed_new_leaves_no_object(addon: Any) -> None:
    with pytest.raises(RuntimeError, match="thick"):
        bpy.ops.medalwright.new(thickness=0.1, diameter=300.0)
    assert len(bpy.data.objects) == 0
    assert len(bpy.data.meshes) == 0


def test_operators_say_why_they_are_grey(addon: Any) -> None:
    for name in ("rebuild", "make_fine", "use_selected", "save_spec", "export_files"):
        with pytest.raises(RuntimeError, match="Select a medal first"):
            getattr(bpy.ops.medalwright, name)()


def test_copies_are_pieces_of_their_own(piece: bpy.types.Object) -> None:
    bpy.ops.object.duplicate(linked=False)
    copy = bpy.context.object
    assert copy != piece
    spec_of(copy).blank.diameter = 20.0
    rebuild()
    assert np.ptp(points_of(copy.data)[:, 0]) == pytest.approx(20.0, abs=0.01)
    assert np.ptp(points_of(piece.data)[:, 0]) == pytest.approx(30.0, abs=0.01)


def test_linked_copies_stay_alike(piece: bpy.types.Object, part: Any) -> None:
    legend = spec_of(piece).obverse.legend.add()
    legend.text, legend.shown = "KEPT THOUGH HIDDEN", False
    bpy.ops.object.duplicate(linked=True)
    copy = bpy.context.object
    assert copy.data == piece.data
    spec_of(copy).blank.diameter = 21.0
    rebuild()
    assert copy.data == piece.data
    assert spec_of(piece).blank.diameter == 21.0
    assert spec_of(piece).obverse.legend[0].text == "KEPT THOUGH HIDDEN"
    assert part("work.live").is_current(piece)


def test_a_saved_file_brings_the_piece_back(
    piece: bpy.types.Object, tmp_path: Path, part: Any
) -> None:
    spec_of(piece).obverse.legend.add().text = "KEPT WORDS"
    rebuild()
    asked = part("props.convert").to_dict(spec_of(piece))
    name = piece.name
    path = str(tmp_path / "kept.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.wm.open_mainfile(filepath=path)
    again = bpy.data.objects[name]
    assert part("props.convert").to_dict(again.medalwright.spec) == asked
    assert part("work.live").is_current(again)


def test_make_fine_is_finer(piece: bpy.types.Object) -> None:
    coarse = len(piece.data.polygons)
    assert piece.data.medalwright.quality == "draft"
    assert bpy.ops.medalwright.make_fine() == {"FINISHED"}
    assert piece.data.medalwright.quality == "fine"
    assert len(piece.data.polygons) > coarse


def test_files_are_written_in_millimetres(piece: bpy.types.Object, tmp_path: Path) -> None:
    """Size by the STL's own bytes: 84 + 50 n (the format's definition)."""
    bpy.context.scene.unit_settings.scale_length = 1.0
    folder = str(tmp_path / "out")
    export = partial(
        bpy.ops.medalwright.export_files, directory=folder, quality="draft", size=64, also={"obj"}
    )
    assert export() == {"FINISHED"}
    data = (tmp_path / "out" / "medal.stl").read_bytes()
    count = int.from_bytes(data[80:84], "little")
    assert len(data) == 84 + 50 * count
    record = np.frombuffer(data[84:], dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("r", "<u2")])
    assert np.ptp(record["c"].reshape(-1, 3)[:, 0]) == pytest.approx(30.0, abs=0.01)
    assert (tmp_path / "out" / "medal.obj").exists()
    with pytest.raises(RuntimeError, match=r"medal\.stl"):
        export()
    assert export(overwrite=True) == {"FINISHED"}


def test_a_flat_field_is_shaded_flat(addon: Any) -> None:
    """Up to the foot of what stands on it, however shallow that is."""
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.mesh.primitive_monkey_add(size=30, location=(0, 60, 0), rotation=(-1.5708, 0, 0))
    monkey = bpy.context.object
    monkey.modifiers.new("smooth", "SUBSURF").levels = 3
    bpy.ops.medalwright.new()
    piece = bpy.context.object
    monkey.select_set(True)
    bpy.ops.medalwright.use_selected()
    piece.medalwright.spec.obverse.relief[0].fit = 20.2
    bpy.ops.medalwright.edit_list(path="obverse.legend", action="ADD")
    bpy.ops.medalwright.rebuild()
    mesh = piece.data
    count = len(mesh.polygons)
    zone, flat = np.empty(count, dtype=np.int32), np.empty(count * 3, dtype=np.float32)
    corners = np.empty(count * 9, dtype=np.float32)
    mesh.attributes["medal_zone"].data.foreach_get("value", zone)
    mesh.polygons.foreach_get("normal", flat)
    mesh.corner_normals.foreach_get("vector", corners)
    field = zone == mesh.medalwright.zones.split(",").index("field")
    shown = np.einsum("fki,fi->fk", corners.reshape(-1, 3, 3), flat.reshape(-1, 3))[field]
    assert np.degrees(np.arccos(np.clip(shown, -1.0, 1.0))).max() < 4.0
