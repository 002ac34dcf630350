"""Everything the project tests, in one command: ``python scripts/test.py``.

Makes its own environments beside the sources, runs every stage that can run on this
machine, and says for the others why not. ``--only STAGE ...`` picks stages.

stages:
  lint     ruff, mypy, and the rule of what may import what
  core     tests/core on the Python this was started with
  blender  tests/core and tests/addon under Blender's own module bpy: 4.2 (Python 3.11, with
           the oldest NumPy we support) and 5.2 (Python 3.13), where those Pythons are found
  window   the built extension in a real Blender with a window, where one can be had
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from environment import ROOT, ensure

CORE = "tests/core"
NOTHING_RAN = 5  # pytest's exit status; tests/window gives it too where all were skipped


@dataclass
class Outcome:
    """What a stage did: None where it could not run here, with the reason."""

    name: str
    passed: bool | None
    note: str = ""
    code: int = 0


def main() -> int:
    """Run the stages and return 0 if none failed."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    stages = {"lint": lint, "core": core, "blender": blender, "window": window}
    parser.add_argument("--only", nargs="+", choices=stages, default=list(stages))
    chosen = parser.parse_args().only
    outcomes: list[Outcome] = []
    for name in chosen:
        start = time.perf_counter()
        outcomes += stages[name]()
        print(f"-- {name}: {time.perf_counter() - start:.0f} s", flush=True)
    print()
    for outcome in outcomes:
        word = {True: "passed", False: "FAILED", None: "skipped"}[outcome.passed]
        print(f"{word:8} {outcome.name}{': ' if outcome.note else ''}{outcome.note}")
    return 1 if any(o.passed is False for o in outcomes) else 0


def lint() -> list[Outcome]:
    """Check style, types and layering."""
    python = ensure("test")
    beside = python.parent
    return [
        _run("ruff check", [python, "-m", "ruff", "check", "."]),
        _run("ruff format", [python, "-m", "ruff", "format", "--check", "."]),
        _run("mypy", [python, "-m", "mypy"]),
        _run("import layers", [beside / "lint-imports"]),
    ]


def core() -> list[Outcome]:
    """Run the core tests without Blender."""
    name = f"core, Python {sys.version_info[0]}.{sys.version_info[1]}"
    return [_run(name, _tests(ensure("test"), CORE))]


def blender() -> list[Outcome]:
    """Run core and add-on tests under Blender's Python modules, two at a time."""
    outcomes: list[Outcome] = []
    ready: list[tuple[str, Path, str]] = []
    for version, bpy, numpy in (("3.11", "4.2", "1.24"), ("3.13", "5.2", "")):
        name = f"core and add-on, bpy {bpy}, Python {version}"
        interpreter = _interpreter(version)
        if interpreter is None:
            outcomes.append(Outcome(name, None, f"no Python {version} found here"))
            continue
        command = [interpreter, ROOT / "scripts/environment.py", "test", "--name", f"bpy-{bpy}"]
        packages = [f"bpy=={bpy}.*"] + ([f"numpy=={numpy}.*"] if numpy else [])
        for package in packages:
            command += ["--package", package]
        made = subprocess.run([str(c) for c in command], stdout=subprocess.PIPE, text=True)
        print(made.stdout, flush=True)
        if made.returncode:
            outcomes.append(Outcome(name, False, "its environment could not be made"))
            continue
        python = Path(made.stdout.splitlines()[-1])
        ready.append((f"core, Python {version}, NumPy {numpy or 'newest'}", python, CORE))
        ready.append((f"add-on, bpy {bpy}", python, "tests/addon"))
    with ThreadPoolExecutor(2) as pool:
        # the long ones first
        done = pool.map(_quietly, sorted(ready, key=lambda job: job[2] != CORE))
        for outcome, said in done:
            print(f"== {outcome.name}\n{said}", flush=True)
            outcomes.append(outcome)
    return outcomes


def window() -> list[Outcome]:
    """Install the extension into a real Blender and look at its window."""
    name, command = "extension in a real Blender", _tests(ensure("test"), "tests/window")
    outcome = _run(name, command)
    if outcome.code == NOTHING_RAN:
        return [Outcome(name, None, "every test was, for the reasons told above")]
    return [outcome]


def _interpreter(version: str) -> str | None:
    """Find a Python of a version: this one, on the path, or in pyenv's folder."""
    if version == f"{sys.version_info[0]}.{sys.version_info[1]}":
        return sys.executable
    for root in (os.environ.get("PYENV_ROOT"), Path.home() / ".pyenv"):
        for found in sorted(
            Path(root or "-").glob(f"versions/{version}.*/bin/python"), reverse=True
        ):
            return str(found)
    return shutil.which(f"python{version}")


def _tests(python: Path, folder: str) -> list[str]:
    return [str(python), "-m", "pytest", "-q", folder]


def _quietly(job: tuple[str, Path, str]) -> tuple[Outcome, str]:
    """Run tests and return what they print, so that two runs do not mix their lines."""
    name, python, folder = job
    done = subprocess.run(
        _tests(python, folder),
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        errors="replace",
    )
    return Outcome(name, done.returncode == 0), done.stdout


def _run(name: str, command: list) -> Outcome:
    print(f"== {name}", flush=True)
    code = subprocess.call([str(part) for part in command], cwd=ROOT)
    return Outcome(name, code == 0, code=code)


if __name__ == "__main__":
    sys.exit(main())
