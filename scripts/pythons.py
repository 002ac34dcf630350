"""Find Pythons of other versions on this machine."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

NEWEST = 20
"""Last minor version looked for."""

_ASK = "import sys; print(sys.version_info[0], sys.version_info[1], sys.executable)"


def find_python(version: str) -> str | None:
    """Return a Python of a version ("3.13"), or None.

    Looked for are this one, pyenv's folder, the search path, and on Windows what ``py``
    knows. Each is asked what it is: a name on the path may be a stand-in of a version
    manager or of the Microsoft Store that starts nothing.
    """
    if version == f"{sys.version_info[0]}.{sys.version_info[1]}":
        return sys.executable
    for command in _candidates(version):
        try:
            told = subprocess.run(
                [*command, "-c", _ASK],
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                encoding="utf-8",
                errors="surrogateescape",
                env={**os.environ, "PYTHONUTF8": "1"},
                check=False,
                timeout=60,
            ).stdout.strip()
        except (OSError, subprocess.TimeoutExpired):
            continue
        major, _, rest = told.partition(" ")
        minor, _, place = rest.partition(" ")
        if f"{major}.{minor}" == version and place:
            return place
    return None


def newest_python() -> str:
    """Return the newest version that is found, this Python's at least."""
    here = sys.version_info[1]
    for minor in range(NEWEST, here, -1):
        if find_python(f"3.{minor}"):
            return f"3.{minor}"
    return f"3.{here}"


def _candidates(version: str) -> Iterator[list[str]]:
    for root in (os.environ.get("PYENV_ROOT"), os.environ.get("PYENV"), Path.home() / ".pyenv"):
        if root:
            # pyenv, and pyenv-win, which keeps no bin folder
            for place in ("versions", "pyenv-win/versions"):
                for name in ("bin/python", "python.exe"):
                    found = Path(root).glob(f"{place}/{version}.*/{name}")
                    yield from ([str(path)] for path in sorted(found, key=_patch, reverse=True))
    named = shutil.which(f"python{version}")
    if named:
        yield [named]
    launcher = shutil.which("py")
    if launcher:
        yield [launcher, f"-{version}"]


def _patch(path: Path) -> int:
    """Return the last number of a version's folder; a development version comes first of all."""
    folder = path.parent if path.name == "python.exe" else path.parent.parent
    last = folder.name.rpartition(".")[2]
    return int(last) if last.isdigit() else -1
