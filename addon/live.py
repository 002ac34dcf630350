# SPDX-License-Identifier: GPL-3.0-or-later
"""From a change of a property to a new draft on screen.

Objects are remembered by `session_uid` only: after an undo every reference Python held is
dead. What is kept here is never anything that Blender should undo.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import bpy

from . import convert, layout, meshes, sculpted, sources, units
from .jobs import Builder, Job
from .medalcore.errors import MedalError
from .medalcore.spec import spec_from_dict

WAIT = 0.2
"""Seconds a change may be waited for where it is made. The new mesh is then in the very next
redraw, instead of two redraws later; no person takes so short a while for a standstill."""

DELAY = 0.1
"""Seconds without a change before a draft is begun for what can change in every redraw."""

BEAT = 0.01
"""Seconds between two looks at the builder."""

NEWS = 0.25
"""Seconds between two redraws of the sidebar that only tell how far a build is."""


class _Session:
    """What goes on between Blender and the builder in this session."""

    def __init__(self) -> None:
        self.clear()

    def clear(self) -> None:
        """Begin anew."""
        self.builder = Builder()
        self.pending: set[int] = set()
        self.errors: dict[int, str] = {}
        self.notes: dict[int, str] = {}
        self.watched: set[int] = set()  # jobs an operator finishes itself
        self.sources: dict[int, set[int]] = {}  # pieces by the objects of their reliefs
        self.models = sources.Kept()
        self.sculpted: set[int] = set()  # pieces with a relief being sculpted
        self.took: dict[tuple[int, str], float] = {}  # by piece and what was changed, s
        self.skipped = 0  # changes that were not waited for, in a row
        self.waited = False  # in this turn of Blender's loop
        self.told = 0.0  # when progress was last shown
        self.quiet = 0


session = _Session()


def is_piece(item: bpy.types.Object | None) -> bool:
    """Tell whether an object is a piece of ours."""
    return item is not None and item.type == "MESH" and item.medalwright.is_piece


def piece_by_uid(uid: int) -> bpy.types.Object | None:
    """Return the piece with a session uid, or None if it is gone."""
    return next((o for o in bpy.data.objects if o.session_uid == uid and is_piece(o)), None)


@contextmanager
def quietly() -> Iterator[None]:
    """Set properties without starting drafts."""
    session.quiet += 1
    try:
        yield
    finally:
        session.quiet -= 1


def digest_of(piece: bpy.types.Object) -> str:
    """Return a digest of everything in Blender's properties a build depends on."""
    asked = json.dumps(convert.to_dict(piece.medalwright.spec), sort_keys=True)
    places = sculpted.open_places(piece)
    if places:
        asked += json.dumps(places)
    return hashlib.sha256(asked.encode()).hexdigest()[:32]


def scene_of(piece: bpy.types.Object) -> bpy.types.Scene:
    """Return the scene a piece stands in: the one in the window if it is there too."""
    scenes = piece.users_scene
    here = bpy.context.scene
    return here if here in scenes or not scenes else scenes[0]


def is_current(piece: bpy.types.Object) -> bool:
    """Tell whether the mesh is what the properties ask for."""
    built = piece.data.medalwright
    unit = units.units_per_mm(scene_of(piece))
    return built.digest == digest_of(piece) and abs(built.unit / unit - 1.0) < 1e-6


def touch(item: Any) -> None:
    """Note a change; a draft follows when changes have stopped for a moment."""
    if _follows(item):
        session.pending.add(item.session_uid)
        _call(fire, DELAY)


def changed(item: Any, why: str) -> None:
    """Begin a draft for a property that was just set, and wait a moment for its mesh.

    Only the first change of a turn of Blender's loop: a script that sets many properties
    is not held up, and gets one more draft for all of them. Nor is there any use in waiting
    where such changes take long; one time in four that is tried anew.

    Parameters
    ----------
    item : Object
    why : str
        What was changed: changes of one kind take about as long as each other.
    """
    if not _follows(item):
        return
    if session.waited or not session.builder.is_apart:
        session.pending.add(item.session_uid)
        _call(fire, 0.0 if session.builder.is_apart else DELAY)
        return
    session.waited = True
    _call(_next_turn, 0.0)
    end = time.monotonic() + WAIT
    job = _begin(item, why)
    if job is not None and _is_quick(item.session_uid, why):
        _settle(session.builder.wait(job, end - time.monotonic()))


def _is_quick(uid: int, why: str) -> bool:
    """Tell whether a change is worth waiting for, after those before it."""
    if session.took.get((uid, why), 0.0) < 2.0 * WAIT:
        return True
    session.skipped = (session.skipped + 1) % 4
    return session.skipped == 0


def _follows(item: Any) -> bool:
    """Tell whether a change of an object asks for a draft."""
    if session.quiet or bpy.app.background or not is_piece(item):
        return False
    return bool(item.medalwright.live)


def _call(function: Callable[[], float | None], delay: float) -> None:
    """Have a function called once, so many seconds from now."""
    if bpy.app.timers.is_registered(function):
        bpy.app.timers.unregister(function)
    bpy.app.timers.register(function, first_interval=delay)


def _next_turn() -> None:
    session.waited = False


def fire() -> None:
    """Begin a draft for every piece that was changed."""
    uids, session.pending = session.pending, set()
    for uid in uids:
        piece = piece_by_uid(uid)
        if piece is not None:
            _begin(piece, "several")


def _begin(piece: bpy.types.Object, why: str) -> Job | None:
    """Begin a draft where there is nobody to catch what goes wrong."""
    try:
        return start(piece, "draft", bpy.context, why=why)
    except Exception as error:
        session.errors[piece.session_uid] = told(error)
        layout.redraw()
        return None


