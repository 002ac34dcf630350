"""Sculpting a relief in Blender: a sheet on the piece, strokes kept, changed with, dropped."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest


@pytest.fixture
def piece(addon: Any) -> bpy.types.Object:
    """Return a piece with a relief of an egg, moved and turned in the scene."""
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.mesh.primitive_uv_sphere_add(segments=48, ring_count=24, radius=5.0, scale=(1, 0.7, 1))
    egg = bpy.context.object
    egg.name = "Egg"
    bpy.ops.medalwright.new(diameter=30.0)
    made = bpy.context.object
    made.location, made.rotation_euler = (3.0, -2.0, 1.0), (0.3, 0.2, 1.1)
    relief = made.medalwright.spec.obverse.relief.add()
    relief.source_objects.add().object = egg
    relief.fit, relief.height, relief.draft = 16.0, 0.6, 0.0
    rebuild()
    return made


def rebuild() -> None:
    assert bpy.ops.medalwright.rebuild() == {"FINISHED"}


def points_of(mesh: bpy.types.Mesh) -> Any:
    flat = np.empty(len(mesh.vertices) * 3, dtype=np.float32)
    mesh.vertices.foreach_get("co", flat)
    return flat.reshape(-1, 3).astype(float)


def bump(uv: Any, place: tuple[float, float], high: float, wide: float = 0.8) -> Any:
    away = np.square(uv - place).sum(axis=-1)
    return high * np.exp(-away / (2 * wide**2))


def carve(sheet: bpy.types.Object, *bumps: tuple[tuple[float, float], float]) -> None:
    """Do what a hand does: move the vertices of the sheet, in its own coordinates."""
    points = points_of(sheet.data)
    for place, high in bumps:
        points[:, 2] += bump(points[:, :2], place, high)
    sheet.data.vertices.foreach_set("co", points.astype(np.float32).ravel())
    sheet.data.update()


def tops(piece: bpy.types.Object, *places: tuple[float, float]) -> Any:
    """Return z of the piece seen from above at places, by Blender's own ray casting."""
    found = []
    for u, v in places:
        hit, where, *_ = piece.ray_cast((u, v, 50.0), (0.0, 0.0, -1.0))
        assert hit
        found.append(where[2])
    return np.array(found)


def sculpt() -> bpy.types.Object:
    assert bpy.ops.medalwright.sculpt_relief() == {"FINISHED"}
    return bpy.context.object


def keep() -> None:
    assert bpy.ops.medalwright.keep_strokes() == {"FINISHED"}


def zones(piece: bpy.types.Object) -> list[str]:
    return list(json.loads(piece.data.medalwright.report)["area_mm2"])


UP, DOWN, ELSEWHERE = (1.5, 1.0), (-3.0, -0.5), (4.5, -1.5)


def test_the_sheet_is_the_relief_and_stands_on_the_piece(piece: bpy.types.Object) -> None:
    before = tops(piece, UP, DOWN, ELSEWHERE)
    sheet = sculpt()
    assert sheet.parent == piece
    assert np.allclose(sheet.matrix_world, piece.matrix_world, atol=1e-6)
    assert "relief" not in zones(piece)  # what is carved below it would be hidden
    assert tops(sheet, UP, DOWN, ELSEWHERE) == pytest.approx(before, abs=0.03)  # a draft's 20 um
    assert len(sheet.data.vertices) > 100_000
    assert sheet.data.validate(verbose=True) is False
    level = json.loads(piece.data.medalwright.report)["thickness_mm"] / 2 - 0.25
    assert points_of(sheet.data)[:, 2].min() < level  # its rim lies in the field


def test_strokes_are_on_the_piece_and_survive_other_changes(piece: bpy.types.Object) -> None:
    before = tops(piece, UP, DOWN, ELSEWHERE)
    carve(sculpt(), (UP, 0.12), (DOWN, -0.1))
    keep()
    assert bpy.context.object == piece
    after = tops(piece, UP, DOWN, ELSEWHERE)
    assert after - before == pytest.approx([0.12, -0.1, 0.0], abs=0.03)
    relief = piece.medalwright.spec.obverse.relief[0]
    relief.shown = False
    relief.shown = True
    kept = relief.strokes
    relief.strokes = None
    relief.height = 0.45
    rebuild()
    plain = tops(piece, UP, DOWN, ELSEWHERE)
    relief.strokes = kept
    rebuild()
    assert tops(piece, UP, DOWN, ELSEWHERE) - plain == pytest.approx([0.12, -0.1, 0.0], abs=0.03)
    relief.at = (1.0, 2.0)
    rebuild()
    moved = [(u + 1.0, v + 2.0) for u, v in (UP, DOWN, ELSEWHERE)]
    assert tops(piece, *moved) - plain == pytest.approx([0.12, -0.1, 0.0], abs=0.03)


