"""What elements do to each other, each kind just inside the limit and just outside.

Shares are those of plane geometry on the drawn outlines, by shapely.
"""

import re

import numpy as np
import pytest
import shapely
import shapely.affinity
from counting import counted

from medalcore import StageCache, build, height_field, parse_spec
from medalcore.cli import main
from medalcore.deliver import deliver
from medalcore.errors import DeliveryError, SpecError

BLANK = {"diameter": 40, "thickness": 3.2, "rim": {"width": 1.3, "height": 0.4}}
TOP = {"text": "FENNICK LIGHT"}
CACHE = StageCache()
RULES = ("lost", "meeting", "narrow-gap")


def _piece(face, side="obverse", blank=BLANK, process="struck", **models):
    spec = counted({"medal": {"process": process}, "blank": blank, side: face})
    return build(spec, "draft", cache=CACHE, models=models)


def _found(face, side="obverse", **more):
    medal = _piece(face, side, **more)
    return [f for f in medal.findings if f.rule in RULES and f.severity != "note"]


def _errors(face, **more):
    return [f for f in _found(face, **more) if f.severity == "error"]


def _square(tmp_path, name="square", colour="#000", extra=""):
    file = tmp_path / f"{name}.svg"
    file.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">'
        f'<rect width="100" height="100" fill="{colour}"/>{extra}</svg>'
    )
    return str(file)


BAR = {"text": "I", "font": "sans-bold", "cap_height": 6.0, "height": 0.3, "draft": 8.0}
"""A letter that is a plain rectangle in this typeface."""

SUNK_BAR = {"text": "I", "font": "sans-bold", "cap_height": 6.0, "work": "sunk", "draft": 8.0}


def _bar(at=(0.0, 0.0)):
    """Return the drawn outline of that letter, from its top on a finished piece."""
    medal = _piece({"inscription": [{**BAR, "at": list(at)}]})
    corner = medal.vertices[medal.triangles]
    of_letter = medal.zone == medal.zone_names.index("inscription")
    high = medal.points(of_letter)[:, 2].max()
    top = of_letter & (np.abs(corner[..., 2] - high) < 1e-4).all(axis=1)
    plan = corner[top][..., :2]
    return shapely.union_all(shapely.polygons(plan), grid_size=1e-6)


def box(side, x, y=0.0):
    return shapely.box(x - side / 2, y - side / 2, x + side / 2, y + side / 2)


def _aside(bar, side, share):
    """Return where a square's middle lies that covers a share of the bar from the right."""
    left, _, right, _ = bar.bounds
    return float(right - share * (right - left) + side / 2)


@pytest.mark.parametrize("share", [0.03, 0.08])
@pytest.mark.parametrize(
    ("work", "keys", "what"),
    [
        ("raised", {"height": 0.5}, "is covered by obverse.emblem[0]"),
        ("sunk", {"depth": 0.2}, "is cut away by obverse.emblem[0]"),
        ("cells", {"depth": 0.2}, "is cut away by obverse.emblem[0] cell of #ff0000"),
    ],
)
def test_a_letter_that_an_emblem_takes_is_an_error(tmp_path, work, keys, what, share):
    """The share is that of the drawn letter inside the drawn square; walls are left out."""
    bar = _bar()
    x = _aside(bar, 8.0, share)
    emblem = {
        "drawing": _square(tmp_path, colour="#f00"), "work": work, "fit": 8.0, "at": [x, 0.0],
        "draft": 1.0, **keys,
    }  # fmt: skip
    true = bar.intersection(box(8.0, x)).area / bar.area
    assert true == pytest.approx(share, abs=1e-3)
    found = _errors({"inscription": [BAR], "emblem": [emblem]})
    if share < 0.05:
        assert not found
        return
    (told,) = found
    assert told.where == "obverse.inscription[0]"
    assert told.message.startswith(f"'I' {what}")
    assert told.measured == pytest.approx(true, abs=0.02)
    u, v = map(float, re.search(r"near ([-\d.]+), ([-\d.]+) mm", told.message).groups())
    assert bar.intersection(box(8.0, x)).distance(shapely.Point(u, v)) < 0.06
    accepted = {"inscription": [{**BAR, "overlap": True}], "emblem": [emblem]}
    assert not _errors(accepted)


