# SPDX-License-Identifier: GPL-3.0-or-later
"""What is remembered from one call of Blender's to the next, and forgotten with the file.

Objects are remembered by `session_uid` only: after an undo every reference Python held is
dead. What is kept here is never anything that Blender should undo.
"""

from __future__ import annotations

from ..scene import sources
from .jobs import Builder


class Session:
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
        self.sources = sources.Watched()
        self.lost: dict[int, str] = {}  # by piece, what is told of a source that is gone
        self.models = sources.Kept()
        self.sculpted: set[int] = set()  # pieces with a relief being sculpted
        self.took: dict[tuple[int, str], float] = {}  # by piece and what was changed, s
        self.skipped = 0  # changes that were not waited for, in a row
        self.waited = False  # in this turn of Blender's loop
        self.told = 0.0  # when progress was last shown
        self.quiet = 0

    def fail(self, owner: int, why: str) -> None:
        """Note what is wrong with a piece; what was said of an earlier build is over."""
        self.errors[owner] = why
        self.notes.pop(owner, None)


session = Session()
