"""Hollow and domed fields of pieces that are not round are one sphere up to the rim."""

import math

import numpy as np
import pytest
import shapely

from medalcore import build
from medalcore.blank import build_blank
from medalcore.blank.outline import outline_of
from medalcore.errors import SpecError
from medalcore.solid import arrays_of
from medalcore.spec import spec_from_dict
from medalcore.tolerance import tolerance_for
from medalcore.weld import closure

MICRON = 0.001
SHAPES = {
    "oval": {"outline": "oval", "diameter": 40.0, "height": 28.0},
    "hexagon": {"outline": "polygon", "sides": 6, "corner_radius": 1.5},
    "lobes": {"outline": "scalloped", "scallops": 8, "scallop_depth": 2.0},
}


def spec_of(name, dish, **rim):
    blank = {**SHAPES[name], "thickness": 3.4, "rim": {"width": 1.5, "height": 0.4, **rim}}
    return spec_from_dict({"blank": blank, "obverse": {"field": {"dish": dish}}})


def made(spec, quality="fine"):
    """Return the blank, vertices, and the triangles of a zone of the obverse."""
    blank = build_blank(spec, tolerance_for(quality))
    v, f, code, labels = arrays_of(blank.solid)
    proof = closure(v, f)
    assert proof.is_closed
    assert proof.bodies == 1
    picked = {x.zone: i for i, x in enumerate(labels) if x.side == 1}
    return blank, v, f, lambda zone: f[code == picked[zone]]


def sphere(p, dish, far, near, level):
    """Return the height of the field by circle geometry: R = (a² + s²) / 2s."""
    a = far if dish > 0 else near
    big = (a * a + dish * dish) / (2.0 * abs(dish))
    cap = np.sqrt(big**2 - np.sum(p * p, axis=-1)) - (big - abs(dish))
    return level - math.copysign(1.0, dish) * cap


@pytest.mark.parametrize("name", list(SHAPES))
@pytest.mark.parametrize("dish", [0.5, -0.2])
def test_the_whole_field_is_a_sphere_and_the_wall_keeps_its_draft(name, dish):
    spec = spec_of(name, dish)
    _, v, _, of = made(spec)
    foot = 0.3 + 1.5 + 0.4 * math.tan(math.radians(10.0))
    outline = shapely.Polygon(outline_of(spec.blank, tolerance_for("fine"))[0])
    edge = np.hypot(*np.array(outline.buffer(-foot, quad_segs=64).exterior.coords).T)
    near, far = float(outline.buffer(-foot).exterior.distance(shapely.Point(0, 0))), edge.max()
    field = v[np.unique(of("field"))]
    level = 1.7 - 0.4
    expected = sphere(field[:, :2], dish, far, near, level)
    assert field[:, 2] == pytest.approx(expected, abs=2 * MICRON)
    assert np.hypot(field[:, 0], field[:, 1]).max() == pytest.approx(
        far, abs=0.01 + 0.1 * (dish < 0)
    )
    middle = level - dish
    assert (field[:, 2].min() if dish > 0 else field[:, 2].max()) == pytest.approx(
        middle, abs=MICRON
    )
    wall = v[of("rim")]
    normal = np.cross(wall[:, 1] - wall[:, 0], wall[:, 2] - wall[:, 0])
    size = np.linalg.norm(normal, axis=1)
    lean = np.degrees(np.arcsin(normal[size > 1e-3, 2] / size[size > 1e-3]))
    assert lean.min() > 9.95  # the draft of 10 degrees, from upright, everywhere


@pytest.mark.parametrize("name", list(SHAPES))
def test_a_hollow_takes_away_what_the_sphere_says(name):
    """Upright walls: volume under the cap over the field, by Green's theorem.

    The integral of a function of r over a polygon is that of F(r) over the bearing along its
    edges, with F(r) = ∫ f ρ dρ; for a sphere F is elementary.
    """
    dish = 0.5
    flat, hollow = spec_of(name, 0.0, slope=0.0), spec_of(name, dish, slope=0.0)
    volumes = [closure(*made(s)[1:3]).volume_mm3 for s in (flat, hollow)]
    outline = shapely.Polygon(outline_of(flat.blank, tolerance_for("fine"))[0])
    p = np.array(outline.buffer(-1.8, quad_segs=64).segmentize(0.02).exterior.coords)
    r = np.hypot(*p.T)
    big = (r.max() ** 2 + dish**2) / (2.0 * dish)
    whole = (big**3 - (big**2 - r**2) ** 1.5) / 3.0 - (big - dish) * r**2 / 2.0
    turn = np.diff(np.unwrap(np.arctan2(p[:, 1], p[:, 0])))
    taken = abs(np.sum((whole[1:] + whole[:-1]) / 2.0 * turn))
    assert volumes[0] - volumes[1] == pytest.approx(taken, rel=2e-3)


@pytest.mark.parametrize("section", ["flat", "rounded", "bevelled", "stepped"])
def test_every_rim_section_goes_with_a_hollow(section):
    spec = spec_of("oval", 0.4, section=section, width=2.4, height=0.6)
    _, v, _, of = made(spec, "draft")
    assert v[:, 2].max() == pytest.approx(1.7, abs=2 * MICRON)
    assert v[np.unique(of("field")), 2].max() <= 1.1 + 2 * MICRON


def test_what_stands_on_the_field_meets_it():
    face = {
        "field": {"dish": 0.5, "circle": [{"radius": 8.0}]},
        "inscription": [{"text": "LUX", "cap_height": 4.0, "follow": True}],
        "border": [{"kind": "line"}],
    }
    blank = {**SHAPES["oval"], "loop": {"kind": "lug"}, "drill": {"diameter": 1.5, "angle": 90.0}}
    medal = build(spec_from_dict({"blank": blank, "obverse": face, "reverse": face}), "draft")
    assert medal.is_closed


def test_a_fillet_that_cannot_follow_is_named():
    blank, *_ = made(spec_of("oval", 0.3, fillet=0.2), "draft")
    assert [x.rule for x in blank.findings] == ["rim-fillet"]


def test_a_dome_beyond_the_half_sphere_is_refused():
    with pytest.raises(SpecError, match="dome") as caught:
        made(spec_of("oval", -9.0), "draft")
    assert caught.value.key == "obverse.field.dish"
