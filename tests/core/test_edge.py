"""Edges: reeds and grooves counted and measured back from the mesh."""

import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
from counting import counted
from edge_cuts import made, notches_in, slice_at

from medalcore.context.tolerance import tolerance_for
from medalcore.elements.blank import build_blank
from medalcore.elements.edge import Notch, draw_notch, fit_notch
from medalcore.errors import SpecError
from medalcore.geometry.closure import closure

MICRON = 0.001
FINE = tolerance_for("fine")


def polygon_area(p):
    q = np.roll(p, -1, axis=0)
    return abs(float(np.sum(p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1])) / 2.0)


@pytest.mark.parametrize("profile", ["vee", "round", "square"])
@pytest.mark.parametrize("depth", [0.25, 0.5])
def test_fifty_two_notches_with_corners_of_0_3_mm(profile, depth):
    """Common practice, no source: a piece of 25.4 by 2.5 mm, its edge broken 0.5 mm.

    Counted and measured on a cut through the middle.
    """
    spec = {
        "blank": {"diameter": 25.4, "thickness": 2.5, "chamfer": 0.5},
        "edge": {
            "finish": "reeded",
            "reeds": 52,
            "profile": profile,
            "depth": depth,
            "corner_radius": 0.3,
        },
    }
    blank, v, f = made(spec)
    outline = slice_at(v, f, 0.0137)
    r = np.hypot(outline[:, 0], outline[:, 1])
    assert notches_in(outline, 12.7 - depth / 2) == 52
    assert r.max() == pytest.approx(12.7, abs=2 * MICRON)
    assert 12.7 - r.min() == pytest.approx(depth, abs=2 * MICRON)
    assert v[:, 0].max() == pytest.approx(12.7, abs=2 * MICRON)  # a land points to the right
    assert blank.facts["reeds"] == 52
    assert blank.facts["pitch_mm"] == pytest.approx(25.4 * math.pi / 52, abs=1e-6)
    # Smallest bend of the outline: circles through three neighbouring points of each arc.
    radii = bends(outline)
    assert np.percentile(radii, 3) == pytest.approx(0.3, abs=0.01)


def bends(p):
    """Return the radii of the circles through three neighbouring points, R = abc / 4A."""
    a, b, c = np.roll(p, 1, axis=0), p, np.roll(p, -1, axis=0)
    u, w = b - a, c - b
    area = np.abs(u[:, 0] * w[:, 1] - u[:, 1] * w[:, 0]) / 2
    sides = np.hypot(*u.T) * np.hypot(*w.T) * np.hypot(*(c - a).T)
    return sides / np.maximum(4 * area, 1e-12)


def test_sharp_vee_notches_remove_what_the_formula_says():
    """N[R²β − R(R − d)·sin β]·t, sectors less triangles (plane geometry).

    R 20, d 0.3, β 1°, N 100, t 2.5 gives 26.2672 mm³.
    """
    blank = {"diameter": 40.0, "thickness": 2.5, "chamfer": 0.0, "rim": {"width": 0.0}}
    width = 2 * math.radians(1.0) * 20.0
    edge = {"finish": "reeded", "reeds": 100, "depth": 0.3, "width": width, "corner_radius": 0.0}
    _, v, f = made({"blank": blank, "edge": edge})
    removed = math.pi * 400 * 2.5 - closure(v, f).volume_mm3
    # The lands are chords: the plain disc of the same chords is what was cut into.
    outline = slice_at(v, f, 0.01)
    assert 2.5 * polygon_area(outline) == pytest.approx(closure(v, f).volume_mm3, rel=1e-6)
    assert removed == pytest.approx(26.2672, abs=2e-4 * math.pi * 400 * 2.5)
    # Sharper: the notch itself, sector by sector.
    notch = Notch("vee", width, 0.3, 0.0)
    section = draw_notch(notch, 20.0, FINE)
    one = polygon_area(np.vstack([section, [[0.0, 0.0]]]))
    sector = math.radians(1.0) * 400.0
    assert 100 * 2.5 * (sector - one) == pytest.approx(26.2672, abs=1e-4)


def test_touching_vee_reeds_leave_a_star():
    """Remaining area N·R(R − d)·sin(π/N): R 12.13, d 0.1, N 119 gives 458.3802 mm²."""
    blank = {"diameter": 24.26, "thickness": 1.75, "chamfer": 0.0, "rim": {"width": 0.0}}
    pitch = math.pi * 24.26 / 119
    edge = {"finish": "reeded", "reeds": 119, "depth": 0.1, "width": pitch, "corner_radius": 0.0}
    _, v, f = made({"blank": blank, "edge": edge})
    outline = slice_at(v, f, 0.01)
    assert notches_in(outline, 12.13 - 0.05) == 119
    assert polygon_area(outline) == pytest.approx(458.3802, rel=1e-6)


