"""The extension as Blender loads it, inside the bpy module: staged, then registered.

These tests run under a Python that has the ``bpy`` wheel of one Blender version and the
project's libraries; one process for each version.
"""

from __future__ import annotations

import importlib
import importlib.util
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from script import script

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = "medalwright_staged"

# Blender reads and writes its settings here, not in the home of whoever runs the tests.
os.environ["BLENDER_USER_RESOURCES"] = tempfile.mkdtemp(prefix="medalwright_")

if importlib.util.find_spec("bpy"):
    import bpy  # one that is there and does not load is a fault, not a reason to leave tests out
else:
    bpy = None
    collect_ignore_glob = ["test_blender_*.py"]


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say which tests were not even collected."""
    if bpy is None:
        terminalreporter.write_line("LEFT OUT test_blender_*.py: Blender's module bpy is not there")


@pytest.hookimpl(trylast=True)
def pytest_unconfigure(config: pytest.Config) -> None:
    """Leave without the interpreter's last steps: there the bpy 4.2 module crashes.

    Any property with a Python callback is enough (two lines show it); a real Blender is
    not concerned. Everything has been reported by now.
    """
    if bpy is not None:
        shutil.rmtree(os.environ["BLENDER_USER_RESOURCES"], ignore_errors=True)
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(int(status[0]))


status = [1]


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Remember how the tests went."""
    status[0] = int(exitstatus)


@pytest.fixture(scope="session")
def build_extension() -> ModuleType:
    """Return the build script as a module."""
    return script("build_extension")


@pytest.fixture(scope="session")
def archives(
    build_extension: ModuleType, tmp_path_factory: pytest.TempPathFactory
) -> dict[str, Path]:
    """Return the ZIP of each platform as it is shipped."""
    out, lock = tmp_path_factory.mktemp("zips"), build_extension.read_lock()
    return {name: build_extension.build(name, out, lock) for name in build_extension.PLATFORMS}


@pytest.fixture(scope="session")
def package(build_extension: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> ModuleType:
    """Return the extension's package, staged as it is shipped and imported, not registered."""
    folder = build_extension.stage(tmp_path_factory.mktemp("stage") / PACKAGE)
    spec = importlib.util.spec_from_file_location(
        PACKAGE, folder / "__init__.py", submodule_search_locations=[str(folder)]
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[PACKAGE] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def addon(package: ModuleType) -> Iterator[ModuleType]:
    """Register the extension in an empty file, and take it back."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    package.register()
    try:
        yield package
    finally:
        package.unregister()


@pytest.fixture
def part(addon: ModuleType) -> Any:
    """Return a function that gives a module of the registered extension."""
    return lambda name: importlib.import_module(f"{PACKAGE}.{name}")


def width() -> float:
    """Return the width of the active object's mesh, from x = 0."""
    return 2.0 * max(vertex.co.x for vertex in bpy.context.object.data.vertices)


@pytest.fixture
def live(part: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """Return the module as it is in a window, with the process ready and a piece built.

    Timers do not fire without a window, so tests call what the timers would.
    """
    module = part("work.live")
    monkeypatch.setattr(module, "_follows", lambda i: not module.session.quiet)
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.medalwright.new()
    module.session.builder = part("work.jobs").Builder(apart=True)
    monkeypatch.setattr(module, "WAIT", 30.0)
    bpy.context.object.medalwright.spec.blank.diameter = 41.0
    end = time.monotonic() + 60.0
    while not module.session.builder.is_idle and time.monotonic() < end:
        module.tick()
        time.sleep(0.01)
    assert width() == pytest.approx(41.0, abs=0.02)
    monkeypatch.undo()
    monkeypatch.setattr(module, "_follows", lambda i: not module.session.quiet)
    module._next_turn()
    module.session.took.clear()  # the first draft is slow where the machine is busy
    yield module
    module.close()


@pytest.fixture
def spec(addon: Any, part: Any) -> Any:
    """Return the properties of a piece that has one element in every list, nested ones too."""
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.medalwright.new()
    piece = bpy.context.object
    tables, core = part("props.groups"), part("medalcore.spec")
    with part("work.live").quietly():
        for face in ("obverse", "reverse"):
            for key in tables.keys(core.Face):
                if key.kind == "tables":
                    bpy.ops.medalwright.edit_list(path=f"{face}.{key.name}", action="ADD")
            for key in tables.keys(core.Field):
                if key.kind == "tables":
                    bpy.ops.medalwright.edit_list(path=f"{face}.field.{key.name}", action="ADD")
    return piece.medalwright.spec
