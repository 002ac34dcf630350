"""Objects that reliefs are made from: deleted, brought back, renamed, appended, not shown."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest

GONE = "obverse.relief[0].source: object 'Cone' was deleted"
GONE_IN_WORDS = "Obverse, Relief 1, Source: object 'Cone' was deleted"


@pytest.fixture(scope="module")
def built_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return where the file of the first test's piece is kept for the others."""
    return tmp_path_factory.mktemp("piece") / "piece.blend"


@pytest.fixture
def piece(addon: Any, built_once: Path) -> bpy.types.Object:
    """Return a built piece with a relief made from a cone."""
    if built_once.exists():
        bpy.ops.wm.open_mainfile(filepath=str(built_once))
        return bpy.data.objects["Medal"]
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.medalwright.new(diameter=12.0)
    made = bpy.context.object
    bpy.ops.mesh.primitive_cone_add(location=(0, 60, 0))
    bpy.context.view_layer.objects.active = made
    bpy.ops.medalwright.use_selected()
    assert "relief" in made.data.medalwright.zones.split(",")
    bpy.context.view_layer.update()
    bpy.ops.wm.save_as_mainfile(filepath=str(built_once), copy=True)
    return made


def activate(item: bpy.types.Object) -> None:
    bpy.ops.object.select_all(action="DESELECT")
    item.select_set(True)
    bpy.context.view_layer.objects.active = item


def delete_by_hand(piece: bpy.types.Object) -> None:
    """Delete as the key does: what is still used stays in the file, in no scene."""
    activate(bpy.data.objects["Cone"])
    bpy.ops.object.delete()
    assert "Cone" in bpy.data.objects
    activate(piece)


def remove_by_script(piece: bpy.types.Object) -> None:
    bpy.data.objects.remove(bpy.data.objects["Cone"])
    activate(piece)


@pytest.mark.parametrize("delete", [delete_by_hand, remove_by_script])
def test_a_deleted_source_is_an_error_that_names_the_element(
    piece: bpy.types.Object, part: Any, tmp_path: Path, delete: Any
) -> None:
    live, faces = part("work.live"), len(piece.data.polygons)
    piece.medalwright.live = False  # told all the same
    delete(piece)
    bpy.context.view_layer.update()
    assert live.trouble_of(piece).startswith(GONE)
    assert not live.is_current(piece)
    for call in (
        bpy.ops.medalwright.rebuild,
        bpy.ops.medalwright.make_fine,
        lambda: bpy.ops.medalwright.export_files(directory=str(tmp_path / "out"), size=64),
        lambda: bpy.ops.medalwright.save_spec(filepath=str(tmp_path / "medal.toml")),
    ):
        with pytest.raises(RuntimeError, match=GONE_IN_WORDS):
            call()
    assert list(tmp_path.iterdir()) == []
    assert len(piece.data.polygons) == faces
    relief = piece.medalwright.spec.obverse.relief[0]
    relief.shown = False  # left out on purpose
    assert bpy.ops.medalwright.rebuild() == {"FINISHED"}
    assert "relief" not in piece.data.medalwright.zones.split(",")


def test_one_of_several_that_is_deleted_is_an_error_too(piece: bpy.types.Object, part: Any) -> None:
    bpy.ops.mesh.primitive_cube_add(location=(3, 60, 0))
    cube = bpy.context.object
    piece.medalwright.spec.obverse.relief[0].source_objects.add().object = cube
    activate(piece)
    assert bpy.ops.medalwright.rebuild() == {"FINISHED"}
    delete_by_hand(piece)
    with pytest.raises(RuntimeError, match=GONE_IN_WORDS):
        bpy.ops.medalwright.rebuild()


def test_a_source_that_is_back_is_no_error(piece: bpy.types.Object, part: Any) -> None:
    live, cone = part("work.live"), bpy.data.objects["Cone"]
    delete_by_hand(piece)
    bpy.context.view_layer.update()
    assert live.trouble_of(piece)
    bpy.context.scene.collection.objects.link(cone)
    bpy.context.view_layer.update()
    assert live.trouble_of(piece) == ""
    assert live.is_current(piece)


def test_an_undone_deletion_is_no_error(piece: bpy.types.Object, part: Any) -> None:
    live = part("work.live")
    bpy.ops.ed.undo_push(message="Relief")
    delete_by_hand(piece)
    bpy.ops.ed.undo_push(message="Delete")
    assert live.trouble_of(bpy.data.objects["Medal"])
    bpy.ops.ed.undo()
    assert live.trouble_of(bpy.data.objects["Medal"]) == ""
    assert live.is_current(bpy.data.objects["Medal"])
    bpy.ops.ed.redo()
    assert live.trouble_of(bpy.data.objects["Medal"]).startswith(GONE)


