"""Drilled holes, loops and two-part pieces."""

import math

import numpy as np
import pytest
import shapely
import shapely.affinity
import trimesh
from counting import counted

from medalcore import build
from medalcore.context.tolerance import tolerance_for
from medalcore.elements.blank import build_blank
from medalcore.elements.blank.outline import outline_of
from medalcore.errors import SpecError
from medalcore.geometry.closure import closure
from medalcore.geometry.solid import arrays_of, without

MICRON = 0.001


def made(spec, quality="fine"):
    """Return vertices, triangles and a zone picker of a whole piece without elements."""
    blank = build_blank(counted(spec), tolerance_for(quality))
    v, f, code, labels = arrays_of(without(blank.solid, blank.cutters))

    def of(zone):
        picked = [i for i, x in enumerate(labels) if x.zone == zone]
        return v[np.unique(f[np.isin(code, picked)])]

    return v, f, of


def proven(v, f, bodies=1, genus=0):
    proof = closure(v, f)
    assert proof.is_closed, proof
    assert (proof.bodies, proof.genus) == (bodies, genus)
    return proof.volume_mm3


@pytest.mark.parametrize("angle", [0.0, 37.0, -90.0])
def test_a_drilled_hole_is_where_it_was_asked_for(angle):
    drill = {"diameter": 3.0, "inset": 4.0, "angle": angle, "chamfer": 0.2}
    v, f, of = made({"blank": {"drill": drill}})
    solid = proven(v, f, genus=1)
    whole = proven(*made({})[:2])
    a = math.radians(angle)
    at = 16.0 * np.array([math.sin(a), math.cos(a)])
    edge = of("edge")
    far = np.hypot(*(edge[:, :2] - at).T)
    bore = edge[far < 2.0]
    middle = (bore[:, :2].min(axis=0) + bore[:, :2].max(axis=0)) / 2
    assert np.hypot(*(middle - at)) < 2 * MICRON
    far = np.hypot(*(bore[:, :2] - middle).T)
    assert 2 * far.min() == pytest.approx(3.0, abs=2 * MICRON)
    top = bore[:, 2] > 1.2 - 1e-4
    assert far[top].max() == pytest.approx(1.5 + 0.2, abs=2 * MICRON)
    # Cylinder and two cone frustums, πh(a² + ab + b²)/3.
    lost = math.pi * 1.5**2 * (2.4 - 0.4)
    lost += 2 * math.pi * 0.2 * (1.5**2 + 1.5 * 1.7 + 1.7**2) / 3
    assert whole - solid == pytest.approx(lost, rel=2e-3)


@pytest.mark.parametrize("outline", ["oval", "constant-width", "polygon"])
def test_a_drilled_hole_keeps_its_distance_on_any_outline(outline):
    drill = {"diameter": 2.0, "inset": 3.5, "angle": 40.0}
    v, f, _ = made({"blank": {"outline": outline, "drill": drill, "corner_radius": 3.0}})
    proven(v, f, genus=1)
    cut = trimesh.Trimesh(v, f, process=False).section(
        plane_origin=(0, 0, 0.01), plane_normal=(0, 0, 1)
    )
    rings = sorted((np.asarray(r)[:, :2] for r in cut.discrete), key=lambda r: np.ptp(r[:, 0]))
    middle = (rings[0].min(axis=0) + rings[0].max(axis=0)) / 2
    assert shapely.LinearRing(rings[-1]).distance(shapely.Point(middle)) == pytest.approx(
        3.5, abs=2 * MICRON
    )


def test_a_hole_stays_open_under_letters_and_relief():
    spec = {
        "blank": {"drill": {"diameter": 3.0, "inset": 5.5}},
        "obverse": {"legend": [{"text": "IIIIIIIIIIIIIIIIIIIIIIIII"}]},
    }
    medal = build(counted(spec), quality="draft")
    assert medal.is_closed
    at = np.array([0.0, 14.5])
    inside = np.hypot(*(medal.vertices[:, :2] - at).T) < 1.5 - 0.011
    assert not inside.any()


