"""Flat drawings as reliefs: curves, levels and walls measured on the finished surface."""

from __future__ import annotations

import math

import numpy as np
import pytest
from drawn_reliefs import (
    DISC,
    GREY,
    from_circle,
    height_at,
    lines_at,
    maker_in,
    steepest,
    surface_of,
)

from medalcore.context.ground import Ground
from medalcore.spec import Flat


@pytest.fixture
def make(tmp_path):
    """Return a function that builds the relief of an SVG body."""
    return maker_in(tmp_path)


def test_curves_are_the_drawings_own(make):
    """Outline and inner edge are circles within 2 micrometres, chords included."""
    built = make(DISC)
    inner = lines_at(built, 0.5)
    assert from_circle(inner, (0.8, 0.0), 4.0).max() < 0.002
    outer = lines_at(built, 0.5 * GREY)
    away = from_circle(outer, (0.0, 0.0), 10.0)
    assert (away < 0.002).sum() > 300  # the rest is the foot of the inner wall
    foot = from_circle(outer, (0.8, 0.0), 4.0 + 0.5 * (1 - GREY) * math.tan(math.radians(10)))
    assert np.minimum(away, foot).max() < 0.002
    wide = 20.0 + GREY * math.tan(math.radians(10))  # walls of half of that height on both sides
    assert built.facts["size_mm"] == pytest.approx([wide, wide], abs=0.002)


def test_walls_that_keep_their_draft_as_far_as_it_can_be_read_are_not_told(make):
    """A drawing of its own default has no finding of our making."""
    assert steepest(make(DISC)).min() > 9.75
    assert not [f for f in make(DISC).findings if f.rule == "relief-draft"]


@pytest.mark.parametrize("compression", ["gradient", "linear"])
def test_levels_stand_as_dark_as_they_are(make, compression):
    """Everything level stands at its height within 2 micrometres, under either compression."""
    vertices, triangles = surface_of(make(DISC, compression=compression))
    corner = vertices[triangles]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    size = np.linalg.norm(normal, axis=1) / 2
    level = (normal[:, 2] > 0.999 * 2 * size) & (size > 1e-9)
    z, area = corner[level].mean(axis=1)[:, 2], size[level]
    assert np.minimum(np.abs(z - 0.5), np.abs(z - 0.5 * GREY)).max() < 0.002
    assert area[np.abs(z - 0.5) < 0.002].sum() == pytest.approx(math.pi * 16.0, rel=1e-3)


def test_volume_is_that_of_two_discs_and_their_walls(make):
    """Disc, disc and frusta, by the formula of a frustum: V = πh (R² + Rr + r²) / 3."""

    def frustum(radius, height):
        wide = radius + height * math.tan(math.radians(10))
        return math.pi * height * (wide**2 + wide * radius + radius**2) / 3

    low = 0.5 * GREY
    want = frustum(10.0, low) + frustum(4.0, 0.5 - low)
    solid = make(DISC).parts[0].solid
    got = solid.manifold.trim_by_plane((0.0, 0.0, 1.0), 1.0).volume()
    assert got == pytest.approx(want, rel=2e-4)


@pytest.mark.parametrize("draft", [3.0, 10.0, 25.0])
def test_walls_have_their_draft(make, draft):
    """Walls inside and at the outline lean as asked, to a degree; nothing leans less."""
    lean = steepest(make(DISC, draft=draft))
    assert lean.min() > draft - 0.6
    assert np.median(lean[lean < 60.0]) == pytest.approx(draft, abs=0.3)


def test_slanting_edges_have_no_stairs(make):
    """A square turned by 7 degrees has four straight edges of two points each."""
    built = make('<rect width="60" height="60" fill="#999"/><rect x="20" y="20" width="20" '
                 'height="20"/>', turn=(0.0, 0.0, 7.0))  # fmt: skip
    lines = lines_at(built, 0.5)
    assert len(lines) == 4
    slant = np.degrees(np.arctan2(*(lines[:, 1] - lines[:, 0]).T[1::-1])) % 90.0
    assert np.abs(slant - 7.0).max() < 0.01


def test_a_gap_narrower_than_its_walls_gets_a_floor(make):
    """Two bars 0.1 mm apart, 0.5 mm high at 10 degrees, meet above the field; the report tells."""
    bars = '<rect width="40" height="100"/><rect x="40.5" width="40" height="100"/>'
    built = make(bars)
    assert steepest(built).min() > 9.0
    assert built.facts["gaps_filled_mm2"] == pytest.approx(0.1 * 20.0, rel=0.02)
    assert any("too narrow" in f.message for f in built.findings)
    floor = 0.5 - 0.05 / math.tan(math.radians(10))
    for v in np.linspace(-9.9, 9.9, 23):
        assert height_at(built, 0.0, v) == pytest.approx(floor, abs=0.06)


