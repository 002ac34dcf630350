"""From a changed property to the mesh: what is waited for, what gives way, what is read anew.

Timers do not fire without a window, so these tests call what the timers would.
"""

from __future__ import annotations

import os
import signal
import sys
import time
from typing import Any

import bpy
import pytest

WORDS: dict[str, Any] = {"legend": [{"text": "A LONG LEGEND OF MANY WORDS"}]}
BLANK: dict[str, Any] = {"blank": {"diameter": 30.0}}

halting = pytest.mark.skipif(
    sys.platform == "win32", reason="Windows has no signal that halts a process"
)


def width() -> float:
    return 2.0 * max(vertex.co.x for vertex in bpy.context.object.data.vertices)


def settled(live: Any) -> None:
    while not live.session.builder.is_idle:
        live.tick()
        time.sleep(0.01)


def test_a_set_property_comes_back_with_its_mesh(
    live: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(live, "WAIT", 30.0)
    blank = bpy.context.object.medalwright.spec.blank
    blank.diameter = 38.0
    assert width() == pytest.approx(38.0, abs=0.02)
    assert live.session.builder.is_idle
    assert live.is_current(bpy.context.object)


@halting
def test_a_change_is_waited_for_no_longer_than_stated(live: Any) -> None:
    """The process is stopped from outside: nothing comes back, and Blender goes on."""
    blank = bpy.context.object.medalwright.spec.blank
    os.kill(live.session.builder.worker.pid, signal.SIGSTOP)
    try:
        start = time.monotonic()
        blank.diameter = 38.0
        assert live.WAIT - 0.02 < time.monotonic() - start < live.WAIT + 0.1
    finally:
        os.kill(live.session.builder.worker.pid, signal.SIGCONT)
    assert not live.session.builder.is_idle
    settled(live)
    assert width() == pytest.approx(38.0, abs=0.02)


def test_only_the_first_change_of_a_turn_is_waited_for(
    live: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    waits: list[float] = []
    wait = live.session.builder.wait
    monkeypatch.setattr(
        live.session.builder, "wait", lambda job, s: (waits.append(s), wait(job, s))[1]
    )
    blank = bpy.context.object.medalwright.spec.blank
    for diameter in (37.0, 36.0, 35.0):
        blank.diameter = diameter
    assert len(waits) == 1
    assert live.session.pending == {bpy.context.object.session_uid}
    live._next_turn()
    live.fire()
    settled(live)
    assert width() == pytest.approx(35.0, abs=0.02)


def test_what_took_long_is_not_waited_for(live: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    waits: list[float] = []
    monkeypatch.setattr(live.session.builder, "wait", lambda job, s: waits.append(s) or [])
    piece = bpy.context.object
    live.session.took[piece.session_uid, type(piece.medalwright.spec.blank).__name__] = 3.0
    for diameter in (37.0, 38.0, 39.0):
        piece.medalwright.spec.blank.diameter = diameter
        live._next_turn()
    assert not waits
    piece.medalwright.spec.edge.finish = "reeded"
    assert len(waits) == 1
    settled(live)
    live._next_turn()
    piece.medalwright.spec.blank.diameter = 40.0  # tried anew: it may be quick by now
    assert len(waits) == 2
    settled(live)
    key = piece.session_uid, type(piece.medalwright.spec.edge).__name__
    assert 0.0 < live.session.took[key] < 10.0


def test_a_wrong_value_is_told_at_once(live: Any) -> None:
    piece = bpy.context.object
    piece.medalwright.spec.blank.thickness = 0.05
    assert "thickness" in live.session.errors[piece.session_uid]
    assert width() == pytest.approx(41.0, abs=0.02)


@halting
def test_an_older_draft_does_not_silence_a_newer_error(live: Any) -> None:
    piece = bpy.context.object
    os.kill(live.session.builder.worker.pid, signal.SIGSTOP)
    try:
        piece.medalwright.spec.blank.diameter = 38.0
        live._next_turn()
        circles = piece.medalwright.spec.obverse.field.circle
        circles.add()  # of no radius
        live.changed(piece, "circle")
    finally:
        os.kill(live.session.builder.worker.pid, signal.SIGCONT)
    settled(live)
    assert width() == pytest.approx(38.0, abs=0.02)
    assert "radius" in live.session.errors[piece.session_uid]
    live._next_turn()
    circles[0].radius = 5.0
    settled(live)
    assert piece.session_uid not in live.session.errors


def test_one_draft_in_two_comes_to_its_end(part: Any) -> None:
    """While a slider is dragged, each change stops the draft before, but never two in a row."""
    builder = part("work.jobs").Builder(apart=True)
    job = part("work.jobs").Job
    try:
        first = builder.submit(job(1, {**BLANK, "obverse": WORDS}, "draft"))
        while first.state != "running":
            builder.poll(0.1)
        second = builder.submit(job(1, BLANK, "draft"))
        third = builder.submit(job(1, BLANK, "draft"))
        other = builder.submit(job(2, BLANK, "draft"))
        assert [j.state for j in (first, second, third)] == ["running", "cancelled", "waiting"]
        while third.state != "running":
            builder.poll(0.1)
        assert first.state == "cancelled"
        fourth = builder.submit(job(1, BLANK, "draft"))
        assert not third.replaced
        over = []
        while not builder.is_idle:
            over += builder.poll(0.1)
        assert [j.state for j in (third, fourth, other)] == ["done"] * 3
        assert over == [third, other, fourth]
    finally:
        builder.close()


def test_a_fine_build_does_not_give_way_to_a_draft(part: Any) -> None:
    builder = part("work.jobs").Builder(apart=True)
    job = part("work.jobs").Job
    try:
        fine = builder.submit(job(1, BLANK, "fine"))
        while fine.state != "running":
            builder.poll(0.1)
        builder.submit(job(1, BLANK, "draft"))
        assert not fine.replaced
    finally:
        builder.close()


def test_source_objects_are_read_when_they_changed(
    live: Any, part: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    piece = bpy.context.object
    bpy.ops.mesh.primitive_ico_sphere_add(subdivisions=4, location=(60.0, 0.0, 0.0))
    ball = bpy.context.object
    with live.quietly():
        relief = piece.medalwright.spec.obverse.relief.add()
        relief.source_objects.add().object = ball
    read: list[int] = []
    arrays_of = part("scene.sources").arrays_of
    monkeypatch.setattr(
        part("scene.sources"), "arrays_of", lambda *a: (read.append(1), arrays_of(*a))[1]
    )

    def reads(why: str = "blank") -> int:
        del read[:]
        live.request(piece, "draft", bpy.context, why=why)
        return len(read)

    assert [reads(), reads()] == [1, 0]
    ball.modifiers.new("Wave", "WAVE")
    bpy.context.view_layer.update()
    assert [reads(), reads()] == [1, 0]
    ball.location.x += 1.0
    bpy.context.view_layer.update()
    assert [reads(), reads()] == [1, 0]
    bpy.context.scene.frame_set(20)
    assert [reads(), reads()] == [1, 0]
    bpy.context.scene.unit_settings.scale_length = 0.01
    assert [reads(), reads()] == [1, 0]
    assert reads("") == 1  # asked for by hand: as they are now, whatever was told