def told(error: Exception) -> str:
    """Return what a person is told about an error: one line, whoever's fault it is."""
    if isinstance(error, MedalError):
        return str(error)
    return f"unexpected {type(error).__name__}: {' '.join(str(error).split())}"


def request(
    piece: bpy.types.Object,
    quality: str,
    context: bpy.types.Context,
    deliver: dict[str, Any] | None = None,
    why: str = "",
) -> Job:
    """Return the job for a piece as its properties are now.

    With a reason, its source objects are taken as they were, unless Blender told that one
    has changed.

    Raises
    ------
    MedalError
        If the spec or one of its sources cannot be used.
    """
    asked = convert.to_dict(piece.medalwright.spec)
    spec_from_dict(asked)  # a wrong spec is told at once, not after the queue
    watch(piece)
    models = sources.models_of(piece, context, session.models if why else None)
    if quality == "draft" and deliver is None:
        asked = sculpted.without_open(piece, asked)
    if sculpted.open_places(piece):
        session.sculpted.add(piece.session_uid)
    return Job(piece.session_uid, asked, quality, models, deliver, digest_of(piece), why)


def start(
    piece: bpy.types.Object,
    quality: str,
    context: bpy.types.Context,
    deliver: dict[str, Any] | None = None,
    why: str = "",
) -> Job:
    """Queue a build and see to it that its result arrives.

    Raises
    ------
    MedalError
        As `request`.
    """
    job = session.builder.submit(request(piece, quality, context, deliver, why))
    session.builder.advance()
    if not bpy.app.timers.is_registered(tick):
        bpy.app.timers.register(tick, first_interval=BEAT)
    layout.redraw()
    return job


def tick() -> float | None:
    """Move the builder on; runs while it has work."""
    before = session.builder.news()
    over = session.builder.poll()
    _settle(over)
    if session.builder.news() != before:
        now = time.monotonic()
        if over or now - session.told > NEWS:
            session.told = now
            layout.redraw()
    return None if session.builder.is_idle else BEAT


def _settle(over: list[Job]) -> None:
    """Put the results of jobs on their pieces, except those an operator waits for."""
    for job in over:
        if job.number in session.watched:
            continue
        if job.why and job.result is not None:
            seconds = job.result.report.get("seconds", {}).get("all", 0.0)
            session.took[job.owner, job.why] = seconds
        try:
            finish(job)
        except Exception as error:  # nobody else is there to tell
            session.errors[job.owner] = told(error)


def finish(job: Job) -> str:
    """Put the result of a job on its piece; return what went wrong, or nothing.

    The piece is left as it was if the job failed, or the piece has gone, or is being edited.
    """
    piece = piece_by_uid(job.owner)
    if job.state == "failed":
        session.errors[job.owner] = job.message
        return job.message
    if job.state != "done" or job.result is None or piece is None:
        return ""
    if piece.mode == "EDIT":
        session.errors[job.owner] = "Leave Edit Mode and rebuild: the mesh is being edited"
        return session.errors[job.owner]
    if job.digest == digest_of(piece):  # else what is wrong with the newest numbers stays told
        session.errors.pop(job.owner, None)
    session.notes.pop(job.owner, None)
    if job.files or job.message:
        session.notes[job.owner] = files_note(job) or job.message
    unit = units.units_per_mm(scene_of(piece))
    meshes.show(piece, job.result, unit=unit, digest=job.digest)
    _follow(piece)
    return ""


def _follow(piece: bpy.types.Object) -> None:
    """Let pieces that share the mesh, as linked duplicates do, ask for the same."""
    with quietly():
        for item in bpy.data.objects:
            if item != piece and is_piece(item) and item.data == piece.data:
                convert.copy(piece.medalwright.spec, item.medalwright.spec)


def watch(piece: bpy.types.Object) -> None:
    """Remember which objects a piece's reliefs are made from."""
    for pieces in session.sources.values():
        pieces.discard(piece.session_uid)
    for group, name in convert.model_sources(piece.medalwright.spec):
        if getattr(group, f"{name}_kind") == "OBJECT":
            for item in convert.source_objects(group, name):
                session.sources.setdefault(item.session_uid, set()).add(piece.session_uid)


def sheets_changed() -> None:
    """Bring reliefs back whose sheet was deleted by hand."""
    for uid in list(session.sculpted):
        piece = piece_by_uid(uid)
        if piece is None or not sculpted.open_places(piece):
            session.sculpted.discard(uid)
            touch(piece)


def source_changed(uid: int) -> None:
    """Note that an object has changed which reliefs are made from."""
    session.models.forget(uid)
    for owner in session.sources.get(uid, ()):
        touch(piece_by_uid(owner))


def files_note(job: Job) -> str:
    """Say what a job has written."""
    return f"{len(job.files)} files in {Path(job.files[0]).parent}" if job.files else ""


def build_now(
    piece: bpy.types.Object,
    quality: str,
    context: bpy.types.Context,
    deliver: dict[str, Any] | None = None,
) -> Job:
    """Build in this process and put the result on the piece.

    Raises
    ------
    MedalError
        If the spec, a source or the build failed; the piece is as it was.
    """
    job = session.builder.run_here(request(piece, quality, context, deliver))
    trouble = finish(job)
    if trouble:
        raise MedalError(trouble)
    return job


def refresh(context: bpy.types.Context) -> None:
    """Begin drafts for live pieces whose mesh is not what their properties ask for.

    After an undo, Blender may keep a mesh that a draft has changed since the step.
    """
    for item in context.scene.objects:
        if is_piece(item) and not is_current(item):
            touch(item)


def close() -> None:
    """Stop timers and the process, and forget everything."""
    for timer in (fire, tick, _next_turn):
        if bpy.app.timers.is_registered(timer):
            bpy.app.timers.unregister(timer)
    session.builder.close()
    session.clear()
