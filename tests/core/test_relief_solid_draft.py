"""No facet of a finished relief is steeper than its draft: measured on the mesh, not the field.

That walls of a die or a mould need draft, and that it is measured from the way the piece
leaves it, is common practice, no source.
"""

import math

import numpy as np
import pytest
import trimesh
from models import lumpy_head, scans
from relief_fields import GROUNDS, grid, over, star
from scipy import ndimage

from medalcore.context.element import Context, Model
from medalcore.context.stages import StageCache, Stages
from medalcore.context.tolerance import Tolerance, tolerance_for
from medalcore.elements.relief import build_relief
from medalcore.elements.relief.build import model_relief
from medalcore.elements.relief.draft.draft import enforce_draft, fill_gaps
from medalcore.elements.relief.draft.edge_walls import constrain_walls
from medalcore.elements.relief.surface import slope_limit
from medalcore.elements.relief.surface.relief_solid import relief_shape
from medalcore.elements.relief.surface.slope_limit import limit_slopes
from medalcore.geometry.closure import closure
from medalcore.geometry.masks import away_from
from medalcore.geometry.raster import top_surface
from medalcore.geometry.solid import arrays_of
from medalcore.geometry.step_edges import find_step_edges
from medalcore.spec import Relief

DRAFTS = [3.0, 5.0, 10.0, 30.0]
FINE = tolerance_for("fine")
KEPT = StageCache()  # tests of one model differ in their draft: what comes before it is one


def facets(vertices, triangles):
    """Return lean from upright, degrees, area, and highest z of triangles."""
    corner = vertices[triangles]
    cross = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    size = np.linalg.norm(cross, axis=1)
    return np.degrees(np.arcsin(cross[:, 2] / size)), size / 2, corner[:, :, 2].max(axis=1)


def check_draft(vertices, triangles, ground, draft):
    """Hold all that looks up or sideways above the field against the draft."""
    assert closure(vertices, triangles).is_closed
    lean, area, high = facets(vertices, triangles)
    field = ground.height(vertices[triangles][:, :, :2]).min(axis=1)
    seen = (lean > 1e-4) | ((lean > -1e-4) & (high > field + 1e-3))
    assert (lean > -1e-4)[high > field].all(), "an undercut"
    steep = area[seen & (lean < draft + 5.0)].sum()
    assert steep > 0
    assert lean[seen].min() > draft - 1e-6
    # nor is it much less steep: walls are where they were asked for
    assert area[seen & (np.abs(lean - draft) < 1.0)].sum() > 0.6 * steep


def built(mesh, compression, draft, ground, tolerance=FINE):
    models = {"m": Model(np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64))}
    spec = Relief(source="m", fit=20.0, height=0.6, compression=compression, draft=draft)
    return spec, Context(ground, tolerance, models, stages=Stages(KEPT, models))


@pytest.mark.slow
@pytest.mark.parametrize("draft", DRAFTS)
@pytest.mark.parametrize("compression", ["linear", "gradient"])
def test_a_head_with_overhanging_ears(compression, draft):
    spec, context = built(lumpy_head(), compression, draft, GROUNDS["flat"])
    vertices, triangles, _, _ = arrays_of(build_relief(spec, context).parts[0].solid)
    check_draft(vertices, triangles, context.ground, draft)


@pytest.mark.once
@pytest.mark.parametrize(  # every draft, each on one kind of relief: scans take seconds
    ("compression", "draft"),
    [("linear", 3.0), ("linear", 30.0), ("gradient", 5.0), ("gradient", 10.0)],
)
@pytest.mark.parametrize("model", scans())
def test_scans_keep_the_draft(model, compression, draft):
    mesh = trimesh.load_mesh(model, process=False)
    spec, context = built(mesh, compression, draft, GROUNDS["flat"])
    vertices, triangles, _, _ = arrays_of(build_relief(spec, context).parts[0].solid)
    check_draft(vertices, triangles, context.ground, draft)


