"""The build script: its lock, its manifest and what goes into a ZIP. Needs no Blender."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from packaging.utils import parse_wheel_filename
from unpacked import small_wheel

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def wheels(build_extension: ModuleType) -> Any:
    return build_extension.read_lock()


@pytest.mark.parametrize("python", ["3.11", "3.13"])
@pytest.mark.parametrize("platform", ["linux-x64", "windows-x64", "macos-arm64", "macos-x64"])
def test_every_dependency_has_exactly_one_wheel(
    build_extension: ModuleType, wheels: Any, platform: str, python: str
) -> None:
    """Blender takes the union of all wheels' Pythons: a missing one shows only at import."""
    fitting = [w.name for w in wheels if w.fits(platform, python)]
    with (ROOT / "pyproject.toml").open("rb") as handle:
        project = tomllib.load(handle)["project"]
    wanted = project["dependencies"] + project["optional-dependencies"]["exr"]
    names = {re.split(r"[<>=; ]", text)[0] for text in wanted} - {"numpy"}
    assert sorted(fitting) == sorted(names)
    build_extension.check_complete(wheels, platform, python)


def test_a_missing_wheel_is_noticed(build_extension: ModuleType, wheels: Any) -> None:
    less = [w for w in wheels if not (w.name == "msgspec" and w.fits("macos-arm64", "3.13"))]
    with pytest.raises(SystemExit, match="msgspec: 0 wheels fit macos-arm64"):
        build_extension.check_complete(less, "macos-arm64", "3.13")


def test_wheels_agree_with_the_packaging_library(wheels: Any) -> None:
    """The general-purpose library `packaging` reads the same tags from every file name."""
    for wheel in wheels:
        name, version, _, tags = parse_wheel_filename(wheel.file)
        assert (name, str(version)) == (wheel.name, wheel.version)
        pythons, abis, platforms = wheel.tags
        assert {(t.interpreter, t.abi, t.platform) for t in tags} == {
            (p, a, s) for p in pythons for a in abis for s in platforms
        }


def test_numpy_is_never_bundled(wheels: Any) -> None:
    assert "numpy" not in {w.name for w in wheels}


def test_lock_holds_no_places_of_a_machine(build_extension: ModuleType) -> None:
    text = build_extension.LOCK.read_text(encoding="utf-8")
    assert "/" not in text.replace("scripts/build_extension.py", "")


def test_manifest_follows_the_rules_of_the_platform(build_extension: ModuleType) -> None:
    """Blender's own validation passes over a licence without prefix (found by trying)."""
    data = tomllib.loads(build_extension.manifest())
    assert data["license"] == ["SPDX:GPL-3.0-or-later"]
    for text in (data["tagline"], *data["permissions"].values()):
        assert len(text) <= 64
        assert text[-1].isalnum()
    assert "blender" not in data["name"].lower()
    assert set(data["permissions"]) == {"files"}


