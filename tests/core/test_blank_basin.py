"""Hollow and domed fields of pieces that are not round are one sphere up to the rim."""

import math

import numpy as np
import pytest
import shapely
import trimesh

from medalcore import build
from medalcore.context.tolerance import tolerance_for
from medalcore.elements.blank import build_blank
from medalcore.elements.blank.outline import outline_of
from medalcore.errors import SpecError
from medalcore.geometry.closure import closure
from medalcore.geometry.solid import arrays_of
from medalcore.spec import spec_from_dict

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
    # Where wall and field meet lies as far from the outline as its depth below the rim says.
    meet = v[np.intersect1d(of("field"), of("rim"))]
    meant = 0.3 + 1.5 + (1.7 - meet[:, 2]) * math.tan(math.radians(10.0))
    far_in = outline.exterior.distance(shapely.points(meet[:, :2]))
    np.testing.assert_allclose(far_in, meant, atol=2 * MICRON)
    assert len(meet) > 100
    middle = level - dish
    assert (field[:, 2].min() if dish > 0 else field[:, 2].max()) == pytest.approx(
        middle, abs=MICRON
    )
    wall = v[of("rim")]
    normal = np.cross(wall[:, 1] - wall[:, 0], wall[:, 2] - wall[:, 0])
    size = np.linalg.norm(normal, axis=1)
    lean = np.degrees(np.arcsin(normal[size > 1e-3, 2] / size[size > 1e-3]))
    assert lean.min() > 9.95  # the draft of 10 degrees, from upright, everywhere


@pytest.mark.parametrize("fillet", [0.0, 0.2])
def test_walls_meet_in_ridges_at_sharp_corners(fillet):
    """Walls of 45 degrees down a dome that falls far towards three corners.

    Every point of a wall lies as far from the outline (shapely) as its depth says.
    """
    blank = {"outline": "polygon", "sides": 3, "corner_radius": 0.5, "thickness": 3.4}
    rim = {"width": 1.5, "height": 0.7, "slope": 45.0, "fillet": fillet}
    spec = spec_from_dict({"blank": {**blank, "rim": rim}, "obverse": {"field": {"dish": -0.4}}})
    piece, v, _, of = made(spec)
    wall = v[of("rim")]
    middle = wall.mean(axis=1)
    outline = shapely.Polygon(outline_of(spec.blank, tolerance_for("fine"))[0]).exterior
    inset = outline.distance(shapely.points(middle[:, :2]))
    area = np.linalg.norm(np.cross(wall[:, 1] - wall[:, 0], wall[:, 2] - wall[:, 0]), axis=1)
    fall = np.maximum(inset - 1.8, 0.0)
    above = middle[:, 2] - piece.obverse.height(middle[:, :2])
    straight = (area > 1e-4) & (above > 2.0 * fillet)
    np.testing.assert_allclose((1.7 - middle[:, 2])[straight], fall[straight], atol=2 * MICRON)
    assert np.count_nonzero(straight) > 100
    assert np.ptp(middle[straight, 2]) > 1.0


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


