"""Round blanks, measured back from the mesh and weighed against formulas."""

import math

import numpy as np
import pytest
from counting import counted

from medalcore.context.tolerance import Tolerance, tolerance_for
from medalcore.elements.blank import build_blank
from medalcore.errors import SpecError
from medalcore.geometry.closure import closure
from medalcore.geometry.solid import arrays_of

MICRON = 0.001


def made(spec, quality="fine"):
    """Return vertices, triangles and a function that picks the vertices of a zone and side."""
    blank = build_blank(counted(spec), tolerance_for(quality))
    v, f, code, labels = arrays_of(blank.solid)

    def of(zone, side=0):
        picked = [i for i, x in enumerate(labels) if (x.zone, x.side) == (zone, side)]
        return v[np.unique(f[np.isin(code, picked)])]

    return blank, v, f, of


def proven(v, f, genus=0):
    """Return the volume of a mesh that must be closed as float32."""
    proof = closure(v, f)
    assert proof.is_closed, proof
    assert (proof.bodies, proof.genus) == (1, genus)
    return proof.volume_mm3


def frustum(a, b, h):
    """Volume of a cone frustum, πh(a² + ab + b²)/3 (any handbook)."""
    return math.pi * h * (a * a + a * b + b * b) / 3.0


def cap(a, h):
    """Volume of a spherical cap from its base radius, πh(3a² + h²)/6 (any handbook)."""
    return math.pi * h * (3.0 * a * a + h * h) / 6.0


def test_every_asked_size_is_measured_back_within_2_micron():
    rim = {"width": 1.4, "height": 0.35, "slope": 12.0}
    spec = {
        "blank": {"diameter": 38.5, "thickness": 3.2, "chamfer": 0.4, "rim": rim},
        "obverse": {"field": {"dish": 0.15}},
        "reverse": {"field": {"dish": -0.1}},
    }
    _, v, f, of = made(spec)
    proven(v, f)
    edge = of("edge")
    assert 2 * np.hypot(edge[:, 0], edge[:, 1]).max() == pytest.approx(38.5, abs=2 * MICRON)
    assert np.ptp(v[:, 0]) == pytest.approx(38.5, abs=2 * MICRON)
    assert np.ptp(v[:, 2]) == pytest.approx(3.2, abs=2 * MICRON)
    for side, middle in ((1, -0.15), (-1, 0.1)):
        points = of("rim", side) * (1, 1, side)
        r = np.hypot(points[:, 0], points[:, 1])
        top, foot = points[:, 2] > 1.6 - 1e-6, points[:, 2] < 1.6 - 0.35 + 1e-6
        assert r[top].max() - r[top].min() == pytest.approx(1.4, abs=2 * MICRON)
        assert r[top].max() == pytest.approx(38.5 / 2 - 0.4, abs=2 * MICRON)
        assert 1.6 - points[foot, 2].max() == pytest.approx(0.35, abs=2 * MICRON)
        lean = math.degrees(math.atan2(r[top].min() - r[foot].max(), 0.35))
        assert lean == pytest.approx(12.0, abs=0.05)
        field = of("field", side) * (1, 1, side)
        low = field[np.hypot(field[:, 0], field[:, 1]).argmin(), 2]
        assert low - (1.6 - 0.35) == pytest.approx(middle, abs=2 * MICRON)
    upright = edge[np.hypot(edge[:, 0], edge[:, 1]) > 38.5 / 2 - 1e-6]
    assert np.ptp(upright[:, 2]) == pytest.approx(3.2 - 2 * 0.4, abs=2 * MICRON)


@pytest.mark.parametrize("diameter", [6.0, 40.0, 120.0])
def test_the_diameter_is_the_same_in_every_direction(diameter):
    """Over corners and over the middles of chords: as callipers find it, turned by 0.125°."""
    hole = {"shape": "round", "size": 0.3 * diameter, "rim_width": 0.3}
    blank = {"diameter": diameter, "rim": {"width": 0.5}, "hole": hole, "thickness": 2.0}
    _, _, _, of = made({"blank": blank})
    edge = of("edge")[:, :2]
    angle = np.radians(np.arange(0.0, 180.0, 0.125))
    across = np.ptp(edge @ np.stack([np.cos(angle), np.sin(angle)]), axis=0)
    np.testing.assert_allclose(across, diameter, atol=2 * MICRON)