@pytest.mark.parametrize("chamfer", [0.1, 0.25, 0.6])
@pytest.mark.parametrize("shape", ["chamfer", "round"])
def test_reeds_end_in_the_edge_break_or_run_through_it(chamfer, shape):
    """Depth 0.25: it shows on the rim exactly where it is deeper than the break."""
    spec = {
        "blank": {"thickness": 3.0, "chamfer": chamfer, "break_shape": shape},
        "edge": {"finish": "reeded", "reeds": 120, "depth": 0.25},
    }
    blank, v, _ = made(spec)
    top = v[v[:, 2] > 1.5 - 1e-6]
    widest = np.hypot(top[:, 0], top[:, 1])
    widest = widest[widest > 20.0 - chamfer - 0.3]
    through = widest.min() < 20.0 - chamfer - 1e-4
    assert through == (chamfer < 0.25)
    assert [x.rule for x in blank.findings] == (["reeds"] if through else [])
    assert widest.max() == pytest.approx(20.0 - chamfer, abs=2 * MICRON)


@pytest.mark.parametrize("count", [3, 12, 40, 500])
def test_any_count_of_reeds_makes_notches_of_full_depth(count):
    _, v, f = made({"edge": {"finish": "reeded", "reeds": count, "depth": 0.12}}, "draft")
    outline = slice_at(v, f, 0.01)
    assert notches_in(outline, 20 - 0.06) == count
    assert np.hypot(*outline.T).min() == pytest.approx(20 - 0.12, abs=2 * MICRON)


def test_the_pitch_closes_to_a_whole_count_and_is_reported():
    blank, v, f = made({"edge": {"finish": "reeded", "pitch": 1.0}})
    assert blank.facts["reeds"] == 126  # 40π = 125.66
    assert blank.facts["pitch_mm"] == pytest.approx(40 * math.pi / 126, abs=1e-6)
    assert notches_in(slice_at(v, f, 0.01), 20 - 0.12) == 126


def test_sections_of_reeds_and_plain():
    """Three reeded and three plain sections of 60 degrees, reeds whole and centred in each.

    They begin at the top and go on clockwise, as every place on a piece is counted.
    """
    blank, v, f = made({"edge": {"finish": "reeded", "pitch": 0.8, "pattern": "60 60"}})
    outline = slice_at(v, f, 0.01)
    assert notches_in(outline, 20 - 0.12) == blank.facts["reeds"]
    angle = np.degrees(np.arctan2(outline[:, 0], outline[:, 1])) % 360
    low = np.hypot(outline[:, 0], outline[:, 1]) < 20 - 0.01
    for start in (0, 120, 240):
        in_plain = (angle > start + 60) & (angle < start + 120)
        in_reeded = (angle > start) & (angle < start + 60)
        assert not np.any(low & in_plain)
        where = angle[low & in_reeded]
        assert where.min() - start == pytest.approx(start + 60 - where.max(), abs=0.01)
        assert where.min() - start < 2.5


@pytest.mark.parametrize("pattern", ["60 50", "60", "x", "60 -60", "0.1 59.9"])
def test_a_pattern_that_does_not_close_is_refused(pattern):
    spec = counted({"edge": {"finish": "reeded", "pattern": pattern}})
    with pytest.raises(SpecError) as caught:
        build_blank(spec, FINE)
    assert caught.value.key == "edge.pattern"


@pytest.mark.parametrize("profile", ["vee", "round", "square"])
def test_a_groove_has_the_volume_pappus_gives_it(profile):
    """Second theorem of Pappus: 2π·(distance of the centroid)·(area of the section)."""
    base = {"diameter": 40.0, "thickness": 4.0, "chamfer": 0.0, "rim": {"width": 0.0}}
    edge = {
        "finish": "grooved",
        "groove_width": 1.0,
        "groove_depth": 0.5,
        "groove_profile": profile,
    }
    _, pv, pf = made({"blank": base})
    _, v, f = made({"blank": base, "edge": edge})
    lost = closure(pv, pf).volume_mm3 - closure(v, f).volume_mm3
    r = np.hypot(v[:, 0], v[:, 1])
    groove = (np.abs(v[:, 2]) < 0.5 + 1e-9) & (r > 19)
    order = np.unique(np.round(np.column_stack([v[groove, 2], r[groove]]), 9), axis=0)
    z, r = order[:, 0], order[:, 1]
    assert 20 - r.min() == pytest.approx(0.5, abs=2 * MICRON)
    assert np.ptp(z[r > 20 - 1e-7]) == pytest.approx(1.0, abs=2 * MICRON)
    # Exact by the frustums between neighbouring corners of the section.
    whole = math.pi * 400 * np.ptp(z)
    left = np.sum(math.pi * np.diff(z) * (r[1:] ** 2 + r[1:] * r[:-1] + r[:-1] ** 2) / 3)
    assert lost == pytest.approx(whole - left, rel=2e-3)
    if profile == "vee":  # R 20, d 0.5, w 1, sharp: 31.1541; corners rounded 0.05 take a little
        assert lost == pytest.approx(31.1541, rel=0.04)