def test_strokes_add_up(piece: bpy.types.Object) -> None:
    before = tops(piece, UP, DOWN)
    carve(sculpt(), (UP, 0.12))
    keep()
    carve(sculpt(), (DOWN, -0.1), (UP, -0.05))
    keep()
    assert tops(piece, UP, DOWN) - before == pytest.approx([0.07, -0.1], abs=0.03)
    assert sum(m.name.startswith("Strokes") for m in bpy.data.meshes) == 1


def test_dropped_strokes_leave_the_piece_as_it_was(piece: bpy.types.Object) -> None:
    before = points_of(piece.data).tobytes()
    counts = len(bpy.data.meshes), len(bpy.data.objects)
    carve(sculpt(), (UP, 0.12))
    keep()
    assert points_of(piece.data).tobytes() != before
    assert bpy.ops.medalwright.drop_strokes() == {"FINISHED"}
    assert points_of(piece.data).tobytes() == before
    assert (len(bpy.data.meshes), len(bpy.data.objects)) == counts


def test_stopping_keeps_what_was_kept_before(piece: bpy.types.Object) -> None:
    carve(sculpt(), (UP, 0.12))
    keep()
    once = points_of(piece.data).tobytes()
    carve(sculpt(), (DOWN, -0.2))
    assert bpy.ops.medalwright.drop_strokes(new_only=True) == {"FINISHED"}
    assert points_of(piece.data).tobytes() == once
    assert bpy.context.object == piece


def test_an_untouched_sheet_keeps_nothing(piece: bpy.types.Object) -> None:
    before = points_of(piece.data).tobytes()
    sculpt()
    keep()
    assert piece.medalwright.spec.obverse.relief[0].strokes is None
    assert points_of(piece.data).tobytes() == before


def test_a_remeshed_sheet_is_read_all_the_same(piece: bpy.types.Object) -> None:
    """Dynamic topology and remeshing leave other vertices; only the surface counts."""
    before = tops(piece, UP, ELSEWHERE)
    sheet = sculpt()
    carve(sheet, (UP, 0.12))
    modifier = sheet.modifiers.new("Fewer", "DECIMATE")
    modifier.ratio = 0.2
    bpy.ops.object.modifier_apply(modifier="Fewer")
    assert len(sheet.data.vertices) < 60_000
    keep()
    assert tops(piece, UP, ELSEWHERE) - before == pytest.approx([0.12, 0.0], abs=0.03)


def test_a_sheet_deleted_by_hand_brings_the_relief_back(piece: bpy.types.Object, part: Any) -> None:
    before = points_of(piece.data).tobytes()
    sheet = sculpt()
    bpy.data.objects.remove(sheet)
    bpy.context.view_layer.objects.active = piece
    assert not part("work.live").is_current(piece)
    rebuild()
    assert points_of(piece.data).tobytes() == before


def test_a_sheet_deleted_by_hand_is_noticed(
    piece: bpy.types.Object, part: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Any] = []
    monkeypatch.setattr(part("work.live"), "touch", asked.append)
    sculpt()
    asked.clear()
    bpy.context.view_layer.update()
    assert not asked
    bpy.ops.object.delete()
    bpy.context.view_layer.update()
    assert asked == [piece]


def test_sculpting_on_the_reverse_of_a_coin(piece: bpy.types.Object) -> None:
    spec = piece.medalwright.spec
    egg = bpy.data.objects["Egg"]
    spec.obverse.relief.clear()
    spec.medal.alignment = "coin"
    relief = spec.reverse.relief.add()
    relief.source_objects.add().object = egg
    relief.fit, relief.draft = 16.0, 0.0
    rebuild()
    own = (UP[0], -UP[1])  # where the face's up is turned over about the level axis

    def low() -> float:
        hit, where, *_ = piece.ray_cast((*own, -50.0), (0.0, 0.0, 1.0))
        assert hit
        return float(where[2])

    before = low()
    carve(sculpt(), (own, -0.1))  # away from the piece is down here
    keep()
    assert low() - before == pytest.approx(-0.1, abs=0.03)


