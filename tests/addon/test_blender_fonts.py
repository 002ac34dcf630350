"""Font data-blocks of the open file become font files in the spec, packed ones too."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import bpy
import pytest


@pytest.fixture
def legend(addon: Any) -> Any:
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.medalwright.new()
    found = bpy.context.object.medalwright.spec.obverse.legend.add()
    found.text = "FENNICK"
    return found


@pytest.fixture
def file(tmp_path: Path, part: Any) -> Path:
    """Return a copy of a packaged font, so that it can be deleted."""
    find = part("medalcore.elements.lettering.fonts").find_typeface
    first = tmp_path / "own.otf"
    first.write_bytes(find("serif-bold").file.read_bytes())
    return first


def _said(part: Any) -> str:
    made = part("props.convert").to_dict(bpy.context.object.medalwright.spec)
    return made["obverse"]["legend"][0].get("font", "")


def test_a_font_of_the_file_takes_the_place_of_the_name(legend: Any, file: Path, part: Any) -> None:
    """Picked, its file is what the spec says; taken away, the name counts again."""
    legend.font = "sans-bold"
    legend.font_block = bpy.data.fonts.load(str(file))
    assert _said(part) == str(file)
    legend.font_block = None
    assert _said(part) == "sans-bold"


def test_a_cleared_font_is_the_default_one(legend: Any, part: Any) -> None:
    legend.font = "sans-bold"
    for cleared in ("", " "):
        legend.font = cleared
        assert _said(part) == ""
        assert bpy.ops.medalwright.rebuild() == {"FINISHED"}
        report = part("scene.pieces").report_of(bpy.context.object.data.medalwright.report)
        assert report["elements"]["obverse.legend[0]"]["font"] == "Source Serif Pro Bold"


def test_a_packed_font_is_written_out_whole(legend: Any, file: Path, part: Any) -> None:
    """Its own file may be gone; the words are set in it all the same."""
    content = file.read_bytes()
    block = bpy.data.fonts.load(str(file))
    block.pack()
    file.unlink()
    legend.font_block = block
    told = Path(_said(part))
    assert told.suffix == ".otf"
    assert told.is_relative_to(bpy.app.tempdir)
    assert hashlib.sha256(told.read_bytes()).digest() == hashlib.sha256(content).digest()
    made = part("props.convert").to_dict(bpy.context.object.medalwright.spec)
    spec = part("medalcore.spec").spec_from_dict(made)
    medal = part("medalcore").build(spec, "draft")
    assert medal.report["elements"]["obverse.legend[0]"]["font"] == "Source Serif Pro Bold"


def test_blenders_own_font_is_not_offered(legend: Any, part: Any) -> None:
    """It is inside the program; there is no file to read."""
    own = bpy.data.curves.new("words", "FONT").font
    assert own.filepath == part("props.fonts").BUILT_IN
    assert not part("props.fonts").has_file(legend, own)
    legend.font_block = own  # a script can do it
    assert _said(part) == ""


def test_a_spec_and_a_chosen_file_replace_a_picked_font(legend: Any, file: Path, part: Any) -> None:
    legend.font_block = bpy.data.fonts.load(str(file))
    bpy.ops.medalwright.choose_font(path="obverse.legend[0].font", filepath=str(file.parent / "b"))
    assert legend.font_block is None
    assert _said(part) == str(file.parent / "b")
    legend.font_block = bpy.data.fonts.load(str(file))
    core = part("medalcore.spec")
    spec = core.spec_from_dict({"obverse": {"legend": [{"text": "A", "font": "sans"}]}})
    part("props.convert").fill(bpy.context.object.medalwright.spec, spec)
    assert _said(part) == "sans"
