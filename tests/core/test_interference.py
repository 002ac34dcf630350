"""What elements take of each other, each kind just inside the limit and just outside.

Shares are those of plane geometry on the drawn outlines, by shapely.
"""

import re

import numpy as np
import pytest
import shapely
from meeting_pieces import (
    BAR,
    BLANK,
    RULES,
    SUNK_BAR,
    drawn_bar,
    errors_on,
    found_on,
    piece,
    square,
)

from medalcore import build, height_field, parse_spec
from medalcore.cli import main
from medalcore.deliver import deliver
from medalcore.errors import DeliveryError


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
    bar = drawn_bar()
    x = _aside(bar, 8.0, share)
    emblem = {
        "drawing": square(tmp_path, colour="#f00"), "work": work, "fit": 8.0, "at": [x, 0.0],
        "draft": 1.0, **keys,
    }  # fmt: skip
    true = bar.intersection(box(8.0, x)).area / bar.area
    assert true == pytest.approx(share, abs=1e-3)
    found = errors_on({"inscription": [BAR], "emblem": [emblem]})
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
    assert not errors_on(accepted)


@pytest.mark.parametrize("share", [0.03, 0.08])
def test_what_a_hole_and_the_rim_take_of_a_letter(share):
    """A letter across the side of a square hole, and one that runs under the rim."""
    bar = drawn_bar()
    left, low, right, high = bar.bounds
    width, height = right - left, high - low
    hole = {
        **BLANK,
        "hole": {"shape": "square", "size": 12.0, "corner_radius": 0.0, "rim_width": 0.0},
    }
    at = [0.0, 6.0 + height / 2 - share * height - (low + high) / 2]
    found = errors_on({"inscription": [{**BAR, "at": at}]}, blank=hole)
    assert [f.measured for f in found] == ([pytest.approx(share, abs=0.01)] if share > 0.05 else [])
    assert all("cut away by the middle hole:" in f.message for f in found)
    flat = {**BLANK, "outline": "rectangle", "height": 30.0, "chamfer": 0.0}
    flat = {**flat, "rim": {"width": 2.0, "height": 0.4, "slope": 1.0}}
    x = 18.0 - width / 2 + share * width - (left + right) / 2
    found = errors_on({"inscription": [{**BAR, "at": [x, 0.0]}]}, blank=flat)
    assert [f.measured for f in found] == ([pytest.approx(share, abs=0.02)] if share > 0.05 else [])
    assert all("covered by the rim" in f.message for f in found)


@pytest.mark.parametrize("share", [0.03, 0.08])
def test_cells_and_emblems_keep_themselves_too(tmp_path, share):
    """A cell loses to a deeper emblem, an emblem to a higher one across its edge."""
    drawing = square(tmp_path, colour="#f00")
    plain = {"drawing": drawing, "fit": 8.0, "draft": 1.0}
    for one, two in (
        ({"work": "cells", "depth": 0.2, "wall": 0.1}, {"work": "sunk", "depth": 0.4}),
        ({"work": "raised", "height": 0.2}, {"work": "raised", "height": 0.3}),
        ({"work": "raised", "height": 0.2}, {"work": "sunk", "depth": 0.3}),
    ):
        across = {**plain, **two, "at": [8.0 * (1.0 - share), 0.0]}
        face = {"emblem": [{**plain, **one}, across]}
        found = [f for f in errors_on(face) if f.where == "obverse.emblem[0]"]
        assert [f.measured for f in found] == (
            [pytest.approx(share, abs=0.015)] if share > 0.05 else []
        )


