"""Widths of holes, cores and panels, measured on finished pieces by trimesh's cuts and shapely.

One meaning for `diameter` and `size`: the largest width, but the width of an oval or rectangle,
and the larger side of a drawing.
"""

import math

import numpy as np
import pytest
import shapely
from level_cuts import finished, rings_at, widest

from medalcore import SpecError

SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">{}</svg>'
BAR = '<rect width="30" height="15"/>'
DUMBBELL = '<path d="M0 0 H20 V14 H40 V0 H60 V30 H40 V16 H20 V30 H0 Z"/>'
HEXAGON = {"outline": "polygon", "sides": 6, "diameter": 40.0}
OVAL = {"outline": "oval", "diameter": 40.0, "height": 30.0}


def svg(folder, text):
    """Write a drawing; return its path."""
    (folder / "drawing.svg").write_text(SVG.format(text))
    return str(folder / "drawing.svg")


def rings(blank, quality="fine", z=0.0137, **more):
    """Return a finished piece, and the rings of a level cut, largest first."""
    medal, mesh = finished({"blank": blank, **more}, quality)
    return medal, rings_at(mesh, z)


def sides(polygon, turn=0.0):
    """Return the sides of the box round a polygon turned back by degrees."""
    x1, y1, x2, y2 = shapely.affinity.rotate(polygon, -turn, (0, 0)).bounds
    return x2 - x1, y2 - y1


@pytest.mark.slow
@pytest.mark.parametrize("quality", ["fine", "draft"])
@pytest.mark.parametrize(
    ("blank", "across"),
    [
        ({}, widest),
        (HEXAGON, widest),
        ({**HEXAGON, "corner_radius": 9.0}, widest),
        ({"outline": "polygon", "sides": 5}, widest),
        ({"outline": "constant-width"}, widest),
        ({"outline": "scalloped", "scallops": 7, "turn": 13.0}, widest),
        (OVAL, lambda p: sides(p)[0]),
        ({**OVAL, "turn": 30.0}, lambda p: sides(p, 30.0)[0]),
        ({"outline": "rectangle", "turn": -20.0}, lambda p: sides(p, -20.0)[0]),
    ],
)
def test_a_hole_and_a_core_along_the_outline_are_as_wide_as_asked(blank, across, quality):
    within = 0.003 if quality == "fine" else 0.02
    _, cut = rings({**blank, "hole": {"shape": "outline", "size": 28.0, "rim_width": 0.5}}, quality)
    assert across(cut[1]) == pytest.approx(28.0, abs=within)
    assert across(cut[0]) == pytest.approx(40.0, abs=within)
    _, cut = rings({**blank, "core": {"shape": "outline", "diameter": 24.0}}, quality)
    assert across(cut[2]) == pytest.approx(24.0, abs=within)  # the ring's hole is a hair wider
    # Drawn inwards: everywhere as far from the outline.
    far = cut[0].exterior.distance(shapely.points(shapely.get_coordinates(cut[2])))
    assert np.ptp(far) < 2.0 * within


def test_corners_that_come_of_an_outline_drawn_far_inwards_are_told():
    """The tightest bend of an oval is b²/a (plane geometry), here 11.25 mm."""
    hole = {"shape": "outline", "rim_width": 0.0, "chamfer": 0.0}
    medal, cut = rings({**OVAL, "rim": {"width": 0.0}, "hole": {**hole, "size": 16.0}}, "draft")
    assert "sharp-corners" in {f.rule for f in medal.findings}
    assert sides(cut[1])[0] == pytest.approx(16.0, abs=0.02)
    medal, _ = rings({**OVAL, "rim": {"width": 0.0}, "hole": {**hole, "size": 20.0}}, "draft")
    assert "sharp-corners" not in {f.rule for f in medal.findings}


def test_widths_that_no_outline_drawn_inwards_has_are_refused(tmp_path):
    """A dumbbell's neck closes: what is left comes in two parts."""
    blank = {"outline": "drawing", "drawing": svg(tmp_path, DUMBBELL), "rim": {"width": 0.0}}
    for part, key in (
        ({"hole": {"shape": "outline", "size": 30.0, "rim_width": 0.0}}, "blank.hole.size"),
        ({"core": {"shape": "outline", "diameter": 30.0}}, "blank.core.diameter"),
    ):
        with pytest.raises(SpecError, match="part") as caught:
            rings({**blank, **part}, "draft")
        assert caught.value.key == key


