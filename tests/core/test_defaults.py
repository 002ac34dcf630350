"""What is chosen where nothing is asked stays clear of every check of our own."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh

import medalcore
from medalcore.spec.template import template

WORDS = """
[[obverse.legend]]
text = "FENNICK LIGHT"
[[obverse.legend]]
text = "150 YEARS"
at = "bottom"
"""


def figure() -> dict[str, medalcore.Model]:
    body = trimesh.creation.icosphere(4)
    return {"object:figure": medalcore.Model(np.asarray(body.vertices), np.asarray(body.faces))}


def built(text: str) -> medalcore.Medal:
    relief = '[[obverse.relief]]\nsource = "object:figure"\n'
    return medalcore.build(medalcore.parse_spec(text + relief), quality="draft", models=figure())


def relief_points(medal: medalcore.Medal) -> np.ndarray:
    return medal.points(medal.zone == medal.zone_names.index("relief"))


def test_the_spec_to_start_from_has_nothing_to_be_said_of() -> None:
    medal = medalcore.build(medalcore.parse_spec(template()), quality="draft")
    assert medal.findings == ()


def test_an_empty_spec_has_nothing_to_be_said_of() -> None:
    assert medalcore.build(medalcore.parse_spec(""), quality="draft").findings == ()


def test_a_relief_leaves_room_for_words_and_stays_below_the_rim() -> None:
    """No size and no height are given: measured on the finished mesh."""
    medal = built(WORDS)
    assert not [f for f in medal.findings if f.severity in ("warning", "error")], medal.findings
    reach = np.hypot(*relief_points(medal)[:, :2].T).max()
    words = medal.points(medal.zone == medal.zone_names.index("legend"))
    inner = np.hypot(*words[:, :2].T).min()
    assert inner - 1.3 < reach < inner - 0.3
    top = relief_points(medal)[:, 2].max()
    assert 1.5 - 0.05 < top < 1.5  # the rim's top is at 1.5, the field 0.3 below it


def test_without_words_the_relief_fills_the_field() -> None:
    medal = built("")
    reach = np.hypot(*relief_points(medal)[:, :2].T).max()
    assert 0.9 * 18.5 < reach < 18.5
    assert not [f for f in medal.findings if f.severity in ("warning", "error")]


def test_a_border_is_left_room_too() -> None:
    medal = built('[[obverse.border]]\nkind = "beads"\n')
    beads = medal.points(medal.zone == medal.zone_names.index("border"))
    reach = np.hypot(*relief_points(medal)[:, :2].T).max()
    assert reach < np.hypot(*beads[:, :2].T).min() - 0.3


@pytest.mark.parametrize(("rim", "height"), [(1.0, 0.5), (0.2, 0.18), (0.0, 0.5)])
def test_an_automatic_height_follows_the_rim(rim: float, height: float) -> None:
    medal = built(f"[blank]\nthickness = 4.0\n[blank.rim]\nheight = {rim}\n")
    top = relief_points(medal)[:, 2].max()
    assert top - (2.0 - rim) == pytest.approx(height, abs=0.002)


def test_an_asked_height_is_kept() -> None:
    relief = "height = 0.8\n"
    spec = f'[[obverse.relief]]\nsource = "object:figure"\n{relief}'
    medal = medalcore.build(medalcore.parse_spec(spec), quality="draft", models=figure())
    assert relief_points(medal)[:, 2].max() - 1.2 == pytest.approx(0.8, abs=0.002)
    assert "above-rim" in {f.rule for f in medal.findings}


def test_words_of_the_size_chosen_have_nothing_to_be_said_of() -> None:
    """Every capital and figure, in each place where words stand."""
    for text in (
        '[[obverse.legend]]\ntext = "THE KEEPERS OF FENNICK LIGHT"\n'
        '[[obverse.inscription]]\ntext = "FENNICK"\n[[obverse.exergue]]\ntext = "1875"\n',
        '[[obverse.inscription]]\ntext = "ABCDEFGHI\\nJKLMNOPQRS\\nTUVWXYZ\\n0123456789"\n',
    ):
        assert medalcore.build(medalcore.parse_spec(text), quality="draft").findings == ()


@pytest.mark.parametrize("at", ["top", "bottom"])
@pytest.mark.parametrize("kind", ["beads", "denticles", "rope", "line"])
@pytest.mark.parametrize("outline", ["", '[blank]\noutline = "oval"\nheight = 30.0\n'])
def test_a_legend_stands_inside_a_border(outline: str, kind: str, at: str) -> None:
    """Nothing is said, and shapely finds air between them on the finished mesh."""
    words = f'[[obverse.legend]]\ntext = "FENNICK LIGHT"\nat = "{at}"\n'
    border = f'[[obverse.border]]\nkind = "{kind}"\n'
    medal = medalcore.build(medalcore.parse_spec(outline + words + border), quality="draft")
    # 40 x 30 mm was asked for, and that is a small part, stood on edge
    assert {f.rule for f in medal.findings} <= ({"small-part"} if outline else set())
    assert air(medal) > 0.3 * 2.5


def air(medal: medalcore.Medal) -> float:
    """Return the distance between legend and border seen from above, mm."""
    seen = [
        shapely.union_all(shapely.polygons(medal.vertices[medal.triangles[of]][..., :2]))
        for of in (medal.zone == medal.zone_names.index(n) for n in ("legend", "border"))
    ]
    return float(shapely.distance(*seen))


@pytest.mark.parametrize("border", ["radius = 8.0", "radius = 13.0", "gap = 150.0\ngap_at = 0"])
def test_a_border_that_is_not_in_the_way_leaves_a_legend_at_the_rim(border: str) -> None:
    words = '[[obverse.legend]]\ntext = "FENNICK"\n'
    alone, beside = (
        medalcore.build(medalcore.parse_spec(text), quality="draft")
        for text in (words, f"{words}[[obverse.border]]\n{border}\n")
    )
    assert beside.findings == ()
    one, two = (m.report["elements"]["obverse.legend[0]"] for m in (alone, beside))
    assert one["baseline_radius_mm"] == two["baseline_radius_mm"]


def test_lower_case_of_the_size_chosen_has_nothing_to_be_said_of() -> None:
    """Every small letter; their strokes are the thinnest of the typeface that is chosen."""
    text = 'text = "abcdefghijkl\\nmnopqrstuv\\nwxyzßàéøđ"\n'
    for where in ("inscription", "legend"):
        words = f"[[obverse.{where}]]\n" + (
            text if where == "inscription" else 'text = "Trust and a lamp at Fennick"\n'
        )
        medal = medalcore.build(medalcore.parse_spec(words), quality="draft")
        assert medal.findings == ()
        assert not [r for r in medal.report["remarks"] if r["rule"] == "thin-stroke"]
