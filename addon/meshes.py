# SPDX-License-Identifier: GPL-3.0-or-later
"""A finished piece into a Blender mesh, in place."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from . import arrays, looks

CREASE = math.radians(32.0)
"""Edges sharper than this are shaded sharp: reeds, rims and letters, not modelling."""


@dataclass(frozen=True, eq=False)
class Result:
    """A build as the interface needs it.

    Attributes
    ----------
    vertices : (n, 3) float32, mm
    triangles : (m, 3) int32
    zone : (m,) uint8
    side : (m,) int8
    zone_names : sequence of str
    report : mapping
    """

    vertices: NDArray[np.float32]
    triangles: NDArray[np.int32]
    zone: NDArray[np.uint8]
    side: NDArray[np.int8]
    zone_names: Sequence[str]
    report: Mapping[str, Any]


def show(piece: bpy.types.Object, result: Result, *, unit: float, digest: str) -> None:
    """Put a result on a piece: same object, same mesh, same slots, new geometry.

    A mesh with shape keys is left as it is and a new one put in its place: shape keys
    belong to a number of vertices.

    Parameters
    ----------
    piece : Object
    result : Result
    unit : float
        Blender units per mm.
    digest : str
        What it was built from.
    """
    mesh = piece.data
    if mesh.shape_keys is not None:
        old = mesh
        mesh = bpy.data.meshes.new(old.name)
        for material in old.materials:
            mesh.materials.append(material)
        in_use = looks.slots_in_use(old, _zones(old))
        piece.data = mesh
    else:
        in_use = looks.slots_in_use(mesh, _zones(mesh))
    core = looks.core_of(result)
    code, names = looks.grouped(result.zone, core, result.zone_names)
    slots = looks.slots_for(mesh, in_use, names, looks.metals_of(result.report, names))
    _write(mesh, result, unit, slots[code], core)
    built = mesh.medalwright
    built.digest = digest
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
