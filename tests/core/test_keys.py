"""Keys that can have no effect are refused or told; keys that count change the piece."""

from pathlib import Path

import numpy as np
import pytest
from key_trials import Trial, is_told, outcome, table_at, trials, values_of
from key_values import PLACES, make_files

from medalcore import build, height_field, parse_spec
from medalcore.errors import SpecError
from medalcore.spec import Blank, MedalSpec, json_schema, keys_of
from medalcore.spec.template import template

DEMO = Path(__file__).resolve().parents[2] / "scripts" / "fennick" / "fennick-light.toml"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Return the folder of the trials' files, and the sources in memory."""
    folder = tmp_path_factory.mktemp("trials")
    return folder, make_files(folder)


@pytest.mark.parametrize("path", PLACES)
def test_every_key_is_told_wherever_it_can_have_no_effect(path, tmp_path):
    """Every table, and every way in which one of its keys' conditions fails."""
    silent = [str(trial) for trial in trials(path, counting=False) if not is_told(trial, tmp_path)]
    assert not silent


def test_there_are_conditions_to_fail():
    assert sum(len(list(trials(path, counting=False))) for path in PLACES) > 250


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        ('outline = "oval"\ncorner_radius = 2.0', "blank.corner_radius", "outline = oval"),
        ('[blank.hole]\nshape = "round"\nsides = 8', "blank.hole.sides", "shape = polygon"),
        ('[blank.core]\nshape = "polygon"', "blank.core.shape", "no diameter|diameter = 0"),
        ("[blank.core]\ndiameter = 9\nsides = 8", "blank.core.sides", "shape = round"),
        ('[blank.loop]\nkind = "eye"\nthickness = 1', "blank.loop.thickness", "kind = eye"),
        ('scallops = 9\nscallop_width = 1\noutline = "scalloped"', "blank.scallop_width", "lobes"),
        (
            'outline = "polygon"\nsides = 6\nflats = 18\ncorner_radius = 2',
            "blank.corner_radius",
            "flats = 18",
        ),
        ("[edge]\nreeds = 90", "edge.reeds", "finish = plain"),
        ('[edge]\nfinish = "reeded"\nreeds = 90\npitch = 0.5', "edge.pitch", "reeds = 90"),
        (
            '[[obverse.emblem]]\ndrawing = "a.svg"\nwork = "sunk"\nheight = 0.4',
            "obverse.emblem[0].height",
            "work = sunk",
        ),
        (
            '[[obverse.legend]]\ntext = "A"\nwork = "sunk"\nclear = 0.3',
            "obverse.legend[0].clear",
            "work = sunk",
        ),
        (
            '[[obverse.legend]]\ntext = "A"\nsection = "vee"\ndraft = 20',
            "obverse.legend[0].draft",
            "section = vee",
        ),
        (
            '[[obverse.field.panel]]\nshape = "outline"\nsize = 9',
            "obverse.field.panel[0].size",
            "shape = outline",
        ),
        (
            '[[obverse.field.panel]]\nshape = "outline"\nat = [1, 0]',
            "obverse.field.panel[0].at",
            "shape = outline",
        ),
        (
            '[[obverse.relief]]\nsource = "a/b.svg"\ndetail = 2.0',
            "obverse.relief[0].detail",
            "source = b.svg",
        ),
        (
            '[[obverse.relief]]\nsource = "b.svg"\ncrease = 20',
            "obverse.relief[0].crease",
            "a model",
        ),
        (
            '[[obverse.relief]]\nsource = "b.svg"\ncompression = "linear"',
            "obverse.relief[0].compression",
            "source = b.svg",
        ),
        (
            '[[obverse.relief]]\nsource = "b.svg"\ncompression = "none"\nflat = {shoulder = 2}',
            "obverse.relief[0].compression",
            "source = a model or a depth picture or an array",
        ),
        (
            '[blank]\noutline = "drawing"\ndrawing = "a.svg"\ncorner_radius = 2',
            "blank.corner_radius",
            "round_corners",
        ),
        (
            '[[obverse.relief]]\nsource = "b.stl"\npicture = {white = 2}',
            "obverse.relief[0].picture.white",
            "a depth picture",
        ),
        (
            '[[obverse.relief]]\nsource = "b.png"\nflat = {shoulder = 2}',
            "obverse.relief[0].flat.shoulder",
            "a drawing",
        ),
    ],
)
def test_the_error_says_why_and_where_it_would_count(text, key, words):
    with pytest.raises(SpecError) as caught:
        parse_spec(text if text.startswith("[") else f"[blank]\n{text}", file="piece.toml")
    message = str(caught.value)
    assert message.startswith(f"piece.toml: {key}: has no effect with ")
    assert any(word in message for word in words.split("|"))
    assert "\n" not in message


def test_a_spec_made_in_python_is_held_to_the_same():
    with pytest.raises(SpecError, match=r"blank\.corner_radius: has no effect .*oval"):
        build(MedalSpec(blank=Blank(outline="oval", corner_radius=2.0)), "draft")


