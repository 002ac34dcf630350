"""What may import what, seen from outside by running the code."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest
from script import SCRIPTS, SUBJECTS, script

import medalcore

ROOT = Path(medalcore.__file__).parent
MODULES = sorted(ROOT.rglob("*.py"))
TESTS = sorted(Path(__file__).resolve().parents[1].rglob("*.py"))


def imported(path: Path) -> set[str]:
    """Return the outermost names of all that a file imports, but for its own neighbours."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {a.name.split(".")[0] for a in node.names}
        if isinstance(node, ast.ImportFrom) and node.level == 0:
            found.add((node.module or "").split(".")[0])
    return found


def test_the_core_imports_itself_relatively_only():
    """It also travels as a sub-package of the Blender extension, under another name."""
    assert not [path for path in MODULES if "medalcore" in imported(path)]


def test_tests_import_no_script():
    """What tests need lives beside them; a script that is a test's subject comes by `script`."""
    scripts = {p.stem for p in SCRIPTS.iterdir() if p.suffix == ".py" or p.is_dir()}
    assert {name.partition(".")[0] for name in SUBJECTS} < scripts
    assert len(TESTS) > 100
    assert {str(p): imported(p) & scripts for p in TESTS if imported(p) & scripts} == {}


def test_only_a_script_that_is_a_subject_is_loaded():
    before = list(sys.path)
    with pytest.raises(LookupError, match=r"scripts/sheet is the subject of no test"):
        script("sheet")
    assert script("pythons").find_python
    assert sys.path == before


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
