"""Small operations on arrays, against plain loops and reference libraries."""

from __future__ import annotations

import numpy as np
import pytest

from medalcore.geometry.arrays import cross2, ragged


@pytest.mark.parametrize("counts", [(2, 0, 3), (0,), (), (1, 1, 4, 0, 0, 2)])
def test_ragged_runs_are_counted_as_a_loop_would(counts):
    owner, place = ragged(np.array(counts, dtype=np.int64))
    plain = [(i, k) for i, n in enumerate(counts) for k in range(n)]
    assert list(zip(owner.tolist(), place.tolist(), strict=True)) == plain


def test_the_cross_product_is_the_determinant():
    rng = np.random.default_rng(3)
    a, b = rng.normal(size=(2, 5, 3, 2))
    assert cross2(a, b) == pytest.approx(np.linalg.det(np.stack([a, b], axis=-1)), abs=1e-12)
