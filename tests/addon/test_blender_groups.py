"""Vertex groups of source objects reach the core, by either way a piece is built."""

from __future__ import annotations

import time
import tomllib
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest


@pytest.fixture
def ball(addon: Any) -> bpy.types.Object:
    """Make a ball with two groups, one of them with a space in its name; a subdivided one."""
    bpy.ops.mesh.primitive_uv_sphere_add(segments=48, ring_count=24)
    ball = bpy.context.object
    ball.name = "Ball"
    ball.modifiers.new("smooth", "SUBSURF").levels = 1
    for name, axis in (("left cheek", -1.0), ("right", 1.0)):
        group = ball.vertex_groups.new(name=name)
        for vertex in ball.data.vertices:
            if axis * vertex.co.x > 0.0:
                group.add([vertex.index], min(1.0, 2.0 * abs(vertex.co.x)), "REPLACE")
    return ball


@pytest.fixture
def relief(ball: bpy.types.Object) -> Any:
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.medalwright.new()
    spec = bpy.context.object.medalwright.spec
    relief = spec.obverse.relief.add()
    relief.source_objects.add().object = ball
    relief.fit, relief.height = 20.0, 0.6
    relief.more_on = "left cheek"
    return relief


def test_weights_follow_the_modifiers(relief: Any, ball: bpy.types.Object, part: Any) -> None:
    """A group has a weight for every vertex of the mesh as it is seen, interpolated by Blender."""
    models = part("scene.sources").models_of(bpy.context.object, bpy.context)
    vertices, triangles, weights = models["object:Ball"]
    assert len(vertices) > len(ball.data.vertices)
    assert list(weights) == ["left cheek"]
    wanted = np.clip(-2.0 * vertices[:, 0] / np.abs(vertices[:, 0]).max(), 0.0, 1.0)
    assert weights["left cheek"] == pytest.approx(wanted, abs=0.08)
    assert triangles.max() < len(vertices)


def test_a_group_changes_the_relief(relief: Any, part: Any) -> None:
    """The same piece with and without its group differs, here and in the worker alike."""
    piece, live = bpy.context.object, part("work.live")
    volumes = {}
    for name in ("left cheek", ""):
        relief.more_on = name
        volumes[name] = live.build_now(piece, "draft", bpy.context).result.report["volume_mm3"]
    assert abs(volumes["left cheek"] - volumes[""]) > 0.3
    relief.more_on = "left cheek"
    job = live.request(piece, "draft", bpy.context)
    builder = part("work.jobs").Builder()
    try:
        files = builder.files.models(job.models)
        kept: dict[str, Any] = {}
        model = part("medalcore.worker")._models(files, kept)["object:Ball"]
    finally:
        builder.close()
    made = part("medalcore.piece.build").build(
        part("medalcore.spec").spec_from_dict(job.spec), "draft", models={"object:Ball": model}
    )
    assert made.volume_mm3 == pytest.approx(volumes["left cheek"], abs=1e-6)


def test_several_objects_and_two_groups(relief: Any, part: Any) -> None:
    """An object without the group is in it nowhere; reliefs of one source share its groups."""
    bpy.ops.mesh.primitive_cube_add(location=(3.0, 0.0, 0.0))
    cube = bpy.context.object
    piece = relief.id_data
    relief.source_objects.add().object = cube
    other = piece.medalwright.spec.reverse.relief.add()
    part("props.convert").copy(relief, other)
    other.more_on, other.less_on = "", "right"
    models = part("scene.sources").models_of(piece, bpy.context)
    ((vertices, _, weights),) = models.values()
    assert sorted(weights) == ["left cheek", "right"]
    for values in weights.values():
        assert len(values) == len(vertices)
        assert values.max() > 0.9
        assert (values[vertices[:, 0] > 1.5] == 0.0).all()
    live = part("work.live")
    assert live.build_now(piece, "draft", bpy.context).state == "done"


def test_a_lost_group_is_told(relief: Any, part: Any) -> None:
    """A group that was renamed is named in one line, before anything is built."""
    errors = part("medalcore.errors")
    relief.more_on = "nose"
    with pytest.raises(errors.SourceError, match="'Ball' has no vertex group 'nose'"):
        part("work.live").request(bpy.context.object, "draft", bpy.context)


def test_a_file_source_has_no_group_of_the_object(relief: Any, part: Any) -> None:
    """A group chosen for an object does not stop a file that took its place."""
    relief.source_kind, relief.source = "FILE", "/tmp/none.stl"
    asked = part("props.convert").to_dict(bpy.context.object.medalwright.spec)
    assert "more_on" not in asked["obverse"]["relief"][0]
    relief.source = "/tmp/none.ply"
    asked = part("props.convert").to_dict(bpy.context.object.medalwright.spec)
    assert asked["obverse"]["relief"][0]["more_on"] == "left cheek"


def test_a_saved_spec_builds_the_same_elsewhere(relief: Any, part: Any, tmp_path: Path) -> None:
    """The model is written with its groups, and the piece comes out as it does here."""
    piece = bpy.context.object
    here = part("work.live").build_now(piece, "draft", bpy.context).result.report["volume_mm3"]
    path = tmp_path / "piece.toml"
    assert bpy.ops.medalwright.save_spec(filepath=str(path)) == {"FINISHED"}
    table = tomllib.loads(path.read_text())["obverse"]["relief"][0]
    assert table["more_on"] == "left cheek"
    assert table["source"].endswith(".ply")
    spec = part("medalcore.spec").read_spec(path)
    there = part("medalcore.piece.build").build(spec, "draft").volume_mm3
    assert there == pytest.approx(here, abs=0.02)


def _read(item: bpy.types.Object, part: Any, names: tuple[str, ...]) -> Any:
    evaluated = item.evaluated_get(bpy.context.evaluated_depsgraph_get())
    mesh = evaluated.to_mesh()
    start = time.thread_time()
    found = part("props.vertex_groups").of_object(evaluated, mesh, names)
    spent = time.thread_time() - start
    evaluated.to_mesh_clear()
    return found, spent


def test_groups_of_a_large_mesh_are_read_at_once(
    addon: Any, part: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same numbers as vertex by vertex, several times as fast, and the file is as before."""
    bpy.ops.mesh.primitive_grid_add(x_subdivisions=300, y_subdivisions=300)
    item = bpy.context.object
    item.modifiers.new("cut", "SUBSURF").levels = 1
    group = item.vertex_groups.new(name="left cheek")
    for i in range(0, len(item.data.vertices), 2):
        group.add([i], (i % 7) / 6.0, "REPLACE")
    item.vertex_groups.new(name="nowhere")
    blocks = {str(b) for kind in ("objects", "meshes", "scenes", "node_groups")
              for b in getattr(bpy.data, kind)}  # fmt: skip
    names = ("left cheek", "nowhere", "not there")
    monkeypatch.setattr(part("props.vertex_groups"), "MANY", 10**9)
    slow, took = _read(item, part, names)
    monkeypatch.undo()
    quick, spent = min((_read(item, part, names) for _ in range(3)), key=lambda r: r[1])
    assert list(quick) == list(slow) == ["left cheek", "nowhere"]
    for name in slow:
        assert np.array_equal(quick[name], slow[name])
    assert slow["left cheek"].max() > 0.9
    assert not slow["nowhere"].any()
    print(f"vertex by vertex {took:.3f} s, at once {spent:.3f} s")
    assert spent < 0.5 * took
    assert not item.modifiers[-1].type == "NODES"
    assert blocks == {str(b) for kind in ("objects", "meshes", "scenes", "node_groups")
                      for b in getattr(bpy.data, kind)}  # fmt: skip
