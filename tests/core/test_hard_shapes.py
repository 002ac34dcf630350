"""Shapes that once came out wrong or not at all, each with its exact numbers."""

import math

import numpy as np
import pytest
import shapely
import trimesh
from shapely.geometry import Polygon

from medalcore.errors import SolidError, SpecError
from medalcore.geometry import contour as C
from medalcore.geometry import loft as L
from medalcore.geometry.closure import closure, mend
from medalcore.geometry.fill_polygon import fill_loops
from medalcore.geometry.solid import arrays_of
from medalcore.geometry.swept_profile import profiled
from medalcore.piece.build import build
from medalcore.spec import spec_from_dict


def trapezium(y, x):
    """Return the integral of samples by the trapezium rule, under any NumPy."""
    y, x = np.asarray(y), np.asarray(x)
    return float(np.sum((y[1:] + y[:-1]) / 2.0 * np.diff(x)))


def _built(blank, edge=None, obverse=None, reverse=None):
    """Build at draft; the mesh is one watertight body for another library, too."""
    spec = {"blank": blank, "edge": edge or {}, "obverse": obverse or {}, "reverse": reverse or {}}
    medal = build(spec_from_dict(spec), "draft")
    mesh = trimesh.Trimesh(medal.vertices, medal.triangles, process=True)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(medal.volume_mm3, rel=1e-9)
    return medal, mesh


_THIN_WORDS = {
    "all strokes nearly alike": {
        "text": "HONOUR ET PATRIE", "font": "sans-bold", "cap_height": 1.86, "work": "sunk",
        "depth": 0.2417, "section": "rounded", "draft": 0.0,
    },
    "hairlines": {
        "text": "HONOUR ET PATRIE", "font": "sans-extralight", "cap_height": 0.7474,
        "height": 0.1216, "section": "rounded",
    },
    "an upright start": {
        "text": "MCMXCIX\nII\n1926", "font": "serif-bold", "cap_height": 0.8383,
        "height": 0.09669, "section": "rounded", "draft": 1.0,
    },
}  # fmt: skip


@pytest.mark.parametrize("words", _THIN_WORDS.values(), ids=_THIN_WORDS)
def test_rounded_letters_are_followed_to_their_end(words):
    _built({"diameter": 30.0, "thickness": 3.0}, obverse={"inscription": [words]})


_E = np.array([
    [0.473, 0.123], [-0.473, 0.123], [-0.473, 1.737], [0.4445, 1.737], [0.4445, 1.6295],
    [-0.3001, 1.6295], [-0.3001, 1.0093], [0.3332, 1.0093], [0.3332, 0.9049], [-0.3001, 0.9049],
    [-0.3001, 0.2305], [0.473, 0.2305],
])[::-1]  # fmt: skip


@pytest.mark.parametrize("last", [0.047, 0.0524, 0.0537, 0.06, 0.0862, 0.0866])
def test_a_stepped_wall_holds_what_offsets_hold(last):
    """An E whose strokes close one after the other: shapely's offsets, step by step.

    Between stops areas change as parts close, so the sum is taken over many thin layers.
    """
    shape = Polygon(_E)
    steps = [(-0.02, 0.08), (-0.015, 0.04), (-(last - 0.035), 0.03)]
    solid = profiled((_E,), 0.0, "legend", up=steps, down=[(0.0, 0.1)])
    vertices, triangles, _, _ = arrays_of(solid)
    proof = closure(vertices, triangles)
    assert proof.is_closed
    knots = np.cumsum([(0.0, 0.0), *steps], axis=0)
    z = np.linspace(0.0, knots[-1, 1], 4001)
    inset = -np.interp(z, knots[:, 1], knots[:, 0])
    area = [shape.buffer(-d, join_style="mitre", mitre_limit=1e6).area for d in inset]
    expected = trapezium(area, z) + 0.1 * shape.area
    assert proof.volume_mm3 == pytest.approx(expected, rel=2e-5)


@pytest.mark.parametrize("draft", [0.0, 8.0, 25.0])
def test_a_counter_that_touches_the_outline_comes_apart(draft):
    """As in the ¾ of a typeface: the hole's corner lies on a corner of the outline."""
    outer = np.array([[0, 0], [2, 0], [2, 0.9], [1.6, 1], [2, 1.1], [2, 2], [0, 2]], dtype=float)
    hole = np.array([[1.6, 1], [1.1, 0.7], [0.6, 1], [1.1, 1.3]], dtype=float)
    solid = L.drafted((outer, hole), -0.1, 0.2, math.radians(draft), "inscription")
    vertices, triangles, _, _ = arrays_of(solid)
    proof = closure(vertices, triangles)
    assert proof.is_closed
    assert proof.bodies == 1
    shape = shapely.Polygon(outer) - shapely.Polygon(hole)
    z = np.linspace(0.0, 0.3, 601)
    lean = math.tan(math.radians(draft))
    area = [shape.buffer(d * lean, join_style="mitre", mitre_limit=3).area for d in z]
    assert proof.volume_mm3 == pytest.approx(trapezium(area, z), rel=2e-3)


def test_corners_that_touch_are_found_wherever_they_lie():
    for shift in np.linspace(0.0, 4e-5, 21):
        square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=float) + shift
        pair = (square, square + 1.0 + 1e-7)
        apart = C.unpinched(pair)
        assert shapely.distance(*(Polygon(c) for c in apart)) > 2e-4
        assert C.unpinched((square, square + 1.0 + 1e-3))[0] is square


