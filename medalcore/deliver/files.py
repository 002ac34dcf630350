"""Write files whole or not at all, several as one set."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import BinaryIO

from ..errors import DeliveryError
from ..system.file_access import remove, rename
from ..system.interrupts import held_off
from .claim import claimed, hidden, is_same, left_over, tidied

Content = bytes | Callable[[BinaryIO], object]
"""The bytes of a file, or a function that writes them to a binary stream."""

_LINK = {"follow_symlinks": False} if os.link in os.supports_follow_symlinks else {}


def refuse_existing(paths: Iterable[Path], *, overwrite: bool = False) -> None:
    """Make sure that nothing would be overwritten that should not be.

    Raises
    ------
    DeliveryError
        Naming the files that are there already; also for a folder of that name, which is
        never replaced.
    """
    paths = list(paths)
    folders = [p for p in paths if os.path.isdir(p)]
    if folders:
        raise DeliveryError(f"{folders[0]}: a folder has this name; the file needs another one")
    there = [p for p in paths if os.path.lexists(p)]
    if there and not overwrite:
        names = ", ".join(p.name for p in there)
        verb = "is" if len(there) == 1 else "are"
        raise DeliveryError(
            f"{there[0].parent}: {names} {verb} there already; choose another folder, "
            "or replace with --overwrite"
        )


def refuse_unwritable(paths: Iterable[Path]) -> None:
    """Make sure before any work that files of these names can be written.

    A hidden file of each name is made and removed again, and so are the folders it needs.

    Raises
    ------
    DeliveryError
        Naming what cannot be written, and why.
    """
    path = Path()
    try:
        with held_off() as check, contextlib.ExitStack() as made:
            for path in paths:
                _make_folder(path.parent, made)
                trial = hidden(path, "new")
                made.callback(remove, trial)
                trial.open("xb").close()
                check()
    except OSError as error:
        raise _unwritable(path, error) from None


def tidy_up(paths: Iterable[Path]) -> None:
    """Undo what a killed run left beside files, as far as that can be done now."""
    paths = list(paths)
    with contextlib.suppress(OSError), held_off() as check:
        for folder in sorted({path.parent for path, _ in left_over(paths)}):
            with claimed(folder, check) as alone:
                if alone:
                    tidied(p for p in paths if p.parent == folder)


def write_files(files: Mapping[Path, Content], *, overwrite: bool = False) -> tuple[Path, ...]:
    """Write a set of files: either all of them appear, whole, or none does.

    Every file is first written under a hidden name in its own folder and only then renamed; if
    anything fails before the last rename, what was renamed is taken back and old files stand as
    they stood. Folders are made where they are missing, and taken away again on failure. A
    signal to stop waits for the end of a step. Other writers in the same folder are waited for,
    and what killed ones left of these files is removed.

    Parameters
    ----------
    files : mapping of Path to bytes or callable
        See `Content`.
    overwrite : bool
        Whether files that exist may be replaced.

    Returns
    -------
    paths : tuple of Path
        In the order given.

    Raises
    ------
    DeliveryError
        If a file exists and must not be replaced, or the system refuses to write.
    """
    refuse_existing(files, overwrite=overwrite)
    with held_off() as check, contextlib.ExitStack() as folders:
        alone = True
        with contextlib.ExitStack() as claims:
            for path in files:
                try:
                    _make_folder(path.parent, folders)
                except OSError as error:
                    raise _unwritable(path, error) from None
            for folder in sorted({path.parent for path in files}):
                try:
                    alone &= claims.enter_context(claimed(folder, check))
                except OSError as error:
                    raise _unwritable(folder, error) from None
            if alone:
                tidied(files)
            for backup in _placed(files, overwrite, check):
                remove(backup)
            if alone:
                tidied(files, replaced=True)
        folders.pop_all()
    return tuple(files)


def _placed(
    files: Mapping[Path, Content], overwrite: bool, check: Callable[[], None]
) -> list[Path]:
    """Write all files and rename them into place; return where old ones wait."""
    old: list[Path] = []
    path = Path()
    with contextlib.ExitStack() as undo:  # what takes back the steps done so far, last one first
        try:
            fresh: dict[Path, Path] = {}
            for path, content in files.items():
                fresh[path] = _write_beside(path, content, undo)
                check()
            refuse_existing(files, overwrite=overwrite)  # writing took time: look once more
            for path, temporary in fresh.items():
                old += _put_in_place(temporary, path, undo)
                check()
        except OSError as error:
            raise _unwritable(path, error) from None
        undo.pop_all()
    return old


def _unwritable(path: Path, error: OSError) -> DeliveryError:
    reason = error.strerror or type(error).__name__
    return DeliveryError(f"{path}: cannot be written ({reason}); nothing was written")


def _make_folder(folder: Path, undo: contextlib.ExitStack) -> None:
    missing = [p for p in (folder, *folder.parents) if not os.path.isdir(p)]
    for parent in reversed(missing):
        parent.mkdir()
        undo.callback(_quietly, parent.rmdir)


def _write_beside(path: Path, content: Content, undo: contextlib.ExitStack) -> Path:
    """Write under a hidden name in the same folder, so that the rename cannot copy."""
    temporary = hidden(path, "new")
    undo.callback(remove, temporary)
    with temporary.open("xb") as stream:
        if isinstance(content, bytes):
            stream.write(content)
        else:
            content(stream)
        stream.flush()
        os.fsync(stream.fileno())
    return temporary


def _put_in_place(temporary: Path, path: Path, undo: contextlib.ExitStack) -> list[Path]:
    """Rename into place; return where the old file waits, if there was one.

    The old file keeps its name until the new one takes it: its other name is a second link,
    where a file system has them.
    """
    backup = hidden(path, "old")
    was_there = os.path.lexists(path)

    def back() -> None:
        if is_same(backup, path):  # a rename of one onto the other would do nothing
            remove(backup)
        elif os.path.lexists(backup):
            rename(backup, path)
        elif not was_there and not os.path.lexists(temporary):
            remove(path)

    undo.callback(_quietly, back)
    if was_there:
        try:
            os.link(path, backup, **_LINK)
        except OSError:
            rename(path, backup)
    rename(temporary, path)
    return [backup] if was_there else []


def _quietly(step: Callable[[], object]) -> None:
    """Run one step back; a step that fails must not keep the others from being taken."""
    with contextlib.suppress(OSError):
        step()