def test_several_grooves_stand_evenly():
    _, v, _ = made({"edge": {"finish": "grooved", "grooves": 3, "groove_width": 0.4}})
    r = np.hypot(v[:, 0], v[:, 1])
    deep = np.unique(np.round(v[np.abs(r - (20 - 0.25)) < 1e-6, 2], 6))
    np.testing.assert_allclose(deep, [-0.8, 0.0, 0.8], atol=1e-5)  # thirds of 2.4 mm


@pytest.mark.parametrize("outline", ["round", "oval"])
def test_grooves_stand_where_they_are_put(outline):
    """Two unlike ways from the middle, as on an edge with words between; to 2 micrometres."""
    edge = {"finish": "grooved", "groove_heights": "0.75, -0.4", "groove_width": 0.4}
    v = made({"blank": {"outline": outline}, "edge": edge})[1]
    x = v[np.abs(v[:, 1]) < 0.2]
    deep = x[np.abs(x[:, 0] - x[:, 0].max() + 0.25) < 0.002, 2]
    upper, lower = deep[deep > 0.2], deep[deep < 0.2]
    assert (upper.min() + upper.max()) / 2 == pytest.approx(0.75, abs=2 * MICRON)
    assert (lower.min() + lower.max()) / 2 == pytest.approx(-0.4, abs=2 * MICRON)
    edge["text"] = {"words": "LIGHT"}
    text = made({"blank": {"outline": outline}, "edge": edge})[0]
    # the widest plain band lies between the grooves' lips at 0.55 and -0.2
    assert text.facts["words_cap_height_mm"] == pytest.approx(0.75 / 2, abs=1e-3)


@pytest.mark.parametrize(
    ("heights", "width", "words"),
    [
        ("0.2 0.4", 0.5, "meet"),
        ("1.1", 0.5, "give heights from -0.93 to 0.93 mm"),
        ("x", 0.5, "no list"),
        ("nan", 0.5, "no list"),
        ("0", 2.39, "a smaller width"),
    ],
)
def test_grooves_that_cannot_stand_there_are_refused(heights, width, words):
    edge = {"finish": "grooved", "groove_heights": heights, "groove_width": width}
    with pytest.raises(SpecError, match=words) as caught:
        build_blank(counted({"edge": edge}), FINE)
    assert caught.value.key == ("edge.groove_width" if width > 1 else "edge.groove_heights")


def test_reeds_and_grooves_together_close():
    _, v, f = made({"edge": {"finish": "reeded and grooved", "reeds": 90}}, "draft")
    assert notches_in(slice_at(v, f, 0.6), 20 - 0.12) == 90
    r = np.hypot(*slice_at(v, f, 0.0).T)
    assert r.max() == pytest.approx(20 - 0.25, abs=2 * MICRON)


@pytest.mark.parametrize("outline", ["oval", "polygon", "constant-width"])
def test_reeds_follow_any_outline_by_arc_length(outline):
    """Notches are counted on the cut; every land keeps to the outline, every root to depth."""
    blank = {"outline": outline, "height": 30.0, "corner_radius": 2.0, "chamfer": 0.4}
    plain = made({"blank": blank})
    reeded = made({"blank": blank, "edge": {"finish": "reeded", "reeds": 140, "depth": 0.25}})
    smooth, cut = slice_at(*plain[1:], 0.01), slice_at(*reeded[1:], 0.01)
    path = shapely.Polygon(smooth)
    far = path.exterior.distance(shapely.points(cut))
    assert far.max() == pytest.approx(0.25, abs=2 * MICRON)
    deep = far > 0.125
    assert np.count_nonzero(deep & ~np.roll(deep, 1)) == 140
    assert reeded[0].facts["reeds"] == 140


def test_no_reed_stands_across_a_corner():
    """A square with corners of 0.3 mm: each corner is land."""
    blank = {"outline": "polygon", "sides": 4, "diameter": 30.0, "corner_radius": 0.3}
    _, v, f = made({"blank": blank, "edge": {"finish": "reeded", "reeds": 101}})
    cut = slice_at(v, f, 0.01)
    corner = np.hypot(*cut.T) > 15.0 - 0.05
    assert np.count_nonzero(corner & ~np.roll(corner, 1)) == 4
    assert np.hypot(*cut.T).max() == pytest.approx(15.0, abs=2 * MICRON)


