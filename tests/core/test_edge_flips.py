"""Turned edges lay triangles along the forms, so that facets do not flicker in raking light."""

import math

import numpy as np
import pytest
import trimesh
from relief_fields import square

from medalcore.elements.relief.surface.greedy_insertion import triangulate
from medalcore.geometry.grid import Grid
from medalcore.geometry.raster import top_surface

PIXELS, SIDE, HEIGHT = 300, 26.0, 1.2
PITCH = SIDE / (PIXELS - 1)


@pytest.mark.parametrize("tolerance", [0.02, 0.005])
def test_the_surface_of_a_ridge_bends_hardly_more_than_the_ridge(tolerance: float) -> None:
    """Its total absolute curvature: angle times length of all edges, against the integral.

    On a ridge z(d) the slope's angle atan z' turns by z'' / (1 + z'^2) in a mm across it, on
    every mm along it (differential geometry of a cylinder). Delaunay edges alone, which zigzag
    across, bend by half as much again.
    """
    turn = math.radians(27.0)
    y, x = np.mgrid[:PIXELS, :PIXELS] * PITCH - SIDE / 2
    d = math.cos(turn) * x + math.sin(turn) * y
    z = HEIGHT * np.exp(-(d**2))
    first, second = -2.0 * d * z, (4.0 * d**2 - 2.0) * z
    whole = float((np.abs(second) / (1.0 + first**2)).mean()) * SIDE**2
    h = z.astype(np.float32)
    made = triangulate(h, *square(h, tolerance), tolerance, PITCH, fold=math.radians(5.0))
    points = np.column_stack([made.points * PITCH, made.z])
    mesh = trimesh.Trimesh(points, made.triangles, process=False)
    edges = mesh.vertices[mesh.face_adjacency_edges]
    length = np.linalg.norm(edges[:, 0] - edges[:, 1], axis=1)
    bend = float((mesh.face_adjacency_angles * length).sum())
    assert whole < bend < 1.25 * whole
    grid = Grid(0.0, 0.0, 1.0, *h.shape)
    seen, _ = top_surface(np.column_stack([made.points, made.z]), made.triangles, grid)
    assert np.abs(seen - h).max() <= tolerance + 1e-7
