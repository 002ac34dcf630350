"""The worked examples of the contributor's guide work, on a copy of the core."""

from __future__ import annotations

import json
import math
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import trimesh

pytestmark = pytest.mark.slow  # a core is copied and run

ROOT = Path(__file__).resolve().parents[2]

SPEC = """
[medal]
process = "cast"
[blank]
thickness = 0.7
rim = {height = 0.1}
[[reverse.boss]]
diameter = 12.0
[[obverse.emblem]]
drawing = "wedge.svg"
fit = 10.0
mirror = true
"""

WEDGE = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10">'
    '<path d="M0 0 L10 0 L0 10 Z" fill="black"/></svg>'
)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Return the folder with a piece that a core with all four examples made."""
    if shutil.which("git") is None:
        pytest.skip("git, which applies the examples, is not here")
    there = tmp_path_factory.mktemp("guide")
    shutil.copytree(ROOT / "medalcore", there / "medalcore")
    shutil.copy(ROOT / "pyproject.toml", there)
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    examples = re.findall(r"```diff\n(.*?)```", page, flags=re.DOTALL)
    assert len(examples) == 4
    for example in examples:
        done = subprocess.run(
            ["git", "apply", "-"],
            cwd=there, input=example, capture_output=True, encoding="utf-8",
            env=os.environ | {"GIT_CEILING_DIRECTORIES": str(there.parent)},
        )  # fmt: skip
        assert done.returncode == 0, f"{done.stderr}\n{example}"
    (there / "medal.toml").write_text(SPEC, encoding="utf-8")
    (there / "wedge.svg").write_text(WEDGE, encoding="utf-8")
    command = ["-m", "medalcore", "build", "medal.toml", "--out", "files", "--quality", "draft"]
    subprocess.run(
        [sys.executable, *command, "--also", "areas"],
        cwd=there, check=True, capture_output=True,
    )  # fmt: skip
    return there


def report(made):
    """Return what the report says."""
    return json.loads((made / "files" / "medal.report.json").read_text(encoding="utf-8"))


def test_the_element_is_built(made):
    assert report(made)["closed"]
    area = report(made)["elements"]["reverse.boss[0]"]["area_mm2"]
    assert area == pytest.approx(math.pi * 36.0, abs=1e-3)
    layers = (made / "pyproject.toml").read_text(encoding="utf-8")
    assert "| medalcore.elements.boss |" in layers


def test_the_key_has_its_effect(made):
    """The middle of a right triangle's area lies a sixth of its width from the box's, now right."""
    mesh = trimesh.load(made / "files" / "medal.stl")
    height = mesh.triangles_center[:, 2]
    top = (mesh.face_normals[:, 2] > 0.99) & (height > height.max() - 1e-4)
    middle = np.average(mesh.triangles_center[top], axis=0, weights=mesh.area_faces[top])
    assert middle[0] == pytest.approx(10.0 / 6.0, abs=0.01)


def test_the_check_tells(made):
    (told,) = [f for f in report(made)["findings"] if f["rule"] == "thin-cast"]
    assert (told["measured"], told["limit"]) == (0.7, 0.8)


def test_the_file_is_written(made):
    lines = (made / "files" / "medal.areas.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == "zone,mm2"
    assert dict(line.split(",") for line in lines[1:])["field"]
