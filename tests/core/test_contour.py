"""Plane outlines, against shapely (general-purpose library) and plane geometry."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon
from shapely.ops import unary_union

from medalcore.geometry import contour as C

_SQUARE = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]])
_HOLE = np.array([[1.0, 1.0], [1.0, 2.0], [2.0, 2.0], [2.0, 1.0]])


def _shape(contours):
    """Return contours as shapely sees them: outer ones less holes."""
    outer = unary_union([Polygon(c) for c in contours if C.signed_area(c) > 0])
    holes = [Polygon(c) for c in contours if C.signed_area(c) < 0]
    return outer.difference(unary_union(holes)) if holes else outer


def test_area_length_and_bounds_of_a_plate_with_a_window():
    plate = (_SQUARE, _HOLE)
    assert C.area(plate) == pytest.approx(11.0)
    assert C.length(plate) == pytest.approx(18.0)
    assert C.bounds(plate).tolist() == [[0.0, 0.0], [4.0, 3.0]]


def test_cleaning_unites_overlaps_whichever_way_they_run():
    """Two overlapping plates, as TrueType (clockwise) or PostScript fonts draw them."""
    for turn in (1, -1):
        (joined,) = C.cleaned((_SQUARE[::turn], (_SQUARE + np.array([2.0, 1.0]))[::turn]))
        assert C.signed_area(joined) == pytest.approx(12 + 12 - 4)
        assert Polygon(joined).is_valid


def test_even_odd_leaves_a_hole_where_parts_overlap():
    inner = np.array([[1.0, 1.0], [2.0, 1.0], [2.0, 2.0], [1.0, 2.0]])
    assert C.area(C.cleaned((_SQUARE, inner), "evenodd")) == pytest.approx(11.0)
    assert C.area(C.cleaned((_SQUARE, inner), "nonzero")) == pytest.approx(12.0)


@pytest.mark.parametrize(("join", "style"), [("mitre", "mitre"), ("round", "round")])
@pytest.mark.parametrize("distance", [0.2, -0.2])
def test_offsets_agree_with_shapely(join, style, distance):
    plate = (_SQUARE, _HOLE)
    ours = C.offset(plate, distance, join, tolerance=1e-4)
    theirs = _shape(plate).buffer(distance, join_style=style, quad_segs=400, mitre_limit=4)
    assert C.area(ours) == pytest.approx(theirs.area, rel=2e-5)


def test_round_offset_of_a_convex_outline_obeys_steiner():
    """Area of a parallel body: A + L·d + π·d² (Steiner's formula for convex bodies)."""
    for sides in (3, 5, 8):
        angle = 2 * np.pi * np.arange(sides) / sides
        body = (np.column_stack([np.cos(angle), np.sin(angle)]) * 3.0,)
        grown = C.offset(body, 0.4, "round", tolerance=1e-5)
        steiner = C.area(body) + C.length(body) * 0.4 + math.pi * 0.4**2
        assert C.area(grown) == pytest.approx(steiner, rel=1e-5)


def test_a_circle_has_its_true_area():
    c = C.circle(7.0, 0.01, (1.0, 2.0))
    assert C.signed_area(c) == pytest.approx(math.pi * 49.0, rel=1e-12)
    off = np.abs(np.hypot(*(c - [1.0, 2.0]).T) - 7.0)
    assert off.max() < 0.01


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(-3, 3), min_size=8, max_size=8), st.sampled_from([0.01, 0.002]))
def test_curves_are_as_fine_as_asked(values, tolerance):
    """No point of a Bézier curve lies further from its chords than the tolerance."""
    p = np.array(values).reshape(4, 2)
    t = np.linspace(0, 1, 500)[:, None]
    for found, true in (
        (C.cubic(*p, tolerance), (1 - t) ** 3 * p[0] + 3 * (1 - t) ** 2 * t * p[1]
         + 3 * (1 - t) * t**2 * p[2] + t**3 * p[3]),
        (C.quadratic(*p[:3], tolerance),
         (1 - t) ** 2 * p[0] + 2 * (1 - t) * t * p[1] + t**2 * p[2]),
    ):  # fmt: skip
        a = np.vstack([p[:1], found[:-1]])
        step = found - a
        size = np.maximum(np.sum(step**2, axis=1), 1e-300)
        along = np.clip(np.sum((true[:, None] - a) * step, axis=2) / size, 0, 1)
        nearest = np.hypot(*np.moveaxis(true[:, None] - a - along[..., None] * step, 2, 0))
        assert nearest.min(axis=1).max() <= tolerance * 1.0001


def test_finer_curves_have_more_chords_by_the_square_root():
    """Chords grow with 1/√tolerance: flattening is by tolerance, not by count."""
    p = np.array([[0.0, 0.0], [0.0, 2.0], [2.0, 2.0], [2.0, 0.0]])
    coarse, fine = len(C.cubic(*p, 0.02)), len(C.cubic(*p, 0.0002))
    assert fine / coarse == pytest.approx(10, rel=0.15)


def test_inside_agrees_with_shapely():
    rng = np.random.default_rng(5)
    points = rng.uniform(-1, 5, (400, 2))
    shape = _shape((_SQUARE, _HOLE))
    expected = [shape.contains(Point(p)) for p in points]
    assert C.inside((_SQUARE, _HOLE), points).tolist() == expected


def test_along_a_closed_line_comes_round():
    places, directions = C.along(_SQUARE, np.array([0.0, 2.0, 5.5, 14.0, 16.0]))
    assert places == pytest.approx(np.array([[0, 0], [2, 0], [4, 1.5], [0, 0], [2, 0]]))
    assert directions[2] == pytest.approx([0.0, 1.0])


def test_mirroring_keeps_outer_outlines_counter_clockwise():
    flipped = C.moved((_SQUARE, _HOLE), np.array([[-1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]))
    assert [C.signed_area(c) > 0 for c in flipped] == [True, False]


def test_components_keep_their_holes():
    far = _SQUARE + np.array([10.0, 0.0])
    parts = C.components((_SQUARE, _HOLE, far))
    assert sorted(len(p) for p in parts) == [1, 2]


def test_points_that_float32_could_not_tell_apart_become_one():
    """Micro edges go, in runs and at the seam; the outline stays within their length."""
    near = np.array([[0, 0], [1e-5, 0], [2e-5, 0], [2, 0], [2, 2], [2, 2], [0, 2], [0, 1e-6]])
    (kept,) = C.distinct((near,))
    assert len(kept) == 4
    assert C.signed_area(kept) == pytest.approx(4.0, abs=2e-4)
    assert C.distinct((np.zeros((5, 2)),)) == ()