@pytest.mark.parametrize("outline", ["round", "oval", "constant-width"])
@pytest.mark.parametrize("finish", ["plain", "reeded"])
def test_a_lug_has_its_hole_metal_and_gap(outline, finish):
    loop = {"kind": "lug", "hole": 3.2, "width": 1.4, "gap": 0.7, "thickness": 1.5}
    blank = {"outline": outline, "height": 34.0, "loop": loop}
    v, f, of = made({"blank": blank, "edge": {"finish": finish}})
    proven(v, f, genus=1)
    plate = of("loop")
    top = made({"blank": {k: x for k, x in blank.items() if k != "loop"}})[0]
    edge = top[np.abs(top[:, 0]) < 0.4, 1].max()
    middle = edge + 0.7 + 1.6
    far = np.hypot(plate[:, 0], plate[:, 1] - middle)
    assert far.min() == pytest.approx(1.6, abs=2 * MICRON)
    assert plate[:, 1].max() - middle == pytest.approx(1.6 + 1.4, abs=2 * MICRON)
    assert np.ptp(plate[:, 2]) == pytest.approx(1.5, abs=2 * MICRON)


@pytest.mark.parametrize("kind", ["lug", "eye"])
def test_the_loops_fillet_has_its_radius(kind):
    """Between a disc and a lug (or an eye's wire), its centre is its radius from both outlines."""
    loop = {"kind": kind, "hole": 3.0, "width": 1.3, "gap": 0.6, "fillet": 1.5}
    v, f, _ = made({"blank": {"loop": loop}})
    cut = trimesh.Trimesh(v, f, process=False).section(
        plane_origin=(0, 0, 0.01), plane_normal=(0, 0, 1)
    )
    ring = max((np.asarray(r)[:, :2] for r in cut.discrete), key=lambda r: np.ptp(r[:, 0]))
    # Centre: 1.5 mm from the circle of 19.98 (tangent just under the edge) and from the lug's
    # circle of 2.8 about (0, 22.1), or the wire's of 0.65 about (0, 19.95), by intersecting
    # the two circles grown by 1.5.
    wide, d = (2.8, 22.1) if kind == "lug" else (0.65, 20.0 + 0.6 - 0.65)
    a, b = 19.98 + 1.5, wide + 1.5
    y = (a * a - b * b + d * d) / (2 * d)
    x = math.sqrt(a * a - y * y)
    ring = ring[np.hypot(*ring.T) > 20.001]  # the piece's own edge lies 0.02 mm above tangency
    far = np.hypot(ring[:, 0] - x, ring[:, 1] - y)
    assert far.min() == pytest.approx(1.5, abs=2 * MICRON)
    assert np.count_nonzero(np.abs(far - 1.5) < 2 * MICRON) > 10


@pytest.mark.parametrize("kind", ["lug", "eye"])
def test_a_loop_never_shows_on_the_field_of_a_hollow_piece(kind):
    """A narrow rim over a deep field: the loop's root must stay inside the rim."""
    blank = {
        "thickness": 4.0,
        "chamfer": 0.2,
        "rim": {"width": 0.5, "height": 1.4},
        "loop": {"kind": kind, "width": 1.2},
    }
    v, f, of = made({"blank": blank})
    proven(v, f, genus=1)
    points = of("loop")
    assert np.hypot(points[:, 0], points[:, 1]).min() > 20.0 - 0.2 - 0.5


def test_an_eye_stands_on_a_thin_rim_too():
    """Of a domed piece hardly any metal hides its foot, which is then narrower than its edges."""
    blank = {
        "outline": "constant-width", "diameter": 13.14, "corner_radius": 0.5, "thickness": 2.5,
        "rim": {"width": 0.005}, "chamfer": 0.002, "break_shape": "round",
        "loop": {"kind": "eye", "hole": 2.0, "width": 1.2, "fillet": 0.5, "gap": 0.5},
    }  # fmt: skip
    medal = build(counted({"blank": blank, "obverse": {"field": {"dish": -0.3}}}), "draft")
    assert medal.is_closed
    assert medal.report["bodies"] == 1
    assert medal.vertices[:, 1].max() > 13.14 / 2 + 0.5 + 2.0


def test_an_eye_is_a_ring_of_wire_pierced_from_side_to_side():
    loop = {"kind": "eye", "hole": 2.6, "width": 1.2, "gap": 0.5, "angle": 90.0}
    v, f, of = made({"blank": {"loop": loop}})
    proven(v, f, genus=1)
    ring = of("loop")
    middle = 20.0 + 0.5 + 1.3
    far = np.hypot(ring[:, 0] - middle, ring[:, 2])
    assert far.min() == pytest.approx(1.3, abs=2 * MICRON)
    assert ring[:, 0].max() - middle == pytest.approx(1.3 + 1.2, abs=2 * MICRON)
    assert np.ptp(ring[ring[:, 0] > middle, 1]) == pytest.approx(1.2, abs=2 * MICRON)


