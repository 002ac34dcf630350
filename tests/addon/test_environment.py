"""How the scripts find Pythons, and what they say where one is not right. Needs no Blender."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from script import script

ROOT = Path(__file__).resolve().parents[2]
HERE = f"{sys.version_info[0]}.{sys.version_info[1]}"
OTHER = "3.97"

environment, pythons = script("environment"), script("pythons")


def stand_in(path: Path, told: str) -> None:
    """Put a program in place that answers as a Python would."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"#!/bin/sh\n{told}\n", encoding="utf-8", newline="\n")
    path.chmod(0o755)


@pytest.fixture
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the folder of a machine that has no Python yet: its home and its search path."""
    if os.name == "nt":
        pytest.skip("the stand-ins are shell scripts")
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("PATH", str(tmp_path / "path"))
    monkeypatch.delenv("PYENV_ROOT", raising=False)
    monkeypatch.delenv("PYENV", raising=False)
    return tmp_path


def test_this_python_is_found_first() -> None:
    assert pythons.find_python(HERE) == sys.executable


@pytest.mark.parametrize(
    "place",
    [
        f"path/python{OTHER}",
        "path/py",
        f".pyenv/versions/{OTHER}.2/bin/python",
        f".pyenv/pyenv-win/versions/{OTHER}.2/python.exe",
    ],
)
def test_a_python_is_found_where_systems_keep_it(machine: Path, place: str) -> None:
    assert pythons.find_python(OTHER) is None
    stand_in(machine / place, "echo 3 97 /where/it Łies")
    assert pythons.find_python(OTHER) == "/where/it Łies"


def test_the_launcher_of_windows_is_asked_for_the_version(machine: Path) -> None:
    stand_in(machine / "path" / "py", '[ "$1" = -3.97 ] && [ "$2" = -c ] && echo 3 97 here')
    assert pythons.find_python(OTHER) == "here"
    assert pythons.find_python("3.98") is None


def test_a_name_that_starts_nothing_is_passed_over(machine: Path) -> None:
    """Stand-ins of a version manager or a store have the name, and are no Python."""
    stand_in(machine / "path" / f"python{OTHER}", "echo not installed; exit 9009")
    stand_in(machine / "path" / "py", "echo 3 97 here")
    assert pythons.find_python(OTHER) == "here"


def test_the_newest_of_pyenv_comes_first(machine: Path) -> None:
    for patch in (9, 10, 2):
        folder = machine / ".pyenv" / "versions" / f"{OTHER}.{patch}" / "bin"
        stand_in(folder / "python", f"echo 3 97 number {patch}")
    assert pythons.find_python(OTHER) == "number 10"


def test_a_mac_python_of_two_kinds_has_an_environment_for_each(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("sysconfig.get_platform", lambda: "macosx-11.0-universal2")
    names = set()
    for machine in ("arm64", "x86_64"):
        monkeypatch.setattr("platform.machine", lambda m=machine: m)
        names.add(environment._machine())
    assert names == {"macosx-11.0-arm64", "macosx-11.0-x86_64"}


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "cp932:strict"])
def test_the_test_command_prints_whatever_the_consoles_encoding(
    tmp_path: Path, encoding: str
) -> None:
    """Itself, what it starts and hears, and a path that is no text; as in a pipe on Windows."""
    code = """if True:
        import importlib.util, sys
        sys.path.insert(0, sys.argv[1])
        spec = importlib.util.spec_from_file_location("command", sys.argv[1] + "/test.py")
        command = sys.modules["command"] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(command)
        command.speak_utf8()
        child = [sys.executable, "-c", r"print('child \\u0141\\u00f3d\\u017a')"]
        command._run("Ελλάδα", child)
        command._at_once([("heard", child)])
        print("path", chr(0xDC80))
        """
    (tmp_path / "said.py").write_text(code, encoding="utf-8")
    call = [sys.executable, str(tmp_path / "said.py"), str(ROOT / "scripts")]
    outside = {**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}
    outside |= {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0"}  # what is started knows ASCII only
    done = subprocess.run(call, check=False, capture_output=True, env=outside)
    assert done.returncode == 0, done.stderr.decode()
    told = done.stdout.decode("utf-8")
    assert told.count("child Łódź") == 2
    assert "Ελλάδα" in told
    assert "path ?" in told


@pytest.mark.parametrize("version", ["3.8", "3.9", "3.10"])
@pytest.mark.parametrize("name", ["demo.py", "test.py"])
def test_an_older_python_gets_one_sentence(version: str, name: str) -> None:
    python = pythons.find_python(version)
    if python is None:
        pytest.skip(f"no Python {version} here")
    command = [python, str(ROOT / "scripts" / name)]
    done = subprocess.run(command, check=False, capture_output=True, encoding="utf-8")
    assert done.returncode == 1
    assert re.fullmatch(r"Python 3\.11 or newer is needed; this is Python .*\n", done.stderr)


def test_the_core_is_tried_with_the_lowest_versions_stated() -> None:
    """All but the fonts state one, and no library is named that way at a second place."""
    pins = dict(text.split("==") for text in environment.lowest_versions())
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    wanted = {re.split(r"[<>=; ]", t)[0] for t in project["dependencies"] + extras["exr"]}
    assert wanted - set(pins) == {"font-source-serif-pro", "font-source-sans-pro"}
    assert not {re.split(r"[<>=; \[]", t)[0] for t in extras["test"] + extras["lint"]} & wanted
