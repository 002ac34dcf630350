# SPDX-License-Identifier: GPL-3.0-or-later
"""The process that builds, as seen from Blender: lines to it, lines from it."""

from __future__ import annotations

import contextlib
import importlib.util
import json
import os
import queue
import subprocess
import sys
import threading
from collections.abc import Mapping
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
    """The process and the lines that go to and come from it."""

    def __init__(self, folder: Path) -> None:
        self.ready = False
        self._lines: queue.Queue[dict[str, Any]] = queue.Queue()
        libraries = _libraries()
        self._log = (folder / "worker.log").open("wb")
        home = Path(__file__).resolve().parent / "medalcore"
        options = {"creationflags": subprocess.CREATE_NO_WINDOW} if os.name == "nt" else {}
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-c", _BOOT.format(home=str(home))],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._log,
            cwd=folder,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(libraries)},
            **options,
        )
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            try:
                self._lines.put(json.loads(line))
            except ValueError:
                continue

    def send(self, message: Mapping[str, Any]) -> bool:
        """Send a request; False if the process is gone."""
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(json.dumps(message).encode() + b"\n")
            self._process.stdin.flush()
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

    def is_alive(self) -> bool:
        """Tell whether the process runs."""
        return self._process.poll() is None

    def stop(self, wait: float = 0.3) -> None:
        """End the process: ask, then insist. Every pipe is closed."""
        self.send({"do": "quit"})
        for end in (lambda: None, self._process.terminate, self._process.kill):
            end()
            try:
                self._process.wait(wait)
                break
            except subprocess.TimeoutExpired:
                continue
        for pipe in (self._process.stdin, self._process.stdout, self._log):
            try:
                pipe.close()  # type: ignore[union-attr]
            except OSError:
                pass


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
