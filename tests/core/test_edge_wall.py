"""The wall of reeds, slants and grooves: level cuts against the lesser of the two sections."""

import dataclasses
import itertools
import math

import numpy as np
import pytest
import shapely
from counting import counted
from edge_cuts import made, slice_at

from medalcore.context.tolerance import tolerance_for
from medalcore.elements.blank.blank_mesh import can_run
from medalcore.elements.blank.plan import planned
from medalcore.elements.blank.polygon_edge import polygon_edge
from medalcore.elements.edge import notches_on, reeded_circle
from medalcore.geometry.closure import closure

MICRON = 0.001
FINE = tolerance_for("fine")
RADIUS = 15.0
HALF = 1.5


def expected(spec, z):
    """Return what a level cut should show: the reeded outline inside the circle of the section.

    The section's radius is read off its corners, the outline turned by the slant; shapely
    (a general-purpose library) brings them together.
    """
    plan = planned(spec, FINE)
    broken = [s for s in plan.faces[0].outer if s.zone == "edge"]
    corners = [(-s.z, s.inset) for s in broken[::-1]]
    corners += [(s.z, s.inset) for s in plan.wall[::-1]]
    corners += [(s.z, s.inset) for s in broken]
    at, inset = np.array(corners).T
    turn = np.linspace(0.0, 2.0 * np.pi, 4001)[:-1]
    shape = shapely.Polygon(
        (RADIUS - np.interp(z, at, inset)) * np.column_stack([np.cos(turn), np.sin(turn)])
    )
    if plan.reeding:
        r, angle = reeded_circle(plan.reeding, RADIUS, 2e-3)
        angle = angle + math.tan(math.radians(spec.edge.slant)) / RADIUS * z
        reeds = shapely.Polygon(np.column_stack([r * np.cos(angle), r * np.sin(angle)]))
        shape = shape.intersection(reeds)
    return shape


def piece(**edge):
    blank = {"diameter": 2 * RADIUS, "thickness": 2 * HALF, "chamfer": 0.3, "rim": {"width": 1.5}}
    return {"blank": {**blank, **edge.pop("blank", {})}, "edge": edge}


CASES = [
    # reeds deeper than the grooves: the roots run through
    {"reeds": 90, "depth": 0.3, "groove_depth": 0.15, "groove_profile": "round"},
    {"reeds": 90, "depth": 0.3, "groove_depth": 0.15, "groove_profile": "square", "slant": 20.0},
    # as deep as the grooves
    {"reeds": 60, "depth": 0.25, "groove_depth": 0.25, "groove_profile": "vee"},
    # grooves deeper than the reeds
    {"reeds": 60, "depth": 0.1, "profile": "round", "groove_depth": 0.4, "grooves": 2},
    {"reeds": 60, "depth": 0.1, "profile": "square", "groove_depth": 0.4, "slant": -40.0},
    # sections, steep slant, edge rounded
    {"reeds": 60, "pattern": "40 20", "slant": 60.0, "blank": {"break_shape": "round"}},
    # few and wide: flat flanks
    {"reeds": 7, "depth": 0.5, "slant": 45.0, "groove_depth": 0.3},
    # through the rim
    {"reeds": 80, "depth": 0.4, "slant": 30.0, "blank": {"chamfer": 0.1}},
    # without a rim the roots run into the field
    {"reeds": 80, "depth": 0.4, "profile": "round", "blank": {"chamfer": 0.2, "rim": {"width": 0}}},
]


@pytest.mark.slow
@pytest.mark.parametrize("edge", CASES)
def test_a_level_cut_shows_the_lesser_of_reeds_and_grooves(edge):
    """At heights on the wall, in grooves and in the edge break; the way apart in micrometres."""
    grooved = "groove_depth" in edge
    data = piece(finish="reeded and grooved" if grooved else "reeded", **edge)
    spec = counted(data)
    blank, v, f = made(data)
    assert blank.solid.labels
    for z in (-1.37, -0.81, -0.23, 0.0113, 0.19, 0.62, 1.13, 1.43):
        got = shapely.Polygon(slice_at(v, f, z))
        assert got.is_valid
        wanted = expected(spec, z)
        apart = shapely.hausdorff_distance(got.exterior, wanted.exterior)
        assert apart < 2 * MICRON
        assert got.area == pytest.approx(wanted.area, rel=2e-4)


@pytest.mark.parametrize("edge", CASES[:5])
def test_no_triangle_of_the_wall_is_turned_inwards(edge):
    """Seen from the axis the wall lies open: every triangle of it looks outwards or level."""
    _, v, f = made(piece(finish="reeded and grooved", **edge))
    corner = v[f]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    middle = corner.mean(axis=1)
    wall = np.hypot(*corner[:, :, :2].T).min(axis=0) > RADIUS - 0.45
    wall &= np.abs(middle[:, 2]) < HALF - 0.3
    outwards = np.sum(normal[:, :2] * middle[:, :2], axis=1)
    size = np.linalg.norm(normal, axis=1) * np.hypot(middle[:, 0], middle[:, 1])
    assert np.all(outwards[wall] > -1e-6 * size[wall])