@pytest.mark.parametrize("lock", [0.0, 0.2])
@pytest.mark.parametrize("hole", ["none", "round"])
def test_ring_and_core_are_two_closed_bodies_with_the_stated_clearance(lock, hole):
    spec = {
        "blank": {
            "diameter": 30.0,
            "core": {"diameter": 18.0, "clearance": 0.06, "lock": lock},
            "hole": {"shape": hole, "size": 5.0},
        }
    }
    v, f, _ = made(spec)
    proven(v, f, bodies=2, genus=1 if hole == "none" else 2)
    parts = trimesh.Trimesh(v, f, process=True).split()
    ring, core = sorted(parts, key=lambda p: -np.ptp(p.vertices[:, 0]))
    assert ring.is_watertight
    assert core.is_watertight
    outer = np.hypot(*core.vertices[:, :2].T)
    assert 2 * outer.max() == pytest.approx(18.0, abs=2 * MICRON)
    inner = np.hypot(*ring.vertices[:, :2].T)
    assert inner.min() == pytest.approx(9.06 - lock, abs=2 * MICRON)
    way = np.array([1.0, -0.3]) / math.hypot(1.0, 0.3)
    lines = []
    for part in (ring, core):
        cut = part.section(plane_origin=(0, 0, 0), plane_normal=(0.3, 1, 0))
        flat = [np.column_stack([x[:, :2] @ way, x[:, 2]]) for x in cut.discrete]
        lines.append(shapely.MultiLineString(flat))
    assert lines[0].distance(lines[1]) == pytest.approx(0.06, abs=2 * MICRON)
    medal = build(counted(spec), quality="draft")
    assert medal.is_closed
    assert medal.report["bodies"] == 2


CORES = {
    "oval": {"shape": "oval", "diameter": 20.0, "tall": 14.0, "turn": 30.0},
    "hexagon": {"shape": "polygon", "diameter": 19.0, "corner_radius": 0.0},
    "eased square": {"shape": "polygon", "sides": 4, "diameter": 18.0},
    "outline": {"shape": "outline", "diameter": 20.0},
}


@pytest.mark.parametrize("name", list(CORES))
@pytest.mark.parametrize("lock", [0.0, 0.2])
def test_a_core_of_any_outline_nests_with_the_stated_clearance(name, lock):
    """Cut half-way up and near the rim: the ring's hole is the core, grown by the clearance."""
    blank = {"outline": "constant-width", "diameter": 34.0, "corner_radius": 2.0}
    core = {**CORES[name], "clearance": 0.08, "lock": lock}
    v, f, _ = made({"blank": {**blank, "core": core}})
    proven(v, f, bodies=2, genus=1)
    parts = trimesh.Trimesh(v, f, process=True).split()
    pair = sorted(parts, key=lambda p: -np.ptp(p.vertices[:, 0]))
    for z, inset in ((0.0, lock), (1.0, 0.0)):
        ring, disc = (
            min(
                (shapely.Polygon(np.asarray(c)[:, :2]) for c in
                 p.section(plane_origin=(0, 0, z), plane_normal=(0, 0, 1)).discrete),
                key=lambda c: c.area,
            )
            for p in pair
        )  # fmt: skip
        assert ring.exterior.distance(disc.exterior) == pytest.approx(0.08, abs=2 * MICRON)
        if not inset:  # sharp corners of a ridge stay sharp, a little farther off
            grown = disc.buffer(0.08, quad_segs=200)
            assert grown.exterior.hausdorff_distance(ring.exterior) < 2 * MICRON
        if name == "outline":
            piece = counted({"blank": blank}).blank
            edge = shapely.LinearRing(outline_of(piece, tolerance_for("fine"))[0])
            points = np.asarray(disc.exterior.coords)
            across = np.hypot(*(points[:, None] - points[None]).T).max()
            if not inset:  # as wide as asked, whatever its corners are
                assert across == pytest.approx(20.0, abs=2 * MICRON)
                off = edge.distance(shapely.points(points))
                np.testing.assert_allclose(off, off.mean(), atol=2 * MICRON)
        else:
            wide = shapely.MultiPoint(disc.exterior.coords)
            turned = [shapely.affinity.rotate(wide, a, (0, 0)).bounds for a in range(0, 180, 15)]
            across = max(x2 - x1 for x1, _, x2, _ in turned)
            slanted = {"hexagon": math.cos(math.pi / 6), "eased square": 1.0}.get(name, 1.0)
            assert across == pytest.approx(core["diameter"] - 2 * inset / slanted, abs=2 * MICRON)


