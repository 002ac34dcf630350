# SPDX-License-Identifier: GPL-3.0-or-later
"""Blender objects as relief sources: modifiers evaluated, where they stand in the world."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from .. import arrays
from ..medalcore.context.element import Model
from ..medalcore.errors import SourceError
from ..medalcore.spec import MedalSpec, walk
from ..props import convert, strokes, vertex_groups
from . import sheets, units

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
        with _evaluated(item, depsgraph) as seen:
            vertices, triangles, held = _one(seen, names)
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
    return *mesh, vertex_groups.joined(weights, sizes, names, [o.name for o in objects])


def _is_enabled(item: bpy.types.Object, shown: bpy.types.LayerCollection) -> bool:
    """Tell whether Blender evaluates an object: what only the eye hides, it does."""
    if item.hide_viewport or shown.collection.hide_viewport:
        return False
    if not shown.exclude and shown.collection.objects.get(item.name) == item:
        return True
    return any(_is_enabled(item, inner) for inner in shown.children)


@contextmanager
def _evaluated(item: bpy.types.Object, depsgraph: bpy.types.Depsgraph) -> Iterator[Any]:
    """Give an object with its modifiers, where it stands, whether the window shows it or not.

    Blender evaluates nothing that is disabled, excluded, in another scene or only linked. Such
    an object is copied into a scene of its own; nothing of the file is changed.
    """
    if _is_enabled(item, depsgraph.view_layer.layer_collection):
        yield item.evaluated_get(depsgraph)
        return
    copy = item.copy()
    copy.hide_viewport = False
    scene = bpy.data.scenes.new(item.name)
    try:
        scene.frame_current = depsgraph.scene.frame_current
        scene.collection.objects.link(copy)
        layer = scene.view_layers[0]
        layer.update()
        yield copy.evaluated_get(layer.depsgraph)
    finally:
        bpy.data.scenes.remove(scene)
        bpy.data.objects.remove(copy)


def _one(item: Any, names: tuple[str, ...]) -> Arrays:
    mesh = item.to_mesh()
    try:
        if mesh is None:
            return np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64), {}
        points, triangles = arrays.points_of(mesh), arrays.triangles_of(mesh)
        held = vertex_groups.of_object(item, mesh, names)
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


class Watched:
    """Pieces by the objects that their reliefs are made from, all by `session_uid`."""

    def __init__(self) -> None:
        self.pieces: set[int] = set()
        self._by_source: dict[int, set[int]] = {}

    def note(self, piece: bpy.types.Object) -> None:
        """Note what a piece is made from now."""
        self.pieces.add(piece.session_uid)
        for pieces in self._by_source.values():
            pieces.discard(piece.session_uid)
        for group, name in convert.model_sources(piece.medalwright.spec):
            if getattr(group, f"{name}_kind") == "OBJECT":
                for item in convert.source_objects(group, name):
                    self._by_source.setdefault(item.session_uid, set()).add(piece.session_uid)

    def made_from(self, uid: int) -> set[int]:
        """Return the pieces that are made from an object."""
        return self._by_source.get(uid, set())


def lost(piece: bpy.types.Object) -> str:
    """Return what is told if an object a piece is made from is no more; else nothing."""
    key, name = convert.lost_source(piece.medalwright.spec)
    if not key:
        return ""
    return f"{key}: object '{name}' was deleted; choose another one, or leave the element out"


def models_of(
    piece: bpy.types.Object, context: bpy.types.Context, kept: Kept | None = None
) -> dict[str, Arrays]:
    """Return the models a piece's reliefs are made from, by the text of their source.

    Raises
    ------
    SourceError
        If an object is no more; else as `arrays_of`.
    """
    gone = lost(piece)
    if gone:
        raise SourceError(gone)
    found: dict[str, Arrays] = sheets.models_of(piece)
    objects: dict[str, list[bpy.types.Object]] = {}
    names: dict[str, tuple[str, ...]] = {}
    for group, name in convert.model_sources(piece.medalwright.spec):
        text = convert.source_text(group, name)
        if group.shown and text.startswith(convert.OBJECT_MARK):
            objects[text] = convert.source_objects(group, name)
            names[text] = tuple(dict.fromkeys((*names.get(text, ()), *vertex_groups.asked(group))))
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
        if vertex_groups.asked(table):
            names[text] = tuple(dict.fromkeys((*names.get(text, ()), *vertex_groups.asked(table))))
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
    return (".ply", vertex_groups.as_ply(*arrays)) if len(arrays) > 2 else (".stl", as_stl(arrays))


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
