# SPDX-License-Identifier: GPL-3.0-or-later
"""Blender objects as relief sources: modifiers evaluated, where they stand in the world."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from . import arrays, convert, groups, sculpted, strokes, units
from .medalcore.element import Model
from .medalcore.errors import SourceError
from .medalcore.spec import MedalSpec, walk

Arrays = tuple[Any, ...]
"""Vertices, triangles and, where groups are asked for, weights: what makes a `Model`."""


def arrays_of(
    objects: Iterable[bpy.types.Object],
    context: bpy.types.Context,
    names: tuple[str, ...] = (),
) -> Arrays:
    """Return one mesh of several objects.

    Parameters
    ----------
    objects : iterable of Object
    context : Context
    names : tuple of str
        Vertex groups to bring along.

    Returns
    -------
    vertices : (n, 3) float64
        World coordinates, mm.
    triangles : (m, 3) int64
    weights : dict of str to (n,) float64
        Only if groups are asked for.

    Raises
    ------
    SourceError
        Naming the object that has no faces, or the group that none has.
    """
    objects, weights = list(objects), []
    depsgraph = context.evaluated_depsgraph_get()
    points: list[NDArray[np.float64]] = []
    corners: list[NDArray[np.int64]] = []
    start = 0
    for item in objects:
        vertices, triangles, held = _one(item.evaluated_get(depsgraph), names)
        if not len(triangles):
            raise SourceError(f"object '{item.name}' has no faces to make a relief from")
        points.append(vertices)
        corners.append(triangles + start)
        start += len(vertices)
        weights.append(held)
    scale = 1.0 / units.units_per_mm(context.scene)
    mesh = np.concatenate(points) * scale, np.concatenate(corners)
    if not names:
        return mesh
    sizes = [len(p) for p in points]
    return *mesh, groups.joined(weights, sizes, names, [o.name for o in objects])


def _one(item: Any, names: tuple[str, ...]) -> Arrays:
    mesh = item.to_mesh()
    try:
        if mesh is None:
            return np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64), {}
        points, triangles = arrays.points_of(mesh), arrays.triangles_of(mesh)
        held = groups.of_object(item, mesh, names)
    finally:
        item.to_mesh_clear()
    place = np.array(item.matrix_world, dtype=np.float64)
    vertices = points @ place[:3, :3].T + place[:3, 3]
    if np.linalg.det(place[:3, :3]) < 0:  # a mirrored object turns its faces
        triangles = triangles[:, ::-1]
    return vertices, triangles, held


class Kept:
    """Arrays of source objects that have not changed since they were read.

    A large model takes longer to read than a blank to build. Blender tells of every change
    of an object (see `handlers`), except where the frame or the unit is another one.
    """

    def __init__(self) -> None:
        self._held: dict[tuple[Any, ...], tuple[tuple[Any, ...], Arrays]] = {}

    def get(
        self, objects: list[bpy.types.Object], context: bpy.types.Context, names: tuple[str, ...]
    ) -> Arrays:
        """Return what `arrays_of` does, read once."""
        key = tuple(o.session_uid for o in objects), names
        scene = context.scene
        seen = scene.session_uid, scene.frame_current_final, units.units_per_mm(scene)
        if key not in self._held or self._held[key][0] != seen:
            self._held[key] = seen, arrays_of(objects, context, names)
        return self._held[key][1]

    def forget(self, uid: int) -> None:
        """Drop what was read from an object."""
        for key in [k for k in self._held if uid in k[0]]:
            del self._held[key]

    def clear(self) -> None:
        """Drop everything."""
        self._held.clear()


def models_of(
    piece: bpy.types.Object, context: bpy.types.Context, kept: Kept | None = None
) -> dict[str, Arrays]:
    """Return the models a piece's reliefs are made from, by the text of their source.

    Raises
    ------
    SourceError
        As `arrays_of`.
    """
    found: dict[str, Arrays] = sculpted.models_of(piece)
    objects: dict[str, list[bpy.types.Object]] = {}
    names: dict[str, tuple[str, ...]] = {}
    for group, name in convert.model_sources(piece.medalwright.spec):
        text = convert.source_text(group, name)
        if group.shown and text.startswith(convert.OBJECT_MARK):
            objects[text] = convert.source_objects(group, name)
            names[text] = tuple(dict.fromkeys((*names.get(text, ()), *groups.asked(group))))
    read = kept.get if kept is not None else arrays_of
    for text, chosen in objects.items():
        found[text] = read(chosen, context, names[text])
    return found


def models_in(spec: MedalSpec, context: bpy.types.Context) -> dict[str, Model]:
    """Return the models a spec names as objects of this file, by the text of their source.

    Raises
    ------
    SourceError
        Naming the key and the object this file does not have, or that has no faces.
    """
    found: dict[str, Model] = strokes.models_in(spec)
    names: dict[str, tuple[str, ...]] = {}
    for _, table in walk(spec):
        text = getattr(table, "source", "")
        if groups.asked(table):
            names[text] = tuple(dict.fromkeys((*names.get(text, ()), *groups.asked(table))))
    for text, objects in objects_in(spec).items():
        found[text] = Model(*arrays_of(objects, context, names.get(text, ())))
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


def as_file(arrays: Arrays) -> tuple[str, bytes]:
    """Return ending and content of a file of a model, for a spec that is to be built elsewhere."""
    return (".ply", groups.as_ply(*arrays)) if len(arrays) > 2 else (".stl", as_stl(arrays))


def as_stl(arrays: Arrays) -> bytes:
    """Return a model as binary STL."""
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
