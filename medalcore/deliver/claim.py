"""One writer at a time in a folder, and an end to what a killed one left behind.

What is being written stands under hidden names, ``.NAME.XXXXXXXX.new`` and, for an old file that
may have to come back, ``.NAME.XXXXXXXX.old``. While a folder is written to, a hidden file in it is
locked; the system lets go of that lock when the process ends, however it ends. So whoever holds it
knows that hidden names of the same files are left over.
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import secrets
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from ..errors import DeliveryError
from ..system.file_access import remove, rename

_LOCK = ".medalwright.lock"

_WAIT = 20.0
"""Seconds to wait for another writer, which needs a few for its whole set."""


def hidden(path: Path, what: str) -> Path:
    """Return a new hidden name beside a file: `what` is ``new`` or ``old``."""
    return path.with_name(f".{path.name}.{secrets.token_hex(4)}.{what}")


@contextmanager
def claimed(folder: Path, check: Callable[[], None]) -> Iterator[bool]:
    """Keep other writers out of a folder; gives False where the system has no locks.

    Parameters
    ----------
    folder : Path
    check : callable
        Called while waiting; may raise.

    Raises
    ------
    DeliveryError
        If another writer is not done in time.
    """
    path = folder / _LOCK
    end = time.monotonic() + _WAIT
    while (held := _locked(path)) is None:
        check()
        if time.monotonic() > end:
            raise DeliveryError(f"{folder}: another run is writing here; try again when it is done")
        time.sleep(0.05)
    try:
        yield held >= 0
    finally:
        if held >= 0:
            # an open file cannot be removed under Windows, a closed one may be another's elsewhere
            if os.name == "nt":
                os.close(held)
            with contextlib.suppress(OSError):
                path.unlink()
            if os.name != "nt":
                os.close(held)


def _locked(path: Path) -> int | None:
    """Return an open, locked file; -1 where there are no locks, None if another has it."""
    try:
        file = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    except PermissionError:
        if not os.path.lexists(path):
            raise
        if os.name == "nt":
            return None  # it is being removed
        try:
            file = os.open(path, os.O_RDONLY)  # another person's
        except OSError:
            return -1
    try:
        _lock(file)
        # under Windows a file that is open keeps its name
        if os.name == "nt" or os.path.samestat(os.fstat(file), os.stat(path)):
            return file
        os.close(file)  # its owner has just removed it
        return None
    except FileNotFoundError:
        os.close(file)
        return None
    except OSError as error:
        os.close(file)
        if error.errno in (errno.EAGAIN, errno.EACCES, errno.EDEADLK, errno.EWOULDBLOCK):
            return None
        with contextlib.suppress(OSError):
            path.unlink()
        return -1


if sys.platform == "win32":
    import msvcrt

    def _lock(file: int) -> None:
        msvcrt.locking(file, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _lock(file: int) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def left_over(paths: Iterable[Path]) -> list[tuple[Path, Path]]:
    """Return what lies beside files under hidden names of theirs, each with its file."""
    names: dict[Path, dict[str, Path]] = {}
    for path in paths:
        names.setdefault(path.parent, {})[path.name] = path
    found = []
    for folder, known in names.items():
        with contextlib.suppress(OSError):
            for entry in sorted(os.listdir(folder)):
                match = re.fullmatch(r"\.(.+)\.[0-9a-f]{8}\.(new|old)", entry)
                if match and match.group(1) in known:
                    found.append((folder / entry, known[match.group(1)]))
    return found


def is_same(one: Path, other: Path) -> bool:
    """Tell whether two names are links to one file."""
    try:
        return os.path.samestat(os.lstat(one), os.lstat(other))
    except OSError:
        return False


def tidied(paths: Iterable[Path], *, replaced: bool = False) -> None:
    """Clear away what killed runs left beside files; only while their folders are claimed.

    A file that was moved aside gets its name back. An old file whose name a new one has taken is
    kept, unless `replaced`: then that new one has been replaced as well.
    """
    for spare, path in left_over(paths):
        if spare.suffix == ".old" and not os.path.lexists(path):
            rename(spare, path)
        elif spare.suffix == ".new" or replaced or is_same(spare, path):
            remove(spare)
