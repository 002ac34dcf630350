"""The builder: worker process, queue, cancelling, and what happens when the process cannot be.

Timers do not fire without a window, so these tests poll as the timer would.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterator
from typing import Any

import bpy
import numpy as np
import pytest

BLANK: dict[str, Any] = {"blank": {"diameter": 30.0}}
STONE = (
    np.array([[-1, -1, 0], [1, -1, 0], [0, 1, 0], [0, 0, 1.0]]),
    np.array([[0, 1, 3], [1, 2, 3], [2, 0, 3], [0, 2, 1]]),
)
ON_STONE = {**BLANK, "obverse": {"relief": [{"source": "object:Stone", "fit": 9.0}]}}


@pytest.fixture
def builder(part: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """Return a builder that uses a process, as in a window."""
    made = part("work.jobs").Builder(apart=True)
    yield made
    made.close()


def until(builder: Any, done: Callable[[], bool], seconds: float = 40.0) -> list[Any]:
    over = []
    end = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < end, "took too long"
        over += builder.poll()
        time.sleep(0.01)
    return over


def test_the_process_builds_what_this_one_builds(builder: Any, part: Any) -> None:
    job = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    assert job.state == "waiting"
    until(builder, lambda: job.is_over)
    assert job.state == "done", job.message
    here = builder.run_here(part("work.jobs").Job(1, BLANK, "draft"))
    assert np.array_equal(job.result.vertices, here.result.vertices)
    assert np.array_equal(job.result.triangles, here.result.triangles)
    assert job.result.zone_names == tuple(here.result.zone_names)
    assert builder.is_idle


def test_a_newer_draft_takes_the_place_of_a_waiting_one(builder: Any, part: Any) -> None:
    jobs = [builder.submit(part("work.jobs").Job(1, BLANK, "draft")) for _ in range(4)]
    until(builder, lambda: jobs[-1].is_over)
    assert [j.state for j in jobs] == ["cancelled", "cancelled", "cancelled", "done"]


def test_a_running_build_is_cancelled(builder: Any, part: Any) -> None:
    words = {"legend": [{"text": "A LONG LEGEND OF MANY WORDS"}]}
    job = builder.submit(part("work.jobs").Job(1, {**BLANK, "obverse": words}, "fine"))
    until(builder, lambda: job.state == "running")
    process = builder.worker
    next_one = builder.submit(part("work.jobs").Job(2, BLANK, "draft"))
    builder.cancel(next_one)
    assert next_one.state == "cancelled"
    builder.cancel(job)
    start = time.monotonic()
    until(builder, lambda: job.is_over)
    assert job.state == "cancelled"
    assert job.result is None
    assert time.monotonic() - start < 3.0
    assert builder.worker is process  # it stopped by itself and kept what it had
    after = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    until(builder, lambda: after.is_over)
    assert after.state == "done"


def kill(builder: Any) -> None:
    os.kill(builder.worker.pid, signal.SIGTERM)
    while builder.worker.is_alive():
        time.sleep(0.01)


def test_a_process_killed_while_idle_is_replaced_for_the_next_build(
    builder: Any, part: Any
) -> None:
    first = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    until(builder, lambda: first.is_over)
    kill(builder)
    job = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    until(builder, lambda: job.is_over)
    assert (job.state, job.message) == ("done", part("work.jobs").ANEW)
    again = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    until(builder, lambda: again.is_over)
    assert (again.state, again.message) == ("done", "")


def test_a_process_killed_in_mid_build_is_one_line_and_comes_back(builder: Any, part: Any) -> None:
    words = {"legend": [{"text": "A LONG LEGEND OF MANY WORDS"}]}
    job = builder.submit(part("work.jobs").Job(1, {**BLANK, "obverse": words}, "fine"))
    until(builder, lambda: job.state == "running")
    kill(builder)
    until(builder, lambda: job.is_over)
    assert (job.state, job.message) == ("failed", part("work.jobs").LOST)
    again = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    until(builder, lambda: again.is_over)
    assert (again.state, again.message) == ("done", "")


def test_a_process_that_is_ready_and_dies_each_time_is_not_started_for_ever(
    builder: Any, part: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    dies = 'print(\'{{"event": "ready"}}\', flush=True)  # {home}'
    monkeypatch.setattr(part("work.worker"), "_BOOT", dies)
    job = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    until(builder, lambda: job.is_over)
    assert (job.state, job.message) == ("failed", part("work.jobs").LOST)


@pytest.mark.parametrize("error", [OSError("no such program"), TypeError("None"), ValueError("0")])
def test_without_a_process_it_builds_here_and_says_so(
    builder: Any, part: Any, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise error

    monkeypatch.setattr(part("work.worker").subprocess, "Popen", refuse)
    job = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    until(builder, lambda: job.is_over)
    assert job.state == "done"
    assert str(error) in builder.trouble
    assert "in Blender itself" in builder.trouble


def test_a_process_that_dies_at_once_is_replaced_by_this_one(
    builder: Any, part: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(part("work.worker"), "_BOOT", "raise SystemExit('of no home')  # {home}")
    job = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    until(builder, lambda: job.is_over)
    assert job.state == "done"
    assert "(of no home)" in builder.trouble


def test_files_that_are_held_elsewhere_do_not_hold_a_build(
    builder: Any, part: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A scanner that has a file open keeps Windows from removing it."""

    def refuse(*_: Any, **__: Any) -> None:
        raise PermissionError(13, "in use")

    monkeypatch.setattr(part("work.exchange"), "KEPT_MODELS", 0)
    monkeypatch.setattr(part("work.exchange").Path, "unlink", refuse)
    for i in range(2):
        models = {"object:Stone": (STONE[0] * (1.0 + i), STONE[1])}
        job = builder.submit(part("work.jobs").Job(1, ON_STONE, "draft", models))
        until(builder, lambda job=job: job.is_over)
        assert job.state == "done", job.message


