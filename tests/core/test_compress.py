"""Relief compression: promises on heights, and what raking light shows of them."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from medalcore.errors import SourceError
from medalcore.grid import Grid, HeightField
from medalcore.relief.compress import compress
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
    """1024 and 2048 pixels within 5 micrometres, the fine triangulation, away from edges.

    512 pixels within 12, well under the 20 of the draft one.
    """
    fields = {n: bumpy_ball(n) for n in (512, 1024, 2048)}
    spec = Relief(source="ball", height=0.6)
    made = {n: compress(raw, spec).field.heights for n, raw in fields.items()}
    coarse = {n: _mean(h, n // 512) for n, h in made.items()}
    depth = fields[512].heights
    cliffs = np.hypot(*np.gradient(np.where(fields[512].mask, depth, -5.0))) > 0.5
    calm = fields[512].mask & ~_grown(cliffs, 8)
    assert calm.mean() > 0.1
    for n, limit in ((512, 0.012), (1024, 0.005)):
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
