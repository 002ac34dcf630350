# SPDX-License-Identifier: GPL-3.0-or-later
"""Build the Blender extension: one ZIP per platform, with pinned and hash-checked wheels.

    python scripts/build_extension.py                      # every platform, into dist/
    python scripts/build_extension.py --platform linux-x64
    python scripts/build_extension.py --lock               # choose wheels anew, write the lock

A ZIP holds the files of addon/ at its root, medalcore/ as a sub-package, the wheels of its
platform for both Pythons that Blender uses, and a manifest that lists them. Needs nothing
but Python 3.11 with pip; the wheels are fetched once into .cache/wheels.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib.metadata
import shutil
import subprocess
import sys
import tempfile
import tomllib
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from flat_wheel import flattened

ROOT = Path(__file__).resolve().parent.parent
LOCK = ROOT / "scripts" / "wheels.lock.toml"
CACHE = ROOT / ".cache" / "wheels"

PYTHONS = ("3.11", "3.13")
"""Pythons of the Blender versions we support (4.2 to 5.0 and 5.1 on)."""

PLATFORMS = {
    "linux-x64": ("manylinux_2_28_x86_64",),
    "windows-x64": ("win_amd64",),
    "macos-arm64": ("macosx_11_0_arm64",),
    "macos-x64": ("macosx_10_15_x86_64", "macosx_10_14_x86_64"),
}
"""Blender's names and the oldest system each Blender of that platform runs on, as pip's tags."""

COMPILED = ("manifold3d", "uharfbuzz", "msgspec", "pillow", "openexr")
# OpenEXR, 1.2 to 1.8 MB a wheel: Blender's Python shows no pixels of a multi-layer EXR, which is
# how it saves depth passes (tried: 4.2 and 5.2), and has no other library that reads them.
PURE = (
    "trimesh", "fonttools", "tqdm", "tomli-w", "svgelements",
    "font-source-serif-pro", "font-source-sans-pro",
)  # fmt: skip
# NumPy is Blender's own and never bundled: ours would be found first by every other add-on.

LEFT_OUT = shutil.ignore_patterns("__pycache__", "*.pyc", ".*", "*.part")
ZIP_TIME = (2020, 1, 1, 0, 0, 0)  # the same sources give the same bytes


@dataclass(frozen=True)
class Wheel:
    """A wheel as the lock names it."""

    name: str
    version: str
    file: str
    sha256: str

    @property
    def tags(self) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
        """Return Python, ABI and platform tags (PEP 427, compressed tag sets of PEP 425)."""
        python, abi, platform = self.file.removesuffix(".whl").split("-")[-3:]
        return tuple(python.split(".")), tuple(abi.split(".")), tuple(platform.split("."))

    def fits(self, platform: str, python: str) -> bool:
        """Tell whether a platform's Blender with this Python takes the wheel."""
        return self._fits_python(python) and self._fits_platform(platform)

    def _fits_python(self, python: str) -> bool:
        tags, abis, _ = self.tags
        plain = python.replace(".", "")
        if "abi3" in abis:
            return any(t[:2] == "cp" and int(t[3:]) <= int(plain[1:]) for t in tags)
        return bool({f"cp{plain}", f"py{plain}", "py3"} & set(tags))

    def _fits_platform(self, platform: str) -> bool:
        system, machine = platform.split("-")
        words = {"x64": ("x86_64", "amd64"), "arm64": ("arm64", "aarch64")}[machine]
        start = {"linux": "manylinux", "windows": "win", "macos": "macosx"}[system]
        return any(
            tag == "any"
            or (
                tag.startswith(start)
                and (tag.endswith(words) or (system == "macos" and tag.endswith("universal2")))
            )
            for tag in self.tags[2]
        )


def read_lock(path: Path = LOCK) -> tuple[Wheel, ...]:
    """Return the wheels of the lock file."""
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    return tuple(Wheel(**item) for item in data["wheel"])


