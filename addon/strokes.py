# SPDX-License-Identifier: GPL-3.0-or-later
"""Strokes as Blender's own data: a mesh that a relief points to.

So undo, copies and saved files carry them. What is kept is never changed, only replaced.
"""

from __future__ import annotations

import hashlib
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from .medalcore.element import Model
from .medalcore.errors import SourceError
from .medalcore.relief.strokes import STROKES_MARK, sheet_of
from .medalcore.spec import MedalSpec, walk

Arrays = tuple[NDArray[np.float64], NDArray[np.int64]]


def text_of(strokes: bpy.types.Mesh | None) -> str:
    """Return the name strokes have in a spec."""
    return STROKES_MARK + strokes.name if strokes is not None and len(strokes.polygons) else ""


def mesh_of(text: str) -> bpy.types.Mesh | None:
    """Return the strokes a spec names: a mesh of this file, or a model file read into one.

    Raises
    ------
    SourceError
        If there is nothing of that name.
    """
    if not text:
        return None
    name = text.removeprefix(STROKES_MARK)
    if name != text:
        if name not in bpy.data.meshes:
            raise SourceError(f"{text}: this file has no such strokes")
        return bpy.data.meshes[name]
    return new_mesh(sheet_of(text, {}))


def new_mesh(strokes: Model) -> bpy.types.Mesh:
    """Keep strokes as a mesh named by its content, so that other strokes get another name."""
    points = np.ascontiguousarray(strokes.vertices, dtype=np.float32)
    corners = np.ascontiguousarray(strokes.triangles, dtype=np.int32)
    digest = hashlib.sha256(points.tobytes() + corners.tobytes()).hexdigest()[:8]
    mesh = bpy.data.meshes.new(f"Strokes {digest}")
    fill(mesh, points, corners)
    return mesh


def fill(mesh: bpy.types.Mesh, points: NDArray[Any], corners: NDArray[Any]) -> None:
    """Write points (n, 3) and faces (m, k) of one number of corners into an empty mesh."""
    count, sides = corners.shape
    mesh.vertices.add(len(points))
    mesh.loops.add(count * sides)
    mesh.polygons.add(count)
    flat = np.ascontiguousarray(points, dtype=np.float32).ravel()
    mesh.attributes["position"].data.foreach_set("vector", flat)
    loops = np.ascontiguousarray(corners, dtype=np.int32).ravel()
    mesh.loops.foreach_set("vertex_index", loops)
    mesh.polygons.foreach_set("loop_start", np.arange(0, count * sides, sides, dtype=np.int32))
    mesh.update(calc_edges=True)


def points_of(mesh: bpy.types.Mesh) -> NDArray[np.float64]:
    """Return the vertices of a mesh, (n, 3)."""
    flat = np.empty(len(mesh.vertices) * 3, dtype=np.float32)
    mesh.vertices.foreach_get("co", flat)
    return flat.reshape(-1, 3).astype(np.float64)


def arrays_of(strokes: bpy.types.Mesh) -> Arrays:
    """Return strokes as a build takes them."""
    corners = np.empty(len(strokes.loops), dtype=np.int32)
    strokes.loops.foreach_get("vertex_index", corners)
    return points_of(strokes), corners.reshape(-1, 3).astype(np.int64)


def models_in(spec: MedalSpec) -> dict[str, Model]:
    """Return the strokes of this file that a spec names.

    Raises
    ------
    SourceError
        Naming the key and what this file does not have.
    """
    found: dict[str, Model] = {}
    for path, table in walk(spec):
        text = getattr(table, "strokes", "")
        try:
            if text.startswith(STROKES_MARK):
                mesh = mesh_of(text)
                assert mesh is not None
                found[text] = Model(*arrays_of(mesh))
            elif text:
                sheet_of(text, {})
        except SourceError as error:
            raise SourceError(f"{path}.strokes: {error}") from None
    return found
