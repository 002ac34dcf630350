"""Typefaces and shaping, against HarfBuzz called directly, fontTools and the Unicode rules."""

import sys
import unicodedata
from pathlib import Path

import pytest
import uharfbuzz as hb
from fontTools.pens.areaPen import AreaPen
from fontTools.ttLib import TTFont

from medalcore.elements.lettering.bidi import levels, visual_runs
from medalcore.elements.lettering.fonts import find_typeface
from medalcore.elements.lettering.shaping import read_axes, read_features, shape
from medalcore.errors import SourceError, SpecError
from medalcore.geometry import contour as C


def _direct(typeface, text, features=None, direction="ltr"):
    """Return (glyph, x, advance) of a line as HarfBuzz itself places it, font units."""
    buffer = hb.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    buffer.direction = direction
    font = hb.Font(hb.Face(hb.Blob.from_file_path(str(typeface.file))))
    hb.shape(font, buffer, features or {})
    pen, found = 0, []
    for info, at in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        found.append((info.codepoint, pen + at.x_offset))
        pen += at.x_advance
    return found, pen


@pytest.mark.parametrize("font", ["serif", "serif-bold", "serif-italic", "sans", "sans-bold"])
@pytest.mark.parametrize(
    "text", ["AVAWATAR To Ty.", "FENNICK LIGHT · 150", "office fjord", "Élan Ångström"]
)
def test_advances_and_kerning_are_harfbuzz_to_the_unit(font, text):
    typeface = find_typeface(font)
    letters = shape(text, typeface)
    expected, total = _direct(typeface, text)
    found = [(g.glyph, letter.x + g.x) for letter in letters for g in letter.glyphs]
    assert found == expected
    assert letters[-1].x + letters[-1].advance == total


def test_kerning_draws_a_and_v_together_and_can_be_left_off():
    typeface = find_typeface("serif")
    kerned, plain = shape("AV", typeface), shape("AV", typeface, features={"kern": 0})
    assert kerned[1].x < plain[1].x
    assert plain[1].x == typeface.font.get_glyph_h_advance(typeface.glyph("A"))


def test_ligatures_are_one_letter_unless_spaced():
    """CSS Text Module Level 3, 8.2: no optional ligatures where letters are spaced."""
    typeface = find_typeface("serif")
    joined = [letter.text for letter in shape("fi", typeface)]
    apart = [letter.text for letter in shape("fi", typeface, tracked=True)]
    assert joined == ["fi"]
    assert apart == ["f", "i"]


def _has(name):
    try:
        find_typeface(name)
    except SourceError:
        return False
    return True


def test_marks_move_with_their_base():
    """A base and a mark that have no single character are still one letter."""
    letters = shape("x\u0302y", find_typeface("serif"))
    assert [letter.text for letter in letters] == ["x\u0302", "y"]
    assert len(letters[0].glyphs) == 2


def test_a_missing_character_is_named_with_its_font():
    with pytest.raises(
        SourceError, match=r"Source Serif Pro Bold has no glyph for '日' \(U\+65E5\)"
    ):
        shape("A日A日", find_typeface("serif-bold"))


def test_a_missing_family_is_told_with_its_neighbours():
    with pytest.raises(SourceError, match="Source Serif Pro") as error:
        find_typeface("Source Sarif Pro Bold")
    assert "\n" not in str(error.value)
    with pytest.raises(SourceError, match="no such file"):
        find_typeface("nowhere.ttf")


@pytest.mark.parametrize(
    "name", ["serif", "serif-bold-italic", "serif-semibold", "sans-light", "sans-black"]
)
def test_short_names_find_the_packaged_faces(name):
    style = "".join(name.split("-")[1:]).lower() or "regular"
    assert find_typeface(name).name.lower().replace(" ", "").endswith(style)


def test_a_file_that_is_no_font_is_refused(tmp_path: Path):
    path = tmp_path / "letters.ttf"
    path.write_bytes(b"not a font at all")
    with pytest.raises(SourceError, match="is not a TrueType or OpenType font"):
        find_typeface(str(path))


