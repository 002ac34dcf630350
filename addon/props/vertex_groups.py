# SPDX-License-Identifier: GPL-3.0-or-later
"""Vertex groups of source objects: where a relief is modelled more, and where less."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import bpy
import numpy as np
from numpy.typing import NDArray

from ..medalcore.errors import SourceError

Weights = dict[str, NDArray[np.float64]]

KEYS = ("more_on", "less_on")
"""Keys of a relief that name a vertex group."""

MANY = 20_000
"""Vertices from which on a group is read by way of nodes; for fewer, that is not worth it."""

PREFIX = "medal_group_"


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
    held = {group.name: group.index for group in item.vertex_groups if group.name in names}
    if not held:
        return {}
    read = _by_nodes(mesh, list(held)) if len(mesh.vertices) > MANY else {}
    if all(len(values) == len(mesh.vertices) for values in read.values()) and read:
        return read
    found = {index: np.zeros(len(mesh.vertices)) for index in held.values()}
    for i, vertex in enumerate(mesh.vertices):
        for given in vertex.groups:
            if given.group in found:
                found[given.group][i] = given.weight
    return {name: found[index] for name, index in held.items()}


def _by_nodes(mesh: bpy.types.Mesh, names: list[str]) -> Weights:
    """Return groups as geometry nodes see them: ten times as fast as vertex by vertex.

    Python can read a vertex group one vertex after the other only, an attribute at once. So
    nodes make attributes of the groups, on a copy in a scene of its own; nothing of the
    file is changed. What cannot be read comes back empty.
    """
    mesh = mesh.copy()
    copy = bpy.data.objects.new(mesh.name, mesh)
    nodes = _nodes(names)
    scene = bpy.data.scenes.new(mesh.name)
    try:
        scene.collection.objects.link(copy)
        modifier = copy.modifiers.new(nodes.name, "NODES")
        modifier.node_group = nodes
        layer = scene.view_layers[0]
        layer.update()
        done = copy.evaluated_get(layer.depsgraph).data
        return {name: _values(done, f"{PREFIX}{i}") for i, name in enumerate(names)}
    finally:
        bpy.data.scenes.remove(scene)
        bpy.data.objects.remove(copy)
        bpy.data.meshes.remove(mesh)
        bpy.data.node_groups.remove(nodes)


def _values(mesh: bpy.types.Mesh, name: str) -> NDArray[np.float64]:
    attribute = mesh.attributes.get(name)
    if attribute is None:
        return np.zeros(0)
    values = np.empty(len(attribute.data), dtype=np.float32)
    attribute.data.foreach_get("value", values)
    return values.astype(np.float64)


def _nodes(names: list[str]) -> bpy.types.NodeTree:
    """Return nodes that store every group as an attribute of a name of ours."""
    tree = bpy.data.node_groups.new("Medal Groups", "GeometryNodeTree")
    for way in ("INPUT", "OUTPUT"):
        tree.interface.new_socket("Geometry", in_out=way, socket_type="NodeSocketGeometry")
    last = tree.nodes.new("NodeGroupInput").outputs[0]
    for i, name in enumerate(names):
        get = tree.nodes.new("GeometryNodeInputNamedAttribute")
        store = tree.nodes.new("GeometryNodeStoreNamedAttribute")
        get.data_type = store.data_type = "FLOAT"
        get.inputs["Name"].default_value, store.inputs["Name"].default_value = name, f"{PREFIX}{i}"
        value = next(s for s in store.inputs if s.name == "Value" and s.enabled)
        tree.links.new(next(s for s in get.outputs if s.enabled), value)
        tree.links.new(last, store.inputs["Geometry"])
        last = store.outputs["Geometry"]
    tree.links.new(last, tree.nodes.new("NodeGroupOutput").inputs[0])
    return tree


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
