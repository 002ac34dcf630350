"""What an opening takes of what stands over it is told with its name, its place and its share.

Shares are those of plane geometry on the drawn shapes, by shapely.
"""

import re

import numpy as np
import pytest
import shapely
from counting import counted

from medalcore import StageCache, build, height_field

BLANK = {"diameter": 40, "thickness": 3.2, "rim": {"width": 1.3, "height": 0.4}}
HOLE = {"shape": "round", "size": 8.0, "rim_width": 0.0, "chamfer": 0.0}
DRILL = {"diameter": 2.0, "inset": 4.0, "angle": 90.0, "chamfer": 0.0}
CORE = {"diameter": 20.0}
CACHE = StageCache()
BAR = {"text": "I", "font": "sans-bold", "cap_height": 6.0, "height": 0.3}
SLAB = {"array:slab": height_field(np.ones((60, 60)), pixel=0.2)}


def _piece(face, **blank):
    spec = counted({"medal": {}, "blank": {**BLANK, **blank}, "obverse": face})
    return build(spec, "draft", cache=CACHE, models=SLAB)


def _place(message):
    return tuple(map(float, re.search(r"near ([-\d.]+), ([-\d.]+) mm", message).groups()))


@pytest.mark.parametrize(
    ("at", "name"),
    [
        ((0.0, 4.0), "the middle hole"),
        ((16.0, 0.0), "the drilled hole"),
        ((0.0, 10.0), "the joint round the core"),
    ],
)
@pytest.mark.parametrize("work", ["raised", "sunk"])
def test_the_opening_that_cuts_a_letter_is_named(at, name, work):
    """All three are there; the letter lies on one of them."""
    bar = {key: value for key, value in BAR.items() if key != "height" or work == "raised"}
    face = {"inscription": [{**bar, "work": work, "at": list(at)}]}
    core = {**CORE, "clearance": 0.3} if name.endswith("core") else CORE
    found = [f for f in _piece(face, hole=HOLE, drill=DRILL, core=core).findings
             if f.rule in ("lost", "meeting")]  # fmt: skip
    assert found
    assert all(f"by {name}" in f.message for f in found)
    others = ("the middle hole", "the drilled hole", "the joint", "the edge")
    assert not any(o in f.message for f in found for o in others if not name.startswith(o))


def test_a_letter_across_two_openings_has_a_finding_for_each():
    """The hole and a drilled hole, 1 mm apart."""
    face = {"inscription": [{**BAR, "at": [6.5, 0.0], "turn": 90.0}]}
    drill = {**DRILL, "diameter": 4.0, "inset": 11.0}  # from 7 to 11 mm
    found = [f for f in _piece(face, hole=HOLE, drill=drill).findings if f.rule == "lost"]
    by = {re.search("cut away by (.*?):", f.message)[1]: _place(f.message)[0] for f in found}
    assert by.keys() == {"the middle hole", "the drilled hole"}
    assert by["the middle hole"] < 4.0 < 7.0 < by["the drilled hole"]


@pytest.mark.parametrize(
    ("size", "severity"), [(8.0, "remark"), (10.0, "warning"), (16.0, "error")]
)
def test_what_a_hole_leaves_of_a_relief(size, severity):
    """A slab 10.5 mm wide: a remark in the report, a warning from half on, an error if all goes."""
    face = {"relief": [{"source": "array:slab", "fit": 10.5, "height": 0.3, "draft": 2.0}]}
    medal = _piece(face, hole={**HOLE, "size": size})
    hole = shapely.Point(0.0, 0.0).buffer(size / 2, 256)
    slab = shapely.box(-5.25, -5.25, 5.25, 5.25)
    true = slab.intersection(hole).area / slab.area
    told = [f for f in medal.findings if f.rule == "lost"]
    if severity == "remark":
        assert not told
        (remark,) = [f for f in medal.report["remarks"] if f["rule"] == "lost"]
        assert remark["measured"] == pytest.approx(true, abs=0.02)
        return
    (lost,) = told
    assert lost.severity == severity
    assert lost.measured == pytest.approx(true, abs=0.02)
    assert "is cut away by the middle hole:" in lost.message
    assert lost.message.endswith("; move it off the middle hole")
    assert ("nothing of it is left" in lost.message) == (severity == "error")
    assert np.hypot(*_place(lost.message)) < size / 2


def test_a_relief_that_reaches_into_a_hole_is_told_of_the_hole():
    """Not of the edge of the field; at the edge, of that."""
    face = {"relief": [{"source": "array:slab", "fit": 6.0, "height": 0.3, "at": [5.0, 0.0]}]}
    (told,) = [f for f in _piece(face, hole=HOLE).findings if f.rule == "relief-over-rim"]
    assert "mm into the middle hole, near" in told.message
    assert told.measured == pytest.approx(4.0 - np.hypot(*_place(told.message)), abs=0.08)
    assert re.search(r"a fit of [\d.]+ mm keeps it off it$", told.message)
    face["relief"][0] |= {"fit": 10.0, "at": [14.0, 0.0]}
    (told,) = [f for f in _piece(face, hole=HOLE).findings if f.rule == "relief-over-rim"]
    assert "past the edge of the field" in told.message
