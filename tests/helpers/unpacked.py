"""A ZIP's wheels, laid out by Blender's own wheel manager, and looked at from outside."""

from __future__ import annotations

import base64
import csv
import hashlib
import importlib.util
import inspect
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pefile

# Part of Windows (common practice, no source), and what every Python for Windows brings along.
WINDOWS = {"kernel32", "user32", "gdi32", "rpcrt4", "usp10", "dwrite", "psapi"}
PYTHONS = {"vcruntime140", "vcruntime140_1", "python3"}


def wheel_manager(path: Path) -> ModuleType:
    """Load a Blender's wheel manager from its file; it needs nothing else of Blender."""
    spec = importlib.util.spec_from_file_location("wheel_manager", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def wheels(archive: Path, folder: Path) -> list[Path]:
    """Unpack an extension's ZIP and return the wheels that its manifest lists."""
    with zipfile.ZipFile(archive) as opened:
        opened.extractall(folder)
    manifest = tomllib.loads((folder / "blender_manifest.toml").read_text(encoding="utf-8"))
    return [folder / name for name in manifest["wheels"]]


def laid_out(manager: ModuleType, chosen: list[Path], folder: Path) -> Path:
    """Have a wheel manager unpack wheels and return the folder that Python would import from."""
    site = folder / "lib" / "site-packages"
    site.mkdir(parents=True)
    faults: list[Any] = []
    told = {
        "error_fn": faults.append,
        "remove_error_fn": lambda path, error: faults.append((path, error)),
    }
    known = inspect.signature(manager.apply_action).parameters  # Blender 4.3.2 raises instead
    manager.apply_action(
        local_dir=str(folder),
        local_dir_site_packages=str(site),
        wheel_list=[("medalwright", [str(path) for path in chosen])],
        debug=False,
        **{name: function for name, function in told.items() if name in known},
    )
    assert not faults
    return site


def missing_libraries(site: Path, python: str) -> list[str]:
    """Return which Windows modules need a library that would not be found.

    Windows looks beside the module, in the program's folder and in its own (Microsoft,
    "Dynamic-link library search order", LOAD_LIBRARY_SEARCH_DLL_LOAD_DIR, as CPython asks
    since 3.8).
    """
    found = []
    theirs = WINDOWS | PYTHONS | {"python" + python.replace(".", "")}
    for path, needed in _imports(site):
        beside = {other.name.lower() for other in path.parent.iterdir()}
        for name in needed:
            known = name.startswith("api-ms-win-") or name.removesuffix(".dll") in theirs
            if not known and name not in beside:
                found.append(f"{path.relative_to(site).as_posix()} needs {name}")
    return sorted(found)


def _imports(site: Path) -> Iterator[tuple[Path, list[str]]]:
    """Give each module and library with the names of what it loads, at once or late."""
    kinds = ["IMAGE_DIRECTORY_ENTRY_IMPORT", "IMAGE_DIRECTORY_ENTRY_DELAY_IMPORT"]
    for path in [*site.rglob("*.pyd"), *site.rglob("*.dll")]:
        with pefile.PE(str(path), fast_load=True) as image:
            assert image.FILE_HEADER.Machine == pefile.MACHINE_TYPE["IMAGE_FILE_MACHINE_AMD64"]
            image.parse_data_directories([pefile.DIRECTORY_ENTRY[kind] for kind in kinds])
            entries = [
                *getattr(image, "DIRECTORY_ENTRY_IMPORT", []),
                *getattr(image, "DIRECTORY_ENTRY_DELAY_IMPORT", []),
            ]
            yield path, [entry.dll.decode("ascii").lower() for entry in entries]


def wrong_records(site: Path) -> list[str]:
    """Return where a package's own list of files is not what lies there.

    Places, SHA-256 hashes (urlsafe base64 without padding) and sizes, by the Python
    Packaging User Guide, "Recording installed projects".
    """
    found = []
    for record in site.glob("*.dist-info/RECORD"):
        for name, *known in csv.reader(record.read_text(encoding="utf-8").splitlines()):
            path = site / name
            if not path.is_file():
                found.append(f"{record.parent.name}: {name} is not there")
            elif known != ["", ""]:
                content = path.read_bytes()
                told = base64.urlsafe_b64encode(hashlib.sha256(content).digest()).decode()
                if known != [f"sha256={told.rstrip('=')}", str(len(content))]:
                    found.append(f"{record.parent.name}: {name} is another file")
    return found


def small_wheel(path: Path, stem: str, text: str) -> None:
    """Write a wheel that keeps a library in its data folder."""
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("made.py", text)
        archive.writestr(f"{stem}.data/platlib/made.dll", text)
        archive.writestr(f"{stem}.data/data/share/man/made.1", text)
        rows = ["made.py,,", f"{stem}.data/platlib/made.dll,,", f"{stem}.dist-info/RECORD,,"]
        archive.writestr(f"{stem}.dist-info/RECORD", "\r\n".join(rows))
