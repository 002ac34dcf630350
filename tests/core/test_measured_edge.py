"""Sizes along the edge, measured on finished pieces by trimesh's cuts and shapely."""

import math

import numpy as np
import pytest
import shapely
from level_cuts import finished, rings_at, widest


def level_cut(mesh, z):
    """Return the outline of the level cut at a height."""
    return rings_at(mesh, z)[0]


@pytest.mark.parametrize("shape", ["lobes", "notches"])
@pytest.mark.parametrize("count", [3, 5, 8, 9, 33])
@pytest.mark.parametrize(("quality", "within"), [("fine", 0.002), ("draft", 0.006)])
def test_a_scalloped_piece_is_as_wide_as_asked_whatever_the_count(shape, count, quality, within):
    blank = {
        "outline": "scalloped", "scallops": count, "scallop_shape": shape, "diameter": 40.0,
        "scallop_depth": 0.5, "corner_radius": 0.3,
    }  # fmt: skip
    _, mesh = finished({"blank": blank}, quality)
    assert widest(level_cut(mesh, 0.0137)) == pytest.approx(40.0, abs=within)


@pytest.mark.parametrize(("depth", "draft"), [(0.2, 10.0), (0.4, 25.0)])
def test_sunk_edge_words_have_their_cap_height_at_the_surface(depth, draft):
    """As sunk words of a face; the floor is narrower by twice the depth and the draft's tangent."""
    text = {"words": "H", "cap_height": 2.0, "depth": depth, "draft": draft, "at": 90.0}
    _, mesh = finished({"blank": {"thickness": 5.0}, "edge": {"text": text}}, "fine")
    # A cut along the middle of the edge's right side, through a stem of the H.
    wide = []
    for under in (0.004, depth - 0.004):
        planes = np.linspace(-0.9, 0.9, 37)
        heights = []
        for y in planes:
            x = math.sqrt((20.0 - under) ** 2 - y * y)
            line = shapely.LineString([(x, -2.2), (x, 2.2)])
            solid = shapely.union_all(rings_at(mesh, y, 1))
            gap = line.difference(solid)
            heights += [part.length for part in getattr(gap, "geoms", [gap]) if not part.is_empty]
        wide.append(max(heights))
    lean = math.tan(math.radians(draft))
    assert wide[0] == pytest.approx(2.0 - 0.008 * lean, abs=0.005)
    assert wide[1] == pytest.approx(2.0 - 2.0 * (depth - 0.004) * lean, abs=0.005)


def test_edge_words_whose_walls_meet_too_soon_are_told():
    """A stroke is no deeper than half of its width over the tangent of the draft."""
    text = {"words": "I", "cap_height": 1.5, "depth": 0.4, "draft": 25.0}
    medal, mesh = finished({"blank": {"thickness": 5.0}, "edge": {"text": text}})
    (told,) = [f for f in medal.findings if f.rule == "shallow-edge-words"]
    low = mesh.vertices[np.abs(mesh.vertices[:, 2]) < 0.9]
    deep = 20.0 - np.hypot(*low[low[:, 1] < -19.0].T[:2]).min()
    assert told.measured == pytest.approx(deep, abs=0.01)
    assert told.measured < 0.4


def reeded_at(mesh, outline):
    """Return the angles, clockwise from the top, at which a middle cut lies inside an outline."""
    cut = level_cut(mesh, 0.0137)
    angle = np.radians(np.arange(0.05, 360.0, 0.1))
    ways = np.column_stack([np.sin(angle), np.cos(angle)])
    rays = shapely.linestrings([[(0.0, 0.0), 100.0 * way] for way in ways])
    short = shapely.length(shapely.intersection(rays, cut))
    return np.degrees(angle[short < shapely.length(shapely.intersection(rays, outline)) - 0.06])


OVAL = shapely.affinity.scale(shapely.Point(0.0, 0.0).buffer(1.0, 256), 20.0, 15.0)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("blank", "outline"),
    [
        ({}, shapely.Point(0.0, 0.0).buffer(20.0, 512)),
        ({"outline": "oval", "diameter": 40.0, "height": 30.0}, OVAL),
    ],
)
@pytest.mark.parametrize("start", [0.0, 100.0, -15.0])
def test_a_pattern_runs_clockwise_from_its_start(blank, outline, start):
    """As places do everywhere: 70 degrees of reeds, 20 plain, 40 of reeds, 50 plain, twice."""
    edge = {"finish": "reeded", "pitch": 0.6, "pattern": "70 20 40 50", "start": start}
    _, mesh = finished({"blank": blank, "edge": edge})
    seen = (reeded_at(mesh, outline) - start) % 180.0
    first, second = seen[seen < 90.0], seen[seen > 80.0]
    # Only whole reeds stand in a section, in its middle: less than one pitch is left at its ends.
    assert 0.0 <= first.min() < 3.0
    assert 67.0 < first.max() <= 70.0
    assert 90.0 <= second.min() < 93.0
    assert 127.0 < second.max() <= 130.0