@pytest.mark.parametrize("ground", GROUNDS.values(), ids=GROUNDS.keys())
def test_on_every_field(ground):
    """Cliffs, slopes and a hole on flat, dished and domed fields."""
    shape = relief_shape(star(400), ground, draft=math.radians(20.0), tolerance=FINE)
    check_draft(shape.vertices, shape.triangles, ground, 20.0)


@pytest.mark.parametrize("draft", [3.0, 30.0])
def test_heights_stay_within_the_tolerance_away_from_edges(draft):
    """Against the height field, on a head with cliffs."""
    spec, context = built(
        lumpy_head(), "linear", draft, GROUNDS["flat"], Tolerance(0.002, 0.005, 700)
    )
    check_heights(spec, context)


def check_heights(spec, context):
    """Hold the surface to the field at every pixel three pixels from outlines and walls.

    Outlines are those of the silhouette and the strong inner edges, which are drawn as smooth
    lines between the pixels; walls are what draft raised, and slopes as steep as it allows.
    """
    made, angle = model_relief(spec, context), math.radians(spec.draft)
    field = fill_gaps(made.field, angle)
    shape = relief_shape(
        field, GROUNDS["flat"], draft=angle, tolerance=FINE, found=made.edges, before=made.even
    )
    seen, _ = top_surface(shape.vertices, shape.triangles[: shape.top], field.grid)
    down, right = np.gradient(field.heights.astype(float), field.grid.pixel)
    away = field.mask & (np.hypot(down, right) < 1.0 / math.tan(angle + math.radians(1.0)))
    away &= np.abs(field.heights - made.even.heights) < 5e-6
    away.ravel()[constrain_walls(made.edges, made.even, field, angle).released] = False
    far = ndimage.distance_transform_edt(np.pad(away, 1))[1:-1, 1:-1] > 3.0
    off = np.abs(seen - GROUNDS["flat"].level - field.heights)[far]
    assert len(off) > 1e5
    assert off.max() <= FINE.surface + 1e-6


@pytest.mark.once
@pytest.mark.parametrize(("compression", "draft"), [("linear", 5.0), ("gradient", 30.0)])
@pytest.mark.parametrize("model", scans())
def test_scans_are_followed_away_from_walls(model, compression, draft):
    """A corner that moves for draft takes only its surroundings along, no large flat triangle."""
    mesh = trimesh.load_mesh(model, process=False)
    spec, context = built(mesh, compression, draft, GROUNDS["flat"])
    check_heights(spec, context)


def test_a_cliff_keeps_its_place_while_its_wall_leans():
    """A terrace of 0.4 mm in a ring: the top edge stays round, the wall falls at the draft."""
    field = over(
        star(500).grid,
        lambda u, v: np.where(np.hypot(u, v) < 5.0, 0.5, 0.1),
        lambda u, v: np.hypot(u, v) < 10.0,
    )
    draft = math.radians(20.0)
    edges = find_step_edges(field, away_from(field.mask), draft, 0.5 * FINE.surface)
    drafted = enforce_draft(field, draft, edges.tops)
    shape = relief_shape(
        drafted, GROUNDS["flat"], draft=draft, tolerance=FINE, found=edges, before=field
    )
    check_draft(shape.vertices, shape.triangles, GROUNDS["flat"], 20.0)
    lean, area, _ = facets(shape.vertices, shape.triangles[: shape.top])
    middle = shape.vertices[shape.triangles[: shape.top]].mean(axis=1)
    r = np.hypot(middle[:, 0], middle[:, 1] - 1.5)
    wall = (r > 4.5) & (r < 6.0) & (lean < 80.0)
    # a frustum's side (handbooks of geometry): half the sum of both rims times the slant
    width = 0.4 * math.tan(draft)
    side = math.pi * (2 * 5.0 + width) * 0.4 / math.cos(draft)
    assert area[wall].sum() == pytest.approx(side, rel=0.01)
    good = wall & (np.abs(lean - 20.0) < 1.0)
    assert area[good].sum() > 0.97 * area[wall].sum()