def write_lock(wheels: Iterable[Wheel], path: Path = LOCK) -> None:
    """Write the lock file, sorted, so that a change of it reads well."""
    lines = [
        "# The wheels the extension carries: written by scripts/build_extension.py --lock,",
        "# checked by their hashes before every use.",
    ]
    for wheel in sorted(wheels, key=lambda w: (w.name, w.file)):
        lines += ["", "[[wheel]]"]
        lines += [f'{k} = "{getattr(wheel, k)}"' for k in ("name", "version", "file", "sha256")]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def sha256_of(path: Path) -> str:
    """Return the hash of a file."""
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def pip_download(folder: Path, options: Sequence[str], wanted: Sequence[str]) -> None:
    """Fetch wheels through pip, whatever index it is set up with."""
    command = [
        sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check",
        "--no-deps", "--only-binary=:all:", "--dest", str(folder), *options, *wanted,
    ]  # fmt: skip
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    if done.returncode:
        lines = [line for line in done.stderr.splitlines() if line.startswith("ERROR")]
        sys.exit(f"pip could not fetch {', '.join(wanted)}: {'; '.join(lines) or done.stderr}")


def options_for(platform: str, python: str) -> list[str]:
    """Return pip's options for the wheels of a platform and a Python."""
    found = ["--implementation", "cp", "--python-version", python]
    for tag in PLATFORMS[platform]:
        found += ["--platform", tag]
    return found


def lock() -> None:
    """Choose the newest fitting wheel of every dependency and write the lock."""
    folder = CACHE / "choosing"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    for platform in PLATFORMS:
        for python in PYTHONS:
            pip_download(folder, options_for(platform, python), COMPILED)
    plain = ["--implementation", "py", "--abi", "none", "--platform", "any"]
    pip_download(folder, [*plain, "--python-version", PYTHONS[0]], PURE)
    wheels = []
    for path in folder.glob("*.whl"):
        name, version = path.name.split("-")[:2]
        wheels.append(Wheel(name.replace("_", "-"), version, path.name, sha256_of(path)))
        path.replace(CACHE / path.name)
    folder.rmdir()
    write_lock(wheels)
    for platform in PLATFORMS:
        for python in PYTHONS:
            check_complete(wheels, platform, python)
    print(f"{LOCK.relative_to(ROOT)}: {len(wheels)} wheels")


def check_complete(wheels: Iterable[Wheel], platform: str, python: str) -> None:
    """Stop unless every dependency has exactly one wheel for a platform and a Python."""
    fitting = [w.name for w in wheels if w.fits(platform, python)]
    for name in (*COMPILED, *PURE):
        if fitting.count(name) != 1:
            sys.exit(f"{name}: {fitting.count(name)} wheels fit {platform} with Python {python}")


def fetch(wheel: Wheel) -> Path:
    """Return the wheel's file from the cache, fetching it where it is missing.

    pip takes only the file with the locked hash, so tags need no guessing. It arrives in a
    folder of its own, so that two builds at once never see half a file of each other's.
    """
    path = CACHE / wheel.file
    if not path.exists():
        CACHE.mkdir(parents=True, exist_ok=True)
        python, abi, platform = wheel.tags
        version = python[0][2:] if len(python[0]) > 3 else "311"
        options = ["--implementation", python[0][:2], "--python-version", f"3.{version[1:]}"]
        for tag in abi:
            options += ["--abi", tag]
        for tag in platform:
            options += ["--platform", tag]
        with tempfile.TemporaryDirectory(dir=CACHE, ignore_cleanup_errors=True) as name:
            request = Path(name, "request.txt")
            line = f"{wheel.name}=={wheel.version} --hash=sha256:{wheel.sha256}\n"
            request.write_text(line, encoding="utf-8")
            pip_download(
                Path(name), [*options, "--require-hashes"], ["--requirement", str(request)]
            )
            arrived = Path(name, wheel.file)
            if arrived.exists():
                arrived.replace(path)
    if not path.exists() or sha256_of(path) != wheel.sha256:
        sys.exit(f"{path.name} is not the wheel the lock names; remove it and build again")
    return path


def manifest() -> str:
    """Return the manifest's text, with the core's version checked against it."""
    text = (ROOT / "blender_manifest.toml").read_text(encoding="utf-8")
    with (ROOT / "pyproject.toml").open("rb") as handle:
        core = tomllib.load(handle)["project"]["version"]
    if tomllib.loads(text)["version"] != core:
        sys.exit("blender_manifest.toml and pyproject.toml state different versions")
    return text


