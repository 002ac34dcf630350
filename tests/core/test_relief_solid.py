"""The relief solid: closed, true to its heights, drafted, and united without a flaw."""

import math
import tracemalloc

import numpy as np
import pytest
from relief_fields import GROUNDS, blank, cap, comb, grid, over, plate, star, two_bumps

from medalcore.context.ground import Ground
from medalcore.context.tolerance import tolerance_for
from medalcore.elements.relief.surface.relief_solid import relief_shape, relief_solid, solid_of
from medalcore.errors import SolidError
from medalcore.geometry.closure import closure
from medalcore.geometry.grid import HeightField
from medalcore.geometry.raster import top_surface
from medalcore.geometry.solid import arrays_of, united

FINE = tolerance_for("fine")
TEN = math.radians(10.0)
FORMS = {"cap": cap, "star": star, "bumps": two_bumps, "comb": comb}


def normals(vertices, triangles):
    corner = vertices[triangles]
    cross = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    size = np.linalg.norm(cross, axis=1)
    return cross / size[:, None], size / 2


@pytest.mark.slow
@pytest.mark.parametrize("ground", GROUNDS.values(), ids=GROUNDS.keys())
@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS.keys())
@pytest.mark.parametrize("pixels", [230, 700])
def test_united_with_a_blank_it_is_one_closed_body(form, ground, pixels):
    """Issue 2's gate: float32 weld, every edge shared twice, nothing collapsed or flat."""
    relief = relief_solid(form(pixels), ground, draft=TEN, tolerance=FINE)
    alone = closure(*arrays_of(relief)[:2])
    vertices, triangles, code, labels = arrays_of(united([blank(ground), relief]))
    proof = closure(vertices, triangles)
    assert alone.is_closed
    assert proof.is_closed
    assert proof.bodies == 1
    part = triangles[code == [label.zone for label in labels].index("relief")]
    up, _ = normals(vertices, part)
    assert up[:, 2].min() > -1e-6, "an undercut in the relief zone"
    points = vertices[np.unique(part)]
    rise = (points[:, 2] - ground.height(points[:, :2])).max()
    assert rise == pytest.approx(float(form(pixels).heights.max()), abs=0.002)


def test_every_height_is_met_within_the_tolerance():
    """Sampled at every pixel centre with the depth map, which is checked against Embree."""
    field, ground = star(1024), GROUNDS["dished"]
    shape = relief_shape(field, ground, draft=TEN, tolerance=FINE)
    seen, _ = top_surface(shape.vertices, shape.triangles[: shape.top], field.grid)
    u, v = np.meshgrid(field.grid.u(), field.grid.v())
    want = field.heights + ground.height(np.stack([u, v], axis=-1))
    away = field.mask.copy()
    for axis in (0, 1):
        for step in (-1, 1):
            away &= np.roll(field.mask, step, axis) & np.roll(field.mask, 2 * step, axis)
    error = np.abs(seen - want)[away]
    assert np.isfinite(error).all()
    assert error.max() <= FINE.surface + 1e-7
    edge = np.abs(seen - want)[field.mask & ~away]
    assert edge.max() < 0.03  # beside the outline: what the foot rises within a pixel


@pytest.mark.parametrize("quality", ["draft", "fine"])
def test_nothing_of_the_silhouette_is_lost(quality):
    """Every pixel centre of the mask is covered by the top surface."""
    for form in (star, comb, two_bumps):
        field = form(500)
        shape = relief_shape(field, GROUNDS["flat"], draft=TEN, tolerance=tolerance_for(quality))
        seen, _ = top_surface(shape.vertices, shape.triangles[: shape.top], field.grid)
        assert np.isfinite(seen)[field.mask].all()


def test_twice_the_pixels_give_the_same_relief():
    """Within both triangulations' tolerances inside, and half a pixel at the outline."""
    coarse, fine = star(500), star(999)
    shapes = [relief_shape(f, GROUNDS["flat"], draft=TEN, tolerance=FINE) for f in (coarse, fine)]
    one, two = (top_surface(s.vertices, s.triangles[: s.top], coarse.grid)[0] for s in shapes)
    both = np.isfinite(one) & np.isfinite(two)
    differ = np.isfinite(one) != np.isfinite(two)
    rim = coarse.mask.copy()
    for axis in (0, 1):
        for step in (-2, -1, 1, 2):
            rim &= np.roll(coarse.mask, step, axis)
    inside = both & rim
    assert np.abs(one[inside] - two[inside]).max() < 2.4 * FINE.surface
    assert differ.sum() < 0.2 * (coarse.mask & ~rim).sum()
    assert not (differ & rim).any()


@pytest.mark.parametrize("dish", [0.0, 0.3, -0.3])
def test_volume_of_a_cap(dish):
    """A cap of height h on a sphere of radius R holds πh²(3R − h)/3 (handbooks of geometry).

    Facets hang below a round form, on the mean by less than half the tolerance.
    """
    ground = Ground(level=1.1, radius=18.0, dish=dish, floor=0.2)
    foot, rise, radius = 0.05, 0.55, 10.0
    relief = relief_solid(cap(1024), ground, draft=0.0, tolerance=FINE)
    body = blank(ground)
    both = united([body, relief])
    gained = both.manifold.volume() - body.manifold.volume()
    big = (radius**2 + rise**2) / (2 * rise)
    expected = math.pi * rise**2 * (3 * big - rise) / 3 + foot * math.pi * radius**2
    assert -0.5 * FINE.surface < (gained - expected) / (math.pi * radius**2) < 0.1 * FINE.surface