@pytest.mark.parametrize("diameter", [6.0, 25.4, 90.0])
def test_a_disc_with_rim_weighs_what_frustums_and_caps_add_up_to(diameter):
    """Cylinder, frustums of chamfer and rim wall, a spherical cap: within 0.02 % at fine."""
    big, c, w, h, t = diameter / 2, 0.2, 0.6, 0.2, 2.0
    dish = 0.1
    spec = {
        "blank": {
            "diameter": diameter,
            "thickness": t,
            "chamfer": c,
            "rim": {"width": w, "height": h, "slope": 20.0},
        },
        "obverse": {"field": {"dish": dish}},
    }
    foot = big - c - w - h * math.tan(math.radians(20.0))
    true = math.pi * big**2 * (t - 2 * c) + 2 * frustum(big, big - c, c)
    true -= 2 * frustum(big - c - w, foot, h) + cap(foot, dish)
    _, v, f, _ = made(spec)
    assert proven(v, f) == pytest.approx(true, rel=2e-4)


def test_volumes_converge_from_below():
    """An inscribed n-gon misses 2π²/3n² of the area (series of the sine).

    As n goes with 1/√tolerance, a quarter of the tolerance leaves a quarter of the error.
    """
    spec = counted({"blank": {"diameter": 30.0, "chamfer": 0.4, "rim": {"width": 0.0}}})
    true = math.pi * 15.0**2 * 2.2 + 2 * frustum(15.0, 14.6, 0.4)
    errors = []
    for curve in (0.04, 0.01, 0.0025, 0.000625):
        blank = build_blank(spec, Tolerance(curve=curve, surface=0.02, pixels=64))
        v, f, _, _ = arrays_of(blank.solid)
        errors.append(proven(v, f) / true - 1.0)
    assert all(e < 0.0 for e in errors)
    ratios = np.divide(errors[:-1], errors[1:])
    assert np.all(ratios > 2.0)
    assert np.prod(ratios) > 15.0  # 64, but counts of chords go in steps of 48


def test_a_dome_from_its_sagitta_has_the_volume_of_a_cap():
    """Chord 40, sagitta 0.5: R = 400.25, cap 314.2247 mm³ (formula πh²(3R − h)/3)."""
    spec = {"blank": {"diameter": 40.0, "chamfer": 0.0, "rim": {"width": 0.0}}}
    domed = {**spec, "obverse": {"field": {"dish": -0.5}}}
    _, v, f, _ = made(spec)
    _, dv, df, _ = made(domed)
    disc, dome = proven(v, f), proven(dv, df)
    assert dome == pytest.approx(math.pi * 400.0 * 3.0 + 314.2247, rel=2e-4)
    assert dome - disc == pytest.approx(314.2247, rel=2e-3)


def test_a_dome_is_the_cap_of_its_sphere():
    """Sphere of 50 mm, cap 1 mm high: base radius 9.949874, volume 156.0324 (πh²(3R − h)/3)."""
    bare = {"diameter": 2 * 9.949874, "chamfer": 0.0, "rim": {"width": 0.0}}
    _, v, f, of = made({"blank": bare, "obverse": {"field": {"dish": -1.0}}})
    assert proven(v, f) == pytest.approx(math.pi * 9.949874**2 * 3.0 + 156.0324, rel=2e-4)
    field = of("field", 1)
    centre = 1.5 + 1.0 - 50.0
    far = np.hypot(np.hypot(field[:, 0], field[:, 1]), field[:, 2] - centre)
    np.testing.assert_allclose(far, 50.0, atol=2 * MICRON)


