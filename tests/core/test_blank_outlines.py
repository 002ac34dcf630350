"""Outlines that are not round, against plane geometry."""

import math

import numpy as np
import pytest
import shapely

from medalcore.context.tolerance import Tolerance, tolerance_for
from medalcore.elements.blank import build_blank
from medalcore.elements.blank.outline import outline_of
from medalcore.errors import MedalError, SpecError
from medalcore.geometry.closure import closure
from medalcore.geometry.contour import area, edge_lengths
from medalcore.geometry.solid import arrays_of
from medalcore.spec import Blank, spec_from_dict

FINE = tolerance_for("fine")
MICRON = 0.001
ODD = {
    "oval": {"outline": "oval", "height": 31.0},
    "rectangle": {"outline": "rectangle", "height": 26.0, "corner_radius": 2.0},
    "hexagon": {"outline": "polygon", "sides": 6, "corner_radius": 1.5},
    "sharp square": {"outline": "polygon", "sides": 4, "corner_radius": 0.0},
    "constant width": {"outline": "constant-width", "sides": 7, "corner_radius": 1.0},
    "lobes": {"outline": "scalloped", "scallops": 10, "scallop_depth": 1.2},
    "notches": {
        "outline": "scalloped",
        "scallops": 7,
        "scallop_depth": 0.6,
        "scallop_width": 2.5,
        "scallop_shape": "notches",
        "corner_radius": 0.4,
    },
}


def outline(**keys):
    return outline_of(Blank(**keys), FINE)[0]


def solid(spec, quality="fine"):
    blank = build_blank(spec_from_dict(spec), tolerance_for(quality))
    v, f, code, labels = arrays_of(blank.solid)
    proof = closure(v, f)
    assert proof.is_closed, proof
    assert proof.bodies == 1

    def of(zone, side=0):
        picked = [i for i, x in enumerate(labels) if (x.zone, x.side) == (zone, side)]
        return v[np.unique(f[np.isin(code, picked)])]

    return blank, v, f, of


def widths(points, count=720):
    """Return the widths of a point set over half a turn (support functions)."""
    angle = np.linspace(0, np.pi, count, endpoint=False)
    return np.ptp(points @ np.stack([np.cos(angle), np.sin(angle)]), axis=0)


def test_a_constant_width_heptagon_is_one():
    """Regular Reuleaux polygon of 7 sides, 27.3 mm wide (Barbier's theorem, plane geometry).

    Perimeter πw = 85.7655, area (w²/2)(π − n·tan(π/2n)) = 575.3223, circumradius 14.0010,
    inradius 13.2990, chord between corners 12.1496.
    """
    points = outline(outline="constant-width", diameter=27.3, sides=7, corner_radius=0.0)
    np.testing.assert_allclose(widths(points), 27.3, atol=2 * MICRON)
    assert edge_lengths(points).sum() == pytest.approx(85.7655, rel=1e-4)
    assert area((points,)) == pytest.approx(575.3223, rel=2e-4)
    r = np.hypot(*points.T)
    assert r.max() == pytest.approx(14.0010, abs=1e-4)
    inner = shapely.Polygon(points).exterior.distance(shapely.Point(0, 0))
    assert inner == pytest.approx(13.2990, abs=2 * MICRON)
    corners = points[r > 14.0010 - 5e-5]
    assert len(corners) == 7
    gaps = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    np.testing.assert_allclose(gaps, 12.1496, atol=1e-4)


@pytest.mark.parametrize("sides", [3, 5, 7, 11])
@pytest.mark.parametrize("corner", [0.0, 0.5, 3.0])
def test_easing_the_corners_keeps_the_width_constant(sides, corner):
    points = outline(
        outline="constant-width", diameter=30.0, sides=sides, corner_radius=corner, turn=7.0
    )
    np.testing.assert_allclose(widths(points), 30.0, atol=2 * MICRON)
    assert edge_lengths(points).sum() == pytest.approx(30 * math.pi, rel=1.5e-4)


