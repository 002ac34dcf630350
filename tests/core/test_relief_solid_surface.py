"""The triangulation of a height field, and the draft projection."""

import math

import numpy as np
import pytest
from pydelatin import Delatin
from relief_fields import cap, comb, grid, lively, over, plate, square
from scipy import ndimage

from medalcore.elements.relief.draft.draft import enforce_draft, fill_gaps
from medalcore.elements.relief.surface.greedy_insertion import triangulate
from medalcore.geometry.raster import top_surface
from medalcore.geometry.step_edges import find_step_edges as inner_edges
from medalcore.geometry.triangulation import Triangulation

PITCH = 0.025


@pytest.mark.parametrize("tolerance", [0.02, 0.005, 0.002])
def test_the_tolerance_holds_at_every_pixel(tolerance):
    """Measured with the depth map, which shares no code with the triangulation."""
    h = lively(500)
    surface = triangulate(h, *square(h, tolerance), tolerance, PITCH)
    g = grid(500, size=499.0, middle=(249.5, -249.5))
    points = np.column_stack([surface.points, surface.z])
    seen, _ = top_surface(points, surface.triangles, g)
    assert np.abs(seen - h).max() <= tolerance + 1e-7


@pytest.mark.parametrize("seed", [1, 2])
def test_no_more_than_one_and_a_half_times_greedy_insertion(seed):
    """Against pydelatin at the same largest error; the goal is twice."""
    h = lively(700, seed)
    greedy = len(Delatin(h, max_error=0.005).triangles)
    ours = len(triangulate(h, *square(h, 0.005), 0.005, PITCH).triangles)
    assert ours < 1.5 * greedy


def test_facets_of_a_smooth_form_differ_little():
    """The angle between neighbouring triangles, where they are larger than a few pixels."""
    h = cap(600, radius=20.0, height=6.0).heights  # the whole grid lies on the cap
    pitch = 26.0 / 599
    got = {}
    for fold in (math.inf, math.radians(1.5)):
        surface = triangulate(h, *square(h, 0.02), 0.02, pitch, fold=fold)
        mesh = Triangulation(surface.points, surface.triangles)
        beside = mesh.beside(np.arange(len(surface.triangles)))
        corner = np.column_stack([surface.points * pitch, surface.z])[surface.triangles]
        n = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
        n /= np.linalg.norm(n, axis=1)[:, None]
        cosine = np.einsum("ij,ikj->ik", n, n[beside])[beside >= 0]
        got[fold] = np.degrees(np.arccos(np.clip(cosine, -1, 1)))
    assert np.percentile(got[math.inf], 95) > 2
    assert np.percentile(got[math.radians(1.5)], 95) <= 1.5


def test_the_mesh_is_delaunay_and_keeps_its_border():
    """No point lies inside the circle of another triangle (checked by brute force)."""
    rng = np.random.default_rng(3)
    corners = np.array([[0.0, 0], [10, 0], [10, 10], [0, 10]])
    mesh = Triangulation(corners, np.array([[0, 1, 2], [0, 2, 3]]))
    for _ in range(5):
        tri = mesh.triangles
        inner = mesh.points[tri].mean(axis=1) + rng.normal(0, 1e-3, (len(tri), 2))
        mesh.insert(np.arange(len(tri)), inner)
    p, tri = mesh.points, mesh.triangles
    a, b, c = (p[tri[:, k]] for k in range(3))
    area = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    assert area.min() > 0
    assert area.sum() / 2 == pytest.approx(100)
    assert len(tri) == 2 * len(p) - 2 - 4
    m = np.stack([a - c, b - c], axis=1)
    half = 0.5 * np.stack([(m[:, 0] ** 2).sum(1), (m[:, 1] ** 2).sum(1)], axis=1)
    centre = np.linalg.solve(m, half[:, :, None])[:, :, 0] + c
    radius = np.linalg.norm(a - centre, axis=1)
    distance = np.linalg.norm(p[None] - centre[:, None], axis=2)
    assert (distance - radius[:, None]).min() > -1e-6


def cliffs(pixels):
    """Return steps, a needle and a slope steeper than any draft."""
    return over(
        grid(pixels, size=10.0),
        lambda u, v: 0.1 + 0.4 * (u > 0) + 0.3 * (np.hypot(u + 2, v - 1) < 0.05) + 0.2 * (u > v),
        lambda u, v: np.hypot(u, v) < 4.5,
    )


def dilated(values, drop):
    """Return scipy's grey dilation by a cone written out as a structuring element."""
    known = np.isfinite(values)
    reach = math.ceil(np.ptp(values[known]) / drop) + 1
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    return ndimage.grey_dilation(
        np.where(known, values, -9.0), structure=-drop * np.hypot(x, y), mode="constant", cval=-9
    )


def between_pixels(h, times=4):
    """Return the higher of both ways to span triangles between pixels, on a finer grid."""
    n = (len(h) - 1) * times + 1
    at = np.arange(n) / times
    r = np.minimum(at.astype(int), len(h) - 2)
    t = at - r
    corner = [h[np.ix_(r + i, r + j)] for i in (0, 1) for j in (0, 1)]
    y, x = np.broadcast_arrays(t[:, None], t[None, :])

    def part(share, rise):
        return np.where(share == 0, 0.0, share * rise)

    a, b, c, d = corner
    surfaces = [
        np.where(x >= y, a + part(x, b - a) + part(y, d - b), a + part(y, c - a) + part(x, d - c)),
        np.where(
            x + y <= 1,
            a + part(x, b - a) + part(y, c - a),
            d + part(1 - x, c - d) + part(1 - y, b - d),
        ),
        np.where(x == y, a + part(x, d - a), np.nan),
        np.where(x + y == 1, c + part(x, b - c), np.nan),
    ]
    return np.fmax.reduce(surfaces)


