"""The wheels in the ZIPs, laid out by Blender's own wheel manager, and how they are changed."""

from __future__ import annotations

import io
import subprocess
import sys
import zipfile
from pathlib import Path
from types import ModuleType

import pytest
import unpacked
from script import script
from unpacked import small_wheel

flattened = script("flat_wheel").flattened


@pytest.fixture(scope="session")
def manager() -> ModuleType:
    """Return the wheel manager of the Blender that is tested in."""
    bpy = pytest.importorskip("bpy", reason="Blender's module bpy is not installed")
    (path,) = Path(bpy.utils.resource_path("LOCAL")).rglob("wheel_manager.py")
    return unpacked.wheel_manager(path)


@pytest.mark.parametrize("python", ["3.11", "3.13"])
@pytest.mark.parametrize("platform", ["linux-x64", "windows-x64", "macos-arm64", "macos-x64"])
def test_blender_lays_out_the_wheels_as_they_are_meant(
    build_extension: ModuleType,
    archives: dict[str, Path],
    manager: ModuleType,
    tmp_path: Path,
    platform: str,
    python: str,
) -> None:
    """Blender 4.2 and 4.3 unpack wheels and do no more; a library must lie right already."""
    fitting = {w.file for w in build_extension.read_lock() if w.fits(platform, python)}
    listed = unpacked.wheels(archives[platform], tmp_path / "extension")
    chosen = [path for path in listed if path.name in fitting]
    assert len(chosen) == len(fitting)
    site = unpacked.laid_out(manager, chosen, tmp_path / "local")
    assert not [*site.glob("*.data/platlib"), *site.glob("*.data/purelib")]
    assert unpacked.wrong_records(site) == []
    assert len(list(site.glob("*.dist-info/RECORD"))) == len(chosen)
    assert unpacked.missing_libraries(site, python) == []
    if platform == "windows-x64":
        (library,) = site.glob("msvcp140-*.dll")
        library.rename(site / "PIL" / library.name)  # what is looked for can be missed
        assert unpacked.missing_libraries(site, python) == [
            f"OpenEXR.cp{python.replace('.', '')}-win_amd64.pyd needs {library.name}",
            f"manifold3d.cp{python.replace('.', '')}-win_amd64.pyd needs {library.name}",
        ]


def test_pip_lays_out_a_changed_wheel_like_the_published_one(
    build_extension: ModuleType, archives: dict[str, Path], tmp_path: Path
) -> None:
    """The general-purpose installer puts every file of both at the same place."""
    changed = [
        path
        for path in unpacked.wheels(archives["windows-x64"], tmp_path / "extension")
        if path.read_bytes() != (build_extension.CACHE / path.name).read_bytes()
    ]
    names = {path.name.partition("-")[0] for path in changed}
    assert names == {"manifold3d", "openexr"}
    trees = []
    for number, folder in enumerate((build_extension.CACHE, tmp_path / "extension" / "wheels")):
        target = tmp_path / str(number)
        wanted = [str(folder / path.name) for path in changed if "cp311" in path.name]
        command = [sys.executable, "-m", "pip", "install", "--quiet", "--no-index", "--no-deps"]
        command += ["--only-binary=:all:", "--platform", "win_amd64", "--python-version", "3.11"]
        subprocess.run([*command, "--target", str(target), *wanted], check=True)
        files = [p for p in target.rglob("*") if p.is_file() and p.suffix != ".pyc"]
        trees.append(
            {
                p.relative_to(target).as_posix(): p.read_bytes()
                for p in files
                if p.name not in ("RECORD", "direct_url.json")  # pip writes both itself
            }
        )
    assert trees[0] == trees[1]


def test_a_wheel_is_changed_only_where_it_must_be(tmp_path: Path) -> None:
    wheel = tmp_path / "made-1.0-py3-none-any.whl"
    small_wheel(wheel, "made-1.0", "x")
    flat = flattened(wheel, (2020, 1, 1, 0, 0, 0))
    assert flat is not None
    with zipfile.ZipFile(io.BytesIO(flat)) as archive:
        kept = "made-1.0.data/data/share/man/made.1"
        assert archive.namelist() == ["made.py", "made.dll", kept, "made-1.0.dist-info/RECORD"]
        record = archive.read("made-1.0.dist-info/RECORD").decode()
    assert record.splitlines() == ["made.py,,", "made.dll,,", "made-1.0.dist-info/RECORD,,"]
    again = tmp_path / "flat.whl"
    again.write_bytes(flat)
    assert flattened(again, (2020, 1, 1, 0, 0, 0)) is None


def test_two_files_at_one_place_are_refused(tmp_path: Path) -> None:
    wheel = tmp_path / "made-1.0-py3-none-any.whl"
    with zipfile.ZipFile(wheel, "w") as archive:
        archive.writestr("made.dll", "")
        archive.writestr("made-1.0.data/platlib/made.dll", "")
    with pytest.raises(ValueError, match=r"made\.dll at two places"):
        flattened(wheel, (2020, 1, 1, 0, 0, 0))