def test_a_twelve_sided_piece_from_its_flats_and_points():
    """Published for a circulating coin (royalmint.com): 23.43 over points, 23.03 over flats.

    Plain fillets are then 5.845 mm, the area 423.82 mm², the perimeter 73.19 mm (geometry).
    """
    points = outline(outline="polygon", diameter=23.43, flats=23.03, sides=12)
    across = widths(points, 7200)
    assert across.max() == pytest.approx(23.43, abs=2 * MICRON)
    assert across.min() == pytest.approx(23.03, abs=2 * MICRON)
    assert area((points,)) == pytest.approx(423.82, abs=0.05)
    assert edge_lengths(points).sum() == pytest.approx(73.19, abs=0.01)
    flats = edge_lengths(points) > 1.0
    assert np.count_nonzero(flats) == 12
    r = 5.8455
    assert edge_lengths(points)[flats].mean() == pytest.approx(
        2 * (23.03 / 2 - r) * math.tan(math.pi / 12), abs=0.002
    )


def test_a_sharp_twelve_sided_piece_has_the_area_of_a_regular_polygon():
    """n(f/2)²·tan(π/n): 12 sides, 23.03 over flats give 426.3454 mm² (any handbook)."""
    points = outline(
        outline="polygon", diameter=23.03 / math.cos(math.pi / 12), sides=12, corner_radius=0.0
    )
    assert len(points) == 12
    assert area((points,)) == pytest.approx(426.3454, abs=1e-4)


@pytest.mark.parametrize("sides", [3, 4, 5, 6, 9])
@pytest.mark.parametrize("corner", [0.0, 2.0])
def test_the_diameter_is_the_largest_width_of_any_polygon(sides, corner):
    points = outline(outline="polygon", diameter=33.0, sides=sides, corner_radius=corner)
    assert widths(points, 7200).max() == pytest.approx(33.0, abs=2 * MICRON)
    foot = points[points[:, 1] < points[:, 1].min() + 1e-9]
    assert np.ptp(foot[:, 0]) > 3.0  # a flat at the foot


def test_an_oval_is_an_ellipse():
    points = outline(outline="oval", diameter=40.0, height=26.0)
    np.testing.assert_allclose((points[:, 0] / 20) ** 2 + (points[:, 1] / 13) ** 2, 1.0)
    assert area((points,)) == pytest.approx(math.pi * 20 * 13, rel=2e-4)


@pytest.mark.parametrize("corner", [0.0, 3.0])
def test_a_rectangle_measures_over_its_sides(corner):
    """Area wh − (4 − π)r² (plane geometry)."""
    points = outline(outline="rectangle", diameter=40.0, height=26.0, corner_radius=corner)
    np.testing.assert_allclose(np.ptp(points, axis=0), [40.0, 26.0], atol=1e-9)
    assert area((points,)) == pytest.approx(1040.0 - (4.0 - math.pi) * corner**2, rel=2e-5)
    assert len(points) == 4 or corner
    with pytest.raises(SpecError, match="at most"):
        outline(outline="rectangle", diameter=40.0, height=26.0, corner_radius=13.0)


@pytest.mark.parametrize("name", ["lobes", "notches"])
def test_scallops_have_their_count_and_depth(name):
    points = outline(diameter=40.0, **ODD[name])
    r = np.hypot(*points.T)
    assert r.max() == pytest.approx(20.0, abs=1e-9)
    assert 20.0 - r.min() == pytest.approx(ODD[name]["scallop_depth"], abs=MICRON)
    low = r < 20.0 - ODD[name]["scallop_depth"] / 2
    assert np.count_nonzero(low & ~np.roll(low, 1)) == ODD[name]["scallops"]
    assert shapely.Polygon(points).is_valid


@pytest.mark.parametrize("count", [3, 7, 12, 24])
@pytest.mark.parametrize("depth", [0.2, 0.7, 1.5])
def test_hollows_need_no_width_of_their_own(count, depth):
    points = outline(
        outline="scalloped", scallop_shape="notches", diameter=40.0, scallops=count,
        scallop_depth=depth, corner_radius=0.3,
    )  # fmt: skip
    r = np.hypot(*points.T)
    assert r.max() - r.min() == pytest.approx(depth, abs=MICRON)
    # The diameter is the largest width: with an odd count the circle round it may be larger.
    across = np.hypot(*(points[:, None] - points[None]).T).max()
    assert across == pytest.approx(40.0, abs=MICRON)
    assert r.max() == pytest.approx(20.0, abs=0.05 if count % 2 else MICRON)


