"""Meshes in and out as arrays: what Blender itself reads there, and how long it takes."""

from __future__ import annotations

import time
from typing import Any

import bpy
import numpy as np
import pytest


def own(mesh: bpy.types.Mesh, items: str, name: str, count: int, kind: Any) -> Any:
    """Return what Blender's documented way of reading gives."""
    values = np.empty(count, dtype=kind)
    getattr(mesh, items).foreach_get(name, values)
    return values


def test_what_is_written_is_what_blender_reads(addon: Any, part: Any) -> None:
    arrays = part("arrays")
    points = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0.5], [0, 1, 0]], dtype=np.float64)
    corners = np.array([[0, 1, 2], [0, 2, 3]])
    mesh = bpy.data.meshes.new("Two")
    arrays.fill(mesh, points, corners)
    arrays.put_faces(mesh, "material_index", np.array([0, 1], dtype=np.uint8))
    mesh.update(calc_edges=True)
    assert not mesh.validate(verbose=True)
    assert own(mesh, "vertices", "co", 12, np.float32).reshape(4, 3) == pytest.approx(points)
    assert own(mesh, "loops", "vertex_index", 6, np.int32).tolist() == corners.ravel().tolist()
    assert [tuple(p.vertices) for p in mesh.polygons] == [(0, 1, 2), (0, 2, 3)]
    assert [p.material_index for p in mesh.polygons] == [0, 1]
    assert len(mesh.edges) == 5
    assert arrays.points_of(mesh) == pytest.approx(points)
    assert arrays.triangles_of(mesh).tolist() == corners.tolist()
    assert arrays.faces(mesh, "material_index").tolist() == [0, 1]
    assert arrays.faces(mesh, "nothing") is None


def test_faces_of_more_corners_are_cut_as_blender_cuts_them(addon: Any, part: Any) -> None:
    bpy.ops.mesh.primitive_cylinder_add(vertices=7)
    mesh = bpy.context.object.data
    mesh.calc_loop_triangles()
    wanted = own(mesh, "loop_triangles", "vertices", 3 * len(mesh.loop_triangles), np.int32)
    assert part("arrays").triangles_of(mesh).ravel().tolist() == wanted.tolist()
    empty = bpy.data.meshes.new("Empty")
    assert part("arrays").points_of(empty).shape == part("arrays").triangles_of(empty).shape


def test_a_million_triangles_are_shown_quickly(addon: Any, part: Any) -> None:
    """Arrays are handed over several times as fast as by loops and polygons, in one run."""
    n = 708
    u, v = np.meshgrid(np.linspace(0, 40, n), np.linspace(0, 40, n))
    points = np.stack([u, v, 0.3 * np.sin(10 * u)], axis=-1).reshape(-1, 3).astype(np.float32)
    at = np.arange(n * n).reshape(n, n)
    a, b, c, d = (q.ravel() for q in (at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]))
    triangles = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]).astype(np.int32)
    zone = (points[triangles[:, 0], 0] // 4.0 % 2.0).astype(np.uint8)  # ten bands
    bpy.ops.medalwright.new()
    piece = bpy.context.object
    report = part("scene.pieces").report_of(piece.data.medalwright.report)
    side = np.ones(len(triangles), dtype=np.int8)
    made = part("scene.result").Result(points, triangles, zone, side, ("field", "rim"), report)
    shown, ours, theirs = [], [], []
    for _ in range(3):
        start = time.thread_time()
        part("scene.pieces").show(piece, made, unit=1.0, digest="", sources="")
        shown.append(time.thread_time() - start)
        mesh = bpy.data.meshes.new("Alone")
        start = time.thread_time()
        part("arrays").fill(mesh, points, triangles)
        part("arrays").put_faces(mesh, "material_index", zone)
        ours.append(time.thread_time() - start)
        start = time.thread_time()
        mesh.vertices.foreach_set("co", points.ravel())
        mesh.loops.foreach_set("vertex_index", triangles.ravel())
        mesh.polygons.foreach_set("loop_start", np.arange(0, 3 * len(triangles), 3, np.int32))
        mesh.polygons.foreach_set("material_index", zone.astype(np.int32))
        theirs.append(time.thread_time() - start)
        bpy.data.meshes.remove(mesh)
    print(
        f"{len(triangles)} triangles handed over in {min(ours):.3f} s, by loops and polygons in "
        f"{min(theirs):.3f} s; shown in {min(shown):.3f} s"
    )
    assert len(piece.data.polygons) == len(triangles)
    assert min(ours) < 0.4 * min(theirs)
