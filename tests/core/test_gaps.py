"""Gaps and walls too narrow to be made, just inside the limit and just outside, by shapely."""

import re

import numpy as np
import pytest
import shapely
from meeting_pieces import BAR, BLANK, SUNK_BAR, drawn_bar, found_on, piece, plan_of, square

from medalcore import height_field


def _apart(bar, gap, fit):
    """Return where a square's middle lies whose foot is that far from the bar's at the field."""
    grown = 2 * 0.3 * np.tan(np.radians(8.0))  # both walls, of the same height and draft
    return float(bar.bounds[2] + grown + gap + fit / 2)


@pytest.mark.parametrize(
    ("process", "least"), [("struck", 0.15), ("cast", 0.2), ("milled", 0.2), ("printed", 0.2)]
)
def test_a_narrow_gap_is_told_with_its_width_and_place(tmp_path, process, least):
    bar = drawn_bar()
    for gap in (least - 0.02, least + 0.02):
        x = _apart(bar, gap, 8.0)
        emblem = {"drawing": square(tmp_path), "fit": 8.0, "at": [x, 0.0], "height": 0.3}
        found = found_on({"inscription": [BAR], "emblem": [emblem]}, process=process)
        if gap > least:
            assert not found
            continue
        (told,) = found
        assert told.rule == "narrow-gap"
        assert told.measured == pytest.approx(gap, abs=2e-3)
        u = float(re.search(r"near ([-\d.]+)", told.message)[1])
        assert u == pytest.approx(bar.bounds[2] + 0.05 + gap / 2, abs=0.06)


def test_gaps_beside_the_rim_and_between_reliefs():
    """Two slabs, and one beside the rim of a rectangle; gaps by shapely on the finished mesh."""
    slab = height_field(np.ones((60, 60)), pixel=0.1)
    flat = {**BLANK, "outline": "rectangle", "height": 30.0, "chamfer": 0.0}
    one = {"source": "array:slab", "fit": 6.0, "height": 0.2, "draft": 10.0}

    def built(reliefs):
        return piece({"relief": reliefs}, blank=flat, **{"array:slab": slab})

    for gap in (0.06, 0.3):
        for reliefs, other in (
            ([{**one, "at": [18.63 - 3.01 - gap, 0.0]}], "the rim"),
            ([one, {**one, "at": [6.02 + gap, 0.0]}], "obverse.relief[1]"),
        ):
            medal = built(reliefs)
            relief = plan_of(medal, "relief")
            if other == "the rim":
                true = relief.distance(plan_of(medal, "rim"))
            else:
                left = shapely.box(-20.0, -20.0, 3.01 + gap / 2.0, 20.0)
                true = (relief & left).distance(relief - left)
            assert true == pytest.approx(gap, abs=0.07)
            found = [f for f in medal.findings if f.rule == "narrow-gap"]
            assert [f.measured for f in found] == (
                [pytest.approx(true, abs=1e-3)] if gap < 0.15 else []
            )
            assert all(other in f.message for f in found)


def test_a_word_set_too_tight_is_told_once():
    """Letters of one legend: a note, at their narrowest."""
    tight = {"text": "HIHIHI", "font": "sans-bold", "cap_height": 2.2}
    counts = []
    for tracking in (-110, 0):
        medal = piece({"inscription": [{**tight, "tracking": tracking}]})
        counts.append([f for f in medal.findings if f.rule == "narrow-gap"])
    (told,), none = counts
    assert not none
    assert told.severity == "note"
    assert told.measured < 0.1


def test_metal_between_what_is_sunk(tmp_path):
    """A sunk letter 0.2 mm from a cell: 0.3 mm of metal are wanted there."""
    bar = drawn_bar()
    for gap in (0.2, 0.35):
        emblem = {
            "drawing": square(tmp_path, colour="#f00"), "fit": 8.0, "work": "cells",
            "at": [bar.bounds[2] + gap + 4.0, 0.0],
        }  # fmt: skip
        found = found_on({"inscription": [SUNK_BAR], "emblem": [emblem]})
        assert [f.measured for f in found] == ([pytest.approx(gap, abs=2e-3)] if gap < 0.3 else [])


def test_metal_beside_a_drilled_hole():
    """A sunk letter whose side stands 0.1 mm, or 0.25 mm, from the hole."""
    bar = drawn_bar()
    for gap in (0.1, 0.25):
        x = 16.0 - 1.0 - gap - bar.bounds[2]
        drilled = {**BLANK, "drill": {"diameter": 2.0, "inset": 4.0, "angle": 90.0, "chamfer": 0.0}}
        words = {**SUNK_BAR, "at": [float(x), 0.0]}
        found = found_on({"inscription": [words]}, blank=drilled)
        assert [f.measured for f in found] == ([pytest.approx(gap, abs=0.01)] if gap < 0.15 else [])


@pytest.mark.parametrize(
    ("process", "least"), [("struck", 0.15), ("cast", 0.25), ("milled", 0.25), ("printed", 0.25)]
)
def test_a_stroke_too_thin_for_its_process_is_told(process, least):
    """A plain bar, just thinner at the field and just thicker; its width by shapely on the mesh."""
    whole = drawn_bar()
    ratio = (whole.bounds[2] - whole.bounds[0]) / 6.0
    walls = 2.0 * 0.1 * np.tan(np.radians(8.0))
    for foot in (least - 0.01, least + 0.01):
        bar = {**BAR, "height": 0.1, "cap_height": float((foot - walls) / ratio)}
        medal = piece({"inscription": [bar]}, process=process)
        left, _, right, _ = plan_of(medal, "inscription").bounds
        assert right - left == pytest.approx(foot, abs=2e-3)
        found = [f for f in medal.findings if f.rule == "thin-stroke"]
        if foot > least:
            assert not found
            continue
        (told,) = found
        assert (told.severity, told.where) == ("note", "obverse.inscription[0]")
        assert told.measured == pytest.approx(right - left, abs=2e-3)
        assert f"at 'I', and {process} pieces want {least:.2f} mm" in told.message
        larger = float(re.search(r"a cap height of ([\d.]+) mm", told.message)[1])
        enough = piece({"inscription": [{**bar, "cap_height": larger}]}, process=process)
        assert not [f for f in enough.findings if f.rule == "thin-stroke"]