def test_forty_fine_scallops_as_on_a_coin_of_19_75_mm():
    """40 fine scallops on 19.75 mm (German Wikipedia, 'Euromünzen', 10 cent)."""
    keys = {
        "outline": "scalloped",
        "diameter": 19.75,
        "scallops": 40,
        "scallop_shape": "notches",
        "scallop_depth": 0.2,
        "corner_radius": 0.1,
    }
    points = outline(**keys)
    low = np.hypot(*points.T) < 19.75 / 2 - 0.1
    assert np.count_nonzero(low & ~np.roll(low, 1)) == 40
    solid({"blank": {**keys, "thickness": 1.93, "rim": {"width": 0.8, "height": 0.15}}})


@pytest.mark.parametrize("name", list(ODD))
def test_the_rim_follows_the_outline_as_a_true_offset(name):
    """Distances from the outline, and the area left inside, are measured by shapely."""
    rim = {"width": 1.3, "height": 0.3, "slope": 10.0}
    spec = {"blank": {"diameter": 40.0, "chamfer": 0.25, "rim": rim, **ODD[name]}}
    blank, v, _, of = solid(spec)
    line = shapely.LinearRing(outline_of(spec_from_dict(spec).blank, FINE)[0])
    top = of("rim", 1)
    top = top[top[:, 2] > 1.5 - 1e-6]
    far = line.distance(shapely.points(top[:, :2]))
    assert far.max() == pytest.approx(1.55, abs=2 * MICRON)
    near = np.abs(far - 0.25) < np.abs(far - 1.55)
    np.testing.assert_allclose(far[near], 0.25, atol=2 * MICRON)
    np.testing.assert_allclose(far[~near], 1.55, atol=2 * MICRON)
    foot = of("field", 1)
    foot = line.distance(shapely.points(foot[:, :2])).min()
    assert foot == pytest.approx(1.55 + 0.3 * math.tan(math.radians(10.0)), abs=2 * MICRON)
    assert np.ptp(v[:, 2]) == pytest.approx(3.0, abs=2 * MICRON)
    ring = shapely.Polygon(line)
    inner = ring.buffer(-foot, quad_segs=90)
    told = shapely.Polygon(blank.obverse.outline[0])
    assert told.area == pytest.approx(inner.area, rel=1e-4)


@pytest.mark.slow
@pytest.mark.parametrize("diameter", [16.0, 120.0])
@pytest.mark.parametrize("name", ["round", *ODD])
def test_edge_and_rim_lie_within_2_micron_of_the_true_curve(name, diameter):
    """Corners and middles of chords, against the outline drawn two thousand times as fine."""
    rim = {"width": 1.3, "height": 0.3, "slope": 10.0}
    keys = {
        k: x * diameter / 40.0 if isinstance(x, float) else x for k, x in ODD.get(name, {}).items()
    }
    spec = {"blank": {"diameter": diameter, "chamfer": 0.25, "rim": rim, **keys}}
    _, v, f, of = solid(spec)
    finest = Tolerance(curve=1e-6, surface=1e-3, pixels=8)
    line = shapely.LinearRing(outline_of(spec_from_dict(spec).blank, finest)[0])
    level = np.abs(v[:, 2] - 1.25) < 1e-6
    ends = np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]])
    chords = v[ends[level[ends].all(axis=1)]][:, :, :2]
    for points in (chords[:, 0], chords.mean(axis=1)):
        assert line.distance(shapely.points(points)).max() < 2 * MICRON
    top = of("rim", 1)
    top = line.distance(shapely.points(top[top[:, 2] > 1.5 - 1e-6][:, :2]))
    off = np.minimum(np.abs(top - 0.25), np.abs(top - 1.55))
    assert off.max() < 2 * MICRON


@pytest.mark.parametrize("name", list(ODD))
def test_volumes_of_any_outline_converge_as_quality_rises(name):
    """Rim, chamfer and all; each step is a quarter of the tolerance, half of it at least helps."""
    spec = spec_from_dict({"blank": {"diameter": 40.0, **ODD[name]}})

    def volume(curve):
        blank = build_blank(spec, Tolerance(curve=curve, surface=0.02, pixels=64))
        return closure(*arrays_of(blank.solid)[:2]).volume_mm3

    true = volume(5e-5)
    off = [abs(volume(curve) / true - 1.0) for curve in (0.032, 0.008, 0.002)]
    assert off[2] < 2e-4
    assert off[0] < 1e-7 or (off[1] < 0.7 * off[0] and off[2] < 0.7 * off[1])


