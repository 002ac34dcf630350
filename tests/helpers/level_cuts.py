"""Finished pieces as trimesh has them, and their level cuts as shapely sees them."""

from __future__ import annotations

import numpy as np
import shapely
import trimesh

from medalcore import Medal, build
from medalcore.spec import spec_from_dict


def finished(spec: dict, quality: str = "draft") -> tuple[Medal, trimesh.Trimesh]:
    """Return a finished piece, and its mesh."""
    medal = build(spec_from_dict(spec), quality=quality)
    return medal, trimesh.Trimesh(medal.vertices, medal.triangles, process=False)


def rings_at(mesh: trimesh.Trimesh, where: float, axis: int = 2) -> list[shapely.Polygon]:
    """Return the rings of a cut square to an axis in the other two, largest first."""
    normal = np.eye(3)[axis]
    cut = mesh.section(plane_origin=normal * where, plane_normal=normal)
    found = [shapely.Polygon(np.delete(ring, axis, axis=1)) for ring in cut.discrete]
    return sorted(found, key=lambda ring: -ring.area)


def widest(polygon: shapely.Polygon) -> float:
    """Return the longest chord across a polygon, mm."""
    corners = shapely.get_coordinates(polygon.convex_hull)
    return float(np.hypot(*(corners[:, None] - corners[None]).T).max())
