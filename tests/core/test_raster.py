"""The depth map: exact where the answer is known, without cracks, and as ray casting says."""

from __future__ import annotations

import tracemalloc
from itertools import pairwise

import numpy as np
import pytest
import trimesh
from embree import top_seen
from models import scans

from medalcore.geometry.grid import Grid
from medalcore.geometry.raster import top_surface


def _grid(size: int, half: float = 1.0) -> Grid:
    pixel = 2 * half / size
    return Grid(left=-half + pixel / 2, top=half - pixel / 2, pixel=pixel, rows=size, cols=size)


def lumpy_ball(rings: int = 180, turns: int = 240) -> tuple[np.ndarray, np.ndarray]:
    """Return a closed ball with lumps that overhang, (n, 3) and (m, 3)."""
    polar = np.linspace(0, np.pi, rings + 1)[:, None]
    angle = np.linspace(0, 2 * np.pi, turns, endpoint=False)[None, :]
    radius = 0.7 + 0.15 * np.sin(5 * angle) * np.sin(polar) ** 2 + 0.08 * np.cos(9 * polar)
    points = np.stack(
        np.broadcast_arrays(
            radius * np.sin(polar) * np.cos(angle),
            radius * np.sin(polar) * np.sin(angle),
            radius * np.cos(polar),
        ),
        axis=-1,
    ).reshape(-1, 3)
    r, t = np.meshgrid(np.arange(rings), np.arange(turns), indexing="ij")
    a, b = r * turns + t, r * turns + (t + 1) % turns
    faces = np.stack([a, a + turns, b, b, a + turns, b + turns], axis=-1).reshape(-1, 3)
    turn = np.linalg.qr(np.random.default_rng(5).normal(size=(3, 3)))[0]
    return points @ turn, faces


def slow_top_surface(vertices: np.ndarray, triangles: np.ndarray, grid: Grid) -> np.ndarray:
    """Ask every pixel centre of every triangle by barycentric weights: the plain way."""
    u, v = np.meshgrid(grid.u(), grid.v())
    heights = np.full(grid.shape, -np.inf)
    for a, b, c in vertices[triangles]:
        area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
        if abs(area) < 1e-14:
            continue
        wb = ((u - a[0]) * (c[1] - a[1]) - (v - a[1]) * (c[0] - a[0])) / area
        wc = ((b[0] - a[0]) * (v - a[1]) - (b[1] - a[1]) * (u - a[0])) / area
        wa = 1 - wb - wc
        inside = np.minimum(np.minimum(wa, wb), wc) >= -1e-12
        z = wa * a[2] + wb * b[2] + wc * c[2]
        heights = np.where(inside & (z > heights), z, heights)
    return heights


@pytest.mark.parametrize("size", [1.5, 0.3, 0.05, 0.004])
def test_triangle_soup_matches_the_plain_way(size):
    """Random triangles from far larger than the grid to far smaller than a pixel."""
    rng = np.random.default_rng(11)
    middle = rng.uniform(-1.2, 1.2, (400, 1, 3))
    vertices = (middle + size * rng.normal(size=(400, 3, 3))).reshape(-1, 3)
    triangles = np.arange(1200).reshape(-1, 3)
    grid = _grid(61)
    fast, index = top_surface(vertices, triangles, grid, with_index=True)
    slow = slow_top_surface(vertices, triangles, grid)
    assert np.array_equal(np.isfinite(fast), np.isfinite(slow))
    seen = np.isfinite(slow)
    assert np.abs(fast[seen] - slow[seen]).max() < 1e-9
    assert index is not None
    assert np.array_equal(index >= 0, seen)
    # the triangle named is the one whose plane gives the height
    a, b, c = np.moveaxis(vertices[triangles[index[seen]]], 1, 0)
    normal = np.cross(b - a, c - a)
    u, v = np.meshgrid(grid.u(), grid.v())
    plane = (
        a[:, 2]
        - ((u[seen] - a[:, 0]) * normal[:, 0] + (v[seen] - a[:, 1]) * normal[:, 1]) / normal[:, 2]
    )
    assert np.abs(plane - fast[seen]).max() < 1e-6


@pytest.mark.parametrize("tilt", [0.0, 0.3, np.pi / 4])
def test_no_cracks_along_shared_edges(tilt):
    """A sheet whose corners and diagonals fall on pixel centres shows every pixel."""
    n = 33
    x, y = np.meshgrid(np.arange(n) - n // 2, np.arange(n) - n // 2)
    flat = np.stack([x, y], -1).reshape(-1, 2) * 0.25
    turn = np.array([[np.cos(tilt), -np.sin(tilt)], [np.sin(tilt), np.cos(tilt)]])
    vertices = np.column_stack([flat @ turn.T, np.zeros(n * n)])
    i = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).ravel()
    triangles = np.concatenate(
        [np.stack([i, i + 1, i + n], 1), np.stack([i + 1, i + n + 1, i + n], 1)]
    )
    grid = Grid(left=-2.0, top=2.0, pixel=0.125, rows=33, cols=33)
    heights, _ = top_surface(vertices, triangles, grid)
    assert np.array_equal(heights, np.zeros((33, 33)))


