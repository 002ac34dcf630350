"""Files as systems really hand them out: locked for a moment, or no files at all."""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import time
from pathlib import Path

_PATIENCE = 1.0
"""Seconds for which a rename or a removal is tried again: scanners and indexers hold a new file
for some tenths of a second (common practice, no source)."""

_MOMENTARY = (errno.EACCES, errno.EPERM, errno.EBUSY, errno.ETXTBSY)
"""What a lock that may pass is told as; Python gives EACCES for Windows' sharing violations."""

IS_FOLDER = "is a folder"
"""What `why_unreadable` says of a folder."""


def rename(source: Path, target: Path) -> None:
    """Rename a file, in place of what is there, waiting for a lock that soon passes.

    Raises
    ------
    OSError
        If it does not pass, or anything else is in the way.
    """
    end = time.monotonic() + _PATIENCE
    pause = 0.02
    while True:
        try:
            os.replace(source, target)
            return
        except OSError as error:
            if error.errno not in _MOMENTARY or time.monotonic() + pause > end:
                raise
        time.sleep(pause)
        pause = min(2.0 * pause, 0.2)


def remove(path: Path) -> None:
    """Remove a file if that can be done, waiting for a lock that soon passes.

    Also one that is marked read-only, which Windows would keep.
    """
    end = time.monotonic() + _PATIENCE
    pause = 0.02
    while True:
        try:
            path.unlink()
            return
        except OSError as error:
            if error.errno not in _MOMENTARY or time.monotonic() + pause > end:
                return
        if os.name == "nt":
            with contextlib.suppress(OSError):
                path.chmod(stat.S_IWRITE)
        time.sleep(pause)
        pause = min(2.0 * pause, 0.2)


def why_unreadable(path: str | os.PathLike[str]) -> str:
    """Say why a path cannot be read as an ordinary file; nothing if it can.

    Pipes and devices are no files here: reading one may wait for ever or never end.
    """
    try:
        mode = os.stat(path).st_mode
        if stat.S_ISDIR(mode):
            return IS_FOLDER
        if not stat.S_ISREG(mode):
            return "is a pipe or a device, not a file"
        with open(path, "rb"):
            return ""
    except (FileNotFoundError, NotADirectoryError):
        return "there is no such file"
    except ValueError:  # a NUL
        return "no file can have this name"
    except OSError as error:
        if error.errno == errno.ELOOP:
            return "is a link that leads back to itself"
        return f"cannot be read ({error.strerror or type(error).__name__})"
