"""What is said on a terminal, which may be closed, full, gone or unable to show a letter."""

from __future__ import annotations

import contextlib
import io
import os
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO

from ..errors import one_line

TRACEBACK = "MEDALWRIGHT_TRACEBACK"
"""Variable of the environment that asks for everything, libraries' warnings too."""


def hold_streams() -> None:
    """Make standard streams that cannot break what is said on them.

    A closed descriptor is opened on nothing: else the next file would get its number, and what
    a library prints would go into it. What an encoding lacks is written out.
    """
    if os.name == "posix":
        for number in range(3):
            try:
                os.fstat(number)
            except OSError:
                os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free: this one
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def say(text: str) -> OSError | None:
    """Write to standard output; return why that could not be done, if so.

    A reader who has gone (`BrokenPipeError`) has read what it wanted.
    """
    return _written(sys.stdout, text)


def complain(prog: str, message: str) -> None:
    """Write one line to standard error, if it takes one."""
    _written(sys.stderr, f"{prog}: {one_line(message)}\n")


def _written(stream: TextIO | None, text: str) -> OSError | None:
    if stream is None:
        return None
    try:
        stream.write(text)
        stream.flush()
    except (OSError, ValueError) as error:
        _abandon(stream)
        if isinstance(error, OSError) and not isinstance(error, BrokenPipeError):
            return error
    return None


def _abandon(stream: TextIO) -> None:
    """Let what is still in a stream go nowhere, or the interpreter fails on it at its end."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


@contextmanager
def libraries_silent() -> Iterator[None]:
    """Keep what libraries print to standard error from a person who sees one line of ours.

    What our own `sys.stderr` says still arrives. Nothing is kept where `TRACEBACK` is set.
    """
    if os.environ.get(TRACEBACK):
        yield
        return
    with warnings.catch_warnings(), _descriptor_elsewhere():
        if not sys.warnoptions:
            warnings.simplefilter("ignore")
        yield


@contextmanager
def _descriptor_elsewhere() -> Iterator[None]:
    """Point descriptor 2 nowhere while `sys.stderr` goes where it went."""
    ours = sys.stderr
    try:
        usual = ours is not None and ours.fileno() == 2
    except (OSError, ValueError):
        usual = False
    if not usual:
        yield
        return
    ours.flush()
    own = os.dup(2)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)
    os.close(nowhere)
    sys.stderr = open(
        own, "w", encoding=ours.encoding, errors="backslashreplace", buffering=1, closefd=False
    )
    try:
        yield
    finally:
        with contextlib.suppress(OSError, ValueError):
            sys.stderr.flush()
        sys.stderr = ours
        os.dup2(own, 2)
        os.close(own)
