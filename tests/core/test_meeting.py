"""Words that run into other words or a border are found, and nothing else is."""

import re

import pytest

from medalcore import StageCache, build
from medalcore.errors import SpecError
from medalcore.spec import spec_from_dict

BLANK = {"diameter": 40, "thickness": 3.2, "rim": {"width": 1.3, "height": 0.4}}
TOP = {"text": "FENNICK LIGHT"}
CACHE = StageCache()


def _piece(face, side="obverse"):
    spec = spec_from_dict({"blank": BLANK, side: face})
    return build(spec, "draft", cache=CACHE)


def _found(face, side="obverse"):
    return [f.message for f in _piece(face, side).findings if f.rule == "meeting"]


@pytest.mark.parametrize("kind", ["beads", "rope", "denticles"])
@pytest.mark.parametrize("work", ["raised", "sunk"])
@pytest.mark.parametrize("at", ["top", "bottom"])
def test_a_legend_into_a_border_names_a_radius_that_helps(kind, work, at):
    legend = {**TOP, "work": work, "at": at}
    face = {"legend": [legend], "border": [{"kind": kind}]}
    (told,) = _found(face, "reverse" if at == "top" else "obverse")
    assert ".legend[0] and " in told
    assert ".border[0] run into each other near " in told
    radius = float(re.search(r"a radius of ([\d.]+) mm keeps", told)[1])
    assert not _found(face | {"legend": [{**legend, "radius": radius}]})
    assert _found(face | {"legend": [{**legend, "radius": radius + 1.4}]})


@pytest.mark.parametrize(
    "face",
    [
        {"legend": [TOP], "border": [{"kind": "line", "lines": 1}]},
        {"legend": [{**TOP, "clear": 0.3}], "border": [{"kind": "beads"}]},
        {"legend": [{"text": "AB", "at": "bottom"}], "border": [{"kind": "beads", "gap": 50}]},
        {"legend": [TOP, {**TOP, "at": "bottom"}], "exergue": [{"text": "AB", "level": 8.0}]},
        {"legend": [TOP], "inscription": [{"text": "TWO\nLINES", "cap_height": 4.0}]},
        {"legend": [TOP], "border": [{"kind": "beads", "radius": 12.5}]},
        {"exergue": [{"text": "AB"}], "border": [{"kind": "beads"}]},
        {"exergue": [{"text": ""}], "border": [{"kind": "beads"}]},
        {"border": [{"kind": "line", "radius": 16.0}, {"kind": "beads", "radius": 16.0}]},
    ],
)
def test_what_stands_apart_or_is_meant_to_meet_is_left_alone(face):
    assert not _found(face)


def test_both_faces_are_apart():
    """A legend of one face has nothing to do with the border of the other."""
    spec = spec_from_dict(
        {"blank": BLANK, "obverse": {"legend": [TOP]}, "reverse": {"border": [{"kind": "beads"}]}}
    )
    assert not [f for f in build(spec, "draft").findings if f.rule == "meeting"]


def test_words_into_words_are_found():
    long = " ".join(["FENNICK LIGHT"] * 3)
    (told,) = _found({"legend": [{"text": long}, {"text": long, "at": "bottom"}]})
    assert "legend[0] and obverse.legend[1] run into each other" in told
    (told,) = _found({"legend": [{**TOP, "at": "bottom"}], "exergue": [{"text": "AB"}]})
    assert "legend[0] and obverse.exergue[0] run into each other" in told
    (told,) = _found({"legend": [{**TOP, "at": 110}], "exergue": [{"text": ""}]})
    assert "legend[0] and obverse.exergue[0] run into each other" in told
    words = {"text": "ELSPETH RAE OF FENNICK MADE THIS", "level": 13.0}
    (told,) = _found({"exergue": [words], "border": [{"kind": "beads"}]})
    assert "exergue[0] and obverse.border[0] run into each other" in told


def test_words_past_the_edge_name_a_size_that_fits():
    """On the piece and inside the field once that cap height is given."""
    words = {"text": "THE KEEPERS OF THE FENNICK LIGHT", "cap_height": 3.0}
    with pytest.raises(SpecError, match="beyond the edge of the piece") as caught:
        _piece({"inscription": [words]})
    size = float(re.search(r"a cap height of ([\d.]+) mm keeps", str(caught.value))[1])
    medal = _piece({"inscription": [{**words, "cap_height": size}]})
    assert not [f for f in medal.findings if f.rule.endswith("over-rim")]
    assert size > 1.0