@pytest.mark.parametrize("left", [b"", b"PK torn"])
def test_a_torn_result_is_one_line(builder: Any, part: Any, left: bytes) -> None:
    job = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    until(builder, lambda: job.state == "running")
    out = builder.files.piece(job.number)
    while not out.exists():
        time.sleep(0.005)
    out.write_bytes(left)
    until(builder, lambda: job.is_over)
    assert job.state == "failed"
    assert "cannot be read" in job.message
    again = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    until(builder, lambda: again.is_over)
    assert again.state == "done", again.message


def test_an_answer_that_makes_no_sense_ends_the_job(
    builder: Any, part: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    until(builder, lambda: job.state == "running")
    monkeypatch.setattr(
        type(builder.worker), "answers", lambda *_: [{"id": job.number, "event": "progress"}]
    )
    until(builder, lambda: job.is_over)
    assert job.state == "failed"
    assert job.message.startswith("unexpected KeyError")


def test_errors_of_the_core_come_through(builder: Any, part: Any) -> None:
    job = builder.submit(part("work.jobs").Job(1, {"blank": {"thickness": 0.01}}, "draft"))
    until(builder, lambda: job.is_over)
    assert job.state == "failed"
    assert "blank" in job.message
    assert "\n" not in job.message


def test_temporary_files_do_not_pile_up(builder: Any, part: Any) -> None:
    """As when a source is sculpted: every build has a model that was not there before."""
    corners, faces = STONE
    for i in range(12):
        models = {"object:Stone": (corners * (1.0 + 0.1 * i), faces)}
        job = builder.submit(part("work.jobs").Job(1, ON_STONE, "draft", models))
        until(builder, lambda job=job: job.is_over)
        assert job.state == "done", job.message
    kept = [path.name.split("-")[0] for path in builder.files.folder().glob("*.npz")]
    assert kept == ["model"] * part("work.exchange").KEPT_MODELS


def test_a_model_that_cannot_be_written_is_one_line(
    builder: Any, part: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on a full disk, half-way through: nothing half is kept for the next build."""

    def fill(handle: Any, **_: Any) -> None:
        handle.write(b"PK")
        raise OSError(28, "No space left on device")

    first = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    until(builder, lambda: first.is_over)
    monkeypatch.setattr(part("work.exchange").np, "savez", fill)
    job = builder.submit(part("work.jobs").Job(1, ON_STONE, "draft", {"object:Stone": STONE}))
    until(builder, lambda: job.is_over)
    assert job.state == "failed"
    assert "No space left" in job.message
    monkeypatch.undo()
    again = builder.submit(part("work.jobs").Job(1, ON_STONE, "draft", {"object:Stone": STONE}))
    until(builder, lambda: again.is_over)
    assert again.state == "done", again.message


def test_a_result_that_was_swept_away_is_one_line(builder: Any, part: Any) -> None:
    """Temporary folders are cleared now and then; the next build has one again."""
    job = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    until(builder, lambda: job.state == "running")
    out = builder.files.folder() / f"piece-{job.number}.npz"
    while not out.exists():
        time.sleep(0.005)
    out.unlink()
    until(builder, lambda: job.is_over)
    assert job.state == "failed"
    assert out.name in job.message
    again = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    until(builder, lambda: again.is_over)
    assert again.state == "done", again.message


def test_closing_ends_the_process_and_removes_its_files(builder: Any, part: Any) -> None:
    job = builder.submit(part("work.jobs").Job(1, BLANK, "draft"))
    until(builder, lambda: job.is_over)
    worker, folder = builder.worker, builder.files.folder()
    builder.close()
    assert not worker.is_alive()
    assert not folder.exists()


def test_a_result_for_a_deleted_piece_is_dropped(addon: Any, part: Any) -> None:
    bpy.ops.medalwright.new()
    piece = bpy.context.object
    job = part("work.live").request(piece, "draft", bpy.context)
    part("work.live").session.builder.run_here(job)
    bpy.data.objects.remove(piece)
    assert part("work.live").finish(job) == ""


def test_a_piece_in_edit_mode_is_left_alone(addon: Any, part: Any) -> None:
    bpy.ops.medalwright.new()
    piece = bpy.context.object
    job = part("work.live").request(piece, "fine", bpy.context)
    part("work.live").session.builder.run_here(job)
    bpy.ops.object.mode_set(mode="EDIT")
    assert "Edit Mode" in part("work.live").finish(job)
    bpy.ops.object.mode_set(mode="OBJECT")
    assert piece.data.medalwright.quality == "draft"


def test_a_bug_is_one_line_too(
    addon: Any, part: Any, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Whatever goes wrong in a timer is told in the panel, not in a traceback."""
    live = part("work.live")
    bpy.ops.medalwright.new()
    piece = bpy.context.object
    live.session.pending.add(piece.session_uid)

    def fail(*_: Any) -> None:
        raise KeyError("nothing\nof use")

    monkeypatch.setattr(part("scene.sources"), "models_of", fail)
    live.fire()
    assert live.session.errors[piece.session_uid].startswith("unexpected KeyError: ")
    with pytest.raises(RuntimeError, match="unexpected KeyError") as caught:
        bpy.ops.medalwright.make_fine()
    assert "File " not in str(caught.value)
    assert "Traceback" not in capfd.readouterr().err


def test_places_are_told_in_the_words_of_the_panel(addon: Any, part: Any) -> None:
    told = part("props.labels").told
    assert told("obverse.field.circle[0].radius: too large") == (
        "Obverse, Field, Circle 1, Radius: too large"
    )
    assert told("blank.chamfer: too wide") == "Blank, Broken Edge: too wide"
    assert told("obverse.border[0].width: none") == "Obverse, Border 1, Width of Tooth: none"
    assert told("object 'Stone' has no faces") == "object 'Stone' has no faces"
    assert told("object:Stone + Gull: 2 loose shells") == "Stone + Gull: 2 loose shells"
    assert told("obverse.legend[0] and reverse.border[1] meet") == (
        "Obverse, Legend 1 and Reverse, Border 2 meet"
    )
    for file in ("lighthouse.stl: no such file", "/maps/edge.svg: no path", "blank.toml: no"):
        assert told(file) == file
    assert part("props.labels").place("between two words") == "between two words"
    doing = part("props.labels").doing
    assert doing("obverse.relief[0]") == "Obverse, Relief 1"
    assert doing("reading the model") == "Reading the model"
    for file in ("obverse.png", "obverse.depth.png", "medal.report.json", "edge.3mf"):
        assert doing(f"file {file}") == f"File {file}"
    place = part("props.labels").place
    assert place("obverse.legend[0], reverse") == "Obverse, Legend 1; Reverse"
    assert (doing("", True), doing("", False)) == ("Working", "Waiting")
