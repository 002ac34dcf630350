"""What may import what, seen from outside by running the code."""

import ast
import subprocess
import sys
from pathlib import Path

import medalcore

ROOT = Path(medalcore.__file__).parent
MODULES = sorted(ROOT.rglob("*.py"))


def test_the_core_imports_itself_relatively_only():
    """It also travels as a sub-package of the Blender extension, under another name."""
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                assert not any(a.name.split(".")[0] == "medalcore" for a in node.names), path
            if isinstance(node, ast.ImportFrom) and node.level == 0:
                assert (node.module or "").split(".")[0] != "medalcore", path


def test_no_module_of_the_core_brings_in_blender_or_scipy():
    names = [
        "medalcore." + ".".join(p.relative_to(ROOT).with_suffix("").parts)
        for p in MODULES
        if p.name not in ("__init__.py", "__main__.py")
    ]
    code = (
        "import importlib, sys\n"
        f"for name in {names!r}: importlib.import_module(name)\n"
        "print([m for m in ('bpy', 'bmesh', 'mathutils', 'scipy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_modules_stay_small_enough_to_read():
    """House rule: about 400 lines."""
    for path in MODULES:
        assert len(path.read_text(encoding="utf-8").splitlines()) <= 430, path