@pytest.mark.parametrize("degrees", [20.0, 30.0, 45.0])
def test_draft_is_the_grey_dilation_by_a_cone(degrees):
    """Never lower than cones on all pixels, nor higher than cones on the surface between them."""
    field = cliffs(64)
    angle = math.radians(degrees)
    drop = field.grid.pixel / math.tan(angle)
    h = np.where(field.mask, field.heights, np.nan).astype(float)
    got = enforce_draft(field, angle).heights
    assert (got - dilated(h, drop))[field.mask].min() > -2e-4
    above = (got - dilated(between_pixels(h), drop / 4)[::4, ::4])[field.mask]
    assert np.quantile(above, 0.99) < 2e-4
    assert above.max() < 0.15 * drop  # in valleys, between what has been raised on both sides
    assert (got >= field.heights)[field.mask].all()
    assert (got[~field.mask] == 0).all()
    assert (got > field.heights + 0.05).any()


@pytest.mark.parametrize("turn", [0.0, 17.0, 45.0])
def test_a_straight_cliff_becomes_one_even_slope(turn):
    """At any angle to the grid: between all neighbours in threes, measured across the cliff.

    Cones on pixels alone would leave ribs a tenth of a pixel high and slopes 1.4 times as steep.
    """
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    field = over(
        grid(200, size=10.0),
        lambda u, v: 0.1 + 0.5 * (c * v - s * u > 0.3),
        lambda u, v: np.hypot(u, v) < 4.5,
    )
    angle = math.radians(20.0)
    inner = np.zeros_like(field.mask)
    inner[3:-3, 3:-3] = ndimage.binary_erosion(field.mask, iterations=3)[3:-3, 3:-3]
    edges = inner_edges(field, inner, angle, 0.002)
    h = np.where(field.mask, enforce_draft(field, angle, edges.tops).heights, np.nan)
    u, v = np.meshgrid(field.grid.u(), field.grid.v() - 1.5)
    h[(h < 0.14) | (h > 0.56) | (np.abs(c * u + s * v) > 3.0)] = np.nan
    down, right = h[1:, :-1] - h[:-1, :-1], h[:-1, 1:] - h[:-1, :-1]
    slope = np.hypot(down, right) / field.grid.pixel
    slope = slope[np.isfinite(slope)]
    assert len(slope) > 150
    assert slope == pytest.approx(1.0 / math.tan(angle), rel=0.04)


def test_after_it_no_slope_is_steeper_than_the_draft():
    """Between all pairs of pixels in a window, not only neighbours."""
    angle = math.radians(12.0)
    field = enforce_draft(cliffs(160), angle)
    h = np.where(field.mask, field.heights, np.nan)
    for dr in range(0, 5):
        for dc in range(-4, 5):
            if (dr, dc) == (0, 0):
                continue
            run = math.hypot(dr, dc) * field.grid.pixel
            there = np.roll(h, (dr, dc), (0, 1))
            steepest = np.nanmax(np.abs(h - there)) / run
            assert steepest <= 1.0 / math.tan(angle) * 1.001


def test_draft_is_a_projection():
    """Done twice it changes nothing, and a field that has draft is returned as it is."""
    once = enforce_draft(cliffs(160), math.radians(15))
    again = enforce_draft(once, math.radians(15))
    assert np.abs(again.heights - once.heights).max() < 1e-5
    gentle = cap(200)
    assert enforce_draft(gentle, math.radians(15)) is gentle
    assert enforce_draft(cliffs(160), 0.0).heights is not None


def test_a_narrow_gap_gets_a_floor_where_its_walls_meet():
    """Two blocks with a slot between them: the depth at which two drafted walls meet.

    A slot of width w between walls of draft a is w / (2 tan a) deep (plane trigonometry).
    """
    angle, width, height = math.radians(20.0), 0.2, 0.6
    field = over(
        grid(800, size=10.0),
        lambda u, v: np.full(u.shape, height),
        lambda u, v: (np.abs(u) < 4) & (np.abs(v) < 3) & (np.abs(u) > width / 2),
    )
    filled = fill_gaps(field, angle)
    added = filled.mask & ~field.mask
    middle = field.grid.cols // 2
    rows = slice(300, 500)
    assert added[rows, middle - 5 : middle + 5].all()
    floor = filled.heights[rows, middle - 8 : middle + 8].min()
    assert floor == pytest.approx(height - width / (2 * math.tan(angle)), abs=0.04)
    outside = added.copy()
    outside[:, middle - 12 : middle + 12] = False
    assert not outside.any()


def test_wide_gaps_and_plain_outlines_stay():
    """Where both walls come down to the field nothing is filled."""
    for field in (plate(300, 0.3), cap(300), comb(400)):
        assert fill_gaps(field, math.radians(1.0)) is field
        assert fill_gaps(field, 0.0) is field
    assert fill_gaps(plate(300, 0.3), math.radians(45.0)) is not None
    wide = plate(300, 0.0)
    assert np.array_equal(fill_gaps(wide, math.radians(45.0)).mask, wide.mask)
