# SPDX-License-Identifier: GPL-3.0-or-later
"""Blender objects as relief sources: modifiers evaluated, where they stand in the world."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from . import convert, sculpted, strokes, units
from .medalcore.element import Model
from .medalcore.errors import SourceError
from .medalcore.spec import MedalSpec, walk

Arrays = tuple[NDArray[np.float64], NDArray[np.int64]]


def arrays_of(objects: Iterable[bpy.types.Object], context: bpy.types.Context) -> Arrays:
    """Return one mesh of several objects.

    Returns
    -------
    vertices : (n, 3) float64
        World coordinates, mm.
    triangles : (m, 3) int64

    Raises
    ------
    SourceError
        Naming the object that has no faces.
    """
    depsgraph = context.evaluated_depsgraph_get()
    points: list[NDArray[np.float64]] = []
    corners: list[NDArray[np.int64]] = []
    start = 0
    for item in objects:
        vertices, triangles = _one(item.evaluated_get(depsgraph))
        if not len(triangles):
            raise SourceError(f"object '{item.name}' has no faces to make a relief from")
        points.append(vertices)
        corners.append(triangles + start)
        start += len(vertices)
    scale = 1.0 / units.units_per_mm(context.scene)
    return np.concatenate(points) * scale, np.concatenate(corners)


def _one(item: Any) -> Arrays:
    mesh = item.to_mesh()
    try:
        if mesh is None:
            return np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)
        mesh.calc_loop_triangles()
        flat = np.empty(len(mesh.vertices) * 3, dtype=np.float32)
        mesh.vertices.foreach_get("co", flat)
        corners = np.empty(len(mesh.loop_triangles) * 3, dtype=np.int32)
        mesh.loop_triangles.foreach_get("vertices", corners)
    finally:
        item.to_mesh_clear()
    place = np.array(item.matrix_world, dtype=np.float64)
    vertices = flat.reshape(-1, 3).astype(np.float64) @ place[:3, :3].T + place[:3, 3]
    triangles = corners.reshape(-1, 3).astype(np.int64)
    if np.linalg.det(place[:3, :3]) < 0:  # a mirrored object turns its faces
        triangles = triangles[:, ::-1]
    return vertices, triangles


def models_of(piece: bpy.types.Object, context: bpy.types.Context) -> dict[str, Arrays]:
    """Return the models a piece's reliefs are made from, by the text of their source.

    Raises
    ------
    SourceError
        As `arrays_of`.
    """
    found: dict[str, Arrays] = sculpted.models_of(piece)
    for group, name in convert.model_sources(piece.medalwright.spec):
        text = convert.source_text(group, name)
        if group.shown and text.startswith(convert.OBJECT_MARK) and text not in found:
            found[text] = arrays_of(convert.source_objects(group, name), context)
    return found


def models_in(spec: MedalSpec, context: bpy.types.Context) -> dict[str, Model]:
    """Return the models a spec names as objects of this file, by the text of their source.

    Raises
    ------
    SourceError
        Naming the key and the object this file does not have, or that has no faces.
    """
    found: dict[str, Model] = strokes.models_in(spec)
    for text, objects in objects_in(spec).items():
        found[text] = Model(*arrays_of(objects, context))
    return found


def objects_in(spec: MedalSpec) -> dict[str, list[bpy.types.Object]]:
    """Return the objects of this file that a spec names, by the text of their source.

    Raises
    ------
    SourceError
        Naming the key and the object this file does not have.
    """
    found: dict[str, list[bpy.types.Object]] = {}
    for path, table in walk(spec):
        text = getattr(table, "source", "")
        if isinstance(text, str) and text.startswith(convert.OBJECT_MARK):
            try:
                found[text] = convert.objects_named(text.removeprefix(convert.OBJECT_MARK))
            except KeyError as error:
                raise SourceError(f"{path}.source: this file has no object {error}") from None
    return found


def as_stl(arrays: Arrays) -> bytes:
    """Return a model as binary STL, for a spec that is to be built elsewhere."""
    vertices, triangles = arrays
    corner = vertices[triangles]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    record = np.zeros(
        len(triangles), dtype=[("normal", "<f4", 3), ("corner", "<f4", (3, 3)), ("rest", "<u2")]
    )
    record["normal"] = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0)
    record["corner"] = corner
    head = b"model of a relief, mm".ljust(80)
    return head + np.uint32(len(triangles)).astype("<u4").tobytes() + record.tobytes()