def test_every_key_without_effect_is_named():
    text = '[blank]\noutline = "oval"\nsides = 9\nscallops = 5\ncorner_radius = 3.0'
    with pytest.raises(SpecError, match=r"blank\.sides: .*blank\.corner_radius, blank\.scallops"):
        parse_spec(text)


def test_nothing_is_asked_by_a_0_that_leaves_something_away():
    """Nor is a rim 0 wide and 0 high a mistake."""
    parse_spec('[blank]\nscallop_width = 0.0\nmass = 0.0\n[edge]\nreeds = 0\npattern = ""')
    parse_spec("[blank.rim]\nwidth = 0.0\nheight = 0.0\n[blank.hole]\nrim_width = 0.0")


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ('[blank]\noutline = "oval"\ncorner_radius = 1.0', "blank.corner_radius"),
        ("[blank]\nmass = 20.0\nthickness = 2.5", "blank.thickness"),
        ('[[obverse.legend]]\ntext = "A"\nfollow = true', "obverse.legend[0].follow"),
        ("[blank.rim]\nwidth = 2.0\n[obverse.rim]\n[reverse.rim]", "blank.rim.width"),
    ],
)
def test_what_is_no_mistake_is_told_all_the_same(text, key):
    """At its default, or waiting for something in another table: a note in the report."""
    told = []
    spec = parse_spec(text, told=told.append)
    assert [one.key for one in told] == [key]
    medal = build(spec, "draft", told=told)
    notes = [f for f in medal.findings if f.rule == "unused-key"]
    assert [(f.severity, f.where) for f in notes] == [("note", key)]
    assert "has no effect" in notes[0].message


def test_what_our_own_tools_write_has_nothing_to_tell():
    told = []
    parse_spec(template(), told=told.append)
    parse_spec(DEMO.read_text(encoding="utf-8"), told=told.append)
    assert not told


def test_template_and_schema_say_what_a_key_counts_with():
    sentence = "counts with outline = oval or rectangle"
    line = next(x for x in template().splitlines() if x.startswith("# height = 30.0"))
    assert sentence in line
    schema = json_schema(MedalSpec)["$defs"]["Blank"]["properties"]["height"]
    assert schema["x-counts-with"] == "outline = oval or rectangle"


SAMPLE = [
    ("blank", "corner_radius", {"outline": "rectangle", "height": 14.0}, "other"),
    ("blank", "corner_radius", {"outline": "oval", "height": 14.0}, "same"),
    ("blank", "corner_radius", {"outline": "drawing", "round_corners": True}, "other"),
    ("blank", "corner_radius", {"outline": "drawing"}, "same"),
    ("blank.hole", "sides", {"shape": "polygon", "size": 6.0}, "other"),
    ("blank.hole", "sides", {"shape": "square", "size": 6.0}, "same"),
    ("edge", "groove_width", {"finish": "grooved"}, "other"),
    ("edge", "groove_width", {"finish": "reeded"}, "same"),
    ("obverse.border[0]", "space", {"kind": "line", "lines": 2}, "other"),
    ("obverse.border[0]", "space", {"kind": "line"}, "same"),
    ("obverse.legend[0]", "draft", {"section": "rounded"}, "other"),
    ("obverse.legend[0]", "draft", {"section": "vee"}, "same"),
    ("obverse.relief[0]", "detail", {"source": "bump.png"}, "other"),
    ("obverse.relief[0]", "detail", {"source": "crest.svg"}, "same"),
    ("obverse.relief[0]", "detail", {"source": "crest.svg", "flat.shoulder": 0.5}, "same"),
    ("obverse.relief[0]", "compression", {"source": "crest.svg", "flat.shoulder": 0.5}, "same"),
]
"""A thin sample of what `scripts/try_keys.py` measures whole."""


@pytest.mark.parametrize(("path", "name", "context", "wanted"), SAMPLE)
def test_a_key_changes_the_piece_just_where_it_counts(path, name, context, wanted, made):
    folder, models = made
    table = table_at(path)
    key = next(k for k in keys_of(table) if k.name == name)
    trial = Trial(path, table, key, context, values_of(table, key))
    assert outcome(trial, folder, models) == wanted


@pytest.mark.parametrize(("keys", "told"), [("", 0), ("crease = 20.0\n", 1)])
def test_a_height_field_has_no_use_for_a_crease(keys, told):
    """By its name an array could be a mesh: only the build can tell."""
    y, x = np.mgrid[-1:1:60j, -1:1:60j]
    dome = np.where(np.hypot(x, y) < 1.0, 1.0 - x**2 - y**2, np.nan)
    spec = parse_spec(f'[[obverse.relief]]\nsource = "array:d"\nfit = 12.0\n{keys}')
    medal = build(spec, "draft", models={"array:d": height_field(dome, pixel=0.03)})
    found = [f for f in medal.findings if f.rule == "unused-key"]
    assert len(found) == told
    assert all("crease" in f.message for f in found)
