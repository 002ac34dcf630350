"""The relief solver against scipy's answers to the same equations."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.fft
import scipy.sparse as sparse
import scipy.sparse.linalg as sparse_linalg
from numpy.typing import NDArray

from medalcore.geometry.poisson import Poisson, Pyramid


def ragged_mask(rows: int, cols: int) -> NDArray[np.bool_]:
    """Two parts, a hole, a one-pixel bridge: what silhouettes do to a solver."""
    v, u = np.mgrid[:rows, :cols]
    mask = np.hypot(v - 0.5 * rows, u - 0.4 * cols) < 0.35 * min(rows, cols)
    mask &= np.hypot(v - 0.45 * rows, u - 0.4 * cols) > 0.1 * min(rows, cols)
    mask |= (abs(v - 0.5 * rows) < 0.5) & (u > 0.4 * cols) & (u < 0.8 * cols)
    mask |= (u > 0.78 * cols) & (v > 0.2 * rows) & (u < 0.95 * cols) & (v < 0.8 * rows)
    mask[2:9, 3:20] = True
    return mask


def direct(mask: NDArray[np.bool_], screen: float, b: NDArray[np.float64]) -> NDArray[np.float64]:
    """Assemble the masked five-point equations face by face and hand them to scipy."""
    index = -np.ones(mask.shape, int)
    index[mask] = np.arange(mask.sum())
    pairs = [
        (i[both], j[both])
        for i, j in ((index[:, 1:], index[:, :-1]), (index[1:], index[:-1]))
        for both in [(i >= 0) & (j >= 0)]
    ]
    i = np.concatenate([p[0] for p in pairs] + [p[1] for p in pairs])
    j = np.concatenate([p[1] for p in pairs] + [p[0] for p in pairs])
    near = sparse.coo_matrix((np.ones(i.size), (i, j)), shape=(mask.sum(),) * 2).tocsc()
    matrix = sparse.diags(np.asarray(near.sum(1)).ravel() + screen) - near
    out = np.zeros(mask.shape)
    out[mask] = sparse_linalg.spsolve(matrix.tocsc(), b[mask])
    return out


@pytest.mark.parametrize("screen", [1e-2, 1e-4, 1e-6])
@pytest.mark.parametrize("shape", [(96, 130), (203, 151)])
def test_masked_solve_agrees_with_scipy_sparse_direct(
    shape: tuple[int, int], screen: float
) -> None:
    """float64 to 1e-9 of the range, on shapes that are no multiple of the coarsest cell."""
    mask = ragged_mask(*shape)
    b = np.random.default_rng(3).normal(size=shape) * mask
    b -= b[mask].mean() * mask
    pyramid = Pyramid(mask, np.float64)
    solver = Poisson(pyramid, screen * pyramid.inside[0])
    x, rounds = solver.solve(pyramid.pad(b), tolerance=1e-11, most=60)
    expected = direct(mask, screen, b)
    error = np.abs(x[: shape[0], : shape[1]] - expected).max()
    assert error < 1e-9 * np.ptp(expected)
    assert rounds < 40
    assert not x[: shape[0], : shape[1]][~mask].any()


def test_unconstrained_solve_agrees_with_the_cosine_transform() -> None:
    """Without a mask the equations are diagonal in scipy's DCT-II (free border)."""
    rows, cols, screen = 128, 192, 3e-4
    rng = np.random.default_rng(5)
    b = rng.normal(size=(rows, cols))
    own = 2.0 - 2.0 * np.cos(np.pi * np.arange(rows) / rows)
    other = 2.0 - 2.0 * np.cos(np.pi * np.arange(cols) / cols)
    expected = scipy.fft.idctn(
        scipy.fft.dctn(b, norm="ortho") / (own[:, None] + other + screen), norm="ortho"
    )
    pyramid = Pyramid(np.ones((rows, cols), bool), np.float64)
    x, _ = Poisson(pyramid, screen * pyramid.inside[0]).solve(pyramid.pad(b), tolerance=1e-12)
    np.testing.assert_allclose(x[:rows, :cols], expected, atol=1e-9 * np.ptp(expected))


def test_a_warm_start_saves_work_and_changes_nothing() -> None:
    """From the answer of a neighbouring problem the solver needs fewer rounds."""
    mask = ragged_mask(160, 160)
    pyramid = Pyramid(mask)
    b = pyramid.pad(np.random.default_rng(1).normal(size=mask.shape) * mask)
    before, _ = Poisson(pyramid, 1.0e-2 * pyramid.inside[0]).solve(b, tolerance=1e-5)
    solver = Poisson(pyramid, 1.005e-2 * pyramid.inside[0])
    cold, many = solver.solve(b, tolerance=1e-4)
    warm, few = solver.solve(b, before, tolerance=1e-4)
    assert few < many
    np.testing.assert_allclose(warm, cold, atol=1e-3 * np.ptp(cold))


def test_float32_is_within_a_micrometre_of_scipy_on_a_relief() -> None:
    """Slopes of a knobbly model, screened over 1 mm and 4 mm, at the tolerance reliefs use."""
    mask = ragged_mask(300, 340)
    pixel = 22.0 / 340
    v, u = np.mgrid[:300, :340] * pixel
    depth = 4.0 * np.sin(0.5 * u) * np.cos(0.4 * v) + 0.3 * np.sin(3.0 * u + 2.0 * v)
    across = np.tanh(np.diff(depth, axis=1) / pixel) * (mask[:, 1:] & mask[:, :-1])
    down = np.tanh(np.diff(depth, axis=0) / pixel) * (mask[1:] & mask[:-1])
    b = np.zeros(mask.shape)
    b[:, 1:] += across
    b[:, :-1] -= across
    b[1:] += down
    b[:-1] -= down
    for length in (1.0, 4.0):
        screen = (pixel / length) ** 2
        exact = direct(mask, screen, b)
        scale = 0.55 / np.ptp(exact)  # mm of a relief
        pyramid = Pyramid(mask)
        x, _ = Poisson(pyramid, np.float32(screen) * pyramid.inside[0]).solve(
            pyramid.pad(b * scale), tolerance=1.6e-4
        )
        assert np.abs(x[:300, :340] - scale * exact).max() < 0.001
