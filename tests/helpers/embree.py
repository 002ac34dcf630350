"""What Embree sees, through trimesh: general-purpose libraries, the reference from outside."""

import platform

import numpy as np
import pytest
import trimesh


def top_seen(vertices, triangles, points):
    """Return the highest z seen at (n, 2) points from +z, −inf where nothing is."""
    mesh = trimesh.Trimesh(vertices, triangles, process=False)
    above = mesh.bounds[1, 2] + (mesh.extents[2] or 1.0)
    origins = np.column_stack([points, np.full(len(points), above)])
    down = np.tile([0.0, 0.0, -1.0], (len(origins), 1))
    places, ray, _ = _rays_at(mesh).intersects_location(origins, down, multiple_hits=False)
    top = np.full(len(points), -np.inf)
    top[ray] = places[:, 2]
    return top


def unhindered(mesh, points, way):
    """Tell from which (n, 3) points nothing of a mesh is in the way of a direction."""
    return ~_rays_at(mesh).intersects_any(points, np.tile(way, (len(points), 1)))


def _rays_at(mesh):
    if platform.machine() == "arm64":  # as pyproject.toml says; elsewhere a missing one is a fault
        pytest.importorskip("embreex", reason="embreex has no wheel for arm64")
    from trimesh.ray.ray_pyembree import RayMeshIntersector

    return RayMeshIntersector(mesh)
