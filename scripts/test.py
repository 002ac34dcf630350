"""Everything the project tests, in one command: ``python scripts/test.py``.

Makes its own environments beside the sources, runs every stage that can run on this
machine, and says for the others why not. ``--only STAGE ...`` picks stages.

stages:
  lint     ruff, the rule of what may import what, and mypy under the oldest and the newest
           Python found here
  core     tests/core on the Python this was started with
  blender  tests/core and tests/addon under Blender's own module bpy: 4.2 (Python 3.11, with
           the oldest libraries we support) and 5.2 (Python 3.13), where those are found
  window   the built extension in a real Blender with a window, where one can be had
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from environment import ROOT, check_python, ensure, lowest_versions
from pythons import find_python, newest_python

CORE = "tests/core"
NOTHING_RAN = 5  # pytest's exit status; tests/window gives it too where all were skipped
OLDEST = "3.11"  # as pyproject.toml requires


@dataclass
class Outcome:
    """What a stage did: None where it could not run here, with the reason."""

    name: str
    passed: bool | None
    note: str = ""
    code: int = 0


def main() -> int:
    """Run the stages and return 0 if none failed."""
    speak_utf8()
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    stages = {"lint": lint, "core": core, "blender": blender, "window": window}
    parser.add_argument("--only", nargs="+", choices=stages, default=list(stages))
    chosen = parser.parse_args().only
    check_python()
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


def speak_utf8() -> None:
    """Have this process and all it starts write UTF-8, whatever the system's own encoding is.

    Into a pipe Windows writes the encoding of its region, which lacks most letters.
    """
    os.environ.pop("PYTHONIOENCODING", None)
    os.environ["PYTHONUTF8"] = "1"
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(encoding="utf-8", errors="replace")


def lint() -> list[Outcome]:
    """Check style, layering and types; types as the oldest and the newest Python see them."""
    python = ensure("test")
    jobs: list[tuple[str, list]] = [
        ("ruff check", [python, "-m", "ruff", "check", "."]),
        ("ruff format", [python, "-m", "ruff", "format", "--check", "."]),
        ("import layers", [python.parent / "lint-imports"]),
    ]
    outcomes: list[Outcome] = []
    for version in sorted({OLDEST, newest_python()}, key=_number):
        name = f"mypy, Python {version}"
        made = python if version == _this() else _environment(version, "lint", "lint")
        if isinstance(made, Path):
            cache = f"--cache-dir={made.parent.parent / 'mypy'}"
            jobs.insert(0, (name, [made, "-m", "mypy", cache]))
        else:
            outcomes.append(Outcome(name, made.passed, made.note))
    return outcomes + _at_once(jobs)


def core() -> list[Outcome]:
    """Run the core tests without Blender, on as many processors as pay."""
    name = f"core, Python {_this()}"
    workers = str(min(os.cpu_count() or 1, 8))
    return [_run(name, [*_tests(ensure("test"), CORE), "-n", workers, "--dist", "worksteal"])]


def blender() -> list[Outcome]:
    """Run core and add-on tests under Blender's Python modules, two at a time."""
    outcomes: list[Outcome] = []
    cores: list[tuple[str, list]] = []
    addons: list[tuple[str, list]] = []
    for version, bpy, packages in ((OLDEST, "4.2", lowest_versions()), ("3.13", "5.2", [])):
        made = _environment(version, "test", f"bpy-{bpy}", [f"bpy=={bpy}.*", *packages])
        if isinstance(made, Outcome):
            name = f"core and add-on, bpy {bpy}, Python {version}"
            outcomes.append(Outcome(name, made.passed, made.note))
            continue
        libraries = "oldest" if packages else "newest"
        cores.append((f"core, Python {version}, {libraries} libraries", _tests(made, CORE)))
        addons.append((f"add-on, bpy {bpy}", _tests(made, "tests/addon")))
    return outcomes + _at_once(cores + addons)  # the long ones first


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


def _tests(python: Path, folder: str) -> list:
    return [python, "-m", "pytest", "-q", folder]


def _at_once(jobs: list[tuple[str, list]]) -> list[Outcome]:
    """Run commands two at a time; what one prints comes whole."""
    outcomes = []
    with ThreadPoolExecutor(2) as pool:
        for outcome, said in pool.map(_quietly, jobs):
            print(f"== {outcome.name}\n{said}", flush=True)
            outcomes.append(outcome)
    return outcomes


def _quietly(job: tuple[str, list]) -> tuple[Outcome, str]:
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
