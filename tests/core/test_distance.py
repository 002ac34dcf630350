"""Distances from edges and outlines, against shapely's."""

import numpy as np
import pytest
import shapely

from medalcore.geometry import distance

# One of its edges has no length.
RING = np.array([(0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (4.0, 3.0), (1.0, 5.0)])
HOLE = np.array([(1.0, 1.0), (1.0, 2.0), (2.0, 1.5)])


@pytest.mark.parametrize("at_once", [7, 1_000_000])
def test_points_from_outlines(monkeypatch, at_once):
    monkeypatch.setattr(distance, "_AT_ONCE", at_once)
    points = np.random.default_rng(3).uniform(-2.0, 7.0, (200, 2))
    lines = shapely.MultiLineString([shapely.LinearRing(c) for c in (RING, HOLE)])
    wanted = shapely.distance(lines, shapely.points(points))
    assert distance.to_contours(points, (RING, HOLE)) == pytest.approx(wanted, abs=1e-12)


def test_where_on_an_edge_a_point_is_nearest():
    """Before its start, on it, past its stop, and an edge that is a point."""
    points = np.array([(-3.0, 4.0), (1.0, 2.0), (5.0, 4.0), (3.0, 4.0)])
    starts, stops = np.zeros((4, 2)), np.array([(2.0, 0.0)] * 3 + [(0.0, 0.0)])
    far, share = distance.to_edges(points, starts, stops)
    assert far == pytest.approx([5.0, 2.0, 5.0, 5.0])
    assert share == pytest.approx([0.0, 0.5, 1.0, 0.0])


def test_nothing_is_infinitely_far():
    assert distance.to_contours(np.zeros((2, 2)), ()).tolist() == [np.inf, np.inf]
    assert distance.from_origin((RING + 3.0,)) == pytest.approx(np.hypot(3.0, 3.0))