@pytest.mark.parametrize(("name", "axis"), [("oval", 0), ("oval", 1), ("hexagon", 1)])
@pytest.mark.parametrize("dish", [0.5, -0.3])
def test_a_fillet_touches_wall_and_field_wherever_they_meet(name, axis, dish):
    """Cut across the outline: a circle of 0.2 mm that touches the wall's line and the sphere.

    Its middle is 0.2 mm from the wall's line and from the field's circle (plane geometry).
    """
    spec = spec_of(name, dish, fillet=0.2)
    blank, v, f, _ = made(spec)
    way = np.eye(3)[1 - axis]
    cut = trimesh.Trimesh(v, f, process=False).section(plane_origin=way * 1e-5, plane_normal=way)
    flat = np.concatenate([np.asarray(c)[:, [axis, 2]] for c in cut.discrete])
    edge = np.abs(outline_of(spec.blank, tolerance_for("fine"))[0][:, axis]).max()
    up = 1.0 if dish > 0 else -1.0
    ground, big = blank.obverse, blank.obverse.sphere
    height = ground.level - ground.dish + up * big  # of the middle of the sphere
    # Down the wall's line, moved by 0.2 mm, until 0.2 mm from the sphere: inside or outside it.
    a = math.radians(10.0)
    down = np.array([-math.sin(a), -math.cos(a)])
    start = np.array([edge - 1.8, 1.7]) + 0.2 * np.array([-math.cos(a), math.sin(a)])
    low, high = -0.5, 2.0
    for _ in range(60):
        t = (low + high) / 2.0
        room = up * (big - np.hypot(*(start + t * down - [0.0, height])))
        low, high = (t, high) if room > 0.2 else (low, t)
    middle = start + low * down
    to_field = up * (middle - [0.0, height]) / np.hypot(*(middle - [0.0, height]))
    to_wall = np.array([math.cos(a), -math.sin(a)])
    off = flat - middle
    between = (off @ to_field > 0.0) & (off @ to_wall > 0.0) & (np.hypot(*off.T) < 0.25)
    # Of that quarter, what lies on the circle's own side of where it touches.
    turn = np.degrees(np.arctan2(off[between] @ to_wall, off[between] @ to_field))
    most = math.degrees(math.acos(to_field @ to_wall))
    arc = off[between][(turn > 1.0) & (turn < most - 1.0)]
    assert len(arc) > 5
    np.testing.assert_allclose(np.hypot(*arc.T), 0.2, atol=2 * MICRON)


def test_a_fillet_keeps_its_radius_where_corners_of_the_outline_close_up():
    """Lobes whose crests and roots are tighter than the rim is wide.

    At a distance from the outline (shapely) the fillet is as high as the circle that touches the
    wall's line and a level through the field there (plane geometry; the hollow leans little).
    """
    rim = {"width": 0.8, "height": 0.6, "slope": 45.0, "fillet": 0.3}
    shape = {"outline": "scalloped", "diameter": 20.0, "scallops": 12, "scallop_depth": 1.4}
    blank = {**shape, "corner_radius": 0.3, "thickness": 4.2, "chamfer": 0.5, "rim": rim}
    spec = spec_from_dict({"blank": blank, "obverse": {"field": {"dish": 0.1}}})
    piece, v, _, of = made(spec, "draft")
    points = v[of("rim")].mean(axis=1)
    outline = shapely.Polygon(outline_of(spec.blank, tolerance_for("draft"))[0]).exterior
    inset = outline.distance(shapely.points(points[:, :2]))
    level = piece.obverse.height(points[:, :2])
    tangent = 0.3 * math.tan(math.radians(22.5))
    middle = 1.3 + (2.1 - level) + tangent  # of the circle: inset of the foot and on by a tangent
    arc = (inset > middle - 0.3 * math.sin(math.radians(45.0)) + 0.02) & (inset < middle - 0.02)
    height = level[arc] + 0.3 - np.sqrt(0.3**2 - (middle - inset)[arc] ** 2)
    assert np.count_nonzero(arc) > 1000
    np.testing.assert_allclose(points[arc, 2], height, atol=0.015)


def test_a_fillet_too_large_for_the_wall_is_refused_on_a_hollow_too():
    with pytest.raises(SpecError, match="fillet") as caught:
        made(spec_of("oval", 0.3, fillet=2.0), "draft")
    assert caught.value.key == "blank.rim.fillet"


def test_a_dome_beyond_the_half_sphere_is_refused():
    with pytest.raises(SpecError, match="dome") as caught:
        made(spec_of("oval", -9.0), "draft")
    assert caught.value.key == "obverse.field.dish"


def edge_of(blank):
    """Return the vertices of the edge."""
    v, f, code, labels = arrays_of(blank.solid)
    return v[np.unique(f[code == [x.zone for x in labels].index("edge")])]


