"""Borders on pieces that are not round: they follow the outline, checked against shapely."""

import math

import numpy as np
import pytest
import shapely

from medalcore.context.element import Context
from medalcore.context.ground import Ground
from medalcore.context.tolerance import tolerance_for
from medalcore.elements.border import build_border
from medalcore.elements.border.path import inwards
from medalcore.errors import SpecError
from medalcore.geometry.closure import closure
from medalcore.geometry.solid import arrays_of
from medalcore.piece.build import build
from medalcore.spec import Border, spec_from_dict

KINDS = ["beads", "denticles", "rope", "line"]


def ground_of(points, dish=0.0):
    """Return a ground with an outline."""
    radius = float(shapely.Polygon(points).exterior.distance(shapely.Point(0, 0)))
    return Ground(1.2, radius, dish, -1.0, (tuple(map(tuple, points.tolist())),))


def oval(a=20.0, b=14.0, n=720):
    t = 2 * np.pi * np.arange(n) / n
    return np.column_stack([a * np.cos(t), b * np.sin(t)])


def polygon(n, r=18.0):
    t = 2 * np.pi * (np.arange(n) + 0.5) / n - np.pi / 2
    return r * np.column_stack([np.cos(t), np.sin(t)])


OUTLINES = {"oval": oval(), "square": polygon(4), "heptagon": polygon(7)}


def made(points, quality="fine", dish=0.0, **keys):
    context = Context(ground_of(points, dish), tolerance_for(quality))
    built = build_border(Border(**keys), context)
    vertices, triangles, _, _ = arrays_of(built.parts[0].solid)
    return vertices, triangles, built.facts, context.ground


@pytest.mark.parametrize("gap", [0.0, 90.0])
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", OUTLINES)
def test_closed_inside_the_field_and_without_undercut(name, kind, gap):
    """Every border stays its offset inside the outline and leans as asked."""
    points = OUTLINES[name]
    vertices, triangles, _, ground = made(
        points, kind=kind, gap=gap, offset=0.4, draft=8.0, size=0.8, height=0.25
    )
    assert closure(vertices, triangles).is_closed
    free = shapely.Polygon(points).buffer(-0.4 + 0.004, join_style="mitre")
    at_field = vertices[vertices[:, 2] > ground.level + 1e-9][:, :2]
    assert shapely.contains_xy(free, *at_field.T).all()
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    stands = (a + b + c)[:, 2] / 3 > ground.level
    assert np.degrees(np.arcsin(normal[stands, 2].min())) >= 7.9


def test_beads_follow_the_outline_evenly():
    """On an oval every bead lies equally far inside the rim and from its neighbours."""
    vertices, _, facts, ground = made(oval(), kind="beads", count=90, size=0.8, offset=0.3)
    tops = vertices[vertices[:, 2] > vertices[:, 2].max() - 1e-9][:, :2]
    assert len(tops) == 90
    rim = shapely.Polygon(ground.outline[0]).exterior
    inside = shapely.distance(shapely.points(tops), rim)
    assert inside == pytest.approx(np.full(90, 0.7), abs=0.004)
    order = tops[np.argsort(np.arctan2(tops[:, 1] / 13.3, tops[:, 0] / 19.3))]
    step = np.linalg.norm(order - np.roll(order, 1, axis=0), axis=1)
    assert step == pytest.approx(np.full(90, facts["pitch_mm"]), rel=0.002)
    inner = shapely.Polygon(ground.outline[0]).buffer(-0.7, quad_segs=64)
    assert facts["length_mm"] == pytest.approx(inner.length, rel=1e-3)


@pytest.mark.parametrize("name", OUTLINES)
def test_path_is_the_outline_drawn_inwards(name):
    """An offset in and out again rounds corners and nothing else: as shapely's buffers do."""
    points = OUTLINES[name]
    line = inwards((points,), 1.0, 0.8, 0.001)
    theirs = shapely.Polygon(points).buffer(-1.8, quad_segs=256).buffer(0.8, quad_segs=256)
    ours = shapely.Polygon(line.points)
    assert ours.symmetric_difference(theirs).area < 0.002 * theirs.length
    assert line.length == pytest.approx(theirs.length, rel=2e-4)
    assert np.sum(line.outward**2, axis=1) == pytest.approx(np.ones(len(line.points)))
    assert line.at(np.array(0.0))[0] == pytest.approx((0.0, line.points[:, 1].max()), abs=1e-3)


@pytest.mark.parametrize("angle", [0.0, 1.0, 3.0, 5.5, -0.7, 7.0])
def test_lengths_towards_an_angle(angle):
    """The place at the length towards an angle is seen at that angle, clockwise from the top."""
    line = inwards((oval(),), 1.0, 0.5, 0.001)
    (x, y), _ = line.at(np.array(line.towards(angle)))
    assert math.remainder(math.atan2(x, y) - angle, 2 * math.pi) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "blank",
    [
        {"outline": "oval"},
        {"outline": "polygon"},
        {"outline": "scalloped"},
        {"outline": "constant-width"},
    ],
)
def test_whole_pieces_close(blank, kind):
    """On every outline the piece is one closed body without undercut."""
    face = {"border": [{"kind": kind, "gap": 40.0}], "field": {"dish": 0.15}}
    medal = build(spec_from_dict({"blank": blank, "obverse": face, "reverse": face}), "draft")
    assert medal.is_closed
    assert not [f for f in medal.findings if f.severity == "error"]


def test_border_wider_than_the_field_is_said():
    """The key is named where nothing fits."""
    with pytest.raises(SpecError) as caught:
        made(oval(20.0, 3.0), kind="beads", size=5.0, height=0.5, offset=1.0)
    assert caught.value.key == "offset"


@pytest.mark.parametrize(
    ("diameter", "rope"),
    [
        (25.4, {"offset": 1.0, "draft": 20.0}),
        (90.0, {"offset": 0.3, "draft": 0.0, "count": 15, "gap": 159.4, "gap_at": 217.8}),
    ],
)
def test_rope_round_tight_corners_does_not_fold(diameter, rope):
    """Wide feet and few strands still turn a corner without hanging over."""
    blank = {"outline": "polygon", "diameter": diameter, "thickness": 0.09 * diameter}
    spec = spec_from_dict({"blank": blank, "obverse": {"border": [{"kind": "rope", **rope}]}})
    assert not [f for f in build(spec, "draft").findings if f.severity == "error"]


@pytest.mark.parametrize("gap", [0.0, 60.0])
def test_parallel_lines_stay_apart_all_round(gap):
    """Three lines on a heptagon are three bodies, each as long as its own distance makes it."""
    vertices, triangles, facts, _ = made(
        OUTLINES["heptagon"], kind="line", lines=3, size=0.45, gap=gap, draft=0.0
    )
    proof = closure(vertices, triangles)
    assert proof.is_closed
    assert proof.bodies == 3
    expected = 3 * 0.45 * facts["length_mm"] * (vertices[:, 2].max() - vertices[:, 2].min())
    assert proof.volume_mm3 == pytest.approx(expected, rel=0.003)
