"""Everything the project tests, in one command: ``python scripts/test.py``.

Makes its own environments beside the sources, runs every stage that can run on this
machine, and says for the others why not. ``--only STAGE ...`` picks stages; ``--quick`` is for
the daily loop.

stages:
  lint     ruff, the rule of what may import what, and mypy under the oldest and the newest
           Python found here
  core     tests/core on the Python this was started with: its short tests, if the blender
           stage runs all of them on an older and a newer one
  blender  tests/core and tests/addon under Blender's own module bpy: 4.2 (Python 3.11, with
           the oldest libraries we support; not the tests marked once) and 5.2 (Python 3.13),
           where those are found
  window   the built extension in a real Blender with a window, where one can be had
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from environment import ROOT, check_python, ensure, lowest_versions
from pythons import find_python, newest_python

CORE = "tests/core"
NOTHING_RAN = 5  # pytest's exit status; tests/window gives it too where all were skipped
OLDEST, NEWEST = "3.11", "3.13"  # Blender 4.2's, which pyproject.toml requires, and 5.2's
SHORT, NOT_ONCE, ONCE = (("-m", which) for which in ("not slow and not once", "not once", "once"))

LEFT_OUT = """left out by --quick:
  types as another Python's libraries declare them
  the core's tests marked slow or once (deselected, above), and all under other libraries
  the add-on in Blender, and the extension in a real Blender's window"""


@dataclass
class Outcome:
    """What a stage did: None where it could not run here, with the reason."""

    name: str
    passed: bool | None
    note: str = ""
    code: int = 0


if TYPE_CHECKING:  # a Python that `check_python` turns away could not run these lines
    Job = tuple[str, list]
    Stage = Callable[[], list[Outcome]]
STAGES = ("lint", "core", "blender", "window")


def main() -> int:
    """Run the stages and return 0 if none failed."""
    speak_utf8()
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    part = parser.add_mutually_exclusive_group()
    part.add_argument("--only", nargs="+", choices=STAGES, default=list(STAGES))
    part.add_argument(
        "--quick", action="store_true", help="style, types and short tests: under three minutes"
    )
    asked = parser.parse_args()
    check_python()
    stages = quick_stages() if asked.quick else whole_stages(asked.only)
    outcomes: list[Outcome] = []
    for name, stage in stages.items():
        start = time.perf_counter()
        outcomes += stage()
        print(f"-- {name}: {time.perf_counter() - start:.0f} s", flush=True)
    print()
    for outcome in outcomes:
        word = {True: "passed", False: "FAILED", None: "skipped"}[outcome.passed]
        print(f"{word:8} {outcome.name}{': ' if outcome.note else ''}{outcome.note}")
    if asked.quick:
        print(LEFT_OUT)
    return 1 if any(o.passed is False for o in outcomes) else 0


def quick_stages() -> dict[str, Stage]:
    """Return what the daily loop runs: all on this Python alone."""
    return {"lint": partial(lint, [_this()]), "core": partial(core, SHORT)}


def whole_stages(chosen: Sequence[str]) -> dict[str, Stage]:
    """Return stages by their names; together they run every test at least once."""
    pythons = sorted({OLDEST, newest_python()}, key=_number)
    # Under both of these every test runs, with the oldest and with the newest libraries: what
    # could differ on a Python between them shows in the short ones.
    between = _number(OLDEST) <= _number(_this()) <= _number(NEWEST)
    both = between and "blender" in chosen and find_python(OLDEST) and find_python(NEWEST)
    stages = {
        "lint": partial(lint, pythons),
        "core": partial(core, SHORT if both else ()),
        "blender": blender,
        "window": window,
    }
    return {name: stages[name] for name in chosen}


def speak_utf8() -> None:
    """Have this process and all it starts write UTF-8, whatever the system's own encoding is.

    Into a pipe Windows writes the encoding of its region, which lacks most letters.
    """
    os.environ.pop("PYTHONIOENCODING", None)
    os.environ["PYTHONUTF8"] = "1"
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(encoding="utf-8", errors="replace")


def lint(pythons: Sequence[str]) -> list[Outcome]:
    """Check style, layering and types, these as each of the Pythons sees them."""
    python = ensure("test")
    jobs: list[Job] = [
        ("ruff check", [python, "-m", "ruff", "check", "."]),
        ("ruff format", [python, "-m", "ruff", "format", "--check", "."]),
        ("import layers", [python.parent / "lint-imports"]),
    ]
    outcomes: list[Outcome] = []
    for version in pythons:
        name = f"mypy, Python {version}"
        made = python if version == _this() else _environment(version, "lint", "lint")
        if isinstance(made, Path):
            cache = f"--cache-dir={made.parent.parent / 'mypy'}"
            jobs.insert(0, (name, [made, "-m", "mypy", cache]))
        else:
            outcomes.append(Outcome(name, made.passed, made.note))
    return outcomes + _at_once(jobs)