def test_sphere_depth_converges_to_the_formula():
    """A ball shows z = sqrt(1 - u² - v²); the error of chords falls with their square."""
    grid = _grid(400, 1.1)
    u, v = np.meshgrid(grid.u(), grid.v())
    inner = u**2 + v**2 < 0.9**2
    errors = []
    for level in (4, 5, 6):
        ball = trimesh.creation.icosphere(subdivisions=level)
        heights, _ = top_surface(ball.vertices, ball.faces, grid)
        errors.append(np.abs(heights - np.sqrt(1.0 - np.minimum(u**2 + v**2, 1.0)))[inner].max())
    assert errors[2] < 5e-4
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.15)
    assert errors[1] / errors[2] == pytest.approx(4.0, rel=0.15)


def test_cone_depth_is_exact_on_its_facets():
    """A pyramid has plane sides: z = 1 - max(|u|, |v|), to rounding."""
    vertices = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0], [0, 0, 1.0]])
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    grid = _grid(333)
    heights, _ = top_surface(vertices, triangles, grid)
    u, v = np.meshgrid(grid.u(), grid.v())
    assert np.abs(heights - (1 - np.maximum(abs(u), abs(v)))).max() < 1e-12


def test_walls_through_pixel_centres_make_no_spikes():
    """A gable house turned by 45 degrees, walls on pixel centres, stays under its roof."""
    roof = np.array([[-1, -1, 1], [1, -1, 1], [1, 1, 1], [-1, 1, 1], [-1, 0, 2], [1, 0, 2.0]])
    foot = roof[:4] * [1, 1, 0]
    vertices = np.vstack([roof, foot])
    triangles = np.array(
        [
            [0, 1, 5], [0, 5, 4], [3, 4, 5], [3, 5, 2],  # roof
            [0, 4, 3], [1, 2, 5],  # gables
            [6, 7, 1], [6, 1, 0], [7, 8, 2], [7, 2, 1], [8, 9, 3], [8, 3, 2], [9, 6, 0], [9, 0, 3],
        ]
    )  # fmt: skip
    s = np.sqrt(0.5)
    vertices = vertices @ np.array([[s, s, 0], [-s, s, 0], [0, 0, 1]])
    pixel = s / 64  # rows run through the corners and along the diagonals of the pixels
    grid = Grid(left=-96 * pixel, top=96 * pixel, pixel=pixel, rows=193, cols=193)
    heights, _ = top_surface(vertices, triangles, grid)
    u, v = np.meshgrid(grid.u(), grid.v())
    across = (u - v) * s, (u + v) * s  # back in the house's own axes, up to sign
    roof_z = np.minimum(2 - abs(across[0]), 2 - abs(across[1]))
    highest = np.maximum(2 - abs(across[0]), 2 - abs(across[1]))
    seen = np.isfinite(heights)
    assert (heights[seen] <= highest[seen] + 1e-6).all()
    inner = np.maximum(abs(across[0]), abs(across[1])) < 1 - pixel / 8
    assert seen[inner].all()
    matches = np.minimum(abs(heights - (2 - abs(across[0]))), abs(heights - (2 - abs(across[1]))))
    assert matches[inner].max() < 1e-6
    assert roof_z[inner].min() > 0.9


def test_inside_out_and_mixed_facing_show_the_same():
    """Turning any triangles over changes nothing but rounding."""
    vertices, triangles = lumpy_ball(40, 60)
    grid = _grid(128)
    one, _ = top_surface(vertices, triangles, grid)
    mixed = triangles.copy()
    mixed[::3] = mixed[::3, ::-1]
    two, _ = top_surface(vertices, mixed, grid)
    assert np.array_equal(np.isfinite(one), np.isfinite(two))
    seen = np.isfinite(one)
    assert np.abs(one[seen] - two[seen]).max() < 1e-12


@pytest.mark.parametrize("size", [61, 64])
def test_what_faces_down_shows_beside_something_higher(size):
    """Small triangles half way up, facing down, over steps: hidden only where they are."""
    grid = _grid(size)
    edges = np.linspace(-1.1, 1.1, 8)
    points, faces = [], []
    for k, (left, right) in enumerate(pairwise(edges)):
        for j, (low, high) in enumerate(pairwise(edges)):
            corners = [(left, low), (right, low), (right, high), (left, high)]
            faces += [[len(points), len(points) + 1, len(points) + 2]]
            faces += [[len(points), len(points) + 2, len(points) + 3]]
            points += [(*corner, 2.0 * ((k + j) % 2)) for corner in corners]
    rng = np.random.default_rng(8)
    middle = np.column_stack([rng.uniform(-1, 1, (3000, 2)), np.ones(3000)])
    turn = np.radians([0.0, -120.0, -240.0]) + rng.uniform(0, 7, (3000, 1))
    spread = 0.1 * np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=-1)
    small = (middle[:, None] + spread).reshape(-1, 3)
    down = len(points) + np.arange(len(small)).reshape(-1, 3)
    vertices = np.concatenate([points, small])
    seen, _ = top_surface(vertices, np.concatenate([faces, down]), grid)
    same, _ = top_surface(vertices, np.concatenate([faces, down[:, ::-1]]), grid)
    assert np.array_equal(seen, same)
    assert {0.0, 1.0, 2.0} >= set(np.unique(seen.round(9))) >= {1.0, 2.0}


