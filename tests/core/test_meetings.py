"""Words and borders that meet, and what stands apart or is meant to meet."""

import re

import pytest
from counting import counted
from meeting_pieces import BLANK, RULES, SUNK_BAR, TOP, found_on, piece, plan_of

from medalcore import build


@pytest.mark.parametrize("kind", ["beads", "rope", "denticles"])
@pytest.mark.parametrize("work", ["raised", "sunk"])
@pytest.mark.parametrize("at", ["top", "bottom"])
def test_a_legend_into_a_border_names_a_radius_that_helps(kind, work, at):
    near = {"top": 15.5, "bottom": 17.5}[at]  # just inside the rim, as if no border were there
    legend = {**TOP, "cap_height": 2.0, "work": work, "at": at, "radius": near}
    face = {"legend": [legend], "border": [{"kind": kind}]}
    (told,) = found_on(face, "reverse" if at == "top" else "obverse")
    assert ".legend[0]" in told.where
    assert ".border[0]" in told.message
    radius = float(re.search(r"a radius of ([\d.]+) mm keeps", told.message)[1])
    assert not found_on(face | {"legend": [{**legend, "radius": radius}]})
    assert found_on(face | {"legend": [{**legend, "radius": radius + 1.4}]})


@pytest.mark.parametrize(
    "face",
    [
        {"legend": [TOP], "border": [{"kind": "line", "lines": 1}]},
        {"legend": [{**TOP, "clear": 0.3}], "border": [{"kind": "beads"}]},
        {"legend": [{"text": "AB", "at": "bottom"}], "border": [{"kind": "beads", "gap": 50}]},
        {
            "legend": [TOP, {**TOP, "at": "bottom", "cap_height": 2.0}],
            "exergue": [{"text": "AB", "level": 8.0}],
        },
        {"legend": [TOP], "inscription": [{"text": "TWO\nLINES", "cap_height": 4.0}]},
        {"legend": [TOP], "border": [{"kind": "beads", "radius": 12.5}]},
        {"exergue": [{"text": "AB"}], "border": [{"kind": "beads"}]},
        {"exergue": [{"text": ""}], "border": [{"kind": "beads"}]},
        {"border": [{"kind": "line", "radius": 16.0}, {"kind": "beads", "radius": 16.0}]},
    ],
)
def test_what_stands_apart_or_is_meant_to_meet_is_left_alone(face):
    assert not found_on(face)


def test_both_faces_are_apart():
    """A legend of one face has nothing to do with the border of the other."""
    spec = counted(
        {"blank": BLANK, "obverse": {"legend": [TOP]}, "reverse": {"border": [{"kind": "beads"}]}}
    )
    assert not [f for f in build(spec, "draft").findings if f.rule in RULES]


def test_words_into_words_are_found():
    long = " ".join(["FENNICK LIGHT"] * 3)
    for face, one, two in (
        ({"legend": [{"text": long}, {"text": long, "at": "bottom"}]}, "legend[0]", "legend[1]"),
        ({"legend": [{**TOP, "at": "bottom"}], "exergue": [{"text": "AB"}]}, "legend[0]", "exer"),
        ({"legend": [{**TOP, "at": 110}], "exergue": [{"text": ""}]}, "legend[0]", "exergue[0]"),
        (
            {
                "exergue": [{"text": "ELSPETH RAE OF FENNICK MADE THIS", "level": 13.0}],
                "border": [{"kind": "beads"}],
            },
            "exergue[0]",
            "border[0]",
        ),
    ):
        (told,) = found_on(face)
        assert one in f"{told.where} {told.message}"
        assert two in f"{told.where} {told.message}"


def test_words_into_a_border_say_what_each_loses():
    """Of the border its own share that higher letters cover, by shapely on both plans."""
    legend = {"text": "HHHH", "font": "sans-bold", "radius": 15.6, "height": 0.4, "cap_height": 2.0}
    border = {"kind": "line", "lines": 1, "radius": 15.8, "height": 0.2}
    medal = piece({"legend": [legend], "border": [border]})
    told = next(f for f in medal.findings if f.rule == "meeting")
    words, line = map(
        float, re.search(r": ([\d.]+) % of .* and ([\d.]+) % of", told.message).groups()
    )
    whole = plan_of(piece({"border": [border]}), "border")
    left = plan_of(medal, "border")
    assert line == pytest.approx(100.0 * (1.0 - left.area / whole.area), abs=1.5)
    assert line > 1.0
    assert words == 0.0
    assert told.message.endswith("keeps the words inside it") or "move one" in told.message


def test_words_and_a_border_that_meet_on_a_texture_are_told():
    """What the texture takes of both is no part of what either has of the other."""
    shallow = {**SUNK_BAR, "depth": 0.03, "overlap": True}
    face = {
        "inscription": [shallow],
        "border": [{"kind": "line", "lines": 1, "radius": 2.0, "height": 0.05}],
        "texture": [{"kind": "rings", "depth": 0.09}],
    }
    found = piece(face).findings
    (told,) = [f for f in found if f.rule == "meeting"]
    assert "run into each other" in told.message