def core(which: Sequence[str]) -> list[Outcome]:
    """Run core tests without Blender, on as many processors as pay."""
    name = f"core, Python {_this()}{', short tests' if which == SHORT else ''}"
    workers = str(min(os.cpu_count() or 1, 8))
    command = _tests(ensure("test"), CORE, *which)
    return [_run(name, [*command, "-n", workers, "--dist", "worksteal"])]


def blender() -> list[Outcome]:
    """Run core and add-on tests under Blender's Python modules, two at a time."""
    kinds = ((NEWEST, "5.2", []), (OLDEST, "4.2", lowest_versions()))
    with ThreadPoolExecutor(2) as pool:
        made = pool.map(
            lambda kind: _environment(
                kind[0], "test", f"bpy-{kind[1]}", [f"bpy=={kind[1]}.*", *kind[2]]
            ),
            kinds,
        )
        environments = list(made)
    outcomes: list[Outcome] = []
    cores: list[Job] = []
    once: list[Job] = []
    addons: list[Job] = []
    for (version, bpy, lowest), python in zip(kinds, environments, strict=True):
        if isinstance(python, Outcome):
            name = f"core and add-on, bpy {bpy}, Python {version}"
            outcomes.append(Outcome(name, python.passed, python.note))
            continue
        name = f"core, Python {version}, {'oldest' if lowest else 'newest'} libraries"
        cores.append((name, _tests(python, CORE, *NOT_ONCE)))
        if not lowest:
            once.append((f"{name}, once", _tests(python, CORE, *ONCE)))
        addons.append((f"add-on, bpy {bpy}", _tests(python, "tests/addon")))
    return outcomes + _at_once(cores + once + addons)  # the long ones first


def window() -> list[Outcome]:
    """Install the extension into a real Blender and look at its window."""
    name, command = "extension in a real Blender", _tests(ensure("test"), "tests/window")
    outcome = _run(name, command)
    if outcome.code == NOTHING_RAN:
        return [Outcome(name, None, "every test was, for the reasons told above")]
    return [outcome]


def _environment(
    version: str, extras: str, name: str = "", packages: list[str] | None = None
) -> Path | Outcome:
    """Return the Python of an environment of any version, or why there is none."""
    if version == _this():
        return ensure(extras, name=name, packages=tuple(packages or ()))
    interpreter = find_python(version)
    if interpreter is None:
        return Outcome("", None, f"no Python {version} found here")
    command = [interpreter, str(ROOT / "scripts" / "environment.py"), extras, "--name", name]
    for package in packages or ():
        command += ["--package", package]
    made = subprocess.run(command, stdout=subprocess.PIPE, encoding="utf-8", errors="replace")
    print(made.stdout, flush=True)
    if made.returncode:
        return Outcome("", False, "its environment could not be made")
    return Path(made.stdout.splitlines()[-1])


def _this() -> str:
    return f"{sys.version_info[0]}.{sys.version_info[1]}"


def _number(version: str) -> tuple[int, ...]:
    return tuple(map(int, version.split(".")))


def _tests(python: Path, folder: str, *which: str) -> list:
    return [python, "-m", "pytest", "-q", folder, *which]


def _at_once(jobs: list[Job]) -> list[Outcome]:
    """Run commands two at a time; what one prints comes whole."""
    outcomes = []
    with ThreadPoolExecutor(2) as pool:
        for outcome, said in pool.map(_quietly, jobs):
            print(f"== {outcome.name}\n{said}", flush=True)
            outcomes.append(outcome)
    return outcomes


def _quietly(job: Job) -> tuple[Outcome, str]:
    name, command = job
    start = time.perf_counter()
    done = subprocess.run(
        [str(part) for part in command],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        errors="replace",
    )
    took = f"-- {name}: {time.perf_counter() - start:.0f} s"
    return Outcome(name, done.returncode == 0), f"{done.stdout}{took}"


def _run(name: str, command: list) -> Outcome:
    print(f"== {name}", flush=True)
    code = subprocess.call([str(part) for part in command], cwd=ROOT)
    return Outcome(name, code == 0, code=code)


if __name__ == "__main__":
    sys.exit(main())