def test_outer_walls_do_not_suffer_from_a_gap(make):
    """Two bars 0.2 mm apart, hardly enough for two walls: those all round lean as asked."""
    bars = '<rect width="49.5" height="100"/><rect x="50.5" width="49.5" height="100"/>'
    corner = np.take(*surface_of(make(bars, draft=10.0)), axis=0)
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    size = np.linalg.norm(normal, axis=1)
    outer = (np.abs(corner[:, :, 0]) > 5.0).any(axis=1) & (corner[:, :, 2].max(axis=1) > 0.4)
    lean = np.degrees(np.arcsin(np.abs(normal[:, 2]) / np.maximum(size, 1e-12)))
    assert size[outer & (lean < 80.0)].sum() / 2 > 0.9 * 4 * 10.0 * 0.5
    assert lean[outer & (size > 1e-4)].min() > 9.9


def test_nothing_of_a_drawing_hangs_above_the_field(make):
    body = '<path d="M0 0H100V100H0ZM40 40V60H60V40Z"/>'  # a hole in it
    assert not make(body, flat=Flat(shoulder=1.5), quality="draft").findings


def test_walls_of_narrow_grooves_have_their_draft_too(make):
    """A fine light line that winds over dark work: its two walls nearly meet at its foot."""
    body = (
        '<rect width="100" height="100"/><path d="M0 50C40 0 60 100 70 40 60 20 30 90 100 55" '
        'fill="none" stroke="#e6e6e6" stroke-width="0.4"/>'
    )
    assert steepest(make(body, draft=3.0)).min() > 2.3


@pytest.mark.parametrize("compression", ["gradient", "linear"])
def test_a_shoulder_swells_from_the_edge(make, compression):
    """A bar rises smoothly from its edge to its middle; the height is met exactly."""
    bar = '<rect width="100" height="30"/>'
    built = make(bar, flat=Flat(shoulder=2.0), compression=compression)
    assert built.facts["height_mm"] == pytest.approx(0.5, abs=1e-6)
    vertices, _ = surface_of(built)
    middle = vertices[(np.abs(vertices[:, 0]) < 5.0) & (vertices[:, 2] > 0.02)]
    away = 3.0 - np.abs(middle[:, 1])
    edge, ridge = middle[np.abs(away) < 1e-4, 2], middle[away > 2.5, 2]
    assert ridge.min() > 0.45
    assert np.ptp(edge) < 0.01  # no stairs along it
    assert edge == pytest.approx(0.2, abs=0.004)  # 0.4 of the height, as the default says

    # u = 1 − cosh(y/ℓ) / cosh(w/2ℓ) between parallel edges, ℓ a third of the shoulder
    def swollen(y):
        return 1.0 - np.cosh(y / (2 / 3)) / np.cosh(3.0 / (2 / 3))

    want = 0.2 + 0.3 * swollen(middle[:, 1]) / swollen(0.0)
    assert np.abs(middle[:, 2] - want)[away > 0.0].max() < 0.008


@pytest.mark.slow
@pytest.mark.parametrize("compression", ["gradient", "linear"])
def test_swelling_forms_over_one_another_have_no_spikes(make, compression):
    """A crest of five shades: nothing above the field leans less than the draft, nearly."""
    crest = (
        '<path d="M10 10H90V60C90 90 70 108 50 116C30 108 10 90 10 60Z" fill="#bbb"/>'
        '<path d="M18 18H82V60C82 84 66 99 50 106C34 99 18 84 18 60Z" fill="#ddd"/>'
        '<path d="M50 24L57 45H78L61 58L67 79L50 66L33 79L39 58L22 45H43Z" fill="#000"/>'
        '<circle cx="50" cy="52" r="8" fill="#888"/><circle cx="50" cy="92" r="6" fill="#555"/>'
    )
    built = make(crest, view="0 0 100 120", flat=Flat(shoulder=2.0), compression=compression)
    assert steepest(built).min() > 8.0
    assert built.facts["height_mm"] == pytest.approx(0.5, abs=1e-6)


def test_on_hollow_and_domed_fields(make):
    """Levels follow the field they stand on, within the tolerance of surfaces."""
    for dish in (0.3, -0.3):
        ground = Ground(level=1.0, radius=18.0, dish=dish, floor=-1.0)
        vertices, triangles = surface_of(make(DISC, ground=ground))
        corner = vertices[triangles]
        normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
        up = normal[:, 2] > 0.9 * np.linalg.norm(normal, axis=1)
        middle = corner[up].mean(axis=1)
        over = middle[:, 2] + 1.0 - ground.height(middle[:, :2])
        assert np.minimum(np.abs(over - 0.5), np.abs(over - 0.5 * GREY)).max() < 0.005


def test_a_foot_can_flow_out(make):
    """With blend there is no wall at the outline, and the inner edge is as crisp as before."""
    built = make(DISC, blend=0.8)
    assert from_circle(lines_at(built, 0.5), (0.8, 0.0), 4.0).max() < 0.002
    assert built.facts["size_mm"][0] == pytest.approx(20.0 + 2 * 0.8, abs=0.8)


def test_the_same_at_both_qualities(make):
    """Levels and size do not depend on how finely the drawing is worked."""
    wide = 20.0 + GREY * math.tan(math.radians(10))
    for quality in ("draft", "fine"):
        built = make(DISC, quality=quality)
        assert built.facts["height_mm"] == pytest.approx(0.5, abs=1e-6)
        assert built.facts["size_mm"] == pytest.approx([wide, wide], abs=0.002)