def test_a_rounded_edge_is_a_quarter_circle():
    """Volume by the second theorem of Pappus and Guldin."""
    r, big, t = 0.5, 10.0, 3.0
    spec = {
        "blank": {
            "diameter": 2 * big,
            "thickness": t,
            "chamfer": r,
            "break_shape": "round",
            "rim": {"width": 0.0},
        }
    }
    _, v, f, of = made(spec)
    # Area of the missing corner r²(1 − π/4); distance of its centroid from the
    # corner's two faces r(10 − 3π)/(12 − 3π) (centroid tables of the spandrel).
    lost = r * r * (1 - math.pi / 4)
    centroid = big - r * (10 - 3 * math.pi) / (12 - 3 * math.pi)
    true = math.pi * big**2 * t - 2 * lost * 2 * math.pi * centroid
    assert proven(v, f) == pytest.approx(true, rel=2e-4)
    edge = of("edge")
    rho = np.hypot(edge[:, 0], edge[:, 1])
    bent = edge[:, 2] > t / 2 - r + 1e-6
    far = np.hypot(rho[bent] - (big - r), edge[bent, 2] - (t / 2 - r))
    np.testing.assert_allclose(far, r, atol=2 * MICRON)


@pytest.mark.parametrize("section", ["flat", "rounded", "bevelled", "stepped"])
@pytest.mark.parametrize("outline", ["round", "oval"])
def test_every_rim_section_keeps_thickness_width_and_height(section, outline):
    rim = {"width": 1.5, "height": 0.4, "section": section, "slope": 15.0}
    spec = {"blank": {"outline": outline, "rim": rim, "height": 33.0}}
    _, v, f, of = made(spec)
    proven(v, f)
    assert np.ptp(v[:, 2]) == pytest.approx(3.0, abs=2 * MICRON)
    assert of("field", 1)[:, 2].max() == pytest.approx(1.5 - 0.4, abs=2 * MICRON)
    points = of("rim", 1)
    along = points[np.abs(points[:, 1]) < 0.15 * np.abs(points[:, 0])]
    assert 20.0 - 0.3 - np.abs(along[:, 0]).min() > 1.5
    assert np.abs(points[:, 0]).max() == pytest.approx(20.0 - 0.3, abs=2 * MICRON)


def test_a_fillet_at_the_rims_foot_has_its_radius():
    rim = {"width": 1.5, "height": 0.5, "slope": 10.0, "fillet": 0.2}
    blank, v, f, of = made({"blank": {"rim": rim}})
    proven(v, f)
    points = of("rim", 1)
    r = np.hypot(points[:, 0], points[:, 1])
    # The fillet's middle stands over the place where the field begins.
    start, z = blank.obverse.radius, blank.obverse.level
    arc = (r > start - 1e-6) & (points[:, 2] < z + 0.2 * (1 - math.sin(math.radians(10.0))))
    far = np.hypot(r[arc] - start, points[arc, 2] - (z + 0.2))
    np.testing.assert_allclose(far, 0.2, atol=2 * MICRON)
    assert np.count_nonzero(arc) > 300
    # Tangent to wall and field: it ends f·tan((90° − slope)/2) beyond the wall's foot.
    top = 20.0 - 0.3 - 1.5
    tangent = 0.2 * math.tan(math.radians(40.0))
    foot = top - 0.5 * math.tan(math.radians(10.0))
    assert start == pytest.approx(foot - tangent, abs=2 * MICRON)
    ends = points[arc][:, 2].max()
    lean = math.atan2(top - r[arc].max(), 1.5 - ends)
    assert math.degrees(lean) == pytest.approx(10.0, abs=0.1)


def test_each_face_may_have_a_rim_of_its_own():
    spec = {
        "blank": {"rim": {"width": 1.0, "height": 0.2}},
        "reverse": {"rim": {"width": 3.0, "height": 0.5}},
    }
    blank, v, f, of = made(spec)
    proven(v, f)
    for side, width, height in ((1, 1.0, 0.2), (-1, 3.0, 0.5)):
        points = of("rim", side) * (1, 1, side)
        r = np.hypot(points[:, 0], points[:, 1])
        top = points[:, 2] > 1.5 - 1e-6
        assert np.ptp(r[top]) == pytest.approx(width, abs=2 * MICRON)
        assert 1.5 - points[:, 2].min() == pytest.approx(height, abs=2 * MICRON)
    assert blank.reverse.radius < blank.obverse.radius