@pytest.mark.parametrize("share", [0.03, 0.08])
def test_what_a_hole_and_the_rim_take_of_a_letter(share):
    """A letter across the side of a square hole, and one that runs under the rim."""
    bar = _bar()
    left, low, right, high = bar.bounds
    width, height = right - left, high - low
    hole = {
        **BLANK,
        "hole": {"shape": "square", "size": 12.0, "corner_radius": 0.0, "rim_width": 0.0},
    }
    at = [0.0, 6.0 + height / 2 - share * height - (low + high) / 2]
    found = _errors({"inscription": [{**BAR, "at": at}]}, blank=hole)
    assert [f.measured for f in found] == ([pytest.approx(share, abs=0.01)] if share > 0.05 else [])
    assert all("cut away by the middle hole:" in f.message for f in found)
    flat = {**BLANK, "outline": "rectangle", "height": 30.0, "chamfer": 0.0}
    flat = {**flat, "rim": {"width": 2.0, "height": 0.4, "slope": 1.0}}
    x = 18.0 - width / 2 + share * width - (left + right) / 2
    found = _errors({"inscription": [{**BAR, "at": [x, 0.0]}]}, blank=flat)
    assert [f.measured for f in found] == ([pytest.approx(share, abs=0.02)] if share > 0.05 else [])
    assert all("covered by the rim" in f.message for f in found)


@pytest.mark.parametrize("share", [0.03, 0.08])
def test_cells_and_emblems_keep_themselves_too(tmp_path, share):
    """A cell loses to a deeper emblem, an emblem to a higher one across its edge."""
    drawing = _square(tmp_path, colour="#f00")
    plain = {"drawing": drawing, "fit": 8.0, "draft": 1.0}
    for one, two in (
        ({"work": "cells", "depth": 0.2, "wall": 0.1}, {"work": "sunk", "depth": 0.4}),
        ({"work": "raised", "height": 0.2}, {"work": "raised", "height": 0.3}),
        ({"work": "raised", "height": 0.2}, {"work": "sunk", "depth": 0.3}),
    ):
        across = {**plain, **two, "at": [8.0 * (1.0 - share), 0.0]}
        face = {"emblem": [{**plain, **one}, across]}
        found = [f for f in _errors(face) if f.where == "obverse.emblem[0]"]
        assert [f.measured for f in found] == (
            [pytest.approx(share, abs=0.015)] if share > 0.05 else []
        )


def test_what_stands_wholly_on_an_emblem_is_meant(tmp_path):
    """Letters and cells on a shield, and letters on a relief: nothing is said of them."""
    shield = {"drawing": _square(tmp_path), "work": "raised", "fit": 12.0, "height": 0.2}
    cells = {
        "drawing": _square(tmp_path, "cell", "#f00"), "work": "cells", "fit": 4.0,
        "at": [3.0, 0.0], "depth": 0.2,
    }  # fmt: skip
    bar = {**BAR, "at": [-3.0, 0.0], "height": 0.4}
    assert not _found({"emblem": [shield, cells], "inscription": [bar]})
    slab = height_field(np.ones((60, 60)), pixel=0.2)
    relief = {"source": "array:slab", "fit": 12.0, "height": 0.25}
    assert not _found({"relief": [relief], "inscription": [bar]}, **{"array:slab": slab})
    higher = {"relief": [{**relief, "height": 0.5}], "inscription": [bar]}
    (told,) = _errors(higher, **{"array:slab": slab})
    assert "'I' is covered by obverse.relief[0]: 100 %" in told.message