def test_steiner_for_an_outline_grown_outwards():
    """A + Pd + πd² and P + 2πd: a 10 mm square with 2 mm round it has 192.5664 mm², 52.5664 mm.

    A square with corners of 2 mm and 14 mm over flats is that.
    """
    over_points = 2 * (5.0 * math.sqrt(2.0) + 2.0)
    points = outline(outline="polygon", sides=4, diameter=over_points, corner_radius=2.0)
    assert np.ptp(points[:, 0]) == pytest.approx(14.0, abs=1e-9)
    assert area((points,)) == pytest.approx(192.5664, abs=0.005)
    assert edge_lengths(points).sum() == pytest.approx(52.5664, abs=0.002)


@pytest.mark.parametrize("name", list(ODD))
def test_every_outline_closes_at_both_qualities_with_dish_and_hole(name):
    for quality in ("draft", "fine"):
        spec = {
            "blank": {"diameter": 40.0, "hole": {"shape": "polygon", "sides": 5}, **ODD[name]},
            "obverse": {"field": {"dish": 0.2}},
        }
        _, v, f, _ = solid(spec, quality)
        assert closure(v, f).genus == 1


@pytest.mark.parametrize("name", list(ODD))
def test_volume_of_any_outline_without_rim_is_area_times_thickness(name):
    """Upright walls, no break: A·t by shapely's area of a much finer outline."""
    bare = {"chamfer": 0.0, "rim": {"width": 0.0}}
    spec = {"blank": {"diameter": 40.0, **ODD[name], **bare}}
    _, v, f, _ = solid(spec)
    finer = Tolerance(curve=1e-5, surface=1e-3, pixels=8)
    true = shapely.Polygon(outline_of(spec_from_dict(spec).blank, finer)[0]).area
    assert closure(v, f).volume_mm3 == pytest.approx(3.0 * true, rel=2e-4)


def test_a_square_hole_measures_over_its_flats():
    hole = {"shape": "square", "size": 7.0, "corner_radius": 0.5, "chamfer": 0.2}
    _, _, _, of = solid({"blank": {"hole": hole}})
    edge = of("edge")
    inner = edge[np.hypot(edge[:, 0], edge[:, 1]) < 8.0]
    assert np.ptp(inner[:, 0]) == pytest.approx(7.0 + 2 * 0.2, abs=2 * MICRON)
    flat = inner[np.abs(inner[:, 0] - 3.5) < 2e-6]
    assert np.ptp(flat[:, 1]) == pytest.approx(7.0 - 1.0, abs=2 * MICRON)


@pytest.mark.parametrize("name", ["round", "oval", "rectangle", "hexagon", "constant width"])
@pytest.mark.parametrize("width", [0.6, 0.0])
def test_a_hole_along_the_outline_leaves_a_band_of_one_width(name, width):
    """A bezel for a stone or a coin of the piece's own shape, 35 mm over all as a piece is.

    Where corners are rounder than the metal is wide, half of the difference is left all round;
    past them the hole's corners come to points, and the metal is less wide.
    """
    hole = {"shape": "outline", "size": 35.0, "chamfer": 0.2, "rim_width": width}
    keys = {"rim": {"width": 0.0}, "thickness": 3.0, "hole": hole, **ODD.get(name, {})}
    spec = {"blank": keys, "edge": {"finish": "reeded", "pitch": 1.0, "depth": 0.3}}
    _, v, f, of = solid(spec)
    assert closure(v, f).genus == 1
    line = shapely.LinearRing(outline_of(spec_from_dict(spec).blank, FINE)[0])
    edge = of("edge")
    far = line.distance(shapely.points(edge[:, :2]))
    within = far > far.max() - 0.1
    wide = widths(edge[within, :2], 7200)
    over_all = wide[0] if name in ("oval", "rectangle") else wide.max()
    assert over_all == pytest.approx(35.0, abs=2 * MICRON)
    metal = 2.5 if name in ("round", "oval", "rectangle") else float(far.max())
    assert metal <= 2.5 + 1e-9
    np.testing.assert_allclose(far[within], metal, atol=2 * MICRON)


