"""Strong inner edges run as smooth lines, not in the stairs of the grid."""

import math

import numpy as np
import pytest
from relief_fields import GROUNDS, grid, over, star

from medalcore.context.tolerance import tolerance_for
from medalcore.elements.relief.draft.curvature_flow import smooth_level_lines
from medalcore.elements.relief.draft.draft import enforce_draft
from medalcore.elements.relief.draft.edge_walls import WallConstraints, constrain_walls
from medalcore.elements.relief.surface.greedy_insertion import triangulate
from medalcore.elements.relief.surface.relief_solid import relief_shape
from medalcore.geometry.closure import closure
from medalcore.geometry.constraint_lines import Lines
from medalcore.geometry.raster import top_surface
from medalcore.geometry.step_edges import find_step_edges

FINE = tolerance_for("fine")
TEN = math.radians(10.0)
LOW, HIGH = 0.2, 0.32


def terrace(pixels, inside):
    """Return a low disc with a higher terrace where `inside` says."""
    return over(
        grid(pixels),
        lambda u, v: np.where(inside(u, v), HIGH, LOW),
        lambda u, v: np.hypot(u, v) < 11.0,
    )


def everywhere(field):
    inner = np.zeros(field.mask.shape, dtype=bool)
    inner[3:-3, 3:-3] = field.mask[3:-3, 3:-3]
    return inner


def flanked(field, draft=TEN) -> WallConstraints:
    """Return the inner edges of a field that has draft already, with their flanks."""
    return constrain_walls(
        find_step_edges(field, everywhere(field), draft, 0.002), field, field, draft
    )


def from_middle(field, points):
    """Return u and v from the middle of the grid of points in pixels."""
    middle = 0.5 * (field.grid.cols - 1)
    return (points + np.array([-middle, middle])) * field.grid.pixel


def tops_and_feet(field):
    """Return the points (n, 2) of the edges and of the feet of their flanks, and both heights."""
    lines = flanked(field).lines
    high = lines.z > 0.5 * (LOW + HIGH)
    return lines.points[high], lines.points[~high], lines.z[high], lines.z[~high]


@pytest.mark.parametrize("radius", [1.0, 4.0, 8.0])
def test_a_round_edge_is_round(radius):
    """Some points are on the edge, the others a flank's width outside."""
    field = terrace(700, lambda u, v: np.hypot(u, v) < radius)
    tops, feet, high, low = tops_and_feet(field)
    assert min(len(tops), len(feet)) > 12
    on, foot = (
        (np.hypot(*from_middle(field, points).T) - radius) / field.grid.pixel
        for points in (tops, feet)
    )
    assert np.abs(on).max() < 0.3
    assert np.std(on) < 0.1  # stairs: 0.29
    width = (HIGH - LOW) * math.tan(TEN) / field.grid.pixel
    assert foot.mean() - on.mean() == pytest.approx(width, abs=0.05)
    assert np.std(foot) < 0.1
    assert high == pytest.approx(np.full(len(high), HIGH))
    fall = field.grid.pixel / math.tan(TEN)
    assert low == pytest.approx(np.full(len(low), LOW), abs=0.05 * fall)


