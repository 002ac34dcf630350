"""Drawings whose corners are rounded, measured on finished pieces.

Against shapely's buffers with round joins (shrunk and grown, and the other way round), and
circles fitted to the points of each corner by least squares.
"""

import numpy as np
import pytest
import shapely
from level_cuts import finished, rings_at
from numpy.linalg import lstsq

from medalcore import SpecError

SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100"><path d="{}"/></svg>'
PLAIN = {"thickness": 2.0, "chamfer": 0.0, "rim": {"width": 0.0}, "round_corners": True}
ARM = np.pi / 5.0 * np.arange(10)
STAR = (
    np.column_stack([np.sin(ARM), np.cos(ARM)]) * np.where(np.arange(10) % 2, 20.0, 44.0)[:, None]
)
SHAPES = {
    "star": STAR,
    "shield": np.array([[0, 0], [70, 0], [70, 40], [35, 90], [0, 40]]),
    "concave L": np.array([[0, 0], [25, 0], [25, 60], [70, 60], [70, 90], [0, 90]]),
}


def path(points):
    """Return a closed path of an SVG file."""
    return "M" + " L".join(f"{x!r} {y!r}" for x, y in points.tolist()) + " Z"


def drawn(folder, *shapes, **more):
    """Return the blank of a drawing."""
    (folder / "drawing.svg").write_text(SVG.format(" ".join(path(s) for s in shapes)))
    name = str(folder / "drawing.svg")
    return {**PLAIN, "outline": "drawing", "diameter": 36.0, "drawing": name, **more}


def cut(blank, quality="fine", z=0.0137, **more):
    """Return the rings of a level cut through a finished piece, largest first."""
    _, mesh = finished({"blank": blank, **more}, quality)
    assert mesh.is_watertight
    return rings_at(mesh, z)


def side(polygon):
    """Return the larger side of the box round a polygon."""
    x1, y1, x2, y2 = polygon.bounds
    return max(x2 - x1, y2 - y1)


def middle_out(polygon):
    """Return a polygon with the middle of its box in the origin."""
    x1, y1, x2, y2 = polygon.bounds
    return shapely.affinity.translate(polygon, -(x1 + x2) / 2.0, -(y1 + y2) / 2.0)


def reference(points, radius, size):
    """Round sharp corners by shapely, and scale until the larger side is as asked.

    Each way starts from the sharp drawing: shapely thins the chords of arcs by 1 % of the
    distance before it grows them, and mitres keep outward corners sharp that it shrinks again.
    """
    whole, sharp = middle_out(shapely.Polygon(points * (1.0, -1.0))), {"join_style": "mitre"}
    for _ in range(20):
        inner = whole.buffer(-radius, quad_segs=400).buffer(radius, quad_segs=400)
        more = size / side(inner)
        if abs(more - 1.0) < 1e-7:
            break
        whole = shapely.affinity.scale(whole, more, more, origin=(0.0, 0.0))
    outer = whole.buffer(radius, mitre_limit=50, **sharp).buffer(-radius, quad_segs=400)
    fillets = shapely.get_parts(outer.difference(whole, grid_size=1e-6))
    made = shapely.union_all([inner, *(p.buffer(1e-5) for p in fillets)])
    return middle_out(shapely.Polygon(made.exterior))  # thinned chords leave slits by the fillets


def corners(polygon, radius):
    """Return the radius of every rounded corner, below 0 for inward ones."""
    points = shapely.get_coordinates(shapely.geometry.polygon.orient(polygon))[:-1]
    edge = np.roll(points, -1, axis=0) - points
    short = np.hypot(*edge.T) < 0.3 * radius
    points, short = (np.roll(a, -int(np.argmin(short)), axis=0) for a in (points, short))
    found = []
    for first in np.flatnonzero(short & ~np.roll(short, 1)):
        after = first + int(np.argmin(short[first:])) if not short[first:].all() else len(points)
        arc = points[np.arange(first, after + 1) % len(points)]
        (x, y, c), *_ = lstsq(np.column_stack([2.0 * arc, np.ones(len(arc))]), np.sum(arc**2, 1))
        way, turn = arc[1] - arc[0], arc[-1] - arc[-2]
        sign = np.sign(way[0] * turn[1] - way[1] * turn[0])
        found.append(float(sign * np.sqrt(c + x * x + y * y)))
    return found