def test_only_steep_triangles_move_and_by_the_least():
    """One triangle: the nearest heights whose plane has the slope, by brute force."""
    points = np.array([[0.0, 0.0], [1.0, 0.2], [0.3, 0.9]])
    z = np.array([0.0, 2.0, 1.5])
    wide = np.full(3, 10.0)
    got = limit_slopes(points, z, np.array([[0, 1, 2]]), 1.0, wide, wide, wide)
    turn = np.linspace(0, 2 * math.pi, 20001)
    planes = np.column_stack([np.cos(turn), np.sin(turn)]) @ (points - points.mean(axis=0)).T
    moves = np.linalg.norm(planes + z.mean() - z, axis=1)
    assert np.linalg.norm(got - z) == pytest.approx(moves.min(), rel=2e-3)
    gentle = np.array([0.0, 0.5, 0.4])
    assert np.array_equal(
        limit_slopes(points, gentle, np.array([[0, 1, 2]]), 1.0, wide, wide, wide), gentle
    )


def noisy(pixels, seed):
    """Return noise from one pixel to the next on a disc: harsher than any scan."""
    noise = np.random.default_rng(seed).random((pixels, pixels))
    return over(
        grid(pixels, size=10.0),
        lambda u, v: 0.1 + noise,
        lambda u, v: np.hypot(u, v) < 4.5,
    )


@pytest.mark.parametrize(("draft", "seed"), [(20.0, 4), (10.0, 2)])
def test_not_even_noise_is_left_steeper(draft, seed):
    """Its walls begin and end everywhere; single points that are left of them give way too."""
    field, angle = noisy(80, seed), math.radians(draft)
    drafted = fill_gaps(enforce_draft(field, angle), angle)
    shape = relief_shape(drafted, GROUNDS["flat"], draft=angle, tolerance=FINE, before=field)
    lean, _, _ = facets(shape.vertices, shape.triangles[: shape.top])
    assert lean.min() > draft - 1e-6
    assert shape.height_mm == pytest.approx(float(drafted.heights.max()), abs=1e-6)


def test_facets_that_stay_steeper_are_told_with_their_place(monkeypatch):
    """The limiter does nothing: count, area and place by the normals of the finished solid."""
    noise = np.random.default_rng(3).random((100, 100))
    field = over(
        grid(100, size=20.0, middle=(0.0, 0.0)),
        lambda u, v: 1.0 + 3.0 * noise * (np.hypot(u - 5.0, v - 3.0) < 1.5),
        lambda u, v: np.hypot(u, v) < 9.0,
    )
    spec = Relief(source="m", fit=20.0, height=0.5, compression="linear", draft=30.0, at=(1.0, 0.0))
    context = Context(GROUNDS["flat"], tolerance_for("draft"), {"m": field})
    good = build_relief(spec, context)
    assert not [f for f in good.findings if f.rule == "relief-draft" and f.limit == 30.0]
    monkeypatch.setattr(slope_limit, "_ROUNDS", 0)
    built = build_relief(spec, context)
    (told,) = [f for f in built.findings if f.rule == "relief-draft" and f.limit == 30.0]
    vertices, triangles, _, _ = arrays_of(built.parts[0].solid)
    lean, area, _ = facets(vertices, triangles)
    slope = np.tan(np.radians(30.0)) / np.tan(np.radians(np.maximum(lean, 1e-9)))
    bad = (lean > 0.5) & (slope > 1.001)
    assert told.severity == "warning"
    assert told.message.startswith(f"{bad.sum()} facets, {area[bad].sum():.2g} mm2 in all")
    assert told.measured == pytest.approx(lean[bad].min(), abs=0.01)
    u, v, _ = vertices[triangles[np.flatnonzero(bad)[lean[bad].argmin()]]].mean(axis=0)
    assert f"near {u:.1f}, {v:.1f} mm" in told.message
