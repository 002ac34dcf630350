"""Stopping between two steps, never within one that must be whole."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

_STOPPING = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
"""Signals that ask a program to stop, where a system has them."""


def _here() -> list[signal.Signals]:
    """Return the signals that can be handled here: none outside the main thread."""
    if threading.current_thread() is not threading.main_thread():
        return []
    return [getattr(signal, name) for name in _STOPPING if hasattr(signal, name)]


@contextmanager
def held_off() -> Iterator[Callable[[], None]]:
    """Put off signals that would raise, and give a function that raises where it suits.

    A signal that is still waiting at the end is handed on then. Signals that are ignored, or
    that end the process at once, are left as they are.
    """
    waiting: list[int] = []
    kept: dict[signal.Signals, Callable[[int, FrameType | None], Any]] = {}

    def note(number: int, frame: FrameType | None) -> None:
        waiting.append(number)

    def check() -> None:
        if waiting:
            number = waiting.pop(0)
            kept[signal.Signals(number)](number, None)

    try:
        for number in _here():
            handler = signal.getsignal(number)
            if callable(handler):
                kept[number] = handler
                signal.signal(number, note)
        yield check
    except BaseException:
        waiting.clear()  # it stops already
        raise
    finally:
        for number, handler in kept.items():
            signal.signal(number, handler)
    check()


@contextmanager
def stopped_alike() -> Iterator[Callable[[], int]]:
    """Let every signal that asks to stop raise `KeyboardInterrupt`, as Ctrl+C does.

    Gives a function that returns the number of the last one, SIGINT if there was none. Signals
    that are ignored (as ``nohup`` asks) or handled already are left as they are.
    """
    last = int(signal.SIGINT)

    def stop(number: int, frame: FrameType | None) -> None:
        nonlocal last
        last = number
        raise KeyboardInterrupt

    kept = [n for n in _here() if signal.getsignal(n) is signal.SIG_DFL]
    for number in kept:
        signal.signal(number, stop)
    try:
        yield lambda: last
    finally:
        for number in kept:
            signal.signal(number, signal.SIG_DFL)
