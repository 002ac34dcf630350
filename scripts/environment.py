"""The Python environment our own scripts run in: made once, kept up to date, found again.

Standard library only, and no newer syntax than the check in `ensure` can still be reached
with: a script calls `ensure` under whatever Python it was started with, then runs its real
work with the interpreter it gets back.
"""

import hashlib
import importlib.util
import json
import os
import platform
import re
import subprocess
import sys
import sysconfig
import time
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LEAST = (3, 11)


def check_python() -> None:
    """Leave with one line for people where this Python is too old for the project."""
    if sys.version_info < LEAST:
        needed, found = (".".join(map(str, v)) for v in (LEAST, sys.version_info[:3]))
        sys.exit(f"Python {needed} or newer is needed; this is Python {found} ({sys.executable})")


def ensure(extras: str = "", *, name: str = "", packages: "tuple[str, ...]" = ()) -> Path:
    """Return the Python of an environment with the project and `extras` installed.

    Parameters
    ----------
    extras : str
        Names of optional dependency groups from pyproject.toml, comma-separated.
    name : str
        Name of an environment beside the usual one, for other versions of packages.
    packages : tuple of str
        Requirements to install along with the project in a named environment.

    Raises
    ------
    SystemExit
        With one line for people: Python too old, environment or installation failed.
    """
    check_python()
    version = f"{sys.version_info[0]}.{sys.version_info[1]}"
    folder = ROOT / "-".join(filter(None, (".venv", _machine(), version, name)))
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    wanted = {part.strip() for part in extras.split(",") if part.strip()}
    stamp = folder / "installed.json"
    state = {"project": _fingerprint(), "folder": str(folder), "python": sys.version}
    state["packages"] = list(packages)
    known = _read(stamp)
    have = set(known.get("extras", []))
    current = python.exists() and all(known.get(key) == value for key, value in state.items())
    if current and wanted <= have:
        return python
    print(f"Setting up {folder.name} (once, about a minute) ...", flush=True)
    start = time.perf_counter()
    if not (python.exists() and known.get("python") == sys.version):
        _create(folder, python)
    everything = sorted(wanted | have)
    what = str(ROOT) + (f"[{','.join(everything)}]" if everything else "")
    command = [python, "-m", "pip", "install", "--editable", what, *packages]
    _run(command, folder / "install.log")
    stamp.write_text(json.dumps({**state, "extras": everything}), encoding="utf-8")
    print(f"... done in {time.perf_counter() - start:.0f} s", flush=True)
    return python


def lowest_versions() -> "list[str]":
    """Return requirements that pin each library to the lowest version pyproject.toml allows."""
    import tomllib  # not in a Python that `check_python` turns away

    with (ROOT / "pyproject.toml").open("rb") as handle:
        project = tomllib.load(handle)["project"]
    wanted = project["dependencies"] + project["optional-dependencies"]["exr"]
    return [text.replace(">=", "==") for text in wanted if re.fullmatch(r"[\w-]+>=[\d.]+", text)]


def _machine() -> str:
    """Return the platform; a Mac's Python that runs as both kinds gets a folder for each."""
    return sysconfig.get_platform().replace("universal2", platform.machine())


def _fingerprint() -> str:
    return hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()


def _read(stamp: Path) -> dict:
    try:
        return dict(json.loads(stamp.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        return {}


def _create(folder: Path, python: Path) -> None:
    """Make an empty environment with pip, in place of whatever half of one is there."""
    log = folder.with_name(folder.name + ".log")
    try:
        # copies on Windows, links elsewhere, as `python -m venv` does it
        builder = venv.EnvBuilder(clear=True, symlinks=os.name != "nt", with_pip=False)
        builder.create(folder)
    except (OSError, subprocess.CalledProcessError) as error:
        sys.exit(f"cannot make a Python environment in {folder}: {error}")
    if importlib.util.find_spec("ensurepip"):
        _run([python, "-m", "ensurepip", "--default-pip"], log)
    elif importlib.util.find_spec("pip"):  # Debian's python3-pip without its python3-venv
        _run([sys.executable, "-m", "pip", "--python", python, "install", "pip"], log)
    else:
        sys.exit(
            "this Python comes without pip and venv (Debian and Ubuntu split them off); "
            "install the system package python3-venv and run this again"
        )
    log.unlink(missing_ok=True)


def _run(command: list, log: Path) -> None:
    """Run a command with its output in a file; leave with its own last words if it fails."""
    # a PYTHONPATH or PYTHONHOME of the caller's would leak another installation into ours
    outside = ("PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV", "__PYVENV_LAUNCHER__")
    clean = {key: value for key, value in os.environ.items() if key not in outside}
    with log.open("wb") as out:
        code = subprocess.call(
            [str(part) for part in command], stdout=out, stderr=subprocess.STDOUT, env=clean
        )
    if code == 0:
        return
    lines = log.read_text(encoding="utf-8", errors="replace").splitlines()
    said = [line.strip() for line in lines if re.match(r"\s*error\b", line, re.IGNORECASE)]
    reason = (said or [line for line in lines if line.strip()] or ["no reason given"])[-1]
    sys.exit(f"installation failed: {reason} (all of it in {log})")


if __name__ == "__main__":
    import argparse

    parser = argparse.ArgumentParser(description="make an environment and print its Python")
    parser.add_argument("extras", nargs="?", default="")
    parser.add_argument("--name", default="")
    parser.add_argument("--package", action="append", default=[])
    asked = parser.parse_args()
    print(ensure(asked.extras, name=asked.name, packages=tuple(asked.package)))