def test_a_relief_that_is_buried_is_an_error():
    slab = height_field(np.ones((60, 60)), pixel=0.2)
    low = {"source": "array:slab", "fit": 6.0, "height": 0.2}
    high = {"source": "array:slab", "fit": 12.0, "height": 0.4}
    (told,) = _found({"relief": [low, high]}, **{"array:slab": slab})
    assert (told.severity, told.where) == ("error", "obverse.relief[0]")
    assert "nothing of it is left" in told.message
    aside = {**high, "at": [7.0, 0.0]}  # half of the small one is free
    medal = _piece({"relief": [low, aside]}, **{"array:slab": slab})
    assert not [f for f in medal.findings if f.rule in RULES]
    (remark,) = [f for f in medal.report["remarks"] if f["rule"] == "lost"]
    assert remark["measured"] == pytest.approx(2.0 / 6.0, abs=0.03)


def test_letters_on_panels_and_textures_lose_nothing():
    panel = [{"size": 24.0, "height": 0.3}]
    for work in ("raised", "sunk"):
        words = {"text": "ON A\nPANEL", "work": work}
        assert not _found({"field": {"panel": panel}, "inscription": [words]})
        assert not _found({"texture": [{"kind": "rays", "depth": 0.08}], "inscription": [words]})
    shallow = {**SUNK_BAR, "depth": 0.03}
    (told,) = _errors({"texture": [{"kind": "rings", "depth": 0.09}], "inscription": [shallow]})
    assert told.measured > 0.3
    assert "'I' is worked away by obverse.texture[0]" in told.message


def _apart(bar, gap, fit):
    """Return where a square's middle lies whose foot is that far from the bar's at the field."""
    grown = 2 * 0.3 * np.tan(np.radians(8.0))  # both walls, of the same height and draft
    return float(bar.bounds[2] + grown + gap + fit / 2)


@pytest.mark.parametrize(
    ("process", "least"), [("struck", 0.15), ("cast", 0.2), ("milled", 0.2), ("printed", 0.2)]
)
def test_a_narrow_gap_is_told_with_its_width_and_place(tmp_path, process, least):
    bar = _bar()
    for gap in (least - 0.02, least + 0.02):
        x = _apart(bar, gap, 8.0)
        emblem = {"drawing": _square(tmp_path), "fit": 8.0, "at": [x, 0.0], "height": 0.3}
        found = _found({"inscription": [BAR], "emblem": [emblem]}, process=process)
        if gap > least:
            assert not found
            continue
        (told,) = found
        assert told.rule == "narrow-gap"
        assert told.measured == pytest.approx(gap, abs=2e-3)
        u = float(re.search(r"near ([-\d.]+)", told.message)[1])
        assert u == pytest.approx(bar.bounds[2] + 0.05 + gap / 2, abs=0.06)


def _plan(medal, zone):
    """Return what of a zone is seen on the obverse, as one shapely area."""
    corner = medal.vertices[medal.triangles]
    of = (medal.zone == medal.zone_names.index(zone)) & (medal.side == 1)
    up = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])[:, 2] > 1e-9
    return shapely.union_all(shapely.polygons(corner[of & up][..., :2]), grid_size=1e-6)


def test_gaps_beside_the_rim_and_between_reliefs():
    """Two slabs, and one beside the rim of a rectangle; gaps by shapely on the finished mesh."""
    slab = height_field(np.ones((60, 60)), pixel=0.1)
    flat = {**BLANK, "outline": "rectangle", "height": 30.0, "chamfer": 0.0}
    one = {"source": "array:slab", "fit": 6.0, "height": 0.2, "draft": 10.0}

    def built(reliefs):
        return _piece({"relief": reliefs}, blank=flat, **{"array:slab": slab})

    for gap in (0.06, 0.3):
        for reliefs, other in (
            ([{**one, "at": [18.63 - 3.01 - gap, 0.0]}], "the rim"),
            ([one, {**one, "at": [6.02 + gap, 0.0]}], "obverse.relief[1]"),
        ):
            medal = built(reliefs)
            relief = _plan(medal, "relief")
            if other == "the rim":
                true = relief.distance(_plan(medal, "rim"))
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
        medal = _piece({"inscription": [{**tight, "tracking": tracking}]})
        counts.append([f for f in medal.findings if f.rule == "narrow-gap"])
    (told,), none = counts
    assert not none
    assert told.severity == "note"
    assert told.measured < 0.1


