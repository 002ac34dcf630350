"""What is built is what is asked: builds of what was undone, changed or deleted are not used."""

from __future__ import annotations

import time
from typing import Any

import bpy
import pytest

WORDS = "A LONG LEGEND OF MANY WORDS"


def settled(live: Any) -> None:
    end = time.monotonic() + 60.0
    while not live.session.builder.is_idle and time.monotonic() < end:
        live.tick()
        time.sleep(0.01)
    assert live.session.builder.is_idle


def come_up(live: Any) -> None:
    """Let pass what would pass until the next beat of the window: timers, drafts."""
    live._next_turn()
    live.fire()
    settled(live)


def fine(live: Any, piece: bpy.types.Object) -> Any:
    """Begin a fine build of many words."""
    with live.quietly():
        piece.medalwright.spec.obverse.legend.add().text = WORDS
    job = live.start(piece, "fine", bpy.context)
    while job.state != "running":
        live.session.builder.poll(0.1)
    return job


def width() -> float:
    return 2.0 * max(vertex.co.x for vertex in bpy.data.objects["Medal"].data.vertices)


def quality() -> str:
    return str(bpy.context.object.data.medalwright.quality)


def test_an_undone_fine_build_is_stopped_and_redo_stays(live: Any) -> None:
    piece = bpy.context.object
    bpy.ops.ed.undo_push(message="First")
    piece.medalwright.spec.blank.diameter = 45.0
    live._next_turn()
    settled(live)
    bpy.ops.ed.undo_push(message="Diameter")
    job = fine(live, piece)
    bpy.ops.ed.undo_push(message="Words")
    bpy.ops.ed.undo()
    bpy.ops.ed.undo()
    assert job.stale
    come_up(live)
    assert job.state == "cancelled"
    piece = bpy.context.object
    assert piece.medalwright.spec.blank.diameter == 41.0
    assert (width(), quality()) == (pytest.approx(41.0, abs=0.02), "draft")
    assert live.is_current(piece)
    bpy.ops.ed.redo()
    come_up(live)
    piece = bpy.context.object
    assert width() == pytest.approx(45.0, abs=0.02)
    assert live.is_current(piece)


def test_an_undone_draft_is_stopped_too(live: Any) -> None:
    piece = bpy.context.object
    bpy.ops.ed.undo_push(message="First")
    with live.quietly():
        piece.medalwright.spec.obverse.legend.add().text = WORDS
    bpy.ops.ed.undo_push(message="Words")
    job = live.start(piece, "draft", bpy.context)
    bpy.ops.ed.undo()
    assert job.stale
    come_up(live)
    assert "legend" not in bpy.context.object.data.medalwright.zones


def test_a_fine_build_of_a_deleted_piece_is_stopped(live: Any) -> None:
    job = fine(live, bpy.context.object)
    bpy.ops.object.delete()
    bpy.context.view_layer.update()
    assert job.stale
    settled(live)
    assert job.state == "cancelled"


@pytest.mark.parametrize("is_live", [True, False])
def test_a_change_stops_the_fine_build_of_what_was_before(
    live: Any, monkeypatch: pytest.MonkeyPatch, is_live: bool
) -> None:
    piece = bpy.context.object
    job = fine(live, piece)
    monkeypatch.setattr(live, "_follows", lambda _: is_live)
    piece.medalwright.spec.blank.diameter = 44.0
    assert job.stale
    come_up(live)
    assert (job.state, quality()) == ("cancelled", "draft")
    assert live.is_current(piece) is is_live


def test_a_stale_result_that_comes_all_the_same_is_dropped(live: Any) -> None:
    piece = bpy.context.object
    job = live.request(piece, "fine", bpy.context)
    live.session.builder.run_here(job)
    with live.quietly():
        piece.medalwright.spec.blank.diameter = 44.0
    assert live.finish(job) == ""
    assert job.stale
    assert (quality(), width()) == ("draft", pytest.approx(41.0, abs=0.02))


def test_files_are_written_as_they_were_asked_for(live: Any, tmp_path: Any) -> None:
    """What is exported does not change with what is done meanwhile, and the mesh shows the new."""
    piece = bpy.context.object
    folder = {"folder": str(tmp_path), "overwrite": False, "size": 64}
    job = live.start(piece, "draft", bpy.context, folder)
    piece.medalwright.spec.blank.diameter = 44.0
    come_up(live)
    assert (tmp_path / "medal.stl").exists()
    assert job.result.report["diameter_mm"] == pytest.approx(41.0, abs=0.02)
    assert width() == pytest.approx(44.0, abs=0.02)


def test_a_fine_build_goes_on_where_nothing_of_its_piece_changes(live: Any) -> None:
    """Other objects, undo of them, and sources that Blender tells of though they are the same."""
    piece = bpy.context.object
    bpy.ops.mesh.primitive_ico_sphere_add(subdivisions=4, location=(60.0, 0.0, 0.0))
    ball = bpy.context.object
    with live.quietly():
        piece.medalwright.spec.obverse.relief.add().source_objects.add().object = ball
    bpy.ops.ed.undo_push(message="Relief")
    bpy.ops.object.empty_add()
    bpy.ops.ed.undo_push(message="Empty")
    piece = bpy.data.objects["Medal"]
    job = fine(live, piece)
    ball.data.update()
    ball.update_tag()
    bpy.context.view_layer.update()
    live.fire()
    assert live.session.builder.jobs == (job,)
    ball.location.x += 1.0
    bpy.context.view_layer.update()
    live.fire()
    assert job.stale
    settled(live)
    assert (job.state, bpy.data.objects["Medal"].data.medalwright.quality) == ("cancelled", "draft")


def test_an_undo_of_something_else_lets_a_fine_build_be(live: Any) -> None:
    piece = bpy.context.object
    with live.quietly():
        piece.medalwright.spec.obverse.legend.add().text = WORDS
    bpy.ops.ed.undo_push(message="Words")
    bpy.ops.object.empty_add()
    bpy.ops.ed.undo_push(message="Empty")
    job = live.start(bpy.data.objects["Medal"], "fine", bpy.context)
    while job.state != "running":
        live.session.builder.poll(0.1)
    bpy.ops.ed.undo()
    assert not job.stale
    come_up(live)
    assert job.state == "done"
    assert bpy.data.objects["Medal"].data.medalwright.quality == "fine"