@pytest.mark.parametrize("degrees", [5.0, 10.0, 25.0])
def test_the_wall_leans_by_the_draft(degrees):
    """Angles of the wall's facets, weighted by area, on a straight-sided plate."""
    field = plate(700, math.radians(17.0))
    shape = relief_shape(field, GROUNDS["flat"], draft=math.radians(degrees), tolerance=FINE)
    up, area = normals(shape.vertices, shape.triangles)
    wall = (up[:, 2] > 1e-6) & (up[:, 2] < 0.9)
    angle = np.degrees(np.arcsin(up[wall, 2]))
    good = np.abs(angle - degrees) < 0.3
    assert area[wall][good].sum() / area[wall].sum() > 0.98
    assert np.average(angle, weights=area[wall]) == pytest.approx(degrees, abs=0.1)


@pytest.mark.slow
@pytest.mark.parametrize("ground", GROUNDS.values(), ids=GROUNDS.keys())
def test_walls_meet_in_narrow_gaps_and_keep_their_draft(ground):
    """Gaps that narrow to nothing: no facet leans less than asked, and none is left open."""
    shape = relief_shape(comb(500), ground, draft=math.radians(30), tolerance=FINE)
    assert closure(shape.vertices, shape.triangles).is_closed
    up, _ = normals(shape.vertices, shape.triangles[: shape.top])
    assert np.degrees(np.arcsin(up[:, 2])).min() > 29.9
    assert shape.steep_share == 0.0


def test_holes_and_pieces_are_kept():
    ring = relief_shape(star(400), GROUNDS["flat"], draft=TEN, tolerance=FINE)
    assert (ring.pieces, ring.holes) == (1, 1)
    proof = closure(ring.vertices, ring.triangles)
    assert (proof.bodies, proof.genus) == (1, 1)
    two = relief_shape(two_bumps(400), GROUNDS["flat"], draft=TEN, tolerance=FINE)
    assert (two.pieces, closure(two.vertices, two.triangles).bodies) == (2, 2)


def test_specks_are_dropped_and_pinholes_filled():
    """A single pixel is no form; two rows of three are."""
    field = plate(300, 0.0)
    mask, h = field.mask.copy(), field.heights.copy()
    mask[20, 20], h[20, 20] = True, 0.1
    mask[30:32, 20:23], h[30:32, 20:23] = True, 0.1
    mask[150, 150], h[150, 150] = False, 0.0
    shape = relief_shape(
        HeightField(field.grid, h, mask), GROUNDS["flat"], draft=TEN, tolerance=FINE
    )
    assert (shape.pieces, shape.holes) == (2, 0)
    assert (shape.islands_dropped, shape.holes_filled) == (1, 1)
    assert closure(shape.vertices, shape.triangles).is_closed


def test_it_reaches_into_the_piece_but_not_below_the_floor():
    for floor in (0.2, 0.75):
        for dish in (0.0, 0.3, -0.3):
            ground = Ground(level=1.1, radius=18.0, dish=dish, floor=floor)
            shape = relief_shape(star(300), ground, draft=TEN, tolerance=FINE)
            low = shape.vertices[:, 2].min()
            used = shape.vertices[:, :2]
            assert floor < low < ground.height(used).min()


def test_no_room_below_the_field_is_an_error():
    thin = Ground(level=1.1, radius=18.0, dish=0.0, floor=1.095)
    with pytest.raises(SolidError, match=r"too thin .* make it thicker"):
        relief_solid(star(200), thin, draft=TEN, tolerance=FINE)


def test_an_empty_field_is_an_error():
    g = grid(50)
    empty = HeightField(g, np.zeros(g.shape, np.float32), np.zeros(g.shape, bool))
    with pytest.raises(SolidError, match=r"no area.*make it larger"):
        relief_solid(empty, GROUNDS["flat"], draft=TEN, tolerance=FINE)


def test_the_highest_pixel_is_a_corner_even_at_the_outline():
    """A form cut off at its highest place keeps its height."""
    field = over(
        grid(300), lambda u, v: 0.3 + 0.02 * u, lambda u, v: (np.abs(u) < 10) & (np.abs(v) < 6)
    )
    shape = relief_shape(field, GROUNDS["flat"], draft=TEN, tolerance=FINE)
    assert shape.height_mm == pytest.approx(float(field.heights.max()), abs=1e-6)


def test_the_same_field_gives_the_same_bytes():
    one, two = (
        relief_shape(star(300), GROUNDS["flat"], draft=TEN, tolerance=FINE) for _ in range(2)
    )
    assert one.vertices.tobytes() == two.vertices.tobytes()
    assert one.triangles.tobytes() == two.triangles.tobytes()


@pytest.mark.slow
def test_a_large_field_stays_small_in_memory():
    """2048 by 2048 pixels; the goal for the whole chain is 700 MB."""
    field = star(2048)
    tracemalloc.start()
    shape = relief_shape(field, GROUNDS["dished"], draft=TEN, tolerance=FINE)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 330e6
    assert not solid_of(shape).is_empty