def test_metal_between_what_is_sunk(tmp_path):
    """A sunk letter 0.2 mm from a cell: 0.3 mm of metal are wanted there."""
    bar = _bar()
    for gap in (0.2, 0.35):
        emblem = {
            "drawing": _square(tmp_path, colour="#f00"), "fit": 8.0, "work": "cells",
            "at": [bar.bounds[2] + gap + 4.0, 0.0],
        }  # fmt: skip
        found = _found({"inscription": [SUNK_BAR], "emblem": [emblem]})
        assert [f.measured for f in found] == ([pytest.approx(gap, abs=2e-3)] if gap < 0.3 else [])


def test_metal_beside_a_drilled_hole():
    """A sunk letter whose side stands 0.1 mm, or 0.25 mm, from the hole."""
    bar = _bar()
    for gap in (0.1, 0.25):
        x = 16.0 - 1.0 - gap - bar.bounds[2]
        drilled = {**BLANK, "drill": {"diameter": 2.0, "inset": 4.0, "angle": 90.0, "chamfer": 0.0}}
        words = {**SUNK_BAR, "at": [float(x), 0.0]}
        found = _found({"inscription": [words]}, blank=drilled)
        assert [f.measured for f in found] == ([pytest.approx(gap, abs=0.01)] if gap < 0.15 else [])


def test_a_letter_that_a_hole_cuts_into_a_little():
    """By the segment of a circle 1 mm in radius, 0.1 mm high."""
    bar = _bar()
    drilled = {**BLANK, "drill": {"diameter": 2.0, "inset": 4.0, "angle": 90.0, "chamfer": 0.0}}
    words = {**BAR, "at": [float(15.1 - bar.bounds[2]), 0.0]}
    (told,) = _piece({"inscription": [words]}, blank=drilled).findings
    assert (told.rule, told.severity) == ("meeting", "note")
    assert "'I' is cut into by the drilled hole, near" in told.message
    segment = np.arccos(0.9) - 0.9 * np.sqrt(1.0 - 0.9**2)
    assert told.measured == pytest.approx(segment / bar.area, abs=5e-4)


def test_what_letters_keep_clear_is_asked_for(tmp_path):
    """An emblem may lose to them, other letters may not."""
    emblem = {"drawing": _square(tmp_path), "fit": 8.0, "height": 0.2}
    bar = {**BAR, "clear": 0.5}
    assert not _errors({"inscription": [bar], "emblem": [emblem]})
    beside = {**BAR, "at": [1.6, 0.0]}
    (told,) = _errors({"inscription": [bar, beside]})
    assert told.where == "obverse.inscription[1]"
    assert "'I' is cleared away by obverse.inscription[0]" in told.message


def test_what_is_in_error_is_not_delivered(tmp_path, capsys):
    """The piece can be looked at; no file of it is written, in Python nor on the command line."""
    face = {"inscription": [BAR, {**BAR, "at": [0.3, 0.0], "height": 0.4}]}
    medal = _piece(face)
    assert medal.is_closed
    with pytest.raises(DeliveryError, match=r"obverse.inscription\[0\]: 'I' is covered by"):
        deliver(medal, tmp_path / "files", size=64)
    assert not (tmp_path / "files").exists()
    bars = "".join(
        "[[obverse.inscription]]\ntext = 'I'\nfont = 'sans-bold'\ncap_height = 6.0\n"
        f"at = [{x}, 0.0]\nheight = {h}\n"
        for x, h in ((0.0, 0.3), (0.3, 0.4))
    )
    (tmp_path / "two.toml").write_text(bars)
    command = ["build", str(tmp_path / "two.toml"), "--out", str(tmp_path / "out")]
    assert main([*command, "--quality", "draft"]) == 2
    err = capsys.readouterr().err.strip()
    assert len(err.splitlines()) == 1
    assert "is lost" in err
    assert not list(tmp_path.glob("out/*"))
    overlap = bars.replace("height = 0.3\n", "height = 0.3\noverlap = true\n")
    assert not [f for f in build(parse_spec(overlap), "draft").findings if f.severity == "error"]


