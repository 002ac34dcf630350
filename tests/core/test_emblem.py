"""Emblems measured back from their meshes."""

import math

import manifold3d as m3
import numpy as np
import pytest
import shapely
from lightness import lightness

from medalcore.context.element import Context
from medalcore.context.ground import Ground
from medalcore.context.tolerance import tolerance_for
from medalcore.elements.emblem import build_emblem
from medalcore.errors import SpecError
from medalcore.geometry.solid import arrays_of
from medalcore.piece.build import build
from medalcore.spec import Emblem, spec_from_dict

FLAT = Ground(level=1.0, radius=18.0, dish=0.0, floor=-0.8)
CREST = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 120 140">
<rect width="120" height="140" fill="#fff"/>
<path d="M10 10H110V70C110 105 85 125 60 135C35 125 10 105 10 70Z" fill="#1b3a6b" stroke="#000"
 stroke-width="3" stroke-linejoin="round"/>
<g fill="#e8c15a"><path d="M54 95 56 45H64L66 95Z"/><rect x="52" y="40" width="16" height="5"/></g>
<path d="M50 34 20 26M50 36 18 40" fill="none" stroke="#fff" stroke-width="2.5"
 stroke-linecap="round"/>
<path d="M14 80q8-8 15 0t15 0 15 0 15 0 15 0 15 0C102 105 82 120 60 130 40 121 17 106 14 80Z"
 fill="#3fa7a0"/></svg>"""
SQUARE = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><rect width="9" height="9"/></svg>'
)
PAIR = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 20">
<rect width="10" height="20" fill="red"/><rect x="10" width="10" height="20" fill="blue"/>
<rect x="20.3" width="19.7" height="20" fill="lime"/></svg>"""


@pytest.fixture
def make(tmp_path):
    """Return a function that builds an emblem of SVG text."""

    def built(text, ground=FLAT, **keys):
        file = tmp_path / "emblem.svg"
        file.write_text(text, encoding="utf-8")
        return build_emblem(
            Emblem(drawing=str(file), **keys), Context(ground, tolerance_for("fine"))
        )

    return built


def slab(low, high):
    return m3.Manifold.cube((60, 60, high - low), True).translate((0, 0, (low + high) / 2))


def test_raised_square_is_a_frustum(make):
    """V = h(A + B + √(AB))/3 of a frustum (Euclid XII.7); the width is as drawn at the top."""
    (part,) = make(SQUARE, fit=8.0, height=0.4, draft=12.0).parts
    foot = 8.0 + 2 * 0.4 * math.tan(math.radians(12.0))
    expected = 0.4 * (64 + foot**2 + 8 * foot) / 3
    volume = (part.solid.manifold ^ slab(1.0, 2.0)).volume()
    assert part.action == "add"
    assert volume == pytest.approx(expected, rel=1e-9)


def test_sunk_square_narrows_downwards(make):
    """The mouth is as drawn where it meets the field, and every wall leaves the die."""
    (part,) = make(SQUARE, work="sunk", fit=8.0, depth=0.4, draft=12.0).parts
    floor = 8.0 - 2 * 0.4 * math.tan(math.radians(12.0))
    expected = 0.4 * (64 + floor**2 + 8 * floor) / 3
    assert part.action == "cut"
    assert (part.solid.manifold ^ slab(0.0, 1.0)).volume() == pytest.approx(expected, rel=1e-9)
    low = arrays_of(part.solid)[0][:, 2].min()
    assert 1.0 - low == pytest.approx(0.4, abs=1e-9)


def test_sunk_stroke_too_narrow_for_its_depth_ends_in_a_groove(make):
    """A line 0.2 mm wide at 30 degrees closes 0.1/tan 30° = 0.173 mm down."""
    line = SQUARE.replace('width="9" height="9"/>', 'width="9" height="0.2"/>')
    (part,) = make(line, work="sunk", fit=9.0, depth=0.6, draft=30.0).parts
    low = arrays_of(part.solid)[0][:, 2].min()
    assert 1.0 - low == pytest.approx(0.1 / math.tan(math.radians(30.0)), abs=1e-6)


@pytest.mark.parametrize("work", ["raised", "sunk", "cells", "levels"])
@pytest.mark.parametrize("draft", [4.0, 15.0])
def test_draft_of_every_wall(make, work, draft):
    """Walls lean by the asked draft: outwards downwards if raised, the other way if sunk."""
    for part in make(CREST, work=work, fit=20.0, draft=draft).parts:
        vertices, triangles, _, _ = arrays_of(part.solid)
        a, b, c = (vertices[triangles[:, k]] for k in range(3))
        top = 1.0 if part.action == "cut" else 9.0  # above the field a cutter is upright
        normal = np.cross(b - a, c - a)
        size = np.linalg.norm(normal, axis=1)
        lean = np.degrees(np.arcsin(normal[:, 2] / size))
        lean = -lean if part.action == "cut" else lean
        wall = (np.abs(lean) < 80) & (a[:, 2] + b[:, 2] + c[:, 2] < 3.0 * top)
        assert size[wall & (np.abs(lean - draft) > 0.1)].sum() < 1e-3 * size[wall].sum()


def test_levels_stand_by_darkness(make):
    """Black stands at the full height, lighter colours lower, by their lightness L*."""
    (part,) = make(PAIR.replace("red", "black"), work="levels", fit=20.0, height=0.5).parts
    tops = sorted({round(float(z), 4) for z in arrays_of(part.solid)[0][:, 2] if z > 1.0})
    lime, blue = (1.0 - lightness(colour) / 100 for colour in ("#00ff00", "#0000ff"))
    expected = [1.0 + 0.5 * lime, 1.0 + 0.5 * blue, 1.5]
    assert tops == pytest.approx(expected, abs=2e-3)


