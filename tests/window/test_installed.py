"""The ZIP in a real Blender: accepted, installed, enabled, and its command line."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
import unpacked
from script import script
from window import Blender

ROOT = Path(__file__).resolve().parents[2]

build_extension = script("build_extension")

SPEC = """
[medal]
name = "Fennick Light"
[blank]
diameter = 30.0
[edge]
finish = "reeded"
reeds = 90
[[obverse.legend]]
text = "FENNICK LIGHT"
"""


@pytest.fixture
def spec(installed: Blender) -> Path:
    path = installed.home / "fennick.toml"
    path.write_text(SPEC, encoding="utf-8")
    return path


def test_blender_finds_nothing_wrong_with_the_archive(blender: Blender, archive: Path) -> None:
    done = blender.run("--command", "extension", "validate", blender.inside(archive))
    assert done.returncode == 0, done.stdout + done.stderr


def test_its_wheel_manager_puts_windows_libraries_where_windows_looks(
    blender: Blender, tmp_path: Path
) -> None:
    """The wheels for Windows, unpacked here by this Blender's own code."""
    build = [sys.executable, str(ROOT / "scripts" / "build_extension.py")]
    subprocess.run([*build, "--platform", "windows-x64", "--out", str(tmp_path)], check=True)
    code = "from _bpy_internal.extensions import wheel_manager as m; print('AT', m.__file__)"
    told = blender.run("--python-exit-code", "3", "--python-expr", code).stdout
    (place,) = [line[3:] for line in told.splitlines() if line.startswith("AT ")]
    manager = unpacked.wheel_manager(blender.outside(place))
    listed = unpacked.wheels(next(tmp_path.glob("*.zip")), tmp_path / "extension")
    for python in build_extension.PYTHONS:
        fitting = {w.file for w in build_extension.read_lock() if w.fits("windows-x64", python)}
        chosen = [path for path in listed if path.name in fitting]
        assert len(chosen) == len(fitting) > 0
        site = unpacked.laid_out(manager, chosen, tmp_path / python)
        assert list(site.glob("msvcp140-*.dll"))
        assert unpacked.missing_libraries(site, python) == []


def test_it_is_installed_and_enabled(installed: Blender) -> None:
    done = installed.run("--command", "extension", "list")
    assert "medalwright" in done.stdout
    code = "import bpy; print('TAB', bpy.types.MEDALWRIGHT_PT_main.bl_category)"
    done = installed.run("--python-exit-code", "3", "--python-expr", code)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "TAB Medalwright" in done.stdout


def test_nothing_of_the_persons_own_blender_is_touched(installed: Blender) -> None:
    """Settings, extensions and temporary files lie in the folder that the test named."""
    kinds = "CONFIG", "SCRIPTS", "EXTENSIONS", "DATAFILES"
    code = (
        "import bpy, tempfile\n"
        "print('AT', bpy.utils.resource_path('USER'))\n"
        f"for kind in {kinds}: print('AT', bpy.utils.user_resource(kind))\n"
        "print('AT', bpy.app.tempdir)\n"
        "print('AT', tempfile.gettempdir())\n"
    )
    told = installed.run("--python-exit-code", "3", "--python-expr", code).stdout
    places = [installed.outside(line[3:]) for line in told.splitlines() if line.startswith("AT ")]
    assert len(places) == 3 + len(kinds)
    assert places[0] == installed.home
    assert all(place.is_relative_to(installed.home) for place in places)


def test_its_libraries_are_its_own(installed: Blender) -> None:
    """The wheels that travel in the ZIP are the ones imported, and NumPy is Blender's."""
    code = (
        "import manifold3d, msgspec, uharfbuzz, trimesh, fontTools, PIL, numpy\n"
        "for m in (manifold3d, msgspec, uharfbuzz, trimesh, fontTools, PIL): "
        "assert 'extensions' in m.__file__, m.__file__\n"
        "assert 'extensions' not in numpy.__file__, numpy.__file__\n"
    )
    done = installed.run("--python-exit-code", "3", "--python-expr", code)
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_command_builds_a_piece(installed: Blender, spec: Path) -> None:
    out = installed.home / "out"
    call = ("--command", "medalwright", "build", installed.inside(spec), "--quality", "draft")
    done = installed.run(*call, "--out", installed.inside(out))
    assert done.returncode == 0, done.stdout + done.stderr
    names = {path.name for path in out.iterdir()}
    assert {"fennick-light.stl", "fennick-light.3mf", "fennick-light.report.json"} <= names
    assert {"obverse.png", "reverse.png"} <= names
    report = json.loads((out / "fennick-light.report.json").read_text(encoding="utf-8"))
    assert report["closed"] is True
    assert report["diameter_mm"] == pytest.approx(30.0, abs=0.01)
    again = installed.run(*call, "--out", installed.inside(out))
    assert again.returncode == 2  # nothing is overwritten unasked
    assert "Traceback" not in again.stdout + again.stderr


def test_a_wrong_spec_ends_with_2_and_one_line(installed: Blender) -> None:
    wrong = installed.home / "wrong.toml"
    wrong.write_text("[blank]\ndiamter = 3\n", encoding="utf-8")
    out = installed.home / "nothing"
    done = installed.run(
        "--command", "medalwright", "build", installed.inside(wrong), "--out", installed.inside(out)
    )
    assert done.returncode == 2
    assert "did you mean 'diameter'" in done.stderr
    assert "Traceback" not in done.stdout + done.stderr
    assert not out.exists()


def test_a_script_makes_a_piece_without_a_window(installed: Blender) -> None:
    code = (
        "import bpy\n"
        "assert bpy.ops.medalwright.new(diameter=25.4) == {'FINISHED'}\n"
        "assert bpy.ops.medalwright.make_fine() == {'FINISHED'}\n"
        "assert bpy.context.object.data.medalwright.quality == 'fine'\n"
    )
    done = installed.run("--python-exit-code", "3", "--python-expr", code)
    assert done.returncode == 0, done.stdout + done.stderr


def test_disabling_and_enabling_again_is_clean(installed: Blender) -> None:
    code = (
        "import addon_utils\n"
        "name = 'bl_ext.user_default.medalwright'\n"
        "for _ in range(3):\n"
        "    addon_utils.disable(name)\n"
        "    assert addon_utils.enable(name) is not None\n"
        "import bpy; bpy.ops.medalwright.new()\n"
    )
    done = installed.run("--python-exit-code", "3", "--python-expr", code)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    assert "Warning" not in done.stderr
