"""Drafted solids and lofts: volume, lean and closure, against formulas and shapely."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from medalcore.errors import SolidError
from medalcore.geometry import contour as C
from medalcore.geometry import loft as L
from medalcore.geometry.closure import closure, mend
from medalcore.geometry.solid import arrays_of
from medalcore.geometry.straight_skeleton import sweep
from medalcore.geometry.swept_profile import deepest, profiled

# Two arms whose ends grow together, as serifs do: a "C" of straight strokes.
_HOOK = (
    np.array([[0, 0], [3, 0], [3, 1], [2.9, 1], [2.9, 0.2], [0.2, 0.2], [0.2, 2.8], [2.9, 2.8],
              [2.9, 1.3], [3, 1.3], [3, 3], [0, 3]], dtype=float),
)  # fmt: skip


def _facets(solid):
    vertices, triangles, _, _ = arrays_of(solid)
    corner = vertices[triangles]
    cross = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    size = np.linalg.norm(cross, axis=1)
    return np.degrees(np.arcsin(np.clip(cross[:, 2] / size, -1, 1))), size / 2


def _closed(solid):
    """Prove a solid as a piece is proven: what float32 pinches is mended before."""
    vertices, triangles, code, _ = arrays_of(solid)
    vertices, triangles, _ = mend(vertices, triangles, code)
    return closure(vertices, triangles)


def _assert_lean(solid, draft_deg, within=0.1):
    """Every wall leans by the draft; only the level caps do not."""
    lean, size = _facets(solid)
    wall = np.abs(np.abs(lean) - 90) > 1e-3
    assert size[wall & (np.abs(lean - draft_deg) > within)].sum() <= 1e-5 * size[wall].sum()


def test_a_drafted_disc_is_a_cone_frustum():
    """Worked value 141.8953 mm³ for radii 10 and 9, 0.5 high: πh(a² + ab + b²)/3."""
    disc = (C.circle(9.0, 1e-4),)
    solid = L.drafted(disc, 0.0, 0.5, math.atan(1.0 / 0.5), "border")
    assert _closed(solid).volume_mm3 == pytest.approx(141.8953, rel=2e-5)


@pytest.mark.parametrize("draft", [0, 1, 8, 15, 30])
def test_a_drafted_bar_is_a_prismatoid_with_exact_walls(draft):
    """Volume h/6·(A₀ + 4A_m + A₁) (prismatoid formula); walls lean by the draft."""
    a, b, h = 3.0, 0.6, 0.4
    bar = (np.array([[0, 0], [a, 0], [a, b], [0, b]], dtype=float),)
    solid = L.drafted(bar, -0.1, h - 0.1, math.radians(draft), "legend")
    grow = h * math.tan(math.radians(draft))
    areas = [(a + 2 * g) * (b + 2 * g) for g in (0, grow / 2, grow)]
    volume = h / 6 * (areas[0] + 4 * areas[1] + areas[2])
    proof = _closed(solid)
    assert proof.is_closed
    assert proof.volume_mm3 == pytest.approx(volume, rel=1e-6)
    _assert_lean(solid, draft, 1e-4)


def _simpson(contours, height, draft, join, steps=24):
    """Return the volume by integrating shapely's offsets over the height."""
    z = np.linspace(0, height, 2 * steps + 1)
    shape = Polygon(contours[0], contours[1:])
    area = np.array(
        [shape.buffer(d * math.tan(draft), join_style=join, mitre_limit=3, quad_segs=64).area
         for d in z]
    )  # fmt: skip
    return (
        height / (6 * steps) * (area[0] + 4 * area[1::2].sum() + 2 * area[2:-1:2].sum() + area[-1])
    )


