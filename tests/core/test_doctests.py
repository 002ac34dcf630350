"""Examples in docstrings give what they say."""

import doctest
import importlib
from pathlib import Path

import pytest

import medalcore

ROOT = Path(medalcore.__file__).parent


def name_of(path: Path) -> str:
    inner = path.relative_to(ROOT.parent).with_suffix("").parts
    return ".".join(part for part in inner if part != "__init__")


SHOWN = [
    name_of(path)
    for path in sorted(ROOT.rglob("*.py"))
    if ">>> " in path.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("name", SHOWN)
def test_examples_give_what_they_say(name):
    done = doctest.testmod(importlib.import_module(name))
    assert done.attempted > 0
    assert done.failed == 0


def test_the_public_way_is_shown():
    assert "medalcore" in SHOWN