@pytest.mark.parametrize("kind", ["beads", "rope", "denticles"])
@pytest.mark.parametrize("work", ["raised", "sunk"])
@pytest.mark.parametrize("at", ["top", "bottom"])
def test_a_legend_into_a_border_names_a_radius_that_helps(kind, work, at):
    near = {"top": 15.5, "bottom": 17.5}[at]  # just inside the rim, as if no border were there
    legend = {**TOP, "cap_height": 2.0, "work": work, "at": at, "radius": near}
    face = {"legend": [legend], "border": [{"kind": kind}]}
    (told,) = _found(face, "reverse" if at == "top" else "obverse")
    assert ".legend[0]" in told.where
    assert ".border[0]" in told.message
    radius = float(re.search(r"a radius of ([\d.]+) mm keeps", told.message)[1])
    assert not _found(face | {"legend": [{**legend, "radius": radius}]})
    assert _found(face | {"legend": [{**legend, "radius": radius + 1.4}]})


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
    assert not _found(face)


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
        (told,) = _found(face)
        assert one in f"{told.where} {told.message}"
        assert two in f"{told.where} {told.message}"


def test_words_past_the_edge_name_a_size_that_fits():
    """On the piece and inside the field once that cap height is given."""
    words = {"text": "THE KEEPERS OF THE FENNICK LIGHT", "cap_height": 3.0}
    with pytest.raises(SpecError, match="beyond the edge of the piece") as caught:
        _piece({"inscription": [words]})
    size = float(re.search(r"a cap height of ([\d.]+) mm keeps", str(caught.value))[1])
    medal = _piece({"inscription": [{**words, "cap_height": size}]})
    assert not [f for f in medal.findings if f.rule.endswith("over-rim")]
    assert size > 1.0


def test_a_relief_past_the_field_says_what_would_fit():
    """By how much by the finished mesh; the fit that is named stays inside, a larger one not."""
    slab = height_field(np.ones((60, 60)), pixel=0.1)
    radius = 20.0 - 0.3 - 1.3 - 0.4 * np.tan(np.radians(10.0))

    def over(fit):
        face = {"relief": [{"source": "array:slab", "fit": fit, "height": 0.6, "draft": 1.0}]}
        medal = _piece(face, **{"array:slab": slab})
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
        found = [f for f in _piece(face).findings if f.rule == "across-panel"]
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
        assert not [f for f in _piece(face).findings if f.rule == "across-panel"]


def test_only_the_letters_across_a_panel_are_named():
    """Both M, through whose middles the sides of the panel run, and not the I between them."""
    words = {"text": "MIM", "font": "sans-bold", "cap_height": 4.0}
    panel = {"shape": "rectangle", "size": 7.0, "height": 0.15}
    medal = _piece({"field": {"panel": [panel]}, "inscription": [words]})
    (told,) = [f for f in medal.findings if f.rule == "across-panel"]
    assert told.message.startswith("'M' stands across")
    assert abs(float(re.search(r"near ([-\d.]+)", told.message)[1])) == pytest.approx(3.5, abs=0.3)


def test_words_into_a_border_say_what_each_loses():
    """Of the border its own share that higher letters cover, by shapely on both plans."""
    legend = {"text": "HHHH", "font": "sans-bold", "radius": 15.6, "height": 0.4, "cap_height": 2.0}
    border = {"kind": "line", "lines": 1, "radius": 15.8, "height": 0.2}
    medal = _piece({"legend": [legend], "border": [border]})
    told = next(f for f in medal.findings if f.rule == "meeting")
    words, line = map(
        float, re.search(r": ([\d.]+) % of .* and ([\d.]+) % of", told.message).groups()
    )
    whole = _plan(_piece({"border": [border]}), "border")
    left = _plan(medal, "border")
    assert line == pytest.approx(100.0 * (1.0 - left.area / whole.area), abs=1.5)
    assert line > 1.0
    assert words == 0.0
    assert told.message.endswith("keeps the words inside it") or "move one" in told.message
