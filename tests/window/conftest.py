"""A real Blender with the extension installed, or a skip that says why there is none."""

from __future__ import annotations

import os
import platform
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from script import script

sys.path.insert(0, str(Path(__file__).resolve().parent))
from window import Blender, find_blender, missing_tools

ROOT = Path(__file__).resolve().parents[2]
HERE = Path(__file__).resolve().parent
SYSTEM = ROOT / ".cache" / "blender"


def set_up() -> str:
    """Set up a Blender where that was asked for and can be done; return why not."""
    if os.environ.get("MEDALWRIGHT_BLENDER"):
        return ""
    if not (SYSTEM / ".medalwright-ready").exists():
        if os.environ.get("MEDALWRIGHT_SETUP_BLENDER") != "1":
            return ""
        done = subprocess.run(
            ["sh", str(HERE / "setup_blender.sh"), str(SYSTEM)],
            check=False,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            encoding="utf-8",
            errors="replace",
        )
        if done.returncode:
            return "a Blender could not be set up: " + done.stdout.strip().splitlines()[-1]
    os.environ["MEDALWRIGHT_BLENDER"] = str(SYSTEM)
    return ""


@pytest.fixture(scope="session")
def blender(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Blender]:
    """Return a Blender with an empty home."""
    why = set_up()
    found, reason = find_blender(tmp_path_factory.mktemp("home"))
    if found is None:
        pytest.skip(why or reason)
    yield found
    shutil.rmtree(found.home, ignore_errors=True)


@pytest.fixture(scope="session")
def archive(blender: Blender) -> Path:
    """Return the extension's ZIP for this machine, built from the sources as they are."""
    system = {"linux": "linux", "win32": "windows", "darwin": "macos"}[sys.platform]
    machine = {"x86_64": "x64", "amd64": "x64"}.get(platform.machine().lower(), "arm64")
    if f"{system}-{machine}" not in script("build_extension").PLATFORMS:
        pytest.skip(f"the extension is not made for {system}-{machine}")
    subprocess.run(
        [sys.executable, str(ROOT / "scripts" / "build_extension.py"), "--platform",
         f"{system}-{machine}", "--out", str(blender.home)],
        check=True,
    )  # fmt: skip
    return next(blender.home.glob("medalwright-*.zip"))


@pytest.fixture(scope="session")
def installed(blender: Blender, archive: Path) -> Blender:
    """Return the Blender with the extension installed and enabled from the command line."""
    done = blender.run(
        "--command", "extension", "install-file", "-r", "user_default", "--enable",
        blender.inside(archive),
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return blender


@pytest.fixture(scope="session")
def screen(installed: Blender) -> Blender:
    """Return the Blender if a picture of its window can be taken here."""
    missing = missing_tools()
    if missing:
        pytest.skip(f"no window picture: {', '.join(missing)} not found")
    return installed


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Do not call it a success where every test was skipped."""
    counts = session.config.pluginmanager.get_plugin("terminalreporter").stats
    if exitstatus == pytest.ExitCode.OK and counts.get("skipped") and not counts.get("passed"):
        session.exitstatus = pytest.ExitCode.NO_TESTS_COLLECTED
