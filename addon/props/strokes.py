# SPDX-License-Identifier: GPL-3.0-or-later
"""Strokes as Blender's own data: a mesh that a relief points to.

So undo, copies and saved files carry them. What is kept is never changed, only replaced.
"""

from __future__ import annotations

import hashlib

import bpy
import numpy as np
from numpy.typing import NDArray

from .. import arrays
from ..medalcore.context.element import Model
from ..medalcore.elements.relief.strokes import STROKES_MARK, sheet_of
from ..medalcore.errors import SourceError
from ..medalcore.spec import MedalSpec, walk

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
    arrays.fill(mesh, points, corners)
    mesh.update(calc_edges=True)
    return mesh


def arrays_of(strokes: bpy.types.Mesh) -> Arrays:
    """Return strokes as a build takes them."""
    return arrays.points_of(strokes), arrays.triangles_of(strokes)


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