def test_what_hangs_over_the_grid_is_cut_off():
    """Triangles outside are ignored, those across the border show only inside."""
    vertices = np.array(
        [[-50, -50, 1], [50, -50, 1], [0, 70, 1], [5, 5, 9], [6, 5, 9], [5, 6, 9.0]]
    )
    triangles = np.array([[0, 1, 2], [3, 4, 5]])
    heights, index = top_surface(vertices, triangles, _grid(16), with_index=True)
    assert np.array_equal(heights, np.ones((16, 16)))
    assert index is not None
    assert (index == 0).all()


def test_nothing_gives_an_empty_picture():
    heights, index = top_surface(np.zeros((0, 3)), np.zeros((0, 3), int), _grid(4), with_index=True)
    assert np.isneginf(heights).all()
    assert index is not None
    assert (index == -1).all()


def test_blocks_change_nothing(monkeypatch):
    """The portions that work goes through in are not seen in the result."""
    vertices, triangles = lumpy_ball(60, 80)
    grid = _grid(200)
    whole, _ = top_surface(vertices, triangles, grid)
    monkeypatch.setattr("medalcore.geometry.raster.BLOCK", 700)
    monkeypatch.setattr("medalcore.geometry.raster.FRAGMENTS", 50)
    parts, _ = top_surface(vertices, triangles, grid)
    assert np.array_equal(whole, parts)


def assert_like_embree(vertices: np.ndarray, triangles: np.ndarray, size: int) -> None:
    low, high = vertices[:, :2].min(axis=0), vertices[:, :2].max(axis=0)
    pixel = float((high - low).max()) / (size - 8)
    middle = (low + high) / 2
    grid = Grid(middle[0] - pixel * size / 2, middle[1] + pixel * size / 2, pixel, size, size)
    ours, _ = top_surface(vertices, triangles, grid)
    points = np.stack(np.meshgrid(grid.u(), grid.v()), axis=-1).reshape(-1, 2)
    theirs = top_seen(vertices, triangles, points).reshape(grid.shape)
    seen = np.isfinite(ours)
    both = seen & np.isfinite(theirs)
    size_of_model = np.linalg.norm(np.ptp(vertices, axis=0))
    good = (seen == np.isfinite(theirs)) & ~both
    good[both] = np.abs(ours[both] - theirs[both]) <= 1e-6 * size_of_model
    assert seen.sum() > size * size / 10
    assert good.mean() >= 0.9999


def test_depth_is_what_embree_sees_on_a_lumpy_ball():
    """1e-6 of the model's size on 99.99 % of the pixels (Embree through trimesh.ray)."""
    vertices, triangles = lumpy_ball()
    assert_like_embree(vertices, triangles, 512)


@pytest.mark.parametrize("path", scans())
def test_depth_is_what_embree_sees_on_scans(path):
    """The same on real models."""
    model = trimesh.load(path, force="mesh", process=False)
    assert_like_embree(np.asarray(model.vertices), np.asarray(model.faces), 512)


def test_memory_is_bounded_by_the_picture():
    """A million triangles on 2048 by 2048: little more than the picture and the vertices."""
    vertices, triangles = lumpy_ball(700, 714)
    assert len(triangles) > 990_000
    grid = _grid(2048)
    tracemalloc.start()
    try:
        top_surface(vertices, triangles, grid)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 120e6


def test_a_sheet_seen_edge_on_makes_no_spikes():
    """Narrower than rounding, tall in the middle: nothing, or no more than its true height."""
    for off in (0.0, 1e-14, 1e-13, 1e-12, 1e-11, 1e-8):
        sheet = np.array([[-1, -1, 0], [1, 1, 0], [0, off, 10.0]])
        grid = Grid(left=-1.0, top=1.0, pixel=0.0625, rows=33, cols=33)
        with np.errstate(all="raise"):
            heights, _ = top_surface(sheet, np.array([[0, 1, 2]]), grid)
        u, _ = np.meshgrid(grid.u(), grid.v())
        true = 10 * (1 - np.abs(u))
        seen = np.isfinite(heights)
        assert (heights[seen] <= true[seen] + 1e-3).all()
        assert seen.sum() <= 33