@pytest.mark.parametrize("suffix", ["otf", "ttf"])
def test_outlines_have_the_area_fonttools_draws(suffix):
    """The area pen of fontTools integrates the curves exactly; ours are chords within 0.2 units."""
    typeface = find_typeface("serif-bold")
    file = typeface.file.with_suffix("." + suffix)
    typeface = find_typeface(str(file))
    font = TTFont(file)
    glyphs, cmap = font.getGlyphSet(), font.getBestCmap()
    for character in "AOgs8&":
        pen = AreaPen(glyphs)
        glyphs[cmap[ord(character)]].draw(pen)
        ours = C.area(typeface.outline(typeface.glyph(character), 0.2))
        assert ours == pytest.approx(abs(pen.value), rel=1e-3)


def test_cap_height_is_that_of_the_flat_capitals():
    for font in ("serif-bold", "sans"):
        typeface = find_typeface(font)
        top = C.bounds(typeface.outline(typeface.glyph("H"), 0.1))[1, 1]
        assert typeface.cap_units == pytest.approx(top, abs=0.6)


def _collection(tmp_path):
    from fontTools.ttLib import TTCollection

    files = [find_typeface(n).file for n in ("serif", "serif-bold")]
    collection = TTCollection()
    collection.fonts = [TTFont(f) for f in files]
    path = tmp_path / "both.ttc"
    collection.save(path)
    return path


def test_a_collection_is_opened_by_number(tmp_path):
    path = _collection(tmp_path)
    assert find_typeface(f"{path}#1").name == "Source Serif Pro Bold"
    with pytest.raises(SourceError, match="holds faces 0 to 1"):
        find_typeface(f"{path}#2")


def _variable(tmp_path):
    """Make a variable font of one letter whose stem grows with its weight."""
    from fontTools.fontBuilder import FontBuilder
    from fontTools.pens.ttGlyphPen import TTGlyphPen
    from fontTools.ttLib.tables.TupleVariation import TupleVariation

    pen = TTGlyphPen(None)
    pen.moveTo((100, 0))
    for point in ((100, 700), (200, 700), (200, 0)):
        pen.lineTo(point)
    pen.closePath()
    builder = FontBuilder(1000, isTTF=True)
    builder.setupGlyphOrder([".notdef", "I"])
    builder.setupCharacterMap({ord("I"): "I"})
    builder.setupGlyf({".notdef": TTGlyphPen(None).glyph(), "I": pen.glyph()})
    builder.setupHorizontalMetrics({".notdef": (500, 0), "I": (300, 100)})
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Stem", "styleName": "Regular"})
    builder.setupOS2()
    builder.setupPost()
    builder.setupFvar([("wght", 100, 100, 900, "Weight")], [])
    wide = TupleVariation(
        {"wght": (0.0, 1.0, 1.0)},
        [(0, 0), (0, 0), (80, 0), (80, 0), (0, 0), (80, 0), (0, 0), (0, 0)],
    )
    builder.setupGvar({"I": [wide]})
    path = tmp_path / "stem.ttf"
    builder.save(path)
    return path


def test_axes_of_a_variable_font_move_outline_and_advance(tmp_path):
    """Half way along the axis the stem is half as much wider: 100 + 40 units."""
    path = _variable(tmp_path)
    typeface = find_typeface(str(path), read_axes("Weight=500"))
    low, high = C.bounds(typeface.outline(typeface.glyph("I"), 0.1))
    assert high[0] - low[0] == pytest.approx(140, abs=0.5)
    assert shape("I", typeface)[0].advance == pytest.approx(340, abs=0.5)
    with pytest.raises(SourceError, match="axis wght runs from 100 to 900"):
        find_typeface(str(path), {"wght": 950})
    with pytest.raises(SourceError, match="no axis 'slant'; its axes are wght 100 to 900"):
        find_typeface(str(path), {"slant": 1})


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="folders of other systems")
def test_a_family_in_the_users_font_folder_is_found_by_name(tmp_path, monkeypatch):
    folder = tmp_path / "fonts" / "own"
    folder.mkdir(parents=True)
    _variable(folder)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert find_typeface("Stem").name == "Stem Regular"
    assert find_typeface("stem-regular", {"wght": 900}).cap_units == 700.0
    with pytest.raises(SourceError, match="near it: Stem"):
        find_typeface("Stemm")


