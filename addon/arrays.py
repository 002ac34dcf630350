# SPDX-License-Identifier: GPL-3.0-or-later
"""Meshes as arrays, in and out.

By attributes wherever there is one: Blender hands those over as they lie in memory, a
hundred times as fast as it reads the same numbers from vertices, loops and polygons.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray


def fill(mesh: bpy.types.Mesh, points: NDArray[Any], corners: NDArray[Any]) -> None:
    """Write points (n, 3) and faces (m, k) of one number of corners into an empty mesh.

    `mesh.update(calc_edges=True)` is left to the caller, who may have attributes to add.
    """
    count, sides = corners.shape
    mesh.vertices.add(len(points))
    mesh.loops.add(count * sides)
    mesh.polygons.add(count)
    put(mesh, "position", "vector", np.ascontiguousarray(points, dtype=np.float32))
    put(mesh, ".corner_vert", "value", np.ascontiguousarray(corners, dtype=np.int32))
    mesh.polygons.foreach_set("loop_start", np.arange(0, count * sides, sides, dtype=np.int32))


def put(mesh: bpy.types.Mesh, name: str, field: str, values: NDArray[Any]) -> None:
    """Write an attribute that is there."""
    mesh.attributes[name].data.foreach_set(field, values.ravel())


def put_faces(mesh: bpy.types.Mesh, name: str, values: NDArray[Any]) -> None:
    """Write a whole number for every face, making the attribute where it is missing."""
    if name not in mesh.attributes:
        mesh.attributes.new(name, "INT", "FACE")
    put(mesh, name, "value", np.ascontiguousarray(values, dtype=np.int32))


def faces(mesh: bpy.types.Mesh, name: str) -> NDArray[np.int32] | None:
    """Return the whole number that every face has, or None without such an attribute."""
    attribute = mesh.attributes.get(name)
    if attribute is None or (attribute.domain, attribute.data_type) != ("FACE", "INT"):
        return None
    return _whole(attribute)


def points_of(mesh: bpy.types.Mesh) -> NDArray[np.float64]:
    """Return the vertices of a mesh, (n, 3)."""
    flat = np.empty(len(mesh.vertices) * 3, dtype=np.float32)
    if len(flat):
        mesh.attributes["position"].data.foreach_get("vector", flat)
    return flat.reshape(-1, 3).astype(np.float64)


def triangles_of(mesh: bpy.types.Mesh) -> NDArray[np.int64]:
    """Return the triangles of a mesh, (m, 3), faces of more corners cut as Blender cuts them."""
    if len(mesh.loops) == 3 * len(mesh.polygons):
        corners = mesh.attributes.get(".corner_vert")
        flat = _whole(corners) if corners is not None else np.zeros(0, dtype=np.int32)
    else:
        mesh.calc_loop_triangles()
        flat = np.empty(len(mesh.loop_triangles) * 3, dtype=np.int32)
        mesh.loop_triangles.foreach_get("vertices", flat)
    return flat.reshape(-1, 3).astype(np.int64)


def _whole(attribute: bpy.types.Attribute) -> NDArray[np.int32]:
    values = np.empty(len(attribute.data), dtype=np.int32)
    attribute.data.foreach_get("value", values)
    return values
