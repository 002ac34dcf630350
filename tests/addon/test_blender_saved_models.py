"""A saved spec and its models: no two share a file, and nothing is replaced unasked."""

from __future__ import annotations

import tomllib
import unicodedata
from itertools import combinations
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest

ALIKE = ("Head", "head", "Head.001", "Head_001", "a b", "a_b", "a_b-2", "caf\u00e9", "cafe\u0301")
CORNERS = [(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)]
FACES = [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)]


def add(name: str, size: float) -> bpy.types.Object:
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(np.multiply(CORNERS, size).tolist(), [], FACES)
    made = bpy.data.objects.new(name, mesh)
    assert made.name == name
    bpy.context.scene.collection.objects.link(made)
    return made


@pytest.fixture
def piece(addon: Any, part: Any) -> bpy.types.Object:
    """Return a piece with a relief of each object of nearly the same name; it is not built."""
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.medalwright.new(diameter=12.0)
    made = bpy.context.object
    with part("work.live").quietly():
        for i, name in enumerate(ALIKE):
            relief = made.medalwright.spec.obverse.relief.add()
            relief.source_objects.add().object = add(name, 1.0 + i)
    bpy.context.view_layer.update()
    return made


def save(path: Path, **options: Any) -> None:
    assert bpy.ops.medalwright.save_spec(filepath=str(path), **options) == {"FINISHED"}


def test_every_model_has_a_file_of_its_own_on_any_system(
    piece: bpy.types.Object, tmp_path: Path
) -> None:
    """Windows and macOS do not tell capitals; macOS, not how an accent is written (UAX 15)."""
    path = tmp_path / "medal.toml"
    save(path)
    reliefs = tomllib.loads(path.read_text(encoding="utf-8"))["obverse"]["relief"]
    names = [relief["source"] for relief in reliefs]
    for one, other in combinations(names, 2):
        assert (
            unicodedata.normalize("NFC", one).upper() != unicodedata.normalize("NFC", other).upper()
        )
    sizes = []
    for name in names:
        content = (tmp_path / name).read_bytes()[84:]
        record = np.frombuffer(content, dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("r", "<u2")])
        sizes.append(record["c"].max())
    assert sizes == pytest.approx([1.0 + i for i in range(len(ALIKE))], rel=1e-5)


def test_files_that_are_there_are_not_replaced_unasked(
    piece: bpy.types.Object, tmp_path: Path
) -> None:
    path = tmp_path / "medal.toml"
    theirs = tmp_path / "medal-Head.stl"
    theirs.write_text("somebody's")
    with pytest.raises(RuntimeError, match=r"medal-Head\.stl is there already"):
        save(path)
    assert [p.name for p in tmp_path.iterdir()] == ["medal-Head.stl"]
    assert theirs.read_text() == "somebody's"
    save(path, overwrite=True)
    assert theirs.stat().st_size > 84
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    with pytest.raises(RuntimeError, match=r"medal\.toml is there already"):
        save(path)
    path.unlink()
    save(path)  # the models are there, and just what would be written
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before
    path.unlink()
    bpy.data.objects["Head"].scale = (2.0, 2.0, 2.0)
    bpy.context.view_layer.update()
    with pytest.raises(RuntimeError, match=r"medal-Head\.stl is there already"):
        save(path)
    assert not path.exists()
    assert theirs.read_bytes() == before["medal-Head.stl"]