@pytest.mark.parametrize(("shape", "outward"), [("star", 5), ("shield", 5), ("concave L", 5)])
@pytest.mark.parametrize("radius", [0.6, 2.0])
def test_corners_of_a_drawing_have_the_radius_asked(shape, outward, radius, tmp_path):
    points = SHAPES[shape]
    made = cut(drawn(tmp_path, points, corner_radius=radius))[0]
    assert side(made) == pytest.approx(36.0, abs=1e-5)
    found = corners(made, radius)
    assert len(found) == len(points)
    assert sum(r > 0.0 for r in found) == outward
    assert np.abs(found) == pytest.approx(radius, abs=0.02)
    assert shapely.hausdorff_distance(middle_out(made), reference(points, radius, 36.0)) < 0.002


def test_corners_of_holes_in_a_drawing_are_rounded_too(tmp_path):
    """A square window, whose area is its square's less (4 − π)r² (plane geometry)."""
    window = np.array([[20, 20], [20, 50], [50, 50], [50, 20.0]])
    blank = drawn(tmp_path, np.array([[0, 0], [72, 0], [72, 72], [0, 72]]), window)
    outer, hole = cut({**blank, "corner_radius": 1.5}, "draft")
    assert side(outer) == pytest.approx(36.0, abs=1e-5)
    assert hole.area == pytest.approx(15.0**2 - (4.0 - np.pi) * 1.5**2, rel=1e-3)


def test_cores_and_panels_round_their_drawings(tmp_path):
    blank = drawn(tmp_path, SHAPES["concave L"])
    own = {"shape": "drawing", "drawing": blank["drawing"], "round_corners": True}
    expected = reference(SHAPES["concave L"], 1.2, 20.0)
    parts = cut({"core": {**own, "diameter": 20.0, "corner_radius": 1.2}}, "draft")
    assert shapely.hausdorff_distance(middle_out(parts[2]), expected) < 0.01
    panel = {**own, "size": 20.0, "corner_radius": 1.2, "height": -0.4, "slope": 1.0}
    face = {"field": {"panel": [panel]}}
    _, well = cut({"thickness": 3.0, "rim": {"height": 0.2}}, "draft", 1.27, obverse=face)
    assert shapely.hausdorff_distance(middle_out(well), expected) < 0.02  # 1 degree of draft
    assert len(corners(well, 1.2)) == 6


@pytest.mark.parametrize(
    ("shape", "radius"),
    [
        ("M0 0 H70 V40 H41 V60 H33 V40 H0 Z", 3.0),  # the tab is rounded away
        ("M0 0 H33 V30 H41 V0 H70 V40 H0 Z", 3.0),  # the slot is filled
        ("M0 0 H70 V70 H0 Z M30 30 H36 V36 H30 Z", 2.5),  # the window is filled
        ("M0 0 H30 V14 H40 V0 H70 V40 H40 V18 H30 V40 H0 Z", 2.0),  # the neck parts
    ],
)
def test_a_radius_that_does_not_fit_is_refused_and_what_is_told_fits(shape, radius, tmp_path):
    blank = drawn(tmp_path, corner_radius=radius)
    (tmp_path / "drawing.svg").write_text(SVG.format(shape))
    with pytest.raises(SpecError, match="at most") as caught:
        cut(blank, "draft")
    assert caught.value.key == "blank.corner_radius"
    most = float(str(caught.value).rpartition("at most ")[2].split()[0])
    assert 0.5 < most < radius
    assert side(cut({**blank, "corner_radius": most}, "draft")[0]) == pytest.approx(36.0, abs=1e-5)


def test_a_core_is_told_by_its_own_key(tmp_path):
    blank = drawn(tmp_path, STAR)
    core = {"shape": "drawing", "drawing": blank["drawing"], "diameter": 20.0,
            "round_corners": True, "corner_radius": 9.0}  # fmt: skip
    with pytest.raises(SpecError, match="do not fit") as caught:
        cut({"core": core}, "draft")
    assert caught.value.key == "blank.core.corner_radius"


def test_corners_stay_as_drawn_unless_asked(tmp_path):
    """The corner radius of a drawing counts only where it is to round it; see its condition."""
    sharp = cut({**drawn(tmp_path, STAR), "round_corners": False}, "draft")[0]
    assert len(shapely.get_coordinates(sharp.simplify(1e-4))) == 11
    with pytest.raises(SpecError, match=r"blank\.corner_radius: has no effect .*round_corners"):
        cut({**drawn(tmp_path, STAR), "round_corners": False, "corner_radius": 2.0}, "draft")