@pytest.mark.parametrize("degrees", [3.0, 20.0, 45.0])
def test_an_edge_that_ends_is_straight(degrees):
    """A ridge across the whole form, at any angle to the grid."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    field = terrace(700, lambda u, v: c * v - s * u > 1.234)
    u, v = from_middle(field, tops_and_feet(field)[0]).T
    off = (c * v - s * u - 1.234) / field.grid.pixel
    assert np.abs(off).max() < 0.75  # at the ends; stairs would do it everywhere
    assert np.std(off) < 0.12
    assert np.ptp(c * u + s * v) > 20.0  # mm: in one piece from rim to rim


def test_a_steep_slope_is_no_edge():
    """Slopes over several pixels, and lively modelling, are left to the pixels."""
    ramp = over(
        grid(500),
        lambda u, v: 0.3 + 0.25 * np.tanh(3 * u),
        lambda u, v: np.hypot(u, v) < 11.0,
    )
    assert len(flanked(ramp).lines.points) == 0
    assert len(flanked(star(500)).lines.points) == 0


def test_the_surface_keeps_both_levels_and_the_draft():
    """Away from the line every pixel is met; the flank leans by the draft; all is closed."""
    field = terrace(700, lambda u, v: np.hypot(u - 1, v) < 4.0)
    shape = relief_shape(field, GROUNDS["flat"], draft=TEN, tolerance=FINE)
    assert closure(shape.vertices, shape.triangles).is_closed
    top = shape.triangles[: shape.top]
    seen, _ = top_surface(shape.vertices, top, field.grid)
    u, v = np.meshgrid(field.grid.u(), field.grid.v())
    away = field.mask & (np.hypot(u, v - 1.5) < 10.8)
    away &= np.abs(np.hypot(u - 1, v - 1.5) - 4.0) > 2.0 * field.grid.pixel
    assert np.abs(seen - field.heights - 1.1)[away].max() <= FINE.surface + 1e-7
    corner = shape.vertices[top]
    cross = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    area = np.linalg.norm(cross, axis=1)
    lean = np.degrees(np.arcsin(cross[:, 2] / area))
    flank = (lean < 60.0) & (np.hypot(*(corner.mean(axis=1)[:, :2] - [1, 1.5]).T) < 6.0)
    assert area[flank].sum() / 2 == pytest.approx(
        2 * math.pi * 4.0 * (HIGH - LOW) / math.cos(TEN), rel=0.03
    )
    assert np.average(lean[flank], weights=area[flank]) == pytest.approx(10.0, abs=0.6)


def test_lines_that_cross_leave_a_sound_mesh():
    """Random lines over a flat square, some crossing, some through pixels and each other."""
    rng = np.random.default_rng(11)
    points = np.rint(rng.uniform(2, 97, (120, 2)) * 2) / 2 * [1, -1]
    edges = np.stack([np.arange(0, 119, 2), np.arange(1, 120, 2)], axis=1)
    border = np.array([[0.0, 0], [0, -99], [99, -99], [99, 0]])
    start = np.array([[0, 1, 2], [0, 2, 3]])
    field = np.zeros((100, 100), np.float32)
    z = rng.uniform(-1, 1, 120)
    surface = triangulate(
        field, border, np.zeros(4), start, 0.05, 0.03, lines=Lines(points, z, edges)
    )
    a, b, c = (surface.points[surface.triangles[:, k]] for k in range(3))
    area = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    assert area.min() > 0
    assert area.sum() / 2 == pytest.approx(99.0**2)
    assert len(np.unique(surface.points, axis=0)) == len(surface.points)


def test_level_lines_on_a_cliff_are_straightened_by_less_than_half_a_pixel():
    """A cliff of two pixels' width at a low angle: less wavy after, and nowhere far off."""
    c, s = math.cos(math.radians(12)), math.sin(math.radians(12))
    field = over(
        grid(400),
        lambda u, v: 0.3 + 0.1 * np.clip((c * v - s * u) / 0.07, -1, 1).round(1),
        lambda u, v: np.hypot(u, v) < 11.0,
    )
    even = smooth_level_lines(field, 0.0025)
    moved = np.abs(even.heights - field.heights)
    assert 0 < moved.max() < 0.5 * 0.2
    assert (moved > 0).mean() < 0.05
    assert even.heights.max() == field.heights.max()
    gentle = star(200)
    assert np.array_equal(smooth_level_lines(gentle, 0.0025).mask, gentle.mask)

    def wave(f):
        middle = 0.5 * (f.grid.cols - 1)
        rows = np.argmin(np.abs(f.heights[:, 120:280] - 0.3), axis=0).astype(float)
        near = rows.astype(int)
        col = np.arange(120, 280)
        slope = f.heights[near + 1, col] - f.heights[near - 1, col]
        rows -= (f.heights[near, col] - 0.3) / slope * 2
        across = c * (middle - rows) - s * (col - middle)
        return np.std(across)

    assert wave(even) < wave(field)


@pytest.mark.parametrize("degrees", [2.0, 4.9, 11.0])
def test_a_low_edge_that_runs_through_pixels_is_drawn_all_along(degrees):
    """Where it crosses from one row to the next it passes pixels so closely that none may cap it.

    A stretch that is missing is filled with triangles down to the next pixels: teeth.
    """
    slope = math.tan(math.radians(degrees))
    field = over(
        grid(700),
        lambda u, v: np.where(v > slope * u + 0.004, 0.033, 0.0) + 0.2 + 0.05 * v,
        lambda u, v: np.hypot(u, v) < 10.0,
    )
    edges = find_step_edges(field, everywhere(field), TEN, 0.002)
    found = constrain_walls(edges, field, enforce_draft(field, TEN, edges.tops), TEN).lines
    one, two = found.points[found.edges[:, 0]], found.points[found.edges[:, 1]]
    drawn = np.hypot(*(two - one).T).sum() * field.grid.pixel
    assert drawn > 2 * 18.5  # the edge and the foot of its flank, both across the disc
