"""What moving corners until no triangle is too steep gives, and costs, on a noisy surface."""

from __future__ import annotations

import numpy as np
from scipy.spatial import Delaunay

from medalcore.elements.relief.surface import slope_limit as lean


def noisy() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return points, heights and triangles of noise over a sheet."""
    rng = np.random.default_rng(5)
    points = rng.random((2500, 2)) * 50.0
    return points, rng.random(2500) * 2.0, Delaunay(points).simplices.astype(np.int64)


def test_noise_is_moved_to_the_slope_at_little_cost(monkeypatch):
    """Facets by their normals; of triangles, only those beside what moved are looked at again."""
    points, z, triangles = noisy()
    looked = []
    steepness = lean._slopes

    def counted(*args):
        looked.append(len(args[-1]))
        return steepness(*args)

    monkeypatch.setattr(lean, "_slopes", counted)
    give, free = np.full(len(z), 0.01), np.full(len(z), np.inf)
    held = lean.limit_slopes(points, z, triangles, 0.5, give, free, free)
    corner = np.column_stack([points, held])[triangles]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    slope = np.hypot(normal[:, 0], normal[:, 1]) / np.abs(normal[:, 2])
    assert slope.max() <= 0.5 * (1.0 + 1e-9)
    assert sum(looked) < 0.5 * len(looked) * len(triangles)
