"""Plane sections and bodies of the boolean library, for those who put some together themselves.

Nobody else imports that library: what the project asks of it stands in this room.
"""

from __future__ import annotations

from collections.abc import Sequence

import manifold3d as m3
import numpy as np
from manifold3d import CrossSection as Section
from manifold3d import Manifold as Body

from .contour import Fill, section
from .types import FloatArray, IntArray

__all__ = [
    "Body", "Section", "cuboid", "empty_section", "extruded", "hull", "mitred", "revolved",
    "triangulated", "united_bodies", "united_sections",
]  # fmt: skip


def empty_section() -> Section:
    """Return a section with nothing in it."""
    return m3.CrossSection()


def united_sections(sections: Sequence[Section]) -> Section:
    """Return the union of sections."""
    return m3.CrossSection.batch_boolean(list(sections), m3.OpType.Add)


def mitred(plane: Section, distance: float, limit: float = 4.0) -> Section:
    """Return a section grown by a distance, mm, its corners sharp up to `limit` times that."""
    return plane.offset(distance, m3.JoinType.Miter, limit)


def extruded(
    contours: Sequence[FloatArray], height: float, steps: int = 0, fill: Fill = "positive"
) -> Body:
    """Return what contours enclose, from z = 0 to `height`, its walls cut into `steps` + 1."""
    return section(tuple(contours), fill).extrude(height, steps)


def revolved(profile: FloatArray, segments: int) -> Body:
    """Return a profile, (n, 2) mm of radius and z, turned about the z axis in segments."""
    return m3.Manifold.revolve(section((profile,), "positive"), segments)


def cuboid(size: tuple[float, float, float]) -> Body:
    """Return a block about the origin, mm."""
    return m3.Manifold.cube(size, True)


def united_bodies(bodies: Sequence[Body]) -> Body:
    """Return the union of bodies."""
    return m3.Manifold.batch_boolean(list(bodies), m3.OpType.Add)


def hull(points: FloatArray) -> FloatArray:
    """Return the convex hull of points, (n, 2) -> (m, 2), counter-clockwise."""
    return np.asarray(m3.CrossSection.hull_points(points).to_polygons()[0])


def hull_in_space(points: FloatArray) -> FloatArray:
    """Return the corners of the convex hull of points, (n, 3) -> (m, 3)."""
    return np.asarray(m3.Manifold.hull_points(points).to_mesh64().vert_properties)[:, :3]


def triangulated(loops: Sequence[FloatArray]) -> IntArray:
    """Return triangles between closed loops, (m, 3), as indices into all their points."""
    return np.asarray(m3.triangulate(list(loops)), dtype=np.int64)