def test_a_row_without_an_object_yet_is_not_one_that_lost_it(
    piece: bpy.types.Object, part: Any
) -> None:
    entries = piece.medalwright.spec.obverse.relief[0].source_objects
    entries.add()
    assert bpy.ops.medalwright.rebuild() == {"FINISHED"}
    entries[0].object = None  # taken out by hand
    assert part("props.convert").lost_source(piece.medalwright.spec) == ("", "")
    assert bpy.ops.medalwright.rebuild() == {"FINISHED"}
    assert "relief" not in piece.data.medalwright.zones.split(",")


def test_a_renamed_source_is_the_same_one_and_another_is_not(
    piece: bpy.types.Object, part: Any
) -> None:
    live, cone = part("work.live"), bpy.data.objects["Cone"]
    cone.name = "Lamp"
    assert live.is_current(piece)
    assert (
        part("props.convert").source_text(piece.medalwright.spec.obverse.relief[0]) == "object:Lamp"
    )
    other = cone.copy()
    bpy.context.scene.collection.objects.link(other)
    piece.medalwright.spec.obverse.relief[0].source_objects[0].object = other
    assert not live.is_current(piece)


def test_a_choice_made_before_choices_were_kept_counts_by_name(
    piece: bpy.types.Object, part: Any
) -> None:
    entry = piece.medalwright.spec.obverse.relief[0].source_objects[0]
    entry.choice = ""
    assert (
        part("props.convert").source_choice(piece.medalwright.spec.obverse.relief[0])
        == "object:Cone"
    )


@pytest.fixture
def saved(piece: bpy.types.Object, tmp_path: Path) -> Path:
    path = tmp_path / "kept.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