def test_a_slant_takes_nothing_from_the_volume():
    """Cavalieri's principle: levels that are only turned hold the same volume.

    At fine within 0.02 %.
    """
    upright, slanted = (
        closure(*made(piece(finish="reeded", reeds=60, slant=slant))[1:]).volume_mm3
        for slant in (0.0, 35.0)
    )
    assert slanted == pytest.approx(upright, rel=2e-4)


@pytest.mark.parametrize(
    ("profile", "slant", "shape"),
    list(itertools.product(["vee", "round", "square"], [0.0, 25.0], ["chamfer", "round"])),
)
def test_depths_are_true_where_reeds_and_grooves_cross(profile, slant, shape):
    """Roots of reeds beside the groove, and of the groove between reeds, to 2 micrometres."""
    data = piece(
        finish="reeded and grooved",
        reeds=72,
        depth=0.2,
        profile=profile,
        slant=slant,
        groove_depth=0.3,
        groove_width=0.6,
        blank={"break_shape": shape},
    )
    _, v, f = made(data)
    beside = np.hypot(*slice_at(v, f, 0.7).T)
    assert RADIUS - beside.min() == pytest.approx(0.2, abs=2 * MICRON)
    assert beside.max() == pytest.approx(RADIUS, abs=2 * MICRON)
    inside = np.hypot(*slice_at(v, f, 0.0).T)
    assert RADIUS - inside.max() == pytest.approx(0.3, abs=2 * MICRON)
    r = np.hypot(v[:, 0], v[:, 1])
    lips = np.abs(v[r > RADIUS - 1e-6, 2])
    assert lips[lips < 0.5].min() == pytest.approx(0.3, abs=2 * MICRON)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("blank", "edge"),
    [
        ({"outline": "oval"}, {"reeds": 90}),
        ({"outline": "oval"}, {"reeds": 90, "groove_depth": 0.15, "grooves": 2}),
        ({"outline": "oval", "chamfer": 0.1}, {"reeds": 11, "depth": 0.4, "profile": "round"}),
        (
            {"outline": "constant-width", "break_shape": "round"},
            {"reeds": 77, "profile": "square", "groove_depth": 0.4, "groove_profile": "square"},
        ),
        (
            {"outline": "polygon", "sides": 6, "corner_radius": 0.0},
            {"pitch": 1.1, "groove_depth": 0.25, "groove_profile": "vee"},
        ),
        ({"outline": "scalloped", "scallops": 6, "corner_radius": 3.0}, {"pitch": 0.9}),
        ({"outline": "polygon", "sides": 4, "corner_radius": 3.0}, {"pattern": "60 30"}),
        ({"outline": "oval", "rim": {"width": 0.0}}, {"reeds": 90, "depth": 0.35}),
        # square roots, each a little deeper or less deep than the next, above a deep groove
        (
            {"outline": "oval"},
            {"reeds": 90, "profile": "square", "depth": 0.2, "groove_depth": 0.5},
        ),
        # as deep as the edge break
        ({"outline": "constant-width"}, {"reeds": 90, "depth": 0.3}),
        ({"outline": "oval"}, {"reeds": 90, "slant": 20.0, "groove_depth": 0.35}),
        ({"outline": "oval"}, {"reeds": 70, "slant": -35.0, "profile": "square"}),
    ],
)
def test_reeds_and_grooves_cross_truly_on_any_outline(blank, edge):
    """Level cuts against plane geometry: notches cut from the outline, and its offset inwards.

    Offsets are shapely's; volumes agree with those of the levels within 0.02 %.
    """
    grooved = "groove_depth" in edge
    finish = "reeded and grooved" if grooved else "reeded"
    data = piece(finish=finish, blank={"height": 24.0, **blank}, **edge)
    plan = planned(counted(data), FINE)
    outline = plan.outline.at(0.0)[0]
    slant = edge.get("slant", 0.0)
    track = polygon_edge(plan.reeding, outline, FINE, slant)
    assert track is not None
    assert can_run(track, plan.faces, plan.wall)
    _, v, f = made(data)
    broken = [s for s in plan.faces[0].outer if s.zone == "edge"]
    corners = [(-s.z, s.inset) for s in broken[::-1]]
    corners += [(s.z, s.inset) for s in plan.wall[::-1]]
    corners += [(s.z, s.inset) for s in broken]
    at, inset = np.array(corners).T
    for z in (-1.43, -0.81, -0.23, 0.0113, 0.19, 0.62, 1.45):
        deep = float(np.interp(z, at, inset))
        # corners of the outline stay sharp as it moves inwards
        inner = shapely.Polygon(outline).buffer(-deep, join_style="mitre", mitre_limit=20.0)
        moved = plan.reeding.stations + math.tan(math.radians(slant)) * z
        reeding = dataclasses.replace(plan.reeding, stations=moved)
        drawn = [np.vstack([n, 1.05 * n[[-1, 0]]]) for n in notches_on(reeding, outline, FINE)]
        notches = shapely.union_all([shapely.make_valid(shapely.Polygon(n)) for n in drawn])
        wanted = inner.difference(notches)
        got = shapely.Polygon(slice_at(v, f, z))
        assert got.is_valid
        assert shapely.hausdorff_distance(got.exterior, wanted.exterior) < 2 * MICRON
        assert got.area == pytest.approx(wanted.area, rel=2e-4)