@pytest.mark.parametrize("turn", [0.0, 25.0])
def test_a_drawing_is_as_large_as_its_larger_side_everywhere(turn, tmp_path):
    """A bar of two to one, as the blank, a core and a panel: never its diagonal."""
    bar = {"drawing": svg(tmp_path, BAR), "turn": turn}
    _, cut = rings({"outline": "drawing", "diameter": 36.0, **bar})
    assert sides(cut[0], turn) == pytest.approx((36.0, 18.0), abs=0.002)
    _, cut = rings({"core": {"shape": "drawing", "diameter": 20.0, **bar}})
    assert sides(cut[2], turn) == pytest.approx((20.0, 10.0), abs=0.002)
    panel = {"shape": "drawing", "size": 12.0, "height": -0.3, "slope": 10.0, **bar}
    medal, _ = rings({}, obverse={"field": {"panel": [panel]}})
    field = medal.report["elements"]["blank"]["field_level_mm"][0]
    _, cut = rings({}, z=field - 0.1, obverse={"field": {"panel": [panel]}})
    less = 0.2 * math.tan(math.radians(10.0))  # both walls, 0.1 mm below the field
    assert sides(cut[1], turn) == pytest.approx((12.0 - less, 6.0 - less), abs=0.003)


@pytest.mark.parametrize("corner", [0.0, 0.5])
def test_holes_cores_and_panels_of_one_shape_and_size_are_equal(corner):
    for shape in (
        {"shape": "round"},
        {"shape": "polygon", "sides": 6, "corner_radius": corner},
        {"shape": "polygon", "sides": 5, "corner_radius": corner, "turn": 20.0},
    ):
        _, cut = rings({"hole": {**shape, "size": 12.0}})
        assert widest(cut[1]) == pytest.approx(12.0, abs=0.003)
        _, core = rings({"core": {**shape, "diameter": 12.0}})
        assert shapely.hausdorff_distance(core[2].exterior, cut[1].exterior) < 0.003
    _, cut = rings({"hole": {"shape": "square", "size": 12.0, "corner_radius": corner}})
    assert sides(cut[1]) == pytest.approx((12.0, 12.0), abs=0.002)


@pytest.mark.parametrize(
    ("width", "height", "thick", "told"),
    [
        (24.0, 32.0, 3.0, True),  # 40 mm from corner to corner, but it stands on edge
        (31.0, 15.5, 1.5, True),
        (31.4, 40.0, 3.0, True),  # hypot(31.4, 3.0) = 31.54
        (31.6, 40.0, 3.0, False),  # 31.74
        (28.0, 70.0, 2.0, False),  # deeper than the cylinder
        (36.0, 36.0, 2.0, False),
    ],
)
def test_what_goes_into_the_small_parts_cylinder_is_told(width, height, thick, told):
    """EN 71-1, 16 CFR 1501.4: 31.7 mm wide, its sloped floor 25.4 to 57.1 mm deep.

    A plate on edge across the slope needs the diagonal of width and thickness, by Pythagoras.
    """
    blank = {"outline": "rectangle", "diameter": width, "height": height, "thickness": thick}
    medal, _ = rings({**blank, "corner_radius": 0.0, "chamfer": 0.0}, "draft")
    found = [f for f in medal.findings if f.rule == "small-part"]
    assert bool(found) == told
    assert all(f"{width:.4g} x {height:.4g} x {thick:.4g} mm" in f.message for f in found)


@pytest.mark.parametrize(("diameter", "told"), [(31.6, True), (31.9, False)])
def test_a_round_piece_lies_flat_in_the_small_parts_cylinder(diameter, told):
    medal, _ = rings({"diameter": diameter, "thickness": 3.0}, "draft")
    assert ("small-part" in {f.rule for f in medal.findings}) == told