def test_undo_takes_strokes_back_and_redo_returns_them(piece: bpy.types.Object) -> None:
    name = piece.name

    def now() -> Any:
        return bpy.data.objects[name].medalwright.spec.obverse.relief[0]

    bpy.ops.ed.undo_push(message="before")
    carve(sculpt(), (UP, 0.12))
    bpy.ops.ed.undo_push(message="sculpted")
    keep()
    bpy.ops.ed.undo_push(message="kept")
    text = now().strokes.name
    z = points_of(now().strokes)[:, 2].max()
    assert z == pytest.approx(0.12, abs=0.002)
    bpy.ops.ed.undo()
    assert now().strokes is None
    assert now().strokes_sheet is not None  # the sheet is back, with what was sculpted
    bpy.ops.ed.undo()
    assert now().strokes is None
    assert now().strokes_sheet is None
    bpy.ops.ed.redo()
    bpy.ops.ed.redo()
    assert now().strokes.name == text
    assert points_of(now().strokes)[:, 2].max() == z
    bpy.context.view_layer.objects.active = bpy.data.objects[name]
    rebuild()
    assert "relief" in zones(bpy.data.objects[name])


def test_a_saved_file_keeps_strokes_and_an_open_sheet(
    piece: bpy.types.Object, tmp_path: Path, part: Any
) -> None:
    name = piece.name
    before = tops(piece, UP, DOWN)
    carve(sculpt(), (UP, 0.12))
    keep()
    carve(sculpt(), (DOWN, -0.1))
    path = str(tmp_path / "kept.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.wm.open_mainfile(filepath=path)
    piece = bpy.data.objects[name]
    assert part("scene.sheets").is_sheet(bpy.context.object)
    keep()
    assert tops(piece, UP, DOWN) - before == pytest.approx([0.12, -0.1], abs=0.03)
    assert part("work.live").is_current(piece)


def test_strokes_of_another_content_have_another_name(piece: bpy.types.Object, part: Any) -> None:
    """A finished stage is kept by what it was made from: a name must not stand for two."""
    names = set()
    for high in (0.1, 0.11):
        carve(sculpt(), (UP, high))
        keep()
        names.add(piece.medalwright.spec.obverse.relief[0].strokes.name)
    assert len(names) == 2


def test_files_hold_the_relief_while_it_is_sculpted(
    piece: bpy.types.Object, tmp_path: Path, part: Any
) -> None:
    carve(sculpt(), (UP, 0.3))
    bpy.context.view_layer.objects.active = piece
    out = str(tmp_path / "out")
    bpy.ops.medalwright.export_files(directory=out, quality="draft", size=64)
    report = json.loads(next((tmp_path / "out").glob("*.json")).read_text(encoding="utf-8"))
    assert "relief" in report["area_mm2"]


def test_a_saved_spec_takes_strokes_along(piece: bpy.types.Object, tmp_path: Path) -> None:
    carve(sculpt(), (UP, 0.12))
    keep()
    wanted = tops(piece, UP, DOWN, ELSEWHERE)
    path = tmp_path / "egg.toml"
    bpy.ops.medalwright.save_spec(filepath=str(path))
    assert "strokes" in path.read_text(encoding="utf-8")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.medalwright.open_spec(filepath=str(path))
    again = bpy.context.object
    bpy.ops.medalwright.use_millimetres()
    assert again.medalwright.spec.obverse.relief[0].strokes is not None
    assert tops(again, UP, DOWN, ELSEWHERE) == pytest.approx(wanted, abs=0.03)  # a draft


def test_any_scene_unit(addon: Any) -> None:
    """The default scene: one unit is a metre."""
    bpy.ops.mesh.primitive_uv_sphere_add(radius=0.005)
    ball = bpy.context.object
    bpy.ops.medalwright.new(diameter=30.0)
    piece = bpy.context.object
    relief = piece.medalwright.spec.obverse.relief.add()
    relief.source_objects.add().object = ball
    relief.fit = 16.0
    rebuild()
    sheet = sculpt()
    points = points_of(sheet.data)
    points[:, 2] += bump(1000.0 * points[:, :2], (0.0, 0.0), 0.1 / 1000.0)
    sheet.data.vertices.foreach_set("co", points.astype(np.float32).ravel())
    keep()
    assert points_of(relief.strokes)[:, 2].max() == pytest.approx(0.1, abs=0.002)


def test_operators_say_why_they_are_grey(addon: Any) -> None:
    bpy.ops.medalwright.new(diameter=30.0)
    for name, why in (
        ("sculpt_relief", "has no relief"),
        ("keep_strokes", "No relief is being sculpted"),
        ("drop_strokes", "no strokes"),
    ):
        with pytest.raises(RuntimeError, match=why):
            getattr(bpy.ops.medalwright, name)()
