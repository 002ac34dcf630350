"""What runs past the edge, the field or a panel, and what is named that would fit."""

import re

import numpy as np
import pytest
from meeting_pieces import BAR, SUNK_BAR, piece

from medalcore import build, height_field, parse_spec
from medalcore.errors import SpecError


def test_words_past_the_edge_name_a_size_that_fits():
    """On the piece and inside the field once that cap height is given."""
    words = {"text": "THE KEEPERS OF THE FENNICK LIGHT", "cap_height": 3.0}
    with pytest.raises(SpecError, match="beyond the edge of the piece") as caught:
        piece({"inscription": [words]})
    size = float(re.search(r"a cap height of ([\d.]+) mm keeps", str(caught.value))[1])
    medal = piece({"inscription": [{**words, "cap_height": size}]})
    assert not [f for f in medal.findings if f.rule.endswith("over-rim")]
    assert size > 1.0


def test_a_relief_past_the_field_says_what_would_fit():
    """By how much by the finished mesh; the fit that is named stays inside, a larger one not."""
    slab = height_field(np.ones((60, 60)), pixel=0.1)
    radius = 20.0 - 0.3 - 1.3 - 0.4 * np.tan(np.radians(10.0))

    def over(fit):
        face = {"relief": [{"source": "array:slab", "fit": fit, "height": 0.6, "draft": 1.0}]}
        medal = piece(face, **{"array:slab": slab})
        points = medal.points(medal.zone == medal.zone_names.index("relief"))
        points = points[points[:, 2] > points[:, 2].max() - 0.01]  # its corners, not its walls'
        far = float(np.hypot(points[:, 0], points[:, 1]).max()) - radius
        return [f for f in medal.findings if f.rule == "relief-over-rim"], far

    (told,), far = over(27.2)
    assert told.severity == "warning"
    assert told.measured == pytest.approx(far, abs=0.02)
    fits = float(re.search(r"a fit of ([\d.]+) mm keeps it inside", told.message)[1])
    assert fits == pytest.approx(27.2 * radius / (radius + far), abs=0.05)
    assert not over(fits)[0]
    assert over(fits + 0.15)[0]
    with pytest.raises(SpecError, match=r"beyond the edge of the piece, .*; a fit of 2[56]"):
        over(30.0)


def test_what_lies_off_the_piece_by_far_is_told_in_few_words():
    """No number of three hundred digits for a place that is only a slip of the hand."""
    dome = height_field(np.ones((40, 40)), pixel=0.1)
    text = "[[obverse.relief]]\nsource = 'array:dome'\nfit = 4.0\nheight = 0.2\nat = [1e300, 0.0]"
    with pytest.raises(SpecError, match=r"reaches far beyond .*, near 1.0e\+300, 0.0 mm") as told:
        build(parse_spec(text), "draft", models={"array:dome": dome})
    assert len(str(told.value)) < 150


@pytest.mark.parametrize("work", ["raised", "sunk"])
@pytest.mark.parametrize("height", [0.15, -0.15])
def test_letters_across_the_edge_of_a_panel_are_told(work, height):
    """A plain bar on a panel's side, and beside it, inside and outside: which, where, the step."""
    bar = {**(BAR if work == "raised" else SUNK_BAR), "cap_height": 4.0}
    panel = {"shape": "rectangle", "size": 16.0, "height": height}
    for x in (0.0, 6.0, 8.0, 11.0):
        face = {"field": {"panel": [panel]}, "inscription": [{**bar, "at": [x, 0.0]}]}
        found = [f for f in piece(face).findings if f.rule == "across-step"]
        if x != 8.0:
            assert not found
            continue
        (told,) = found
        assert (told.severity, told.where) == ("warning", "obverse.inscription[0]")
        assert told.message.startswith("'I' stands across the edge of a panel, a step of 0.15 mm")
        assert told.measured == pytest.approx(0.15, abs=1e-6)
        u, v = map(float, re.search(r"near ([-\d.]+), ([-\d.]+) mm", told.message).groups())
        assert u == pytest.approx(8.0, abs=0.4)
        assert abs(v) < 2.2
        face["inscription"][0]["overlap"] = True
        assert not [f for f in piece(face).findings if f.rule == "across-step"]


def test_only_the_letters_across_a_panel_are_named():
    """Both M, through whose middles the sides of the panel run, and not the I between them."""
    words = {"text": "MIM", "font": "sans-bold", "cap_height": 4.0}
    panel = {"shape": "rectangle", "size": 7.0, "height": 0.15}
    medal = piece({"field": {"panel": [panel]}, "inscription": [words]})
    (told,) = [f for f in medal.findings if f.rule == "across-step"]
    assert told.message.startswith("'M' stands across")
    assert abs(float(re.search(r"near ([-\d.]+)", told.message)[1])) == pytest.approx(3.5, abs=0.3)