@pytest.mark.parametrize("count", [3, 12, 40])
def test_a_row_of_flat_triangles_is_mended(count):
    """One side of a slit has one edge, the other many, and a fan without area joins them."""
    x = np.linspace(0.0, 1.0, count)
    row = np.column_stack([x, np.zeros(count), np.zeros(count)])
    points = np.vstack([row, [[0.5, 1.0, 0.0], [0.5, 0.5, 1.0]]])
    front, top = count, count + 1
    i = np.arange(count - 1)
    long_side = [[0, front, count - 1]]
    many = np.column_stack([i, i + 1, np.full(count - 1, top)])
    # Fanned from every second corner back to the ends: neighbours are without area, too.
    fan, left, right = [], 0, count - 1
    while right - left > 1:
        step = (left, left + 1) if (right - left) % 2 else (right - 1, right)
        inner = step[1] if step[0] == left else step[0]
        fan.append([left, right, inner])
        left, right = (inner, right) if step[0] == left else (left, inner)
    rest = [[0, top, front], [count - 1, front, top]]
    triangles = np.array([*long_side, *many.tolist(), *fan, *rest])
    before = closure(points, triangles)
    assert before.bad_edges == 0
    assert before.flat == count - 2
    after = closure(*mend(points, triangles, np.zeros(len(triangles), dtype=np.int64))[:2])
    assert after.is_closed
    assert after.volume_mm3 == pytest.approx(1.0 / 6.0)


_FOLDED = {
    "heptagon": (
        {"diameter": 59.69, "thickness": 1.885, "outline": "polygon", "chamfer": 0.09425},
        {"finish": "reeded", "reeds": 150, "profile": "square", "depth": 0.3083,
         "corner_radius": 0.02},
        {"field": {"circle": [{"radius": 21.38, "width": 1.791, "height": -0.113}]},
         "rim": {"width": 0.0}},
    ),
    "scallops": (
        {"diameter": 15.08, "thickness": 1.188, "outline": "scalloped", "scallops": 3,
         "scallop_depth": 0.3047, "chamfer": 0.0, "rim": {"width": 0.0}},
        {"finish": "reeded", "reeds": 119, "profile": "round", "depth": 0.1211,
         "pattern": "60 60"},
        {"field": {"circle": [{"radius": 3.23, "width": 0.0, "height": -0.08799}]}},
    ),
    "with a hole": (
        {"diameter": 40.0, "thickness": 2.0, "outline": "polygon", "chamfer": 0.0,
         "hole": {"shape": "round", "size": 6.0}, "rim": {"width": 0.0}},
        {"finish": "reeded", "reeds": 60, "profile": "round", "depth": 0.6},
        {"field": {"circle": [{"radius": 9.0, "width": 1.0, "height": 0.1}]}},
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", _FOLDED.values(), ids=_FOLDED)
def test_reeds_that_run_into_a_field_do_not_fold_it(case):
    """No part of a face looks the other way; what looks up covers the piece's own shadow."""
    blank, edge, face = case
    _, mesh = _built(blank, edge, obverse=face, reverse=face)
    flat = mesh.area_faces * mesh.face_normals[:, 2]
    middle = mesh.triangles_center[:, 2]
    assert flat[middle > 0.1].min() > -1e-9
    assert flat[middle < -0.1].max() < 1e-9
    loops = [np.asarray(p)[:, :2] for p in mesh.section([0, 0, 1], [0, 0, 0]).discrete]
    shadow = shapely.make_valid(shapely.Polygon())
    for loop in sorted(loops, key=lambda p: -Polygon(p).area):
        shadow = shadow.symmetric_difference(Polygon(loop))
    assert flat[middle > 0.1].sum() == pytest.approx(shadow.area, rel=1e-6)


def test_outlines_that_cross_are_no_face():
    square = np.array([[0, 0], [2, 0], [2, 2], [0, 2]], dtype=float)
    points = np.vstack([square, [[1, 1], [3, 1], [3, 3], [1, 3]]])
    with pytest.raises(SolidError, match="cross each other"):
        fill_loops(points, [np.arange(4), np.arange(4, 8)[::-1]])


def test_reeds_do_not_run_into_a_circle():
    blank, edge, face = _FOLDED["heptagon"]
    circle = {"radius": 27.3, "width": 1.0, "height": -0.1}
    with pytest.raises(SpecError, match="largest circle of the obverse reaches") as refused:
        _built(blank, edge | {"depth": 0.6}, obverse=face | {"field": {"circle": [circle]}})
    assert refused.value.key == "edge.depth"


def test_steps_of_a_rim_do_not_run_past_each_other():
    """Walls of 60° and 0.0645 mm run out 0.112 mm; the step has 0.0537 mm: at most 39°."""
    blank = {"outline": "oval", "diameter": 10.75, "height": 13.43, "thickness": 0.8272,
             "chamfer": 0.0, "rim": {"width": 0.1075, "height": 0.129, "section": "stepped",
                                     "slope": 60.0}}  # fmt: skip
    with pytest.raises(SpecError, match="at most 39 degrees") as refused:
        _built(blank)
    assert refused.value.key == "blank.rim.slope"
    blank["rim"]["slope"] = 39.0
    _built(blank)
