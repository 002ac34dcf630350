"""The outermost pixels of a depth map: clean where sampling frays them, exact elsewhere."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from scipy import ndimage

from medalcore.context.ground import Ground
from medalcore.elements.relief.depth.boundary_pixels import correct
from medalcore.elements.relief.depth.placement import raw_field
from medalcore.elements.relief.sources.model import SourceMesh, source_mesh
from medalcore.spec import Relief

GROUND = Ground(level=1.0, radius=18.0, dish=0.0, floor=-1.0)
BARE = -np.inf


def _mesh(mesh: trimesh.Trimesh) -> SourceMesh:
    return source_mesh(mesh.vertices, mesh.faces, "m")


def _box(*sides: float, at: tuple[float, float, float] = (0, 0, 0)) -> trimesh.Trimesh:
    return trimesh.creation.box(sides).apply_translation(at)


def _off_planes(field, normal) -> np.ndarray:
    """Return how far depths lie from the nearest of the levels of parallel planes, pixels."""
    u, v = np.meshgrid(field.grid.u(), field.grid.v())
    along = (field.heights + (normal[0] * u + normal[1] * v) / normal[2])[field.mask]
    pixel = field.grid.pixel
    counts, edges = np.histogram(along, bins=np.arange(along.min(), along.max() + pixel, pixel))
    levels = edges[:-1][counts > 0.05 * counts.sum()]
    middle = np.array([np.median(along[np.abs(along - a) < 2 * pixel]) for a in levels])
    return np.abs(along[:, None] - middle).min(axis=1) / pixel


@pytest.mark.parametrize("pixels", [200, 384, 700])
@pytest.mark.parametrize("tilt", [0.05, 0.1])
def test_a_nearly_upright_side_leaves_no_sawtooth(pixels, tilt):
    """Of a block turned by 30° and tilted a little only the flat top shows (plane geometry)."""
    spec = Relief(source="m", fit=20.0, turn=(tilt, 1.3 * tilt, 30.0))
    mesh = _mesh(_box(1, 1, 1))
    a, b, c = np.radians(spec.turn)
    normal = np.array([np.cos(c) * np.sin(b), np.sin(c) * np.sin(b) - np.sin(a), 1.0])
    frayed = _off_planes(raw_field(mesh, spec, GROUND, pixels, exact=True), normal)
    assert (frayed > 8).sum() > 20  # what is to be cured is there
    assert _off_planes(raw_field(mesh, spec, GROUND, pixels), normal).max() < 3.0


def _reversals(field) -> int:
    """Count pixels from which it goes up steeply, by 8 px or more, to one nearer to the outline."""
    away = ndimage.distance_transform_edt(field.mask)
    count = 0
    for dr, dc in ((0, 1), (0, -1), (1, 0), (-1, 0)):
        height, near = (np.roll(a, (dr, dc), axis=(0, 1)) for a in (field.heights, away))
        outer = (near > 0) & (near < away - 0.7)
        count += (outer & (height > field.heights + 8 * field.grid.pixel)).sum()
    return int(count)


@pytest.mark.parametrize("tilt", [0.1, 0.12, 0.15, 0.2, 0.3, 0.45, 1.0])
def test_a_flank_of_some_pixels_is_not_broken_up(tilt):
    """Towards the outline of a block no side goes up again, whatever the width of its flanks."""
    spec = Relief(source="m", fit=20.0, turn=(tilt, 2 * tilt, 30.0))
    block = _mesh(_box(1, 1, 1))
    exact = _reversals(raw_field(block, spec, GROUND, 1024, exact=True))  # at its corners
    assert _reversals(raw_field(block, spec, GROUND, 1024)) <= exact + 3


@pytest.mark.parametrize("pixels", [200, 384, 700])
def test_an_inner_edge_is_a_clean_step(pixels):
    """A block on a block: every pixel belongs to one of the two tops, none lies between."""
    spec = Relief(source="m", fit=20.0, turn=(0.05, 0.07, 30.0))
    mesh = _mesh(trimesh.util.concatenate([_box(2, 2, 0.5), _box(1, 1, 1, at=(0, 0, 0.7))]))
    a, b, c = np.radians(spec.turn)
    normal = np.array([np.cos(c) * np.sin(b), np.sin(c) * np.sin(b) - np.sin(a), 1.0])
    assert (_off_planes(raw_field(mesh, spec, GROUND, pixels, exact=True), normal) > 8).sum() > 5
    assert _off_planes(raw_field(mesh, spec, GROUND, pixels), normal).max() < 8.0


def test_along_the_outline_of_a_ball_heights_run_evenly():
    """Chance alone spreads the exact depth of outermost pixels by √(2 r) px (circle geometry)."""
    ball = _mesh(trimesh.creation.icosphere(subdivisions=3))
    spread, jump = {}, {}
    for exact in (True, False):
        field = raw_field(ball, Relief(source="m", fit=20.0), GROUND, 1024, exact=exact)
        r, c = np.nonzero(field.mask & ~ndimage.binary_erosion(field.mask))
        rim = field.heights[r, c][np.argsort(np.arctan2(r - r.mean(), c - c.mean()))]
        spread[exact] = np.ptp(rim) / field.grid.pixel
        jump[exact] = np.abs(np.diff(rim)).max() / field.grid.pixel
    assert spread[True] > np.sqrt(2 * 504)
    assert spread[False] < 0.4 * spread[True]
    assert jump[False] < 0.6 * jump[True]


def test_bars_of_few_pixels_stay_as_they_are():
    """Railings have no inside to carry on from: nothing of them changes, in front or alone."""
    heights = np.full((80, 120), BARE)
    heights[10:40, 10:110] = 50.0
    heights[40:70, 20:23] = 90.0
    heights[40:70, 60:62] = 10.0
    heights[20:30, 30:32] = 140.0
    heights[15:35, 90] = 70.0
    assert np.array_equal(correct(heights, heights, 1.0), heights)


@pytest.mark.parametrize("depth", [5.0, 200.0])
def test_a_form_behind_is_not_pulled_forward_where_it_meets_the_outline(depth):
    """Two flat forms side by side, one behind: both keep their depth to the outline."""
    heights = np.full((60, 80), BARE)
    heights[10:50, 10:40] = depth
    heights[10:50, 40:70] = 0.0
    assert np.array_equal(correct(heights, heights, 1.0), heights)


def test_slopes_down_to_the_outline_stay():
    """A roof of any pitch up to 70 degrees is true to its last pixel (plane geometry)."""
    x = np.arange(100.0)
    for slope in (0.3, 1.0, 2.7):
        row = slope * np.minimum(x, 99 - x)
        heights = np.full((60, 120), BARE)
        heights[10:50, 10:110] = row
        assert np.allclose(correct(heights, heights, 1.0)[10:50, 10:110], row, atol=1e-9)


def _disc(radius: float, size: int = 220) -> np.ndarray:
    r, c = np.mgrid[:size, :size] - size / 2.0
    return np.hypot(r, c) <= radius


def test_a_corner_beyond_the_smooth_outline_is_covered_and_led_up_to():
    """All of the corner stands, at the height of the form; dents beside it are filled."""
    round_form = _disc(80)
    corner = round_form.copy()
    for k in range(16):  # a corner of 2 · arctan(16/8) on the right
        corner[110 - (16 - k) // 2 : 110 + (16 - k) // 2 + 1, 190 + k] = True
    corner[110, 30] = True  # the box reaches as far
    smooth, facets = np.where(round_form, 30.0, BARE), np.where(corner, 30.0, BARE)
    out = np.isfinite(correct(smooth, facets, 1.0))
    assert out[corner | round_form].all()
    added = out & ~corner & ~round_form
    assert added.any()
    near = ndimage.distance_transform_edt(~(corner & ~round_form))
    assert near[added].max() < 24
    assert np.array_equal(np.flatnonzero(out.any(axis=0))[[0, -1]], [30, 205])
    assert np.ptp(correct(smooth, facets, 1.0)[out]) < 1e-9


def test_a_true_notch_beside_a_corner_is_not_filled():
    """A right angle between two limbs stays sharp."""
    limbs = np.zeros((220, 220), dtype=bool)
    limbs[20:200, 20:60] = True
    limbs[160:200, 20:200] = True
    facets = limbs.copy()
    facets[140:160, 58:63] = True  # stands out three pixels, close to the notch
    smooth = np.where(limbs, 5.0, BARE)
    out = np.isfinite(correct(smooth, np.where(facets, 5.0, BARE), 1.0))
    assert not (out & ~facets)[152:160, 63:].any()


def test_what_smoothing_lost_altogether_stays_as_it_was():
    """A part that the smooth surface is nowhere near keeps its own depth."""
    smooth = np.full((60, 60), BARE)
    smooth[10:50, 10:30] = 4.0
    facets = smooth.copy()
    facets[20:40, 45:50] = 9.0
    out = correct(smooth, facets, 1.0)
    assert (out[20:40, 45:50] == 9.0).all()
    assert (out[10:50, 10:30] == 4.0).all()


def test_nothing_seen_stays_nothing():
    empty = np.full((30, 30), BARE)
    assert not np.isfinite(correct(empty, empty, 1.0)).any()


def test_where_the_smooth_surface_shows_nothing_the_facets_stay():
    """A wire between pixel centres may vanish when it is smoothed."""
    facets = np.full((40, 40), BARE)
    facets[10:30, 20] = 3.0
    assert np.array_equal(correct(np.full((40, 40), BARE), facets, 1.0), facets)
