# SPDX-License-Identifier: GPL-3.0-or-later
"""Pieces follow what happens around them: to their sources, in undo, with files and pieces new."""

from __future__ import annotations

import bpy

from .. import layout
from ..scene import sheets, sources
from . import live
from .session import session


def arrived(piece: bpy.types.Object) -> None:
    """Follow the sources of a piece that was loaded, appended, linked or copied.

    A draft follows where its mesh is not what it asks for: a file may have been saved before
    its draft came.
    """
    session.sources.note(piece)
    look_for_sources(piece)
    if not live.is_current(piece):
        live.touch(piece)


def look_for_sources(piece: bpy.types.Object) -> None:
    """Tell of a source that is no more, and no longer of one that is back."""
    before = session.lost.pop(piece.session_uid, "")
    gone = sources.lost(piece)
    if gone:
        session.lost[piece.session_uid] = gone
        session.notes.pop(piece.session_uid, None)
    if gone != before:
        layout.redraw()


def refresh(context: bpy.types.Context) -> None:
    """Look at every piece of the scene anew.

    After an undo, Blender may keep a mesh that a draft has changed since the step.
    """
    for item in context.scene.objects:
        if live.is_piece(item):
            arrived(item)


def objects_changed() -> None:
    """Note that objects were added or deleted: sources, pieces that are being built."""
    live.drop_stale(only_gone=True)
    for uid in session.sources.pieces.copy():
        piece = live.piece_by_uid(uid)
        if piece is None:
            session.sources.pieces.discard(uid)
        else:
            look_for_sources(piece)


def object_changed(item: bpy.types.Object) -> None:
    """Note that an object has changed: a piece not known yet, or one reliefs are made from."""
    if live.is_piece(item) and item.session_uid not in session.sources.pieces:
        arrived(item)
    owners = session.sources.made_from(item.session_uid)
    if owners:
        session.models.forget(item.session_uid)
    for owner in owners:
        live.touch(live.piece_by_uid(owner))


def sheets_changed() -> None:
    """Bring reliefs back whose sheet was deleted by hand."""
    for uid in list(session.sculpted):
        piece = live.piece_by_uid(uid)
        if piece is None or not sheets.open_places(piece):
            session.sculpted.discard(uid)
            live.touch(piece)