def stage(folder: Path) -> Path:
    """Copy the add-on and the core into one package folder, without wheels.

    This is also how the tests load the extension, so that they see what Blender sees.
    """
    shutil.rmtree(folder, ignore_errors=True)
    for source, target in ((ROOT / "addon", folder), (ROOT / "medalcore", folder / "medalcore")):
        shutil.copytree(source, target, ignore=LEFT_OUT, copy_function=_copy)
    return folder


def _copy(source: str, target: str) -> None:
    """Copy a file; a text gets the line ends it has in the repository, whatever git made of them.

    A file with a zero byte is no text: so git itself tells them apart.
    """
    content = Path(source).read_bytes()
    if b"\0" not in content:
        content = content.replace(b"\r\n", b"\n")
    Path(target).write_bytes(content)


def build(platform: str, out: Path, wheels: Sequence[Wheel]) -> Path:
    """Build the ZIP of one platform and return its path."""
    own = [w for w in wheels if any(w.fits(platform, python) for python in PYTHONS)]
    for python in PYTHONS:
        check_complete(wheels, platform, python)
    files = [fetch(w) for w in sorted(own, key=lambda w: w.file)]
    with tempfile.TemporaryDirectory(prefix="medalwright_", ignore_cleanup_errors=True) as name:
        folder = stage(Path(name, platform))
        (folder / "wheels").mkdir()
        for path in files:
            changed = flattened(path, ZIP_TIME)
            (folder / "wheels" / path.name).write_bytes(changed or path.read_bytes())
        text = _listing(platform, [path.name for path in files])
        (folder / "blender_manifest.toml").write_text(text, encoding="utf-8", newline="\n")
        return _zip(folder, out, platform)


def _listing(platform: str, wheels: Sequence[str]) -> str:
    """Return the manifest of one platform's ZIP."""
    # TOML wants top-level keys before the first table
    head, mark, tail = manifest().partition("\n[permissions]")
    listed = "".join(f'    "./wheels/{name}",\n' for name in wheels)
    added = f'\nplatforms = ["{platform}"]\nwheels = [\n{listed}]\n'
    tail = "".join(line for line in tail.splitlines(True) if not line.startswith("#"))
    text = head + added + mark + tail.rstrip() + "\n"
    tomllib.loads(text)
    return text


def _zip(folder: Path, out: Path, platform: str) -> Path:
    data = tomllib.loads((folder / "blender_manifest.toml").read_text(encoding="utf-8"))
    path = out / f"{data['id']}-{data['version']}-{platform.replace('-', '_')}.zip"
    out.mkdir(parents=True, exist_ok=True)
    spare = path.with_suffix(".part")
    with zipfile.ZipFile(spare, "w", zipfile.ZIP_DEFLATED) as archive:
        files = {p.relative_to(folder).as_posix(): p for p in folder.rglob("*") if p.is_file()}
        for name, file in sorted(files.items()):
            info = zipfile.ZipInfo(name, ZIP_TIME)
            info.compress_type = (
                zipfile.ZIP_STORED if file.suffix == ".whl" else zipfile.ZIP_DEFLATED
            )
            info.create_system = 3  # Unix, also where this runs on Windows
            info.external_attr = 0o644 << 16
            archive.writestr(info, file.read_bytes())
    spare.replace(path)
    return path


def main(argv: Sequence[str] | None = None) -> int:
    """Run the script."""
    parser = argparse.ArgumentParser(description="Build the Blender extension.")
    parser.add_argument("--lock", action="store_true", help="choose the wheels anew")
    parser.add_argument(
        "--platform", action="append", choices=tuple(PLATFORMS), help="only this one; repeatable"
    )
    parser.add_argument("--out", type=Path, default=ROOT / "dist", help="folder for the ZIPs")
    args = parser.parse_args(argv)
    if args.lock:
        lock()
        return 0
    try:
        importlib.metadata.version("pip")
    except importlib.metadata.PackageNotFoundError:
        sys.exit("this needs pip in the same Python: python -m ensurepip")
    wheels = read_lock()
    for platform in args.platform or PLATFORMS:
        path = build(platform, args.out, wheels)
        print(f"{path}: {path.stat().st_size / 1e6:.1f} MB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
