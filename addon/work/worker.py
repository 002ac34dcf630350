# SPDX-License-Identifier: GPL-3.0-or-later
"""The process that builds, as seen from Blender: lines to it, lines from it."""

from __future__ import annotations

import contextlib
import importlib.util
import io
import json
import os
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

# Loads exactly the core that travels with the extension, without touching any search path.
_BOOT = """
import importlib, importlib.util, sys
from pathlib import Path
home = Path({home!r})
spec = importlib.util.spec_from_file_location(
    "medalcore", home / "__init__.py", submodule_search_locations=[str(home)])
sys.modules["medalcore"] = module = importlib.util.module_from_spec(spec)
spec.loader.exec_module(module)
sys.exit(importlib.import_module(".worker", "medalcore").main())
"""


class Worker:
    """The process and the lines that go to and come from it.

    Raises
    ------
    OSError, ValueError, TypeError
        If there is no program to start: Blender may not know where its Python is.
    ImportError
        If a library is missing.
    """

    def __init__(self, folder: Path) -> None:
        self.ready = False
        self._lines: queue.Queue[dict[str, Any]] = queue.Queue()
        libraries = _libraries()
        self._log = (folder / "worker.log").open("wb")
        home = Path(__file__).resolve().parents[1] / "medalcore"
        options = {"creationflags": subprocess.CREATE_NO_WINDOW} if os.name == "nt" else {}
        try:
            self._process = subprocess.Popen(
                # no script's folder and no libraries of the person's own on the search path
                [sys.executable, "-P", "-s", "-c", _BOOT.format(home=str(home))],
                bufsize=0,  # nothing is left in a buffer that closing would write to a dead process
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._log,
                cwd=folder,
                env=_environment(libraries),
                **options,
            )
        except BaseException:
            self._log.close()
            raise
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    @property
    def pid(self) -> int:
        """Return the system's number of the process."""
        return self._process.pid

    def _read(self) -> None:
        assert isinstance(self._process.stdout, io.RawIOBase)
        with io.BufferedReader(self._process.stdout) as lines:
            for line in lines:
                with contextlib.suppress(ValueError):
                    self._lines.put(json.loads(line))

    def send(self, message: Mapping[str, Any]) -> bool:
        """Send a request; False if the process is gone."""
        assert self._process.stdin is not None
        rest = memoryview(json.dumps(message).encode() + b"\n")
        if not self.is_alive():
            return False
        try:
            with _unsignalled():
                while rest:
                    rest = rest[self._process.stdin.write(rest) :]
        except (OSError, ValueError):
            return False
        return True

    def answers(self, wait: float = 0.0) -> list[dict[str, Any]]:
        """Return what has come since the last call; if nothing has, wait so many seconds."""
        found = []
        if wait > 0.0:
            with contextlib.suppress(queue.Empty):
                found.append(self._lines.get(timeout=wait))
        while not self._lines.empty():
            found.append(self._lines.get())
        return found

    def last_words(self) -> str:
        """Return the last line of what the process wrote to its log, or how it ended."""
        with contextlib.suppress(OSError):
            lines = Path(self._log.name).read_text(encoding="utf-8", errors="replace").split("\n")
            told = [line.strip() for line in lines if line.strip()]
            if told:
                return told[-1]
        return f"it ended with {self._process.poll()}"

    def is_alive(self) -> bool:
        """Tell whether the process runs."""
        return self._process.poll() is None

    def stop(self, wait: float = 0.3) -> None:
        """End the process: ask, then insist. Every pipe is closed, its output by who reads it."""
        self.send({"do": "quit"})
        for end in (lambda: None, self._process.terminate, self._process.kill):
            end()
            try:
                self._process.wait(wait)
                break
            except subprocess.TimeoutExpired:
                continue
        self._reader.join(wait)
        for pipe in (self._process.stdin, self._log):
            with contextlib.suppress(OSError):
                pipe.close()  # type: ignore[union-attr]


@contextlib.contextmanager
def _unsignalled() -> Iterator[None]:
    """Let writing to a process that has just died be an error, not the end of Blender.

    Python itself ignores SIGPIPE, but not where it is embedded: there the system's default
    holds, which is to end the program. The signal comes to the thread that writes, so that
    one holds it back, and takes it away before others may see it again. Windows has none.
    """
    if not hasattr(signal, "SIGPIPE"):
        yield
        return
    pipe = {signal.SIGPIPE}
    before = signal.pthread_sigmask(signal.SIG_BLOCK, pipe)
    held_already = signal.SIGPIPE in signal.sigpending()
    try:
        yield
    finally:
        if not held_already and signal.SIGPIPE in signal.sigpending():
            signal.sigwait(pipe)
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _environment(libraries: list[str]) -> dict[str, str]:
    """Return the environment of the process: what is said to Python there is for another one.

    Blender's own Python does not listen to PYTHONHOME and the like either; the program beside
    it does, and does not even start with the home of a Python of the person's.
    """
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith("PYTHON") and name != "__PYVENV_LAUNCHER__"
    }
    return {**kept, "PYTHONPATH": os.pathsep.join(libraries)}


def _libraries() -> list[str]:
    """Return the folders our libraries were imported from, for the process to find them."""
    found: list[str] = []
    for name in ("msgspec", "manifold3d", "numpy"):
        spec = importlib.util.find_spec(name)
        if spec is None or spec.origin is None:
            raise ImportError(f"{name} is missing")
        path = Path(spec.origin).resolve()
        folder = path.parent.parent if path.stem == "__init__" else path.parent
        if str(folder) not in found:
            found.append(str(folder))
    return found
