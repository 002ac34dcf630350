"""Models from every kind of file and from memory, and what is said of bad ones."""

from __future__ import annotations

import struct

import numpy as np
import pytest
import trimesh
from models import lumpy_head

from medalcore.context.element import Model
from medalcore.elements.relief.sources.model import read_model, source_mesh
from medalcore.errors import SourceError
from medalcore.geometry import topology
from medalcore.geometry.topology import _hashed, welded

CORNERS = np.array(
    [[x, y, z] for z in (0.0, 1.0) for y in (0.0, 2.0) for x in (0.0, 3.0)]
)  # a box of 3 by 2 by 1
BOX = np.array(
    [
        [0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4],
        [2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5],
    ]
)  # fmt: skip


def _is_the_box(mesh) -> None:
    assert mesh.vertices.shape == (8, 3)
    assert sorted(map(tuple, mesh.vertices)) == sorted(map(tuple, CORNERS))
    assert len(mesh.triangles) == 12
    assert mesh.topology.is_closed
    assert mesh.topology.shells == 1


def test_binary_stl(tmp_path):
    """80 bytes of header, a count, 50 bytes a triangle (the format as commonly published)."""
    record = np.zeros(12, dtype=[("n", "<f4", 3), ("p", "<f4", (3, 3)), ("a", "<u2")])
    record["p"] = CORNERS[BOX]
    path = tmp_path / "box.STL"
    path.write_bytes(b"solid misleading".ljust(80) + struct.pack("<I", 12) + record.tobytes())
    mesh = read_model(str(path), {})
    _is_the_box(mesh)
    assert mesh.topology.merged == 36 - 8
    assert mesh.notes == ()


def test_ascii_stl_with_two_solids(tmp_path):
    """Several solids in one text file are used together."""

    def solid(shift: float) -> str:
        lines = ["solid part"]
        for corners in CORNERS[BOX] + [shift, 0, 0]:
            lines += ["facet normal 0 0 0", "outer loop"]
            lines += [f"vertex {x:.9g} {y:.9g} {z:.9g}" for x, y, z in corners]
            lines += ["endloop", "endfacet"]
        return "\n".join([*lines, "endsolid part", ""])

    path = tmp_path / "two.stl"
    path.write_text(solid(0) + solid(10))
    mesh = read_model(str(path), {})
    assert len(mesh.triangles) == 24
    assert mesh.topology.shells == 2
    assert np.ptp(mesh.vertices[:, 0]) == 13
    assert any("2 loose shells" in note for note in mesh.notes)


def test_obj_with_groups_objects_quads_and_missing_materials(tmp_path):
    """Objects and groups are used together; a material library that is not there is no matter."""
    quads = ["1 3 4 2", "5 6 8 7", "1 2 6 5", "3 7 8 4", "1 5 7 3", "2 4 8 6"]
    text = ["mtllib nowhere.mtl", "o first"]
    text += [f"v {x} {y} {z}" for x, y, z in CORNERS]
    text += ["vt 0 0", "vt 1 1", "usemtl red"]
    for i, quad in enumerate(quads):
        if i == 3:
            text += ["g second", "usemtl blue"]
        text.append("f " + " ".join(f"{v}/{1 + i % 2}" for v in quad.split()))
    path = tmp_path / "box.obj"
    path.write_text("\n".join(text))
    _is_the_box(read_model(str(path), {}))


@pytest.mark.parametrize("ending", ["ply", "off", "obj", "stl", "glb"])
def test_round_trip_of_what_trimesh_writes(tmp_path, ending):
    path = tmp_path / f"ü box.{ending}"
    trimesh.Trimesh(CORNERS, BOX, process=False).export(path)
    _is_the_box(read_model(str(path), {}))


def test_ascii_ply_with_quads(tmp_path):
    path = tmp_path / "box.ply"
    quads = ["0 2 3 1", "4 5 7 6", "0 1 5 4", "2 6 7 3", "0 4 6 2", "1 3 7 5"]
    path.write_text(
        "ply\nformat ascii 1.0\nelement vertex 8\nproperty float x\nproperty float y\n"
        "property float z\nelement face 6\nproperty list uchar int vertex_indices\nend_header\n"
        + "".join(f"{x} {y} {z}\n" for x, y, z in CORNERS)
        + "".join(f"4 {q}\n" for q in quads)
    )
    _is_the_box(read_model(str(path), {}))


def test_glb_scene_puts_every_part_in_its_place(tmp_path):
    """A mesh used twice below moved and scaled nodes; matrices multiply down the tree."""
    scene = trimesh.Scene()
    box = trimesh.Trimesh(CORNERS, BOX, process=False)
    lift = trimesh.transformations.translation_matrix([0, 0, 5])
    grow = np.diag([2.0, 2.0, 2.0, 1.0])
    scene.graph.update(frame_to="stand", matrix=lift)
    scene.add_geometry(box, node_name="one", geom_name="box", parent_node_name="stand")
    scene.add_geometry(
        box, node_name="two", geom_name="box", parent_node_name="stand", transform=grow
    )
    path = tmp_path / "scene.glb"
    scene.export(path)
    mesh = read_model(str(path), {})
    assert len(mesh.triangles) == 24
    assert mesh.vertices.min(axis=0) == pytest.approx([0, 0, 5])
    assert mesh.vertices.max(axis=0) == pytest.approx([6, 4, 7])