@pytest.mark.slow
@pytest.mark.parametrize("name", list(SHAPES))
@pytest.mark.parametrize("dish", [0.4, -0.2])
@pytest.mark.parametrize("shape", ["chamfer", "round"])
def test_without_a_rim_the_field_runs_out_to_an_edge_break_that_goes_along(name, dish, shape):
    """The break is 0.35 mm wide and high below the field beside it, all along the outline."""
    keys = {"rim": {"width": 0.0}, "chamfer": 0.35, "break_shape": shape}
    plain = {"blank": {**SHAPES[name], "thickness": 3.4, **keys}}
    spec = spec_from_dict({**plain, "obverse": {"field": {"dish": dish}}})
    blank, v, _, of = made(spec)
    field = v[np.unique(of("field"))]
    off = field[:, 2] - blank.obverse.height(field[:, :2])
    assert np.abs(off).max() < 2 * MICRON
    outline = shapely.Polygon(outline_of(spec.blank, tolerance_for("fine"))[0]).exterior
    assert outline.distance(shapely.points(field[:, :2])).min() == pytest.approx(
        0.35, abs=2 * MICRON
    )
    edge = edge_of(blank)
    edge = edge[edge[:, 2] > 0.0]
    inset = outline.distance(shapely.points(edge[:, :2]))
    fall = blank.obverse.height(edge[:, :2]) - edge[:, 2]
    outer = inset < 1e-4
    np.testing.assert_allclose(fall[outer], 0.35, atol=2 * MICRON)
    if shape == "chamfer":
        np.testing.assert_allclose((inset + fall)[~outer], 0.35, atol=2 * MICRON)
    else:  # a quarter circle about a point 0.35 mm in from edge and field
        far = np.hypot(0.35 - inset[~outer], 0.35 - fall[~outer])
        np.testing.assert_allclose(far, 0.35, atol=2 * MICRON)


@pytest.mark.parametrize("name", ["round", *SHAPES])
@pytest.mark.parametrize("width", [0.8, 0.0])
def test_a_square_hole_goes_through_hollow_and_domed_fields(name, width):
    """Its rim keeps width and draft, its edge break goes along where there is no rim."""
    hole = {"shape": "square", "size": 7.0, "rim_width": width, "chamfer": 0.25}
    blank = {**SHAPES.get(name, {}), "thickness": 3.6, "hole": hole}
    faces = {"obverse": {"field": {"dish": 0.4}}, "reverse": {"field": {"dish": -0.15}}}
    piece, v, f, of = made(spec_from_dict({"blank": blank, **faces}))
    assert closure(v, f).genus == 1
    field = v[np.unique(of("field"))]
    assert np.abs(field[:, 2] - piece.obverse.height(field[:, :2])).max() < 2 * MICRON
    square = shapely.box(-3.2, -3.2, 3.2, 3.2).buffer(0.3, quad_segs=400).exterior
    edge = edge_of(piece)
    edge = edge[(np.hypot(edge[:, 0], edge[:, 1]) < 6.0) & (edge[:, 2] > 0.0)]
    grown = square.distance(shapely.points(edge[:, :2]))
    assert grown.max() == pytest.approx(0.25, abs=2 * MICRON)
    if width:
        rim = v[np.unique(of("rim"))]
        rim = rim[np.hypot(rim[:, 0], rim[:, 1]) < 8.0]
        top = rim[:, 2] > rim[:, 2].max() - 1e-6
        grown = square.distance(shapely.points(rim[:, :2]))
        assert np.ptp(grown[top]) == pytest.approx(0.8, abs=2 * MICRON)
        wall = 0.25 + 0.8 + (rim[top, 2].max() - rim[~top, 2]) * math.tan(math.radians(10.0))
        np.testing.assert_allclose(grown[~top], wall, atol=2 * MICRON)
        # 0.3 mm above the field where the wall's straight sides come nearest to the middle.
        nearest = np.array([3.5 + 0.25 + 0.8 + 0.3 * math.tan(math.radians(10.0)), 0.0])
        rise = rim[top, 2].max() - float(piece.obverse.height(nearest))
        assert rise == pytest.approx(0.3, abs=2 * MICRON)
    else:
        fall = piece.obverse.height(edge[:, :2]) - edge[:, 2]
        np.testing.assert_allclose(fall + grown, 0.25, atol=2 * MICRON)


def test_a_field_that_leaves_no_upright_edge_is_refused():
    blank = {"outline": "oval", "diameter": 60.0, "height": 16.0, "thickness": 2.0}
    blank["rim"] = {"width": 0.0}
    spec = spec_from_dict({"blank": blank, "obverse": {"field": {"dish": 1.5}}})
    with pytest.raises(SpecError, match="no upright edge") as caught:
        build_blank(spec, tolerance_for("draft"))
    assert caught.value.key == "obverse.field.dish"
