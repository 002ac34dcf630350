"""Fonts as files: what changes when they do, and which of several faces is taken."""

import os
import shutil

import pytest
from fontTools.ttLib import TTCollection, TTFont

from medalcore import StageCache, build
from medalcore.elements.lettering.fonts import find_typeface
from medalcore.errors import SourceError
from medalcore.spec import spec_from_dict

SERIF, SANS = (find_typeface(name).file for name in ("serif-bold", "sans-bold"))


def _put(source, target):
    """Replace a file by another in one step, as installers do."""
    new = target.with_suffix(".new")
    shutil.copy(source, new)
    os.replace(new, target)


@pytest.fixture
def own_fonts(tmp_path, monkeypatch):
    """Return the folder of the user's own fonts."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    folder = tmp_path / "Library/Fonts" if os.uname().sysname == "Darwin" else tmp_path / "fonts"
    folder.mkdir(parents=True)
    return folder


def _named(file, family, target):
    """Write a font under another family's name."""
    font = TTFont(file)
    for record in font["name"].names:
        if record.nameID in (1, 4, 16):
            font["name"].setName(family, record.nameID, 3, 1, 0x409)
        elif record.nameID in (2, 17):
            font["name"].setName("Regular", record.nameID, 3, 1, 0x409)
    font["name"].names = [r for r in font["name"].names if r.platformID == 3]
    font.save(target)


def _collected(first, second, target):
    collection = TTCollection()
    collection.fonts = [TTFont(first), TTFont(second)]
    collection.save(target)


def _is_installed(font):
    try:
        return bool(find_typeface(font))
    except SourceError:
        return False


@pytest.mark.skipif(os.name == "nt", reason="own fonts lie elsewhere there")
def test_a_changed_font_is_seen_though_its_family_is_named(own_fonts, tmp_path):
    """The words and the edge are set again from the new file; other stages are kept."""
    file = own_fonts / "Fennick.otf"
    _named(SERIF, "Fennick Capitals", file)
    font = "Fennick Capitals"
    spec = spec_from_dict({
        "blank": {"diameter": 30, "thickness": 3},
        "edge": {"text": {"words": "FENNICK", "font": font}},
        "obverse": {"legend": [{"text": "FENNICK", "font": font}]},
    })  # fmt: skip
    cache = StageCache()
    before = build(spec, "draft", cache=cache)
    assert build(spec, "draft", cache=cache).vertices.tobytes() == before.vertices.tobytes()
    _named(SANS, "Fennick Capitals", tmp_path / "other.otf")
    _put(tmp_path / "other.otf", file)
    after = build(spec, "draft", cache=cache)
    fresh = build(spec, "draft")
    assert after.vertices.tobytes() == fresh.vertices.tobytes()
    for zone in ("edge", "legend"):
        area = [m.report["area_mm2"][zone] for m in (before, after)]
        assert abs(area[0] - area[1]) > 1e-4 * area[0]  # unseen, they are the very same


def test_a_changed_face_of_a_collection_is_seen(tmp_path):
    file = tmp_path / "x.ttc"
    _collected(SANS, SERIF, file)
    spec = spec_from_dict({"obverse": {"legend": [{"text": "AB", "font": f"{file}#1"}]}})
    cache = StageCache()
    font = [build(spec, "draft", cache=cache).report["elements"]["obverse.legend[0]"]["font"]]
    _collected(SERIF, SANS, tmp_path / "y.ttc")
    _put(tmp_path / "y.ttc", file)
    font.append(build(spec, "draft", cache=cache).report["elements"]["obverse.legend[0]"]["font"])
    assert font == ["Source Serif Pro Bold", "Source Sans Pro Bold"]


def test_a_font_that_is_not_there_is_told_by_its_element():
    spec = spec_from_dict({"obverse": {"legend": [{"text": "AB", "font": "No Such Family"}]}})
    with pytest.raises(SourceError, match=r"obverse.legend\[0\]: font 'No Such Family' is neither"):
        build(spec, "draft", cache=StageCache())


def test_where_axes_are_asked_for_the_face_that_has_them_is_taken():
    """A family may be installed both ways (Debian: fonts-inter and fonts-inter-variable)."""
    try:
        heavy = find_typeface("Inter", {"wght": 800.0})
    except SourceError as error:
        pytest.skip(str(error))
    light = find_typeface("Inter", {"Weight": 200.0})
    assert heavy.font.face.has_var_data
    stem = [
        face.font.get_glyph_extents(face.glyph("I")).width / face.units for face in (light, heavy)
    ]
    assert stem[1] > 1.6 * stem[0]
    assert "Italic" not in heavy.name
    assert {a.tag for a in find_typeface("Inter", {"slnt": -5.0}).font.face.axis_infos} > {"slnt"}
    assert not find_typeface("Inter").font.face.has_var_data or not _is_installed("Inter Black")
    with pytest.raises(SourceError, match="axis wght runs from 100 to 900, not 1000"):
        find_typeface("Inter", {"wght": 1000.0})
