"""Relief compression: promises on heights, and what raking light shows of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from medalcore.elements.relief.compression.compress import compress
from medalcore.elements.relief.compression.emphasis import read_emphasis
from medalcore.errors import SourceError
from medalcore.geometry.grid import Grid, HeightField
from medalcore.spec import Relief


def bumpy_ball(pixels: int, size: float = 22.0) -> HeightField:
    """Return a ball with knobs in front of a slab, and a loose bar far above the field."""
    pixel = size / pixels
    c = (np.arange(pixels) - 0.5 * (pixels - 1)) * pixel
    u, v = np.meshgrid(c, -c)
    heights = np.full((pixels, pixels), -np.inf)

    def over(z: NDArray[np.float64], where: NDArray[np.bool_]) -> None:
        heights[where] = np.maximum(heights, z)[where]

    r2 = u**2 + v**2
    ball = 12.0 + np.sqrt(np.maximum(49.0 - r2, 0.0))
    over(ball + 0.15 * np.sin(2.1 * u) * np.sin(1.7 * v), r2 < 49.0)
    over(4.0 + 0.1 * u, (abs(u) < 9.0) & (abs(v + 5.0) < 3.0))
    over(np.full_like(u, 15.0), (abs(v - 9.0) < 0.8) & (abs(u) < 6.0))
    mask = np.isfinite(heights)
    heights = np.where(mask, heights - heights[mask].min(), 0.0).astype(np.float32)
    return HeightField(Grid(c[0], -c[0], pixel, pixels, pixels), heights, mask)


@pytest.mark.parametrize("compression", ["gradient", "linear"])
@pytest.mark.parametrize("height", [0.2, 0.6, 1.5, 8.0])
@pytest.mark.parametrize("settle", [True, False])
def test_height_is_exact_and_nothing_sinks(compression: str, height: float, settle: bool) -> None:
    """The asked height to a micrometre; every pixel of the silhouette at least the foot."""
    raw = bumpy_ball(160)
    spec = Relief(source="ball", height=height, compression=compression, settle=settle)  # type: ignore[arg-type]
    made = compress(raw, spec)
    inside = made.field.heights[raw.mask]
    assert made.field.heights.max() == pytest.approx(height, abs=0.001)
    assert inside.min() >= made.facts["foot_mm"] - 1e-6
    assert made.facts["foot_mm"] >= min(0.03, 0.2 * height)
    assert not made.field.heights[~raw.mask].any()
    assert made.field.heights.dtype == np.float32
    assert made.rounds <= 8


@pytest.mark.parametrize("foot", [0.06, 0.12])
def test_an_asked_foot_is_kept_and_used(foot: float) -> None:
    """Nothing is lower than the asked foot, and the lowest places nearly touch it."""
    made = compress(bumpy_ball(160), Relief(source="ball", height=0.6, foot=foot))
    assert foot <= made.field.heights[made.field.mask].min() <= foot + 0.03


def test_an_empty_silhouette_is_refused() -> None:
    """One line instead of a relief of nothing."""
    grid = Grid(0.0, 0.0, 0.1, 8, 8)
    nothing = HeightField(grid, np.zeros((8, 8), np.float32), np.zeros((8, 8), bool))
    with pytest.raises(SourceError, match="covers no pixel"):
        compress(nothing, Relief(source="nothing"))


def test_resolutions_agree() -> None:
    """1024 and 2048 pixels within 4 micrometres, under the fine triangulation, off the edges.

    512 pixels within 8, well under the 20 of the draft one.
    """
    fields = {n: bumpy_ball(n) for n in (512, 1024, 2048)}
    spec = Relief(source="ball", height=0.6)
    made = {n: compress(raw, spec).field.heights for n, raw in fields.items()}
    coarse = {n: _mean(h, n // 512) for n, h in made.items()}
    depth = fields[512].heights
    cliffs = np.hypot(*np.gradient(np.where(fields[512].mask, depth, -5.0))) > 0.5
    calm = fields[512].mask & ~_grown(cliffs, 8)
    assert calm.mean() > 0.1
    for n, limit in ((512, 0.008), (1024, 0.004)):
        worst = np.abs(coarse[n] - coarse[2048])[calm].max()
        assert worst < limit, f"{n} against 2048: {1000 * worst:.1f} micrometres"


def _mean(a: NDArray[np.float32], k: int) -> NDArray[np.float32]:
    n = a.shape[0] // k
    mean: NDArray[np.float32] = a.reshape(n, k, n, k).mean((1, 3))
    return mean


def _grown(a: NDArray[np.bool_], by: int) -> NDArray[np.bool_]:
    out = a.copy()
    for _ in range(by):
        out[1:] |= out[:-1].copy()
        out[:-1] |= out[1:].copy()
        out[:, 1:] |= out[:, :-1].copy()
        out[:, :-1] |= out[:, 1:].copy()
    return out


def test_a_blended_foot_flows_into_the_field() -> None:
    """The skirt leaves the model alone, falls outwards, and meets the field at under 5 degrees."""
    raw = bumpy_ball(320)
    plain = compress(raw, Relief(source="ball", height=0.6)).field
    made = compress(raw, Relief(source="ball", height=0.6, blend=0.8)).field
    grow = (made.grid.rows - plain.grid.rows) // 2
    inner = np.s_[grow:-grow, grow:-grow]
    assert made.grid.left == pytest.approx(plain.grid.left - grow * plain.grid.pixel)
    np.testing.assert_array_equal(made.heights[inner][plain.mask], plain.heights[plain.mask])
    skirt = made.mask & ~np.pad(plain.mask, grow)
    near = _grown(np.pad(plain.mask, grow), 1) & skirt
    # the bar at the top stands alone: above its middle, walk away from it
    column = made.mask.shape[1] // 2
    rows = np.flatnonzero(skirt[:, column])
    rows = rows[: np.flatnonzero(np.diff(rows) > 1)[0] + 1][::-1]
    walk = made.heights[rows, column]
    slope = -np.diff(walk) / made.grid.pixel
    assert 0.5 < len(rows) * made.grid.pixel < 1.2
    assert (slope > 0).all()
    assert (np.diff(slope) < 1e-4).all()
    assert np.degrees(np.arctan(slope[-1])) < 5.0
    assert made.heights[near].max() <= plain.heights.max()
    assert made.heights[skirt].min() > 0.0


def field_of(heights: NDArray[np.float64], mask: NDArray[np.bool_], pixel: float) -> HeightField:
    """Wrap an array as a raw field, lowest inside at 0."""
    rows, cols = mask.shape
    raw = np.where(mask, heights - heights[mask].min(), 0.0).astype(np.float32)
    return HeightField(Grid(0.0, 0.0, pixel, rows, cols), raw, mask)


def dome(pixels: int, size: float = 22.0) -> HeightField:
    """Return half a ball that fills the grid but for a margin."""
    pixel = size / pixels
    c = (np.arange(pixels) - 0.5 * (pixels - 1)) * pixel
    r = np.hypot(*np.meshgrid(c, c))
    return field_of(np.sqrt(np.maximum(100.0 - r**2, 0.0)), r < 10.0, pixel)


@pytest.mark.parametrize("height", [0.2, 0.6, 1.5])
def test_a_dome_stays_a_dome(height: float) -> None:
    """From its top to its outline a ball only falls: no ring, no trench, no swollen flank."""
    made = compress(dome(320), Relief(source="dome", height=height)).field
    walk = made.heights[160, 160:][made.mask[160, 160:]]
    assert np.diff(walk).max() < 0.002 * height
    assert walk[-1] < 0.2 * height


def test_a_jaw_stays_before_its_neck() -> None:
    """Depth order is kept, at the inner edge by a step that grows with the asked hardness."""
    pixel = 0.05
    v, u = np.mgrid[:480, :480] * pixel
    neck = 2.0 + np.sqrt(np.maximum(16.0 - (u - 12.0) ** 2, 0.0))
    jaw = 7.0 + np.sqrt(np.maximum(36.0 - (u - 12.0) ** 2 - (v - 8.0) ** 2, 0.0))
    in_jaw = (u - 12.0) ** 2 + (v - 8.0) ** 2 < 36.0
    mask = in_jaw | ((abs(u - 12.0) < 4.0) & (v > 8.0) & (v < 22.0))
    raw = field_of(np.where(in_jaw, jaw, neck), mask, pixel)
    edge = int(np.flatnonzero(in_jaw[:, 240])[-1])
    rises = []
    for hard in (0.0, 1.0, 3.0):
        made = compress(raw, Relief(source="jaw", height=0.6, edges=hard)).field.heights
        along = made[:, 240]
        rises.append(along[edge] - along[edge + 1])
        assert along[: edge - 20].max() > along[edge + 1 :].max() + 0.05
    assert rises[0] < rises[1] < rises[2]
    assert rises[1] > 0.01


def test_detail_trades_fine_forms_against_broad_ones() -> None:
    """Knobs on the ball stand more against its dome with more detail."""
    raw = bumpy_ball(256)
    middle = np.s_[96:160, 96:160]
    rough = []
    for detail in (0.0, 0.5, 1.0, 2.0):
        heights = compress(raw, Relief(source="ball", height=0.6, detail=detail)).field.heights
        rough.append(np.std(np.diff(heights[middle], 2, axis=0)))
    assert rough == sorted(rough)
    assert rough[-1] > 2.0 * rough[1]


def test_settling_brings_overhangs_down() -> None:
    """The bar that floats 12 mm above the field stands lower than if the model were draped."""
    raw = bumpy_ball(200)
    bar = raw.mask & (np.arange(200) < 30)[:, None]
    low, high = (
        compress(raw, Relief(source="ball", height=0.6, settle=settle)) for settle in (True, False)
    )
    assert low.field.heights[bar].max() < 0.6 * high.field.heights[bar].max()
    assert low.facts["overhang_on_model_mm"] == pytest.approx(raw.heights[bar].max(), rel=0.01)
    assert low.facts["overhang_closed_mm"] > 0.25
    assert low.facts["overhang_closed_mm"] > high.facts["overhang_closed_mm"]


def test_a_weight_map_gives_a_place_more_modelling() -> None:
    """Weight 2 on the left half: its knobs stand higher than their mirror images."""
    raw = bumpy_ball(256)
    weight = np.ones(raw.mask.shape)
    weight[:, :128] = 2.0
    spec = Relief(source="ball", height=0.6)
    even, made = compress(raw, spec), compress(raw, spec, weight=weight)
    left, right = np.s_[96:160, 80:112], np.s_[96:160, 144:176]

    def rough(heights: NDArray[np.float32], part: tuple[slice, slice]) -> float:
        return float(np.std(np.diff(heights[part], 2, axis=0)))

    before = rough(even.field.heights, left) / rough(even.field.heights, right)
    assert before == pytest.approx(1.0, abs=0.1)
    assert rough(made.field.heights, left) > 1.7 * rough(made.field.heights, right)
    with pytest.raises(SourceError, match="one for each pixel"):
        compress(raw, spec, weight=np.ones((3, 3)))


def test_twice_the_size_is_the_same_relief() -> None:
    """No length is fixed: pixel, depth, height and foot doubled, heights double."""
    small = bumpy_ball(200)
    large = HeightField(
        Grid(0.0, 0.0, 2.0 * small.grid.pixel, 200, 200), 2.0 * small.heights, small.mask
    )
    one = compress(small, Relief(source="ball", height=0.6, foot=0.05)).field.heights
    two = compress(large, Relief(source="ball", height=1.2, foot=0.1)).field.heights
    np.testing.assert_allclose(two, 2.0 * one, atol=1e-5)


def test_the_same_question_gets_the_same_bytes() -> None:
    """Twice the same, bit by bit."""
    raw, spec = bumpy_ball(200), Relief(source="ball", height=0.6)
    one, two = (compress(raw, spec).field.heights.tobytes() for _ in range(2))
    assert one == two


@pytest.mark.parametrize("shape", [(1, 1), (1, 70), (700, 2), (9, 9)])
def test_odd_silhouettes(shape: tuple[int, int]) -> None:
    """A speck, a hair, a thread: as high as asked, nothing below the foot."""
    rng = np.random.default_rng(2)
    mask = np.zeros((shape[0] + 3, shape[1] + 5), bool)
    mask[1 : 1 + shape[0], 2 : 2 + shape[1]] = True
    raw = field_of(rng.normal(size=mask.shape), mask, 0.05)
    made = compress(raw, Relief(source="odd", height=0.5))
    assert made.field.heights.max() == pytest.approx(0.5, abs=1e-3)
    assert made.field.heights[mask].min() >= made.facts["foot_mm"] - 1e-6


def test_a_flat_plate_stands_at_the_asked_height() -> None:
    """A model without depth has nothing to compress."""
    mask = np.ones((40, 50), bool)
    made = compress(field_of(np.zeros((40, 50)), mask, 0.1), Relief(source="plate", height=0.4))
    np.testing.assert_allclose(made.field.heights, 0.4)


def test_a_painted_picture_gives_emphasis(tmp_path: Path) -> None:
    """Black over the left half, mid-grey in the middle, white over the right: 0, 1 and 2."""
    raw = bumpy_ball(128)
    grey = np.zeros((20, 30), np.uint16)
    grey[:, 10:20], grey[:, 20:] = 32768, 65535
    Image.fromarray(grey).save(tmp_path / "paint.png")
    weight = read_emphasis(str(tmp_path / "paint.png"), raw)
    cols = np.flatnonzero(raw.mask.any(0))
    near = np.linspace(cols[0], cols[-1], 7).astype(int)
    np.testing.assert_allclose(weight[64, near[[1, 3, 5]]], [0.0, 1.0, 2.0], atol=1e-3)
    assert weight[64, cols[0] - 1] == 1.0
    spec = Relief(source="ball", height=0.6)
    made = compress(raw, spec, weight=weight).field.heights
    rough = [np.std(np.diff(made[48:80, c - 6 : c + 6], 2, axis=0)) for c in (36, 92)]
    assert rough[0] < 0.3 * rough[1]


def test_a_relief_as_deep_as_its_model_is_the_model() -> None:
    """With all the depth there is, nothing is left to compress: jumps and slopes are kept."""
    raw = bumpy_ball(256)
    depth = float(raw.heights.max())
    made = compress(raw, Relief(source="ball", height=depth + 0.1, foot=0.1)).field.heights
    error = np.abs(made - 0.1 - raw.heights)[raw.mask]
    assert np.percentile(error, 99) < 0.02 * depth