def test_what_stands_wholly_on_an_emblem_is_meant(tmp_path):
    """Letters and cells on a shield, and letters on a relief: nothing is said of them."""
    shield = {"drawing": square(tmp_path), "work": "raised", "fit": 12.0, "height": 0.2}
    cells = {
        "drawing": square(tmp_path, "cell", "#f00"), "work": "cells", "fit": 4.0,
        "at": [3.0, 0.0], "depth": 0.2,
    }  # fmt: skip
    bar = {**BAR, "at": [-3.0, 0.0], "height": 0.4}
    assert not found_on({"emblem": [shield, cells], "inscription": [bar]})
    slab = height_field(np.ones((60, 60)), pixel=0.2)
    relief = {"source": "array:slab", "fit": 12.0, "height": 0.25}
    assert not found_on({"relief": [relief], "inscription": [bar]}, **{"array:slab": slab})
    higher = {"relief": [{**relief, "height": 0.5}], "inscription": [bar]}
    (told,) = errors_on(higher, **{"array:slab": slab})
    assert "'I' is covered by obverse.relief[0]: 100 %" in told.message


def test_a_relief_that_is_buried_is_an_error():
    slab = height_field(np.ones((60, 60)), pixel=0.2)
    low = {"source": "array:slab", "fit": 6.0, "height": 0.2}
    high = {"source": "array:slab", "fit": 12.0, "height": 0.4}
    (told,) = found_on({"relief": [low, high]}, **{"array:slab": slab})
    assert (told.severity, told.where) == ("error", "obverse.relief[0]")
    assert "nothing of it is left" in told.message
    aside = {**high, "at": [7.0, 0.0]}  # half of the small one is free
    medal = piece({"relief": [low, aside]}, **{"array:slab": slab})
    assert not [f for f in medal.findings if f.rule in RULES]
    (remark,) = [f for f in medal.report["remarks"] if f["rule"] == "lost"]
    assert remark["measured"] == pytest.approx(2.0 / 6.0, abs=0.03)


def test_letters_on_panels_and_textures_lose_nothing():
    panel = [{"size": 24.0, "height": 0.3}]
    for work in ("raised", "sunk"):
        words = {"text": "ON A\nPANEL", "work": work}
        assert not found_on({"field": {"panel": panel}, "inscription": [words]})
        assert not found_on({"texture": [{"kind": "rays", "depth": 0.08}], "inscription": [words]})
    shallow = {**SUNK_BAR, "depth": 0.03}
    (told,) = errors_on({"texture": [{"kind": "rings", "depth": 0.09}], "inscription": [shallow]})
    assert told.measured > 0.3
    assert "'I' is worked away by obverse.texture[0]" in told.message


def test_a_letter_that_a_hole_cuts_into_a_little():
    """By the segment of a circle 1 mm in radius, 0.1 mm high."""
    bar = drawn_bar()
    drilled = {**BLANK, "drill": {"diameter": 2.0, "inset": 4.0, "angle": 90.0, "chamfer": 0.0}}
    words = {**BAR, "at": [float(15.1 - bar.bounds[2]), 0.0]}
    (told,) = piece({"inscription": [words]}, blank=drilled).findings
    assert (told.rule, told.severity) == ("meeting", "note")
    assert "'I' is cut into by the drilled hole, near" in told.message
    segment = np.arccos(0.9) - 0.9 * np.sqrt(1.0 - 0.9**2)
    assert told.measured == pytest.approx(segment / bar.area, abs=5e-4)


def test_what_letters_keep_clear_is_asked_for(tmp_path):
    """An emblem may lose to them, other letters may not."""
    emblem = {"drawing": square(tmp_path), "fit": 8.0, "height": 0.2}
    bar = {**BAR, "clear": 0.5}
    assert not errors_on({"inscription": [bar], "emblem": [emblem]})
    beside = {**BAR, "at": [1.6, 0.0]}
    (told,) = errors_on({"inscription": [bar, beside]})
    assert told.where == "obverse.inscription[1]"
    assert "'I' is cleared away by obverse.inscription[0]" in told.message


def test_what_is_in_error_is_not_delivered(tmp_path, capsys):
    """The piece can be looked at; no file of it is written, in Python nor on the command line."""
    face = {"inscription": [BAR, {**BAR, "at": [0.3, 0.0], "height": 0.4}]}
    medal = piece(face)
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
