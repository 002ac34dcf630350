"""Write files whole or not at all, several as one set."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import BinaryIO

from ..errors import DeliveryError

Content = bytes | Callable[[BinaryIO], object]
"""The bytes of a file, or a function that writes them to a binary stream."""


def refuse_existing(paths: Iterable[Path], *, overwrite: bool = False) -> None:
    """Make sure that nothing would be overwritten that should not be.

    Raises
    ------
    DeliveryError
        Naming the files that are there already; also for a folder of that name, which is
        never replaced.
    """
    paths = list(paths)
    folders = [p for p in paths if p.is_dir()]
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


def write_files(files: Mapping[Path, Content], *, overwrite: bool = False) -> tuple[Path, ...]:
    """Write a set of files: either all of them appear, whole, or none does.

    Every file is first written under a temporary name in its own folder and only then
    renamed; if anything fails before the last rename, what was renamed is taken back and
    old files stand as they stood. Folders are made where they are missing, and taken away
    again on failure.

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
    undo = contextlib.ExitStack()  # what takes back the steps done so far, last one first
    path = Path()
    try:
        with undo:
            fresh: dict[Path, Path] = {}
            for path, content in files.items():
                _make_folder(path.parent, undo)
                fresh[path] = _write_beside(path, content, undo)
            refuse_existing(files, overwrite=overwrite)  # writing took time: look once more
            old = [_put_in_place(temporary, path, undo) for path, temporary in fresh.items()]
            undo.pop_all()
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise DeliveryError(f"{path}: cannot be written ({reason}); nothing was written") from None
    for backup in old:
        if backup is not None:
            with contextlib.suppress(OSError):
                backup.unlink()
    return tuple(files)


def _make_folder(folder: Path, undo: contextlib.ExitStack) -> None:
    missing = [p for p in (folder, *folder.parents) if not p.exists()]
    for parent in reversed(missing):
        parent.mkdir()
        undo.callback(_quietly, parent.rmdir)


def _write_beside(path: Path, content: Content, undo: contextlib.ExitStack) -> Path:
    """Write under a temporary name in the same folder, so that the rename cannot copy."""
    temporary = _hidden(path, "new")
    with temporary.open("xb") as stream:
        undo.callback(_quietly, temporary.unlink)
        if isinstance(content, bytes):
            stream.write(content)
        else:
            content(stream)
        stream.flush()
        os.fsync(stream.fileno())
    return temporary


def _put_in_place(temporary: Path, path: Path, undo: contextlib.ExitStack) -> Path | None:
    """Rename into place; return where the old file waits, if there was one."""
    backup = None
    if os.path.lexists(path):
        backup = _hidden(path, "old")
        path.rename(backup)
        undo.callback(_quietly, lambda: backup.replace(path))
    temporary.rename(path)
    undo.callback(_quietly, path.unlink)
    return backup


def _hidden(path: Path, what: str) -> Path:
    return path.with_name(f".{path.name}.{secrets.token_hex(4)}.{what}")


def _quietly(step: Callable[[], object]) -> None:
    """Run one step back; a step that fails must not keep the others from being taken."""
    with contextlib.suppress(OSError):
        step()