def test_features_and_axes_are_read_or_refused():
    assert read_features("smcp, -liga ss01=2") == {"smcp": 1, "liga": 0, "ss01": 2}
    assert read_axes("wght=650, wdth=90") == {"wght": 650.0, "wdth": 90.0}
    with pytest.raises(SpecError, match="'small' is no OpenType feature"):
        read_features("small")
    with pytest.raises(SpecError, match="no axis value"):
        read_axes("wght")


# Unicode Standard Annex #9, examples of section 3.4 and the implicit rules: levels worked
# out by hand from the rules' text.
_MIXED = [
    ("car MEANS CAR.", "00000000000000", 0),
    ("abc אבג def", "00001110000", 0),
    ("אבג abc", "1111222", 1),
    ("אבג 12 דה", "111122111", 1),  # EN in a right-to-left run
    ("abc (אבג) def", "0000011100000", 0),  # N0: brackets belong to the outside
    ("אבג (abc) דה", "111112221111", 1),
    ("אבג (ab ג)", "1111122111", 1),  # N0: an inner letter of the base's direction decides
    ("1-2 אב", "222111", 1),
]


@pytest.mark.parametrize(("text", "expected", "base"), _MIXED)
def test_embedding_levels_by_the_unicode_rules(text, expected, base):
    assert "".join(map(str, levels(text, base))) == expected


@pytest.mark.slow
def test_levels_of_unicodes_own_test_file():
    """BidiCharacterTest.txt (Unicode Character Database; Debian: unicode-data), all cases."""
    path = Path("/usr/share/unicode/BidiCharacterTest.txt")
    if not path.exists():
        pytest.skip("no /usr/share/unicode/BidiCharacterTest.txt (Debian: unicode-data)")
    wrong = count = 0
    for row in path.read_text(encoding="utf-8").splitlines():
        fields = row.partition("#")[0].strip().split(";")
        if len(fields) < 5:
            continue
        text = "".join(chr(int(code, 16)) for code in fields[0].split())
        found = levels(text, {"0": 0, "1": 1}.get(fields[1]))
        pairs = zip(fields[3].split(), found, strict=True)
        wrong += any(want != "x" and int(want) != got for want, got in pairs)
        count += 1
    assert count > 90_000
    assert wrong == 0


def test_isolates_and_overrides_of_the_unicode_rules():
    """An isolate keeps its inside from its neighbours; an override turns letters."""
    assert levels("a\u2067b\u2069c", 0) == [0, 0, 2, 0, 0]
    inner = levels("\u202eab\u202c", 0)
    assert inner[1:3] == [1, 1]


def test_runs_come_in_writing_order():
    """Right-to-left words in a left-to-right line: the line's runs, from the left."""
    text = "ab אב 12 ג cd"
    order = ["".join(text[r.start : r.stop]) for r in visual_runs(text, 0)]
    assert order == ["ab ", " ג", "12", "אב ", " cd"]


def _arabic_font():
    for name in ("DejaVu Sans", "Amiri", "Noto Sans Arabic", "Noto Naskh Arabic"):
        if _has(name) and find_typeface(name).glyph("س"):
            return find_typeface(name)
    pytest.skip("no font with Arabic letters is installed")


def test_joining_letters_take_their_forms_and_stay_together():
    """The word 'salam' runs right to left, joined: one piece, in HarfBuzz's own order."""
    typeface = _arabic_font()
    text = "سلام"
    (word,) = shape(text, typeface, tracked=False)
    expected, total = _direct(typeface, text, direction="rtl")
    assert [(g.glyph, g.x) for g in word.glyphs] == expected
    assert word.advance == total
    isolated = {typeface.glyph(c) for c in text}
    assert not isolated & {g.glyph for g in word.glyphs[1:-1]}


def test_numbers_inside_right_to_left_text_read_left_to_right():
    typeface = _arabic_font()
    line = shape("سلام 150", typeface)
    assert [letter.text for letter in line][:3] == ["1", "5", "0"]


def test_text_is_composed_before_it_is_set():
    """A letter and its accent typed apart find the font's single glyph (Unicode NFC)."""
    typeface = find_typeface("serif")
    apart = unicodedata.normalize("NFD", "Élan")
    assert shape(apart, typeface) == shape("Élan", typeface)


def test_a_tabulator_is_a_space():
    typeface = find_typeface("serif")
    assert [v.x for v in shape("A\tB", typeface)] == [v.x for v in shape("A B", typeface)]
