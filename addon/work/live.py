# SPDX-License-Identifier: GPL-3.0-or-later
"""From a change of a property to a new draft on screen."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import bpy

from .. import layout
from ..medalcore.errors import MedalError
from ..medalcore.spec import spec_from_dict
from ..props import convert
from ..scene import pieces, sheets, sources, units
from .jobs import Job
from .session import session as session

WAIT = 0.2
"""Seconds a change may be waited for where it is made. The new mesh is then in the very next
redraw, instead of two redraws later; no person takes so short a while for a standstill."""

DELAY = 0.1
"""Seconds without a change before a draft is begun for what can change in every redraw."""

BEAT = 0.01
"""Seconds between two looks at the builder."""

NEWS = 0.25
"""Seconds between two redraws of the sidebar that only tell how far a build is."""


def is_piece(item: bpy.types.Object | None) -> bool:
    """Tell whether an object is a piece of ours."""
    return item is not None and item.type == "MESH" and item.medalwright.is_piece


def is_linked(piece: bpy.types.Object) -> bool:
    """Tell whether a piece, or its mesh, is another file's: writing to it can end Blender."""
    return piece.library is not None or piece.data.library is not None


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
    spec = convert.to_dict(piece.medalwright.spec, source=convert.source_choice)
    asked = json.dumps(spec, sort_keys=True)
    places = sheets.open_places(piece)
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
    if built.digest != digest_of(piece) or abs(built.unit / unit - 1.0) >= 1e-6:
        return False
    return not sources.lost(piece)


def trouble_of(piece: bpy.types.Object) -> str:
    """Return what is wrong with a piece, or nothing."""
    uid = piece.session_uid
    return session.errors.get(uid) or session.lost.get(uid, "")


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
    if not session.quiet:
        drop_stale()
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
    return bool(item.medalwright.live) and not is_linked(item)


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
    """Begin a draft where there is nobody to catch what goes wrong.

    Not of what is there already: Blender tells of sources that have not really changed, when a
    file is opened or after an undo, and a fine mesh would be a draft then.
    """
    try:
        job = request(piece, "draft", bpy.context, why=why)
        built = piece.data.medalwright
        if (
            session.builder.job_of(job.owner)
            or not is_current(piece)
            or built.sources != job.sources
        ):
            return _queue(job)
        session.errors.pop(job.owner, None)
        layout.redraw()
        return None
    except Exception as error:
        session.fail(piece.session_uid, told(error))
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
    if is_linked(piece):
        raise MedalError("The medal is linked from another file; change it there")
    session.sources.note(piece)
    convert.keep_names(piece.medalwright.spec)
    models = sources.models_of(piece, context, session.models if why else None)
    if quality == "draft" and deliver is None:
        asked = sheets.without_open(piece, asked)
    if sheets.open_places(piece):
        session.sculpted.add(piece.session_uid)
    content = ",".join(sorted(map(session.builder.files.digest, models.values())))
    digest = digest_of(piece)
    return Job(piece.session_uid, asked, quality, models, deliver, digest, content, why)


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
    return _queue(request(piece, quality, context, deliver, why))


def _queue(job: Job) -> Job:
    """Queue a job; a fine build of anything else is stopped.

    Where one of the very same is on its way, a draft that comes by itself is not made besides.
    """
    for old in session.builder.jobs:
        if old.owner == job.owner and old.deliver is None and not old.is_draft:
            if (old.digest, old.sources) != (job.digest, job.sources):
                session.builder.drop(old)
            elif job.why and not old.is_over:
                return old
    session.builder.submit(job)
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
            session.fail(job.owner, told(error))


def is_asked(job: Job) -> bool:
    """Tell whether what a job makes is what its piece asks for now."""
    piece = piece_by_uid(job.owner)
    return piece is not None and bool(piece.users_scene) and job.digest == digest_of(piece)


def drop_stale(*, drafts: bool = False, only_gone: bool = False) -> None:
    """Stop builds that no piece asks for any more.

    Files are written as they were asked for. A draft may be a step behind, else nothing would
    be seen while a slider is dragged, but not behind an undo.

    Parameters
    ----------
    drafts : bool
        Whether drafts are stopped too.
    only_gone : bool
        Whether only pieces that are gone are looked for, drafts of them too.
    """
    for job in session.builder.jobs:
        if job.deliver is not None or job.is_over:
            continue
        if only_gone:
            piece = piece_by_uid(job.owner)
            stale = piece is None or not piece.users_scene
        else:
            stale = (drafts or not job.is_draft) and not is_asked(job)
        if stale:
            session.builder.drop(job)


def finish(job: Job) -> str:
    """Put the result of a job on its piece; return what went wrong, or nothing.

    The piece is left as it was if the job failed, or the piece has gone, or is being edited, or
    asks for something else by now; `job.stale` tells that. Only a draft may be a step behind.
    """
    piece = piece_by_uid(job.owner)
    if job.state == "failed":
        session.fail(job.owner, job.message)
        return job.message
    if job.state != "done" or job.result is None or piece is None:
        return ""
    if not job.is_draft and not is_asked(job):
        job.stale = True
        if job.files:
            session.notes[job.owner] = f"{job.written}, of the medal as it was then"
        return ""
    if piece.mode == "EDIT":
        session.fail(job.owner, "Leave Edit Mode and rebuild: the mesh is being edited")
        return session.errors[job.owner]
    if job.digest == digest_of(piece):  # else what is wrong with the newest numbers stays told
        session.errors.pop(job.owner, None)
    session.notes.pop(job.owner, None)
    if job.files or job.message:
        session.notes[job.owner] = job.written or job.message
    unit = units.units_per_mm(scene_of(piece))
    pieces.show(piece, job.result, unit=unit, digest=job.digest, sources=job.sources)
    _follow(piece)
    return ""


def _follow(piece: bpy.types.Object) -> None:
    """Let pieces that share the mesh, as linked duplicates do, ask for the same."""
    with quietly():
        for item in bpy.data.objects:
            if item != piece and is_piece(item) and item.data == piece.data:
                convert.copy(piece.medalwright.spec, item.medalwright.spec)


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


def close() -> None:
    """Stop timers and the process, and forget everything."""
    for timer in (fire, tick, _next_turn):
        if bpy.app.timers.is_registered(timer):
            bpy.app.timers.unregister(timer)
    session.builder.close()
    session.clear()
