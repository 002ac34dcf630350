# SPDX-License-Identifier: GPL-3.0-or-later
"""A finished piece into a Blender mesh, in place."""

from __future__ import annotations

import json
import math
from functools import lru_cache
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from .. import arrays
from . import materials
from .result import Result

CREASE = math.radians(32.0)
"""Edges sharper than this are shaded sharp: reeds, rims and letters, not modelling."""

SLIGHT = math.radians(4.0)
"""The same for edges between two zones; a foot that flows into the field has less."""


@lru_cache(maxsize=16)
def report_of(text: str) -> dict[str, Any]:
    """Return a stored report."""
    found: dict[str, Any] = json.loads(text)
    return found


def show(
    piece: bpy.types.Object, result: Result, *, unit: float, digest: str, sources: str
) -> None:
    """Put a result on a piece: same object, same mesh, same slots, new geometry.

    A mesh with shape keys is left as it is and a new one put in its place: shape keys
    belong to a number of vertices.

    Parameters
    ----------
    piece : Object
    result : Result
    unit : float
        Blender units per mm.
    digest, sources : str
        What it was built from: what was asked for, and the content of the models.
    """
    mesh = piece.data
    if mesh.shape_keys is not None:
        old = mesh
        mesh = bpy.data.meshes.new(old.name)
        for material in old.materials:
            mesh.materials.append(material)
        in_use = materials.slots_in_use(old, _zones(old))
        piece.data = mesh
    else:
        in_use = materials.slots_in_use(mesh, _zones(mesh))
    core = materials.core_of(result)
    code, names = materials.grouped(result.zone, core, result.zone_names)
    slots = materials.slots_for(mesh, in_use, names, materials.metals_of(result.report, names))
    _write(mesh, result, unit, slots[code], core)
    built = mesh.medalwright
    built.digest, built.sources = digest, sources
    built.quality = str(result.report.get("quality", ""))
    built.unit = unit
    built.zones = ",".join(result.zone_names)
    built.report = json.dumps(result.report)


def _zones(mesh: bpy.types.Mesh) -> list[str]:
    return [name for name in mesh.medalwright.zones.split(",") if name]


def _write(
    mesh: bpy.types.Mesh,
    result: Result,
    unit: float,
    slots: NDArray[np.int32],
    core: NDArray[np.bool_] | None,
) -> None:
    points = result.vertices if unit == 1.0 else result.vertices.astype(np.float64) * unit
    mesh.clear_geometry()
    arrays.fill(mesh, points, result.triangles)
    arrays.put_faces(mesh, "material_index", slots)
    arrays.put_faces(mesh, "medal_zone", result.zone)
    arrays.put_faces(mesh, "medal_side", result.side)
    if core is not None:
        arrays.put_faces(mesh, "medal_core", core)
    mesh.update(calc_edges=True)
    mesh.shade_smooth()
    mesh.set_sharp_from_angle(angle=CREASE)
    _part_zones(mesh, result)


def _part_zones(mesh: bpy.types.Mesh, result: Result) -> None:
    """Shade edges between two zones sharp from a slight angle on.

    Else a shallow foot of a relief or a letter bends the shading of the large flat triangles
    of the field beside it, which shows as dark wedges.
    """
    edge = np.empty(len(mesh.loops), dtype=np.int32)
    mesh.attributes[".corner_edge"].data.foreach_get("value", edge)
    face = np.repeat(np.arange(len(result.triangles), dtype=np.int32), 3)
    one = np.zeros(len(mesh.edges), dtype=np.int32)
    other = np.zeros_like(one)
    one[edge], other[edge[::-1]] = face, face[::-1]  # the last and the first face of each
    at = np.flatnonzero(result.zone[one] != result.zone[other])
    first, second = (_normals(result, faces[at]) for faces in (one, other))
    bent = at[np.einsum("ij,ij->i", first, second) < math.cos(SLIGHT)]
    if "sharp_edge" not in mesh.attributes:
        mesh.attributes.new("sharp_edge", "BOOLEAN", "EDGE")
    sharp = np.zeros(len(mesh.edges), dtype=bool)
    mesh.attributes["sharp_edge"].data.foreach_get("value", sharp)
    sharp[bent] = True
    arrays.put(mesh, "sharp_edge", "value", sharp)


def _normals(result: Result, faces: NDArray[np.int32]) -> NDArray[np.float64]:
    a, b, c = (result.vertices[result.triangles[faces, i]].astype(np.float64) for i in range(3))
    normal = np.cross(b - a, c - a)
    return normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-30)