def test_reeds_leave_sharp_corners_standing():
    """A triangle's corners of 60 degrees: notches on both sides would meet inside them."""
    blank = {"outline": "polygon", "sides": 3, "diameter": 26.0, "corner_radius": 0.0}
    edge = {"finish": "reeded", "pitch": 0.6, "profile": "square", "depth": 0.3}
    _, v, f = made({"blank": {**blank, "rim": {"width": 0.0}}, "edge": edge})
    cut = slice_at(v, f, 0.01)
    far = np.hypot(*cut.T)
    corners = cut[far > 26.0 / 2 / math.cos(math.pi / 6) - 1e-3]
    assert len(corners) == 3
    near = np.array([np.sort(np.hypot(*(cut - c).T))[1] for c in corners])
    assert near.min() > 0.3 * math.tan(math.radians(60.0))


def test_a_pitch_closes_in_every_run_between_corners():
    """Six sides of 19 mm with small corners: each gets its own whole count of about 1 mm."""
    blank = {"outline": "polygon", "sides": 6, "corner_radius": 0.2, "diameter": 38.0}
    blank, v, f = made({"blank": blank, "edge": {"finish": "reeded", "pitch": 1.0}})
    cut = slice_at(v, f, 0.01)
    angle = np.degrees(np.arctan2(cut[:, 1], cut[:, 0])) % 60
    apothem = 19.0 * math.cos(math.pi / 6)
    # Seen square to its own side, each point's depth below the side.
    turn = np.radians(angle - 30)
    below = (apothem + 0.2 * (1 - math.cos(math.pi / 6))) - np.hypot(*cut.T) * np.cos(turn)
    low = below > 0.12
    count = np.count_nonzero(low & ~np.roll(low, 1))
    assert count == blank.facts["reeds"]
    assert count % 6 == 0
    assert blank.facts["pitch_mm"] == pytest.approx(1.0, abs=0.05)


def test_the_benchmark_cuts_the_same_piece_both_ways():
    script = Path(__file__).parents[2] / "scripts" / "bench_reeds.py"
    command = [sys.executable, str(script), "--reeds", "24", "--runs", "1"]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert float(told.split("volumes agree within")[1]) < 1e-4


@pytest.mark.parametrize(
    ("edge", "key", "words"),
    [
        ({"reeds": 60, "width": 3.0}, "edge.reeds", "overlap"),
        ({"pitch": 0.5, "width": 0.6}, "edge.pitch", "overlap"),
        ({"reeds": 2}, "edge.reeds", "at least 3"),
        ({"reeds": 52, "corner_radius": 3.0}, "edge.corner_radius", "at most"),
        ({"reeds": 52, "depth": 2.0}, "edge.depth", "through the rim"),
        ({"finish": "grooved", "groove_width": 2.6}, "edge.groove_width", "do not fit"),
        ({"finish": "grooved", "groove_depth": 19.0}, "edge.groove_depth", "less deep"),
        ({"reeds": 300, "depth": 9.0, "corner_radius": 0.0}, "edge.depth", "through the rim"),
    ],
)
def test_edges_that_cannot_be_made_get_one_line(edge, key, words):
    with pytest.raises(SpecError) as caught:
        build_blank(counted({"edge": {"finish": "reeded", **edge}}), FINE)
    assert caught.value.key == key
    assert words in str(caught.value)


@pytest.mark.parametrize("profile", ["vee", "round", "square"])
@pytest.mark.parametrize("opening", [0.3, 1.0, 3.0])
@pytest.mark.parametrize("depth", [0.05, 0.3, 1.5])
@pytest.mark.parametrize("corner", [0.0, 0.05, 0.3])
def test_a_drawn_notch_is_smooth_true_and_never_overhangs(profile, opening, depth, corner):
    section = draw_notch(Notch(profile, opening, depth, corner), 20.0, FINE)
    if section is None:
        with pytest.raises(SpecError, match=r"do not fit|cannot be"):
            fit_notch(Notch(profile, opening, depth, corner), 20.0, FINE, "edge.corner_radius")
        return
    r = np.hypot(section[:, 0], section[:, 1])
    assert 20.0 - r.min() == pytest.approx(depth, abs=MICRON)
    assert r[0] == pytest.approx(20.0, abs=1e-9)
    assert r.max() <= 20.0 + 1e-9
    turn = np.arctan2(section[0, 0], section[0, 1]) - np.arctan2(section[-1, 0], section[-1, 1])
    assert turn * 20.0 == pytest.approx(opening, abs=1e-9)
    assert np.all(np.diff(np.arctan2(-section[:, 0], section[:, 1])) > 0)
    np.testing.assert_allclose(section[::-1] * (-1, 1), section, atol=1e-12)
    if corner:
        way = np.diff(section, axis=0)
        heading = np.unwrap(np.arctan2(way[:, 1], way[:, 0]))
        assert np.degrees(np.abs(np.diff(heading))).max() < 26.0