@pytest.fixture
def touched(part: Any, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return the names of the pieces a draft is begun for."""
    found: list[str] = []
    monkeypatch.setattr(part("work.live"), "touch", lambda item: found.append(item.name))
    return found


def bring(saved: Path, link: bool) -> bpy.types.Object:
    """Append or link the piece to a file that has another cone already."""
    bpy.ops.wm.read_homefile(use_empty=True)
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.mesh.primitive_cone_add()
    folder = f"{saved}/Object/"
    call = bpy.ops.wm.link if link else bpy.ops.wm.append
    call(filepath=f"{folder}Medal", directory=folder, filename="Medal")
    bpy.context.view_layer.update()
    piece = bpy.data.objects["Medal"]
    cone = piece.medalwright.spec.obverse.relief[0].source_objects[0].object
    assert (cone.library is not None) is link
    assert cone.name == ("Cone" if link else "Cone.001")
    return piece


@pytest.fixture
def drafts(part: Any, monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """Let drafts be begun as in a window, and return them."""
    live, found = part("work.live"), []
    submit = part("work.jobs").Builder.submit
    monkeypatch.setattr(live, "_follows", lambda item: not live.is_linked(item))
    monkeypatch.setattr(
        part("work.jobs").Builder,
        "submit",
        lambda self, job: (found.append(job), submit(self, job))[1],
    )
    return found


@pytest.mark.parametrize("link", [False, True])
def test_a_piece_from_another_file_is_current_and_followed(
    saved: Path, part: Any, drafts: list[Any], link: bool
) -> None:
    live, piece = part("work.live"), bring(saved, link)
    live.fire()
    assert live.trouble_of(piece) == ""
    assert live.is_current(piece)
    assert drafts == []
    if not link:
        piece.medalwright.spec.obverse.relief[0].source_objects[0].object.location.z += 1.0
        piece.medalwright.spec.obverse.relief[0].source_objects[0].object.scale.z *= 2.0
        bpy.context.view_layer.update()
        live.fire()
        assert len(drafts) == 1


@pytest.fixture
def early(piece: bpy.types.Object, part: Any, tmp_path: Path) -> Path:
    """Return a file that was saved before the draft of the last change came."""
    with part("work.live").quietly():
        piece.medalwright.spec.blank.diameter = 14.0
    path = tmp_path / "early.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


def test_an_appended_piece_saved_before_its_draft_gets_it(
    early: Path, part: Any, drafts: list[Any]
) -> None:
    live, again = part("work.live"), bring(early, link=False)
    assert not live.is_current(again)
    live.fire()
    live.tick()
    assert len(drafts) == 1
    assert live.session.errors == {}
    assert live.is_current(again)
    assert max(v.co.x for v in again.data.vertices) == pytest.approx(7.0, abs=0.01)


def test_a_linked_piece_is_left_to_its_file(early: Path, part: Any, drafts: list[Any]) -> None:
    """Writing to the mesh of another file ended Blender 4.2."""
    live, again = part("work.live"), bring(early, link=True)
    live.fire()
    assert drafts == []
    bpy.context.view_layer.objects.active = again
    for name in ("rebuild", "make_fine", "export_files", "save_spec"):
        with pytest.raises(RuntimeError, match="linked from another file"):
            getattr(bpy.ops.medalwright, name)()
    with pytest.raises(part("medalcore.errors").MedalError, match="linked from another file"):
        live.request(again, "draft", bpy.context)
    bpy.context.view_layer.objects.active = again.override_create(remap_local_usages=True)
    assert bpy.context.object.library is None
    with pytest.raises(RuntimeError, match="linked from another file"):
        bpy.ops.medalwright.rebuild()  # its mesh is linked still


def test_a_file_saved_before_its_draft_came_gets_it(
    piece: bpy.types.Object, tmp_path: Path, touched: list[str]
) -> None:
    path = str(tmp_path / "early.blend")
    piece.medalwright.spec.blank.diameter = 33.0
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.read_homefile(use_empty=True)
    assert touched == []
    bpy.ops.wm.open_mainfile(filepath=path)
    assert touched == ["Medal"]
    touched.clear()
    bpy.ops.medalwright.rebuild()
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.open_mainfile(filepath=path)
    assert touched == []


def test_a_file_whose_source_is_gone_says_so_when_it_is_opened(
    piece: bpy.types.Object, part: Any, tmp_path: Path
) -> None:
    path = str(tmp_path / "gone.blend")
    delete_by_hand(piece)
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.read_homefile(use_empty=True)
    bpy.ops.wm.open_mainfile(filepath=path)
    assert part("work.live").trouble_of(bpy.data.objects["Medal"]).startswith(GONE)


@pytest.mark.parametrize("way", ["disabled", "excluded", "in another scene"])
def test_a_source_the_window_does_not_show_is_the_same_model(
    piece: bpy.types.Object, part: Any, way: str
) -> None:
    """With its modifiers, where it stands: Blender itself evaluates only what can be seen."""
    cone = bpy.data.objects["Cone"]
    cone.modifiers.new("Fine", "SUBSURF").levels = 2
    handle = bpy.data.objects.new("Handle", None)
    bpy.context.scene.collection.objects.link(handle)
    handle.location, cone.parent = (5.0, 0.0, 1.0), handle
    bpy.context.view_layer.update()
    wanted = part("scene.sources").arrays_of([cone], bpy.context)
    aside = bpy.data.collections.new("Aside")
    bpy.context.scene.collection.children.link(aside)
    if way == "disabled":
        cone.hide_viewport = True
    else:
        for held in cone.users_collection:
            held.objects.unlink(cone)
        if way == "excluded":
            aside.objects.link(cone)
            bpy.context.view_layer.layer_collection.children["Aside"].exclude = True
        else:
            bpy.data.scenes.new("Other").collection.objects.link(cone)
    bpy.context.view_layer.update()
    count = len(bpy.data.scenes), len(bpy.data.objects)
    found = part("scene.sources").arrays_of([cone], bpy.context)
    assert (len(bpy.data.scenes), len(bpy.data.objects)) == count
    assert len(found[0]) > 300
    assert np.array_equal(found[0], wanted[0])
    assert np.array_equal(found[1], wanted[1])


@pytest.mark.parametrize(
    ("path", "windows", "held"),
    [
        ("//server/share/head.stl", True, r"\\server\share\head.stl"),
        (r"\\server\share\head.stl", True, r"\\server\share\head.stl"),
        ("//head.stl/", False, "/head.stl/"),
        ("C:/models/head.stl", True, "C:/models/head.stl"),
        ("/models/head.stl", False, "/models/head.stl"),
        ("head.stl", False, "head.stl"),
    ],
)
def test_two_slashes_in_a_spec_are_not_blenders(
    addon: Any, part: Any, path: str, windows: bool, held: str
) -> None:
    """Blender's ``//`` is the folder of the open file, Windows' a share (its path syntax)."""
    assert part("props.convert").held_path(path, windows) == held


def test_a_share_comes_back_from_the_properties(piece: bpy.types.Object, part: Any) -> None:
    core = part("medalcore.spec")
    asked = {"obverse": {"relief": [{"source": "//models/head.stl", "height": 0.5}]}}
    part("props.convert").fill(piece.medalwright.spec, core.spec_from_dict(asked))
    made = part("props.convert").to_dict(piece.medalwright.spec)
    assert Path(made["obverse"]["relief"][0]["source"]).resolve() == Path("/models/head.stl")