@pytest.mark.parametrize("draft", [10, 20, 30])
def test_arms_that_grow_together_stay_exact(draft):
    """Where fronts meet the volume is still that of shapely's offset, and walls still lean."""
    solid = L.drafted(_HOOK, 0.0, 0.5, math.radians(draft), "legend")
    proof = _closed(solid)
    assert proof.is_closed
    assert proof.bodies == 1
    assert proof.genus == (1 if 0.5 * math.tan(math.radians(draft)) > 0.15 else 0)
    expected = _simpson(_HOOK, 0.5, math.radians(draft), "mitre", 96)
    assert proof.volume_mm3 == pytest.approx(expected, rel=2e-4)
    _assert_lean(solid, draft)


def test_a_counter_that_closes_leaves_a_valley():
    """A slot of 0.2 between walls of 20°: it closes 0.1/tan 20° below the top."""
    ring = (
        np.array([[0, 0], [2, 0], [2, 1], [0, 1]], dtype=float),
        np.array([[0.4, 0.4], [0.4, 0.6], [1.6, 0.6], [1.6, 0.4]], dtype=float),
    )
    solid = L.drafted(ring, 0.0, 0.5, math.radians(20), "legend")
    vertices, _, _, _ = arrays_of(solid)
    inner = vertices[(vertices[:, 0] > 0.45) & (vertices[:, 0] < 1.55) & (vertices[:, 2] < 0.49)]
    assert inner[:, 2] == pytest.approx(0.5 - 0.1 / math.tan(math.radians(20)), abs=1e-4)
    assert _closed(solid).genus == 0
    _assert_lean(solid, 20)


def test_repeated_points_are_taken_as_one():
    square = np.array([[0, 0], [0, 0], [2, 0], [2, 2], [2, 2], [0, 2], [0, 0]], dtype=float)
    solid = L.drafted((square,), 0.0, 0.4, math.radians(10), "emblem")
    proof = _closed(solid)
    assert proof.is_closed
    assert proof.volume_mm3 > 1.6


def test_sharp_corners_are_cut_across_not_drawn_out():
    """A 10° point at limit 3 reaches three times the growth, not eleven times; still 15°."""
    half = math.tan(math.radians(5)) * 4
    spike = (np.array([[0, -half], [4, 0], [0, half]], dtype=float),)
    solid = L.drafted(spike, 0.0, 0.3, math.radians(15), "legend", limit=3.0)
    vertices, _, _, _ = arrays_of(solid)
    grown = 0.3 * math.tan(math.radians(15))
    assert vertices[:, 0].max() < 4 + 3 * grown
    _assert_lean(solid, 15)


def test_round_corners_approach_steiner():
    """Fanned corners of a square: volume of the parallel bodies by Steiner's formula."""
    box = (np.array([[0, 0], [2, 0], [2, 2], [0, 2]], dtype=float),)
    solid = L.drafted(box, 0.0, 0.5, math.radians(20), "emblem", facets=math.radians(3))
    g = 0.5 * math.tan(math.radians(20))
    exact = 4 * 0.5 + 8 * g * 0.5 / 2 + math.pi * g**2 * 0.5 / 3
    assert _closed(solid).volume_mm3 == pytest.approx(exact, rel=1e-4)
    _assert_lean(solid, 20)


