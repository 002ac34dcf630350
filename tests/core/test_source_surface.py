"""Coarse models: facets vanish, creases and flats stay, nothing tears."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from scipy import ndimage

from medalcore.context.element import Model
from medalcore.context.ground import Ground
from medalcore.elements.relief.depth.adaptive_subdivision import subdivide_seen
from medalcore.elements.relief.depth.placement import place_mesh, raw_field
from medalcore.elements.relief.sources.model import SourceMesh, source_mesh
from medalcore.geometry.grid import Grid
from medalcore.geometry.raster import top_surface
from medalcore.geometry.subdivision import edged, limit_points, subdivided
from medalcore.spec import Relief

GROUND = Ground(level=1.0, radius=18.0, dish=0.0, floor=-1.0)
CREASE = np.radians(65.0)


def _mesh(model: trimesh.Trimesh) -> SourceMesh:
    return source_mesh(model.vertices, model.faces, "model")


def _slopes(field) -> tuple[np.ndarray, np.ndarray]:
    """Return du and dv of a height field, NaN at its border."""
    heights = np.where(field.mask, field.heights, np.nan).astype(float)
    dv, du = np.gradient(heights, field.grid.pixel)
    return du, -dv


def _lumpy(level: int, seed: int) -> trimesh.Trimesh:
    """Return a closed model with bumps and hollows of a few triangles each."""
    rng = np.random.default_rng(seed)
    ball = trimesh.creation.icosphere(subdivisions=level)
    waves = np.sin(ball.vertices @ rng.normal(0, 2.2, (3, 5)) + rng.uniform(0, 6, 5))
    ball.vertices *= 1 + 0.12 * waves.sum(axis=1, keepdims=True)
    return ball


@pytest.mark.parametrize("level", [1, 2])
def test_a_coarse_ball_is_round(level):
    """80 and 320 triangles: normals as a sphere's within a few degrees, not by 20 or 10."""
    ball = trimesh.creation.icosphere(subdivisions=level)
    spec = Relief(source="ball", fit=20.0)
    errors = []
    for crease in (65.0, 0.0):
        field = raw_field(_mesh(ball), Relief(source="ball", fit=20.0, crease=crease), GROUND, 400)
        du, dv = _slopes(field)
        u, v = np.meshgrid(field.grid.u(), field.grid.v())
        inner = np.hypot(u, v) < 7.5
        w = np.sqrt(np.where(inner, 100 - u**2 - v**2, 1))
        dot = (u * -du + v * -dv + w) / np.sqrt(100 * (1 + du**2 + dv**2))
        errors.append(np.degrees(np.arccos(np.clip(dot[inner], -1, 1))).max())
    assert spec.crease == 65.0
    assert errors[0] < (8.0, 2.5)[level - 1]
    assert errors[0] < errors[1] / 3