@pytest.mark.parametrize("wall", [0.2, 0.5, 1.0])
def test_metal_between_colours_is_wide_enough(make, wall):
    """Whether colours touch, or nearly, at least the stated width of field is left between."""
    built = make(PAIR, work="cells", fit=20.0, wall=wall)
    mouths = []
    for part in built.parts:
        section = part.solid.manifold.slice(1.0).to_polygons()
        mouths.append(shapely.unary_union([shapely.Polygon(p) for p in section]))
    assert len(mouths) == 3
    for i in range(3):
        for j in range(i):
            assert mouths[i].distance(mouths[j]) >= wall - 1e-6
    areas = [cell["area_mm2"] for cell in built.facts["cells"].values()]
    assert areas == pytest.approx([m.area for m in mouths], abs=1e-3)


def test_touching_colours_share_the_wall(make):
    """Two colours that meet give half the wall each, so the line stays where it was drawn."""
    built = make(PAIR, work="cells", fit=20.0, wall=0.6)
    right = built.parts[0].solid.manifold.slice(1.0).bounds()[2]
    left = built.parts[1].solid.manifold.slice(1.0).bounds()[0]
    assert right == pytest.approx(-5.3, abs=0.003)
    assert left == pytest.approx(-4.7, abs=0.003)


def test_cells_say_what_fills_them(make):
    """Volume by the frustum formula, mass by the density."""
    built = make(SQUARE, work="cells", fit=8.0, depth=0.4, draft=12.0, density=2.0)
    floor = 8.0 - 2 * 0.4 * math.tan(math.radians(12.0))
    volume = 0.4 * (64 + floor**2 + 8 * floor) / 3
    assert built.facts["cells"]["#000000"] == pytest.approx(
        {"area_mm2": 64.0, "volume_mm3": volume, "mass_g": volume * 2.0 / 1000}, rel=1e-4
    )


@pytest.mark.parametrize("dish", [0.0, 0.3, -0.3])
@pytest.mark.parametrize("work", ["raised", "sunk", "levels", "cells"])
def test_whole_piece_closes(tmp_path, work, dish):
    """With an emblem on each face the piece is one closed body without undercut."""
    file = tmp_path / "crest.svg"
    file.write_text(CREST, encoding="utf-8")
    emblem = {"drawing": str(file), "work": work, "fit": 22.0, "at": [1.0, -0.5], "turn": 20.0}
    face = {"emblem": [emblem], "field": {"dish": dish}}
    medal = build(spec_from_dict({"obverse": face, "reverse": face}), "draft")
    assert medal.is_closed
    assert "emblem" in medal.zone_names
    assert not [f for f in medal.findings if f.severity == "error"]


@pytest.mark.parametrize(
    ("keys", "key", "word"),
    [
        ({"fit": 40.0}, "fit", "a fit of 25.4"),
        ({"work": "sunk", "depth": 5.0}, "depth", "at most 1.8"),
        ({"work": "cells", "wall": 15.0}, "wall", "no room"),
        ({"work": "levels", "draft": 0.0}, "draft", "above 0"),
        ({"bare": "white"}, "bare", "#rrggbb"),
    ],
)
def test_what_does_not_fit_is_said(make, keys, key, word):
    """Every refusal names its key and what would be right."""
    text = PAIR if keys.get("work") == "cells" else SQUARE
    with pytest.raises(SpecError, match=word) as caught:
        make(text, **{"fit": 10.0, **keys})
    assert caught.value.key == key


@pytest.mark.parametrize("work", ["raised", "sunk", "cells"])
def test_corners_that_touch_part_upright_walls(tmp_path, work):
    """Two squares drawn corner to corner, with upright walls, still make a closed piece."""
    file = tmp_path / "corners.svg"
    file.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 20"><path d="M0 0H10V10H0Z'
        'M10 10H20V20H10Z"/></svg>',
        encoding="utf-8",
    )
    emblem = {"drawing": str(file), "work": work, "fit": 12.0, "draft": 0.0, "turn": 10.0}
    medal = build(spec_from_dict({"obverse": {"emblem": [emblem]}}), "draft")
    assert medal.is_closed


@pytest.mark.parametrize("dish", [0.4, -0.4])
@pytest.mark.parametrize("work", ["raised", "sunk"])
def test_follows_the_field_or_stands_level(make, work, dish):
    """Height and depth count under every point, or under the middle only."""
    ground = Ground(level=1.0, radius=18.0, dish=dish, floor=-0.8)
    for follow in (True, False):
        keys = {"height": 0.3} if work == "raised" else {"depth": 0.3}
        (part,) = make(
            SQUARE, ground, work=work, fit=20.0, follow=follow, at=(2.0, 0.0), **keys
        ).parts
        vertices = arrays_of(part.solid)[0]
        at = vertices[:, :2] if follow else np.full((len(vertices), 2), (2.0, 0.0))
        above = vertices[:, 2] - ground.height(at)
        flat = np.abs(above - (0.3 if work == "raised" else -0.3)) < 1e-9
        size = np.ptp(vertices[flat, :2], axis=0)
        expected = 20.0 if work == "raised" else 20.0 - 0.6 * math.tan(math.radians(8.0))
        assert size == pytest.approx((expected, expected), abs=1e-6)