def test_a_hole_along_the_outline_goes_with_a_hollow_and_says_what_does_not_fit():
    hole = {"shape": "outline", "size": 18.0}
    spec = {"blank": {"hole": hole, **ODD["oval"]}, "obverse": {"field": {"dish": 0.3}}}
    _, v, f, _ = solid(spec)
    assert closure(v, f).genus == 1
    for size, words in ((40.0, "leaves no metal"), (37.5, "rim")):
        spec["blank"]["hole"]["size"] = size
        with pytest.raises(SpecError, match=words) as caught:
            solid(spec, "draft")
        assert "hole" in str(caught.value)


SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">{}</svg>'
SHIELD = '<path d="M10 10 H90 V50 C90 80 60 92 50 98 C40 92 10 80 10 50 Z"/>'


def drawing(tmp_path, text):
    path = tmp_path / "outline.svg"
    path.write_text(SVG.format(text))
    return str(path)


def test_a_drawing_becomes_the_outline_at_the_asked_width(tmp_path):
    path = drawing(tmp_path, SHIELD + '<circle cx="50" cy="45" r="6"/>')
    spec = {"blank": {"outline": "drawing", "drawing": path, "diameter": 36.0}}
    blank, v, f, of = solid(spec)
    edge = of("edge")[:, :2]
    # The larger side, never a diagonal: the size of a drawing is told as width and height.
    assert np.ptp(edge, axis=0) == pytest.approx([36.0 * 80 / 88, 36.0], abs=2 * MICRON)
    assert closure(v, f).genus == 1
    # The point of the shield is at the foot: SVG's y runs down, the piece's up.
    assert edge[edge[:, 1].argmin(), 0] == pytest.approx(0.0, abs=0.01)
    assert len(blank.obverse.outline) == 2


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('<path d="M0 0 L100 100 L100 0 L0 100 Z"/>', "crosses itself"),
        ('<path d="M0 0 L90 0 L90 60 L30 60 L30 30 L60 30 L60 90 L0 90 Z"/>', "crosses itself"),
        ('<rect width="40" height="40"/><rect x="60" width="30" height="30"/>', "more than one"),
        (SHIELD + '<circle cx="90" cy="30" r="8"/>', "more than one|cross each other"),
        ("", "no closed path"),
        ("<path d='M0 0", "no closed path|cannot be read"),
    ],
)
def test_a_drawing_that_is_no_outline_gets_one_line(tmp_path, text, words):
    spec = {"blank": {"outline": "drawing", "drawing": drawing(tmp_path, text)}}
    with pytest.raises(MedalError, match=words) as caught:
        build_blank(spec_from_dict(spec), FINE)
    assert "blank.drawing" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("blank", "key"),
    [
        ({"outline": "drawing"}, "blank.drawing"),
        ({"outline": "constant-width", "sides": 8}, "blank.sides"),
        ({"outline": "constant-width", "corner_radius": 20.0}, "blank.corner_radius"),
        ({"outline": "polygon", "corner_radius": 20.0}, "blank.corner_radius"),
        ({"outline": "polygon", "sides": 12, "flats": 30.0}, "blank.flats"),
        ({"outline": "polygon", "sides": 12, "flats": 45.0}, "blank.flats"),
        ({"outline": "polygon", "sides": 7, "flats": 39.0}, "blank.flats"),
        ({"outline": "scalloped", "scallop_depth": 15.0}, "blank.scallop_depth"),
        ({"outline": "scalloped", "scallops": 200, "scallop_depth": 3.0}, "blank.scallops"),
        (
            {"outline": "scalloped", "scallop_shape": "notches", "scallop_width": 11.0},
            "blank.scallop_width",
        ),
        ({"outline": "oval", "rim": {"width": 16.0}}, "blank.rim.width"),
    ],
)
def test_outlines_that_cannot_be_drawn_name_their_key(blank, key):
    with pytest.raises(SpecError) as caught:
        build_blank(spec_from_dict({"blank": blank}), FINE)
    assert caught.value.key == key