@settings(max_examples=60, deadline=None)
@example(  # two of its triangles collapse in float32
    [
        (7, 9),
        (11, 2),
        (7, 7),
        (11, 1),
        (7, 10),
        (3, 1),
        (2, 1),
        (9, 10),
        (9, 0),
        (0, 2),
        (4, 11),
        (3, 3),
        (2, 9),
        (8, 8),
    ],
    8,
    1.5,
)
@given(
    st.lists(
        st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=3, max_size=14, unique=True
    ),
    st.sampled_from([8, 15, 30]),
    st.sampled_from([0.2, 0.6, 1.5]),
)
def test_any_outline_of_grid_points_comes_out_closed(points, draft, height):
    """Grid points make everything meet at once: parallel edges, corners on corners."""
    outline = C.cleaned((np.array(points, dtype=float),), "evenodd")
    # Corners that only touch would be one vertex of two parts: no solid has that.
    outline = C.offset(C.offset(outline, -0.03), 0.02)
    if not outline:
        return
    solid = L.drafted(outline, 0.0, height, math.radians(draft), "emblem")
    proof = _closed(solid)
    assert proof.is_closed
    lean, size = _facets(solid)
    assert size[(lean < -1) & (lean > -89)].sum() <= 1e-6 * size.sum()
    grown = height * math.tan(math.radians(draft))
    round_area = C.area(C.offset(outline, grown, "round", tolerance=1e-4))
    assert C.area(sweep(outline, grown).contours) >= round_area * (1 - 1e-4)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=3, max_size=14, unique=True
    )
)
def test_any_outline_closes_to_its_ridges(points):
    """Moving inwards to the end: closed, nowhere deeper than the largest circle inside.

    That circle is shapely's. Planes that run on past an inward corner end sooner; without
    inward corners the ridge lies just at the circle's radius.
    """
    outline = C.cleaned((np.array(points, dtype=float),), "evenodd")
    outline = C.offset(C.offset(outline, -0.03), 0.02)
    if not outline:
        return
    deep = deepest(outline)
    inner = max(
        shapely.maximum_inscribed_circle(Polygon(p[0], p[1:]), tolerance=1e-4).length
        for p in C.components(outline)
    )
    assert deep <= inner + 2e-3
    convex = len(outline) == 1 and Polygon(outline[0]).convex_hull.area < C.area(outline) + 1e-9
    if convex:
        assert deep == pytest.approx(inner, abs=2e-3)
    roof = profiled(outline, 0.0, "legend", up=[(-1.02 * deep, 1.02)], down=[(0.02, 0.2)])
    proof = _closed(roof)
    assert proof.is_closed
    vertices, _, _, _ = arrays_of(roof)
    assert vertices[:, 2].max() == pytest.approx(1.0, abs=1e-3)


def test_wedges_agree_with_the_swept_solid():
    """The way round for outlines that cannot be followed gives the same volume."""
    grown = 0.5 * math.tan(math.radians(10))
    wedged = L.wedged(_HOOK, 0.0, 0.5, grown, "legend", 3.0, 0.0)
    swept = L.drafted(_HOOK, 0.0, 0.5, math.radians(10), "legend")
    assert wedged.manifold.volume() == pytest.approx(swept.manifold.volume(), rel=1e-5)


def test_a_loft_point_by_point_may_stand_upright():
    square = np.array([[0, 0], [2, 0], [2, 2], [0, 2]], dtype=float)
    solid = L.loft([((square,), 0.0), ((square,), 1.0), ((square * 0.5,), 1.5)], "rim")
    assert _closed(solid).volume_mm3 == pytest.approx(4 + 0.5 / 3 * (4 + 2 + 1), rel=1e-6)


def test_a_loft_between_different_outlines_has_no_level_shelf():
    """A square on a circle: every wall facet rises, and the caps have their areas."""
    base = (C.circle(3.0, 0.01),)
    top = (np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], dtype=float),)
    solid = L.loft([(base, 0.0), (top, 1.0)], ["edge", "rim", "field"])
    assert _closed(solid).is_closed
    lean, size = _facets(solid)
    assert size[lean > 89.99].sum() == pytest.approx(4.0, rel=1e-9)
    assert size[lean < -89.99].sum() == pytest.approx(C.area(base), rel=1e-9)
    _, _, code, labels = arrays_of(solid)
    walls = {labels[c].zone for c in code[np.abs(np.abs(lean) - 90) > 0.01]}
    assert walls == {"rim"}


def test_outlines_that_do_not_nest_are_refused():
    a = (C.circle(1.0, 0.01),)
    b = (C.circle(1.0, 0.001, (1.5, 0.0)),)
    with pytest.raises(SolidError, match="inside each other"):
        L.loft([(a, 0.0), (b, 1.0)], "rim")
    with pytest.raises(SolidError, match="rising"):
        L.loft([(a, 1.0), (a, 1.0)], "rim")