def test_no_step_of_slope_is_left_between_facets():
    """Along a line across a coarse ball the slope changes evenly, in no step of a facet."""
    ball = _mesh(trimesh.creation.icosphere(subdivisions=2))
    steps = []
    for crease in (65.0, 0.0):
        field = raw_field(ball, Relief(source="ball", fit=20.0, crease=crease), GROUND, 600)
        du, _ = _slopes(field)
        line = np.degrees(np.arctan(du[field.grid.rows // 2, 150:-150]))
        steps.append(np.abs(np.diff(line, n=2)).max())
    assert steps[0] < 1.5
    assert steps[1] > 4.0


def test_boxes_and_prisms_stay_as_they_are():
    """Right angles are creases and flats are flat: the very same arrays come back."""
    for model in (trimesh.creation.box(), trimesh.creation.cylinder(1, 2, sections=4)):
        vertices, triangles = subdivide_seen(model.vertices, model.faces, 0.006, CREASE)
        assert vertices is model.vertices
        assert triangles is model.faces


def test_a_cylinder_is_round_and_its_rim_stays_sharp():
    """Lying: the height across is a circle's. Standing: the silhouette is, and its top flat."""
    cylinder = _mesh(trimesh.creation.cylinder(radius=3, height=10, sections=20))
    field = raw_field(cylinder, Relief(source="c", fit=20.0, turn=(90, 0, 7)), GROUND, 500)
    du, dv = _slopes(field)
    tilt = np.degrees(np.arctan(np.hypot(du, dv)))
    angle = np.radians(7.0)
    u, v = np.meshgrid(field.grid.u(), field.grid.v())
    across = u * np.cos(angle) + v * np.sin(angle)
    along = -u * np.sin(angle) + v * np.cos(angle)
    radius = 3.0 * 20.0 / (10.0 * np.cos(angle) + 6.0 * np.sin(angle))  # its box is 20 wide
    assert field.heights.max() == pytest.approx(radius, rel=0.05)  # as far down as it is seen
    inner = (abs(across) < 0.7 * radius) & (abs(along) < 8.0)
    expected = np.degrees(np.arcsin(np.minimum(np.abs(across) / radius, 1)))
    assert np.abs(tilt - expected)[inner].max() < 3.0  # a facet is 18 degrees wide
    field = raw_field(cylinder, Relief(source="c", fit=20.0), GROUND, 500)
    top = field.heights > field.heights.max() - 1e-5
    assert top.sum() > 0.995 * field.mask.sum()
    area = field.mask.sum() * field.grid.pixel**2
    assert area == pytest.approx(np.pi * 100, rel=4e-3)  # the polygon of 20 sides: 1.6 % less


def test_a_cone_keeps_its_tip():
    cone = _mesh(trimesh.creation.cone(radius=3, height=4, sections=24))
    field = raw_field(cone, Relief(source="c", fit=12.0), GROUND, 400)
    assert field.heights.max() == pytest.approx(8.0, abs=0.1)
    u, v = np.meshgrid(field.grid.u(), field.grid.v())
    inner = np.hypot(u, v) < 5.6
    cone_height = field.heights.max() * (1 - np.hypot(u, v) / 6)
    assert np.abs(field.heights - cone_height)[inner].max() < 0.12


@pytest.mark.parametrize("seed", range(6))
def test_smoothed_models_do_not_tear(seed):
    """No pinhole in the silhouette, and no pixel far below all its neighbours."""
    model = _lumpy(1 + seed % 3, seed)
    field = raw_field(
        _mesh(model), Relief(source="m", fit=20.0, turn=(seed * 50, 0, 0)), GROUND, 500
    )
    holes = ndimage.binary_fill_holes(field.mask) & ~field.mask
    assert not holes.any()
    around = ndimage.minimum_filter(
        np.where(field.mask, field.heights, np.inf), footprint=[[1, 1, 1], [1, 0, 1], [1, 1, 1]]
    )
    inner = ndimage.binary_erosion(field.mask, iterations=3)
    pits = inner & (field.heights < around - 3 * field.grid.pixel)
    assert not pits.any()


def test_facing_and_welding_do_not_matter():
    """Turned-over triangles, corners of their own, points written a little differently."""
    model = _lumpy(2, 3)
    rng = np.random.default_rng(1)
    faces = model.faces.copy()
    turn = rng.random(len(faces)) < 0.4
    faces[turn] = faces[turn][:, ::-1]
    loose = model.vertices[faces].reshape(-1, 3) * (1 + 1e-9 * rng.standard_normal((faces.size, 1)))
    grid = Grid(-2.0, 2.0, 0.01, 401, 401)
    one, two = (
        top_surface(*subdivide_seen(mesh.vertices, mesh.triangles, 0.015, CREASE), grid)[0]
        for mesh in (_mesh(model), source_mesh(loose, np.arange(faces.size).reshape(-1, 3), "m"))
    )
    assert (np.isfinite(one) != np.isfinite(two)).mean() < 1e-3
    both = np.isfinite(one) & np.isfinite(two)
    assert np.quantile(np.abs(one[both] - two[both]), 0.999) < 1e-3


def test_draft_and_fine_show_the_same_surface():
    """Triangles of every level end on the surface that subdivision tends to."""
    mesh = _mesh(_lumpy(2, 8))
    spec = Relief(source="m", fit=20.0)
    coarse, fine = (raw_field(mesh, spec, GROUND, n) for n in (216, 816))
    at = ndimage.map_coordinates(
        fine.heights,
        np.meshgrid(
            (fine.grid.top - coarse.grid.v()) / fine.grid.pixel,
            (coarse.grid.u() - fine.grid.left) / fine.grid.pixel,
            indexing="ij",
        ),
        order=1,
    )
    inner = ndimage.binary_erosion(coarse.mask, iterations=6)
    away = (at - coarse.heights)[inner]  # the lowest point seen is not quite the same
    assert np.quantile(np.abs(away - np.median(away)), 0.98) < 0.02


def test_a_dense_scan_passes_through_untouched():
    """Triangles no wider than is seen are not touched."""
    ball = _lumpy(6, 2)
    vertices, triangles = subdivide_seen(ball.vertices, ball.faces, 0.06, CREASE)
    assert vertices is ball.vertices
    assert triangles is ball.faces


def test_crease_zero_keeps_every_facet():
    mesh = _mesh(_lumpy(1, 4))
    spec = Relief(source="m", fit=20.0, crease=0.0)
    field = raw_field(mesh, spec, GROUND, 200, exact=True)
    points, triangles = place_mesh(mesh, spec, GROUND)
    heights, _ = top_surface(points, triangles, field.grid)
    heights -= heights[field.mask].min()
    off = (heights - field.heights)[field.mask]
    assert np.ptp(off) < 1e-5


def test_an_open_sheet_keeps_its_border_lines():
    """A bent sheet: straight borders stay straight, the bend becomes a curve."""
    x = np.linspace(-3, 3, 7)
    profile = np.abs(np.arange(7) - 3) * -0.3
    vertices = np.array(
        [[a, b, h] for b in (0.0, 2.0, 4.0) for a, h in zip(x, profile, strict=True)]
    )
    i = (np.arange(2)[:, None] * 7 + np.arange(6)).ravel()
    triangles = np.concatenate([np.stack(c, 1) for c in ((i, i + 1, i + 7), (i + 1, i + 8, i + 7))])
    sheet = Model(vertices, triangles)
    field = raw_field(
        source_mesh(sheet.vertices, sheet.triangles, "s"), Relief(source="s", fit=18.0), GROUND, 300
    )
    area = field.mask.sum() * field.grid.pixel**2
    assert area == pytest.approx(18 * 12, rel=0.01)
    ridge = field.heights[:, field.grid.cols // 2][field.mask[:, field.grid.cols // 2]]
    assert np.ptp(ridge) < 0.05


def test_one_step_of_subdivision_is_loops_rule_book():
    """The octahedron, by hand: new edge points 3/8 of both ends + 1/8 of both opposites.

    C. Loop (1987); vertices of valence 4 keep 1 - 4 b, b = (5/8 - (3/8 + cos(90°)/4)²)/4.
    """
    corners = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1.0]])
    triangles = np.array(
        [[0, 2, 4], [2, 1, 4], [1, 3, 4], [3, 0, 4], [2, 0, 5], [1, 2, 5], [3, 1, 5], [0, 3, 5]]
    )
    mesh = edged(corners, triangles)
    finer = subdivided(mesh)
    b = (5 / 8 - (3 / 8) ** 2) / 4
    assert np.allclose(finer.vertices[:6], corners * (1 - 4 * b))
    middles = {tuple(np.round(p, 9)) for p in finer.vertices[6:]}
    assert (0.375, 0.375, 0.0) in middles  # the two opposites cancel
    assert len(middles) == 12
    assert len(finer.triangles) == 32
    again = edged(finer.vertices, finer.triangles)  # edges found anew are the edges handed down
    assert len(again.ends) == len(finer.ends)
    assert (again.kind == 0).all()
    ours = finer.ends[finer.edges]
    sides = np.stack([finer.triangles, np.roll(finer.triangles, -1, axis=1)], axis=-1)
    assert np.array_equal(np.sort(ours, axis=2), np.sort(sides, axis=2))
    # limit points do not depend on the level they are asked at
    assert np.allclose(limit_points(mesh), limit_points(finer)[:6])


def test_a_monkey_like_pile_of_shells_keeps_its_silhouette():
    """Smoothing loses and gains little of the outline's area, and neither much."""
    model = trimesh.util.concatenate(
        [_lumpy(1, k).apply_translation([1.2 * k, 0, 0]) for k in (1, 2)]
    )
    mesh = _mesh(model)
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    pixel = float((high - low).max()) / 500
    grid = Grid(float(low[0]) - 9 * pixel, float(high[1]) + 9 * pixel, pixel, 520, 520)
    before = np.isfinite(top_surface(mesh.vertices, mesh.triangles, grid)[0])
    after = np.isfinite(
        top_surface(*subdivide_seen(mesh.vertices, mesh.triangles, 3 * pixel, CREASE), grid)[0]
    )
    assert after.sum() / before.sum() == pytest.approx(1.0, abs=0.03)
    assert (before & ~after).sum() < 0.04 * before.sum()


@pytest.mark.parametrize("seed", range(3))
def test_nothing_of_the_silhouette_is_lost_and_the_width_is_as_asked(seed):
    """Every pixel that shows the coarse model shows the relief, within the same box."""
    mesh = _mesh(_lumpy(1, seed))
    spec = Relief(source="m", fit=20.0)
    field = raw_field(mesh, spec, GROUND, 400)
    points, triangles = place_mesh(mesh, spec, GROUND)
    seen = np.isfinite(top_surface(points, triangles, field.grid)[0])
    assert field.mask[seen].all()
    rows, cols = np.nonzero(field.mask)
    larger = max(np.ptp(rows), np.ptp(cols)) + 1
    assert larger * field.grid.pixel == pytest.approx(20.0, abs=1.5 * field.grid.pixel)