def test_a_round_hole_has_its_own_rim():
    hole = {"shape": "round", "size": 9.0, "rim_width": 1.1, "rim_height": 0.25, "chamfer": 0.2}
    _, v, f, of = made({"blank": {"hole": hole}, "obverse": {"field": {"dish": 0.2}}})
    proven(v, f, genus=1)
    edge = of("edge")
    r = np.hypot(edge[:, 0], edge[:, 1])
    assert 2 * r.min() == pytest.approx(9.0, abs=2 * MICRON)
    points = of("rim", 1)
    r = np.hypot(points[:, 0], points[:, 1])
    inner = points[r < 9.0]
    r = r[r < 9.0]
    top = inner[:, 2] > inner[:, 2].max() - 1e-6
    assert r[top].min() == pytest.approx(4.5 + 0.2, abs=2 * MICRON)
    assert np.ptp(r[top]) == pytest.approx(1.1, abs=2 * MICRON)
    assert np.ptp(inner[:, 2]) == pytest.approx(0.25, abs=2 * MICRON)


def test_a_bezel_is_a_tube():
    """A ring of 40 and 33 mm, 4 mm high: π(R² − r²)t less four chamfers (frustums)."""
    spec = {
        "blank": {
            "diameter": 40.0,
            "thickness": 4.0,
            "chamfer": 0.3,
            "rim": {"width": 0.0},
            "hole": {"shape": "round", "size": 33.0, "chamfer": 0.3, "rim_width": 0.0},
        }
    }
    _, v, f, _ = made(spec)
    true = math.pi * (20.0**2 - 16.5**2) * 4.0
    true -= 2 * (math.pi * 400 * 0.3 - frustum(20.0, 19.7, 0.3))
    true -= 2 * (frustum(16.8, 16.5, 0.3) - math.pi * 16.5**2 * 0.3)
    assert proven(v, f, genus=1) == pytest.approx(true, rel=2e-4)


@pytest.mark.parametrize(
    ("spec", "key", "words"),
    [
        ({"blank": {"chamfer": 1.6}}, "blank.chamfer", "thickness of 3 mm"),
        ({"blank": {"rim": {"width": 25.0}}}, "blank.rim.width", "20 mm from edge to middle"),
        ({"obverse": {"rim": {"width": 25.0}}}, "obverse.rim.width", "does not fit"),
        ({"blank": {"rim": {"fillet": 2.0}}}, "blank.rim.fillet", "at most"),
        ({"blank": {"rim": {"height": 1.6}}}, "blank.rim.height", "between the two fields"),
        ({"obverse": {"field": {"dish": 2.6}}}, "obverse.field.dish", "between the two fields"),
        ({"blank": {"hole": {"shape": "round", "size": 37}}}, "blank.hole.size", "rim"),
        ({"blank": {"hole": {"shape": "round", "size": 45}}}, "blank.hole.size", "metal"),
        (
            {"blank": {"outline": "oval", "hole": {"shape": "square", "size": 20.5}}},
            "blank.hole.size",
            "rim",
        ),
        (
            {"blank": {"hole": {"shape": "square", "corner_radius": 5.0}}},
            "blank.hole.corner_radius",
            "at most",
        ),
    ],
)
def test_what_cannot_be_made_gets_one_line_with_its_key(spec, key, words):
    with pytest.raises(SpecError) as caught:
        build_blank(counted(spec), tolerance_for("draft"))
    assert caught.value.key == key
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_same_spec_gives_the_same_bytes():
    spec = {"edge": {"finish": "reeded"}, "obverse": {"field": {"dish": 0.2}}}
    first, second = made(spec)[1:3], made(spec)[1:3]
    for a, b in zip(first, second, strict=True):
        assert a.tobytes() == b.tobytes()