@pytest.fixture
def stand_ins(build_extension: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have every ZIP built of small wheels that keep a library in their data folder."""

    def fetch(wheel: Any) -> Path:
        path = tmp_path / wheel.file
        small_wheel(path, f"{wheel.name}-{wheel.version}", wheel.sha256)
        return path

    monkeypatch.setattr(build_extension, "fetch", fetch)


@pytest.mark.usefixtures("stand_ins")
def test_the_same_sources_give_the_same_zip(build_extension: ModuleType, tmp_path: Path) -> None:
    """Whole content, listed wheels, one platform, no litter."""
    lock = build_extension.read_lock()
    first = build_extension.build("windows-x64", tmp_path / "a", lock)
    again = build_extension.build("windows-x64", tmp_path / "b", lock)
    assert first.name == "medalwright-0.1.0-windows_x64.zip"
    assert first.read_bytes() == again.read_bytes()
    with zipfile.ZipFile(first) as archive:
        names = archive.namelist()
        listed = tomllib.loads(archive.read("blender_manifest.toml").decode())
    assert listed["platforms"] == ["windows-x64"]
    assert sorted(w.removeprefix("./") for w in listed["wheels"]) == sorted(
        n for n in names if n.endswith(".whl")
    )
    assert {"__init__.py", "LICENSE", "medalcore/__init__.py", "medalcore/LICENSE"} <= set(names)
    assert "medalcore/data/materials.toml" in names
    assert not [n for n in names if n.endswith((".pyc", ".part")) or "__pycache__" in n]
    assert not [n for n in names if n.endswith(".whl") and ("linux" in n or "macosx" in n)]


@pytest.mark.usefixtures("stand_ins")
def test_line_ends_of_the_checkout_do_not_matter(
    build_extension: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Git for Windows may write CR LF; the ZIP is the same, a file that is no text untouched."""
    made = []
    for ends in (b"\n", b"\r\n"):
        root = tmp_path / f"root{len(ends)}"
        for path in (ROOT / "addon", ROOT / "medalcore"):
            shutil.copytree(path, root / path.name, ignore=build_extension.LEFT_OUT)
        for name in ("blender_manifest.toml", "pyproject.toml"):
            shutil.copy(ROOT / name, root)
        for path in [p for p in root.rglob("*") if p.is_file()]:
            path.write_bytes(path.read_bytes().replace(b"\r\n", b"\n").replace(b"\n", ends))
        (root / "addon" / "picture.bin").write_bytes(b"\0\r\n")
        monkeypatch.setattr(build_extension, "ROOT", root)
        lock = build_extension.read_lock()
        made.append(build_extension.build("macos-arm64", root / "dist", lock))
    assert made[0].read_bytes() == made[1].read_bytes()
    with zipfile.ZipFile(made[1]) as archive:
        assert archive.read("picture.bin") == b"\0\r\n"
        assert b"\r" not in archive.read("blender_manifest.toml") + archive.read("__init__.py")


def test_git_keeps_line_ends() -> None:
    """The shell scripts would not run with CR LF, whatever core.autocrlf says."""
    if shutil.which("git") is None or not (ROOT / ".git").exists():
        pytest.skip("no git checkout")
    files = [".ci/run", "tests/window/setup_blender.sh", "addon/live.py"]
    command = ["git", "check-attr", "eol", "--", *files]
    told = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout
    assert told.splitlines() == [f"{name}: eol: lf" for name in files]


def test_blenders_own_tool_accepts_every_zip(archives: dict[str, Path]) -> None:
    """The tool that installs extensions runs on its own, from inside the bpy module."""
    bpy = pytest.importorskip("bpy", reason="Blender's module bpy is not installed")
    tools = list(Path(bpy.utils.resource_path("LOCAL")).rglob("blender_ext.py"))
    assert len(tools) == 1
    for made in archives.values():
        done = subprocess.run(
            [sys.executable, str(tools[0]), "validate", str(made)],
            check=False,
            capture_output=True,
            text=True,
        )
        assert done.returncode == 0, done.stdout + done.stderr


def test_a_changed_wheel_is_refused(
    build_extension: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(build_extension, "CACHE", tmp_path)
    wheel = next(w for w in build_extension.read_lock() if w.name == "tqdm")
    (tmp_path / wheel.file).write_bytes(b"something else")
    with pytest.raises(SystemExit, match="not the wheel the lock names"):
        build_extension.fetch(wheel)


def test_the_core_is_imported_relatively_only() -> None:
    """As an extension the core has another name; an absolute import would fail there."""
    for path in [*(ROOT / "addon").rglob("*.py"), *(ROOT / "medalcore").rglob("*.py")]:
        code = path.read_text(encoding="utf-8")
        code = re.sub(r'_BOOT = """.*?"""', "", code, flags=re.S)  # runs in another process
        assert not re.search(r"^\s*(from|import) medalcore", code, re.M), path.name


def test_the_addon_states_its_licence() -> None:
    for path in (ROOT / "addon").rglob("*.py"):
        first = path.read_text(encoding="utf-8").splitlines()[0]
        assert first == "# SPDX-License-Identifier: GPL-3.0-or-later", path.name