def test_objects_come_from_memory():
    model = Model(CORNERS, BOX)
    _is_the_box(read_model("object:Box", {"object:Box": model}))
    with pytest.raises(
        SourceError, match=r"object:Bax: there is no such object; known here: object:Box"
    ):
        read_model("object:Bax", {"object:Box": model})


def test_unused_points_and_collapsed_triangles_are_left_out():
    vertices = np.vstack([CORNERS, [[99, 99, 99]], [[0, 0, 0.0]], [[-0.0, 0, 0]]])
    triangles = np.vstack([BOX, [[0, 9, 1], [0, 10, 9]]])
    mesh = source_mesh(vertices, triangles, "model")
    _is_the_box(mesh)
    assert mesh.topology.collapsed == 2
    assert mesh.topology.merged == 2


def test_open_turned_crowded_and_inside_out_are_told():
    """The counts are those of a box that was damaged on purpose."""
    opened = source_mesh(CORNERS, BOX[1:], "m").topology
    assert (opened.open_edges, opened.turned_edges) == (3, 0)
    turned = BOX.copy()
    turned[0] = turned[0, ::-1]
    assert source_mesh(CORNERS, turned, "m").topology.turned_edges == 3
    inside = source_mesh(CORNERS, BOX[:, ::-1], "m")
    assert inside.topology.inside_out
    assert not source_mesh(CORNERS, BOX, "m").topology.inside_out
    assert len(inside.notes) == 1
    fin = np.vstack([CORNERS, [[0, 0, 9.0]]]), np.vstack([BOX, [[0, 1, 8]]])
    assert source_mesh(*fin, "m").topology.crowded_edges == 1
    for note in (*inside.notes, *source_mesh(*fin, "m").notes):
        assert "\n" not in note


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("gone.stl", None, "there is no such file"),
        ("empty.stl", b"", "is empty"),
        ("model.step", b"x", "'.step' is no model file; models are read from STL, OBJ"),
        ("model", b"x", "has no file ending"),
        ("noise.glb", b"\x00\x01garbage" * 20, "cannot be read as GLB"),
        ("noise.ply", b"hello", "cannot be read as PLY"),
        ("points.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", "a relief needs a surface of triangles"),
        ("nan.off", b"OFF\n3 1 0\n0 0 nan\n1 0 0\n0 1 0\n3 0 1 2\n", "not finite"),
        ("wild.off", b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 7\n", "wild.off: "),
        ("line.off", b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 1\n", "collapsed"),
    ],
)
def test_bad_files_get_one_line(tmp_path, name, content, message):
    """Each names the file and what would be right, on one line."""
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(SourceError) as caught:
        read_model(str(path), {})
    text = str(caught.value)
    assert message in text
    assert name in text
    assert "\n" not in text


def test_a_folder_is_no_model(tmp_path):
    (tmp_path / "parts.obj").mkdir()
    with pytest.raises(SourceError, match="is a folder"):
        read_model(str(tmp_path / "parts.obj"), {})


def test_points_of_a_head_get_keys_of_their_own():
    """Coordinates that were float32 once gave equal keys to different points; that cost seconds.

    Equal points are found all the same, and in the order they came in.
    """
    whole = lumpy_head()
    points = np.asarray(whole.vertices, np.float32).astype(float)
    assert len(np.unique(_hashed(points))) == len(np.unique(points, axis=0))
    corners = np.asarray(whole.faces)
    soup, faces = points[corners].reshape(-1, 3), np.arange(corners.size).reshape(-1, 3)
    vertices, triangles, merged = welded(soup, faces)
    assert len(vertices) == len(np.unique(points, axis=0))
    assert merged == len(soup) - len(vertices)
    assert np.array_equal(vertices[triangles].reshape(-1, 3), soup)
    first = np.unique(triangles.ravel(), return_index=True)[1]
    assert (np.diff(first) > 0).all()


def test_points_with_one_key_are_still_told_apart(monkeypatch):
    """Were two different points to get one key, they would stay two."""
    monkeypatch.setattr(topology, "_hashed", lambda v: np.zeros(len(v), np.uint64))
    points = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [-0.0, 0, 0]])
    vertices, triangles, merged = welded(points, np.array([[0, 1, 2], [3, 1, 2]]))
    assert np.array_equal(vertices, points[:3])
    assert np.array_equal(triangles, [[0, 1, 2], [0, 1, 2]])
    assert merged == 1