@pytest.mark.parametrize(
    ("blank", "key", "words"),
    [
        ({"drill": {"diameter": 3.0, "inset": 1.4}}, "blank.drill.inset", "through the edge"),
        ({"drill": {"diameter": 3.0, "inset": 2.0}}, "blank.drill.inset", "cuts the rim"),
        ({"drill": {"diameter": 3.0, "inset": 25.0}}, "blank.drill.inset", "beyond the middle"),
        (
            {"drill": {"diameter": 3.0, "inset": 14.0}, "hole": {"shape": "round", "size": 12.0}},
            "blank.drill.inset",
            "another hole",
        ),
        ({"loop": {"kind": "lug", "gap": 1.5}}, "blank.loop.gap", "misses the piece"),
        ({"loop": {"kind": "eye", "gap": 2.0}}, "blank.loop.gap", "misses the piece"),
        ({"loop": {"kind": "lug", "thickness": 2.9}}, "blank.loop.thickness", "at most"),
        ({"loop": {"kind": "eye", "width": 4.0}}, "blank.loop.width", "at most"),
        ({"core": {"diameter": 39.9}}, "blank.core.diameter", "no ring"),
        ({"core": {"diameter": 39.9, "shape": "oval"}}, "blank.core.diameter", "make it smaller"),
        ({"core": {"diameter": 41, "shape": "outline"}}, "blank.core.diameter", "does not lie"),
        ({"core": {"diameter": 20, "shape": "drawing"}}, "blank.core.drawing", "names no SVG"),
        (
            {"core": {"diameter": 20, "shape": "polygon", "corner_radius": 12}},
            "blank.core.corner_radius",
            "do not fit",
        ),
        ({"core": {"diameter": 0.9, "lock": 0.2}}, "blank.core.lock", "leaves nothing"),
        ({"core": {"diameter": 20.0, "lock": 1.0}}, "blank.core.lock", "at most"),
        (
            {"core": {"diameter": 9.0}, "hole": {"shape": "round", "size": 9.0}},
            "blank.core.diameter",
            "no metal",
        ),
    ],
)
def test_fittings_that_cannot_be_made_get_one_line(blank, key, words):
    with pytest.raises(SpecError) as caught:
        build_blank(counted({"blank": blank}), tolerance_for("draft"))
    assert caught.value.key == key
    assert words in str(caught.value)


def test_a_drilled_hole_keeps_off_the_joint_of_an_oval_core():
    """The core ends 5 mm from the middle upwards, 10 to the right: holes at 12 mm out."""
    core = {"diameter": 20.0, "shape": "oval", "tall": 10.0}
    for angle, fits in ((0.0, True), (90.0, False)):
        drill = {"diameter": 2.4, "inset": 9.0, "angle": angle}
        spec = counted({"blank": {"core": core, "drill": drill}})
        if fits:
            build_blank(spec, tolerance_for("draft"))
        else:
            with pytest.raises(SpecError, match="runs into the joint"):
                build_blank(spec, tolerance_for("draft"))


@pytest.mark.parametrize("inset", [6.0, 8.0, 10.0, 12.0, 14.0])
def test_a_drilled_hole_keeps_off_the_joint(inset):
    """A core of 22 mm in a piece of 40: its joint lies 9 mm from the edge."""
    blank = {"core": {"diameter": 22.0}, "drill": {"diameter": 2.4, "inset": inset}}
    spec = counted({"blank": {"diameter": 40.0, **blank}})
    if abs(inset - 9.0) < 1.5:
        with pytest.raises(SpecError, match="runs into the joint"):
            build_blank(spec, tolerance_for("draft"))
    else:
        assert len(build_blank(spec, tolerance_for("draft")).cutters) == 2


@pytest.mark.parametrize(
    ("shape", "size"), [("round", 38.0), ("square", 27.0), ("polygon", 37.0), ("5", 36.0)]
)
def test_the_largest_hole_that_is_named_can_be_made(shape, size):
    sided = {"shape": "polygon", "sides": 5} if shape == "5" else {"shape": shape}

    def blank(across):
        return counted({"blank": {"hole": {**sided, "size": across}}})

    with pytest.raises(SpecError, match="runs into the rim") as caught:
        build_blank(blank(size), tolerance_for("draft"))
    most = float(str(caught.value).split("at most ")[1].split()[0])
    assert build_blank(blank(most - 0.01), tolerance_for("draft")).bodies == 1
    with pytest.raises(SpecError, match="runs into the rim"):
        build_blank(blank(most + 0.02), tolerance_for("draft"))
