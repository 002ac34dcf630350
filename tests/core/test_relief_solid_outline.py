"""The outline: smooth, unshrunk, every pixel centre on its own side."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from shapely.geometry import Point, Polygon
from shapely.prepared import prep

from medalcore.elements.relief.surface.hung_wall import leaning
from medalcore.geometry.silhouette import simplify, trace_silhouette


def disc(radius, n):
    y, x = np.mgrid[:n, :n]
    return np.hypot(x - n / 2 - 0.3, y - n / 2 + 0.2) < radius


@pytest.mark.parametrize("radius", [3, 5, 20, 100, 400])
def test_a_circle_stays_a_circle(radius):
    n = 2 * radius + 20
    outline = trace_silhouette(disc(radius, n))
    x, y = outline.points.T
    off = np.hypot(x - n / 2 - 0.3, -y - n / 2 + 0.2) - radius
    assert np.abs(off).max() < (0.4 if radius < 5 else 0.25)
    assert abs(off.mean()) < (0.2 if radius < 5 else 0.07)


@pytest.mark.parametrize("degrees", [0.3, 1, 5, 22, 37, 44.3, 45])
def test_straight_sides_come_out_straight_and_corners_stay(degrees):
    """A rectangle at any angle; stairs of one pixel would have a deviation of 0.29."""
    n, a = 600, math.radians(degrees)
    y, x = np.mgrid[:n, :n]
    c = n / 2 + 0.13

    def turned(x, y):
        return (x - c) * np.cos(a) + (y - c) * np.sin(a), (y - c) * np.cos(a) - (x - c) * np.sin(a)

    p, q = turned(x, y)
    outline = trace_silhouette((np.abs(p) < 200.2) & (np.abs(q) < 150.3))
    p, q = (np.abs(k) for k in turned(outline.points[:, 0], -outline.points[:, 1]))
    off = np.minimum(np.abs(p - 200.2), np.abs(q - 150.3))
    corner = np.hypot(p - 200.2, q - 150.3)
    assert off[corner > 4].max() < 0.3
    assert off.max() < 0.75
    side = np.abs(q - 150.3)[(p < 190) & (q > 145)]
    assert np.std(side) < 0.06
    assert corner.min() < 0.75
    perimeter = np.linalg.norm(np.diff(outline.points, axis=0, append=outline.points[:1]), axis=1)
    assert perimeter.sum() == pytest.approx(4 * (200.2 + 150.3), rel=0.003)


@given(hnp.arrays(bool, st.tuples(st.integers(1, 12), st.integers(1, 12))))
@settings(max_examples=60, deadline=None)
def test_every_pixel_centre_keeps_its_side(mask):
    """Even-odd count of the loops that hold it, by shapely; loops never cross themselves."""
    outline = trace_silhouette(mask)
    inside = np.zeros(mask.shape, dtype=int)
    for loop in outline.loops:
        polygon = Polygon(loop)
        assert polygon.is_valid
        ready = prep(polygon)
        for r, c in np.ndindex(mask.shape):
            inside[r, c] += ready.contains(Point(c, -r))
    assert np.array_equal(inside % 2 == 1, mask)


def test_outer_loops_run_counter_clockwise_and_holes_clockwise():
    y, x = np.mgrid[:60, :60]
    r = np.hypot(x - 30, y - 30)
    mask = (r < 25) & (r > 9)
    area = trace_silhouette(mask).areas()
    assert sorted(np.sign(area)) == [-1, 1]
    assert area.sum() == pytest.approx(mask.sum(), rel=0.01)


def test_thinning_keeps_within_its_tolerances():
    """Every dropped point lies near the polygon of the kept ones, in the plane and in z."""
    t = np.linspace(0, 2 * np.pi, 4000, endpoint=False)
    points = np.column_stack([300 * np.cos(t), 200 * np.sin(t), 0.3 * np.sin(3 * t)])
    kept = simplify(points, np.array([0, len(t)]), np.array([0.08, 0.004]))
    assert 60 < len(kept) < 400
    z = np.interp(t, np.append(t[kept], 2 * np.pi), np.append(points[kept, 2], points[kept[0], 2]))
    assert np.abs(z - points[:, 2]).max() < 0.02
    ring = Polygon(points[kept, :2]).exterior
    assert max(ring.distance(Point(p)) for p in points[::17, :2]) <= 0.0801


@pytest.mark.parametrize(("radius", "gap"), [(0.3, 0.05), (0.5, 0.02), (0.3, 0.3), (0.05, 0.02)])
def test_a_dot_before_a_long_side_leaves_the_other_walls_alone(radius, gap):
    """Walls of 0.3 mm round a square of 20 mm and a dot before the middle of its upper side."""
    square = np.array([(-10.0, -10.0), (10.0, -10.0), (10.0, 10.0), (-10.0, 10.0)])
    turn = 2 * np.pi * np.arange(10) / 10
    dot = radius * np.column_stack([np.cos(turn), np.sin(turn)]) + (0.0, 10.0 + gap + radius)
    first = np.array([0, 4, 14])
    wall = leaning(np.concatenate([square, dot]), first, np.full(14, 0.3))
    assert wall.reach[:2] == pytest.approx([0.3, 0.3])  # of the lower corners
    one, two = (Polygon(wall.points[a:b]) for a, b in zip(wall.first, wall.first[1:], strict=False))
    assert one.is_valid
    assert two.is_valid
    assert one.disjoint(two)