@pytest.mark.parametrize("slant", [20.0, -20.0])
def test_reeds_slant_clockwise_as_one_looks_at_the_edge(slant):
    """One looks at the right-hand side from +x: +z is up and +y to the right."""
    edge = {"finish": "reeded", "reeds": 60, "slant": slant, "depth": 0.3}
    _, mesh = finished({"edge": edge})
    place = []
    for z in (-0.4, 0.4):
        ring = shapely.get_coordinates(level_cut(mesh, z))
        angle, r = np.degrees(np.arctan2(ring[:, 1], ring[:, 0])), np.hypot(*ring.T)
        near = np.abs(angle - 3.0) < 3.0
        place.append(float(angle[near][np.argmin(r[near])]))
    moved = math.radians(place[1] - place[0]) * 20.0
    assert moved == pytest.approx(0.8 * math.tan(math.radians(slant)), abs=0.06)


@pytest.mark.parametrize("place", [0.0, 90.0, 200.0])
@pytest.mark.parametrize("heads", ["obverse", "reverse"])
def test_edge_words_stand_at_their_place_clockwise_from_the_top(place, heads):
    text = {"words": "HIH", "at": place, "heads": heads, "depth": 0.3}
    _, mesh = finished({"blank": {"thickness": 5.0}, "edge": {"text": text}})
    v = mesh.vertices
    deep = (np.abs(v[:, 2]) < 1.5) & (np.hypot(v[:, 0], v[:, 1]) < 19.75)
    deep &= np.hypot(v[:, 0], v[:, 1]) > 19.0
    off = (np.degrees(np.arctan2(v[deep, 0], v[deep, 1])) - place + 180.0) % 360.0 - 180.0
    assert off.max() == pytest.approx(-off.min(), abs=0.15)
    assert 2.0 < off.max() < 20.0


def reed_distances(mesh, depth):
    """Return the distances between neighbouring reeds along a convex edge, mm."""
    cut = level_cut(mesh, 0.0137)
    hull = cut.convex_hull.exterior
    points = shapely.points(shapely.get_coordinates(cut))
    deep = shapely.distance(hull, points) > 0.9 * depth
    at = np.sort(shapely.line_locate_point(hull, points[deep]))
    gap = np.diff(at, append=at[0] + hull.length)
    ends = np.flatnonzero(gap > 0.3)  # a notch may have several points at its root
    firsts = at[(np.roll(ends, 1) + 1) % len(at)]
    middles = (at[ends] + firsts) / 2.0
    return np.diff(np.append(middles, middles[0] + hull.length))


@pytest.mark.parametrize(
    ("blank", "edge", "even"),
    [
        ({"outline": "constant-width"}, {"reeds": 72}, False),
        ({"outline": "constant-width"}, {"reeds": 70, "width": 0.6}, True),
        ({"outline": "polygon", "sides": 6}, {"reeds": 60, "width": 0.6}, True),
        ({"outline": "polygon", "sides": 6}, {"reeds": 64, "width": 0.9}, False),
        ({}, {"reeds": 72}, True),
    ],
)
def test_reeds_stand_evenly_or_the_distances_are_told(blank, edge, even):
    spec = {"blank": blank, "edge": {"finish": "reeded", "depth": 0.2, **edge}}
    medal, mesh = finished(spec)
    found = reed_distances(mesh, 0.2)
    facts = medal.report["elements"]["blank"]
    assert len(found) == facts["reeds"] == edge["reeds"]
    # A hull passes over the notches by chords, and so is a little shorter than the edge.
    assert found.min() == pytest.approx(facts["pitch_least_mm"], abs=0.03)
    assert found.max() == pytest.approx(facts["pitch_most_mm"], abs=0.03)
    assert found.mean() == pytest.approx(facts["pitch_mm"], abs=0.01)
    assert (np.ptp(found) < 0.03) == even
    assert ("uneven-reeds" in {f.rule for f in medal.findings}) != even
