# SPDX-License-Identifier: GPL-3.0-or-later
"""Vertex groups of source objects: where a relief is modelled more, and where less."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import bpy
import numpy as np
from numpy.typing import NDArray

from .medalcore.errors import SourceError

Weights = dict[str, NDArray[np.float64]]

KEYS = ("more_on", "less_on")
"""Keys of a relief that name a vertex group."""


def counts(relief: Any) -> bool:
    """Tell whether the source of a relief can have vertex groups: objects, and PLY files."""
    if not hasattr(relief, "source_kind"):
        return False
    return relief.source_kind == "OBJECT" or relief.source.lower().endswith(".ply")


def asked(relief: Any) -> tuple[str, ...]:
    """Return the names of the groups that a relief asks for, given as properties or spec."""
    return tuple(name for key in KEYS if (name := getattr(relief, key, "")))


def of_object(item: bpy.types.Object, mesh: bpy.types.Mesh, names: tuple[str, ...]) -> Weights:
    """Return those of the groups that an object has.

    Parameters
    ----------
    item : Object
        Evaluated.
    mesh : Mesh
        Its mesh, modifiers applied.
    names : tuple of str

    Returns
    -------
    dict of str to (n,) float64
        0 where a vertex is not in the group.
    """
    held = {g.index: np.zeros(len(mesh.vertices)) for g in item.vertex_groups if g.name in names}
    if held:
        for i, vertex in enumerate(mesh.vertices):
            for given in vertex.groups:
                if given.group in held:
                    held[given.group][i] = given.weight
    return {item.vertex_groups[index].name: values for index, values in held.items()}


def joined(
    found: list[Weights], sizes: list[int], names: tuple[str, ...], objects: list[str]
) -> Weights:
    """Return the groups of several objects as those of one mesh; 0 where an object has none.

    Raises
    ------
    SourceError
        Naming a group that none of the objects has.
    """
    for name in names:
        if not any(name in one for one in found):
            whose = f"object '{objects[0]}'" if len(objects) == 1 else "none of the source objects"
            has = "has no" if len(objects) == 1 else "has a"
            raise SourceError(f"{whose} {has} vertex group '{name}'")
    return {
        name: np.concatenate(
            [one.get(name, np.zeros(size)) for one, size in zip(found, sizes, strict=True)]
        )
        for name in names
    }


def draw(column: Any, relief: Any, name: str) -> None:
    """Draw the choice of a group, from those of the first source object that has some."""
    if not counts(relief):
        return
    holder = next(_with_groups(relief), None)
    if holder is None:
        column.prop(relief, name)
    else:
        column.prop_search(relief, name, holder, "vertex_groups")


def _with_groups(relief: Any) -> Iterator[bpy.types.Object]:
    if relief.source_kind == "OBJECT":
        for item in relief.source_objects:
            if item.object is not None and len(item.object.vertex_groups):
                yield item.object


def as_ply(vertices: NDArray[np.float64], triangles: NDArray[np.int64], weights: Weights) -> bytes:
    """Return a model with its groups as binary PLY, for a spec that is to be built elsewhere."""
    names = "".join(f"property float group_{quote(name, safe='')}\n" for name in weights)
    head = (
        "ply\nformat binary_little_endian 1.0\n"
        f"comment model of a relief, mm\nelement vertex {len(vertices)}\n"
        f"property float x\nproperty float y\nproperty float z\n{names}"
        f"element face {len(triangles)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    points = np.column_stack([vertices, *weights.values()]).astype("<f4")
    faces = np.zeros(len(triangles), dtype=[("count", "u1"), ("corner", "<i4", 3)])
    faces["count"], faces["corner"] = 3, triangles
    return head.encode() + points.tobytes() + faces.tobytes()
