"""Files of a finished piece: whole or not at all, and what other software reads in them."""

from __future__ import annotations

import io
import json
import os
import re
import struct
import zipfile
from pathlib import Path

import lib3mf
import manifold3d as m3
import numpy as np
import pytest
import trimesh
from PIL import Image

from medalcore.context.medal import Medal
from medalcore.deliver import ALSO, check_free, deliver, file_names
from medalcore.deliver.depth import depth_bytes
from medalcore.deliver.files import write_files
from medalcore.deliver.glb import glb_bytes
from medalcore.deliver.obj import mtl_bytes, obj_bytes
from medalcore.deliver.report import plain, report_bytes
from medalcore.deliver.stl import stl_bytes
from medalcore.deliver.threemf import threemf_bytes
from medalcore.errors import DeliveryError, MedalError
from medalcore.geometry.closure import closure, weld
from medalcore.geometry.mesh_normals import unit_normals
from medalcore.geometry.solid import arrays_of, solid_from_manifold, united, without
from medalcore.system import file_access


def piece(name: str = 'The "Fennick" <Light> & 150 Jahre & Öl') -> Medal:
    """Return a disc with a sunk groove and a boss, at coordinates that need all digits."""
    disc = m3.Manifold.cylinder(3.2, 20.0, 20.0, 97, True).rotate((0.0, 0.0, 0.237))
    boss = m3.Manifold.sphere(5.0, 64).translate((1.0 / 3.0, 2.0 / 7.0, 0.2))
    notch = m3.Manifold.cube((1.1, 50.0, 1.0), True).translate((7.0 / 9.0, 0.0, -1.6))
    body = without(
        united([solid_from_manifold(disc, "field"), solid_from_manifold(boss, "relief")]),
        [solid_from_manifold(notch, "edge")],
    )
    vertices, triangles, code, labels = arrays_of(body)
    proof = closure(vertices, triangles)
    assert proof.is_closed
    return Medal(
        name,
        *weld(vertices, triangles),
        zone=code.astype(np.uint8),
        side=np.zeros(len(code), dtype=np.int8),
        zone_names=tuple(label.zone for label in labels),
        volume_mm3=proof.volume_mm3,
        mass_g=proof.volume_mm3 * 8.84e-3,
        is_closed=True,
        report={"name": name, "slug": "fennick-light", "alignment": "medal", "metal": "bronze"},
    )


# --- STL -------------------------------------------------------------------------------------


def test_stl_size_and_header() -> None:
    """84 + 50 n bytes, little-endian count, no 'solid' in front (LoC fdd000505)."""
    medal = piece()
    data = stl_bytes(medal)
    n = len(medal.triangles)
    assert len(data) == 84 + 50 * n
    assert struct.unpack_from("<I", data, 80) == (n,)
    assert not data[:80].lower().startswith(b"solid")


def test_stl_of_a_cube_by_hand() -> None:
    """A unit cube of 12 facets has 684 bytes; facet 0 as written by struct, not by numpy."""
    cube = m3.Manifold.cube((1.0, 1.0, 1.0))
    vertices, triangles, code, _ = arrays_of(solid_from_manifold(cube, "field"))
    medal = Medal("cube", vertices, triangles, code.astype(np.uint8), code.astype(np.int8),
                  ("field",), 1.0, 1.0, True)  # fmt: skip
    data = stl_bytes(medal)
    assert len(data) == 684
    record = struct.unpack_from("<12fH", data, 84)
    corners = vertices[triangles[0]]
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    assert np.allclose(record[:3], normal / np.linalg.norm(normal), atol=1e-7)
    assert record[3:12] == tuple(corners.ravel())
    assert record[12] == 0


def test_stl_normals_are_unit_and_outward() -> None:
    medal = piece()
    normals = unit_normals(medal.vertices, medal.triangles)
    assert np.allclose(np.linalg.norm(normals, axis=1), 1.0, atol=1e-12)
    read = trimesh.load(io.BytesIO(stl_bytes(medal)), file_type="stl")
    assert np.allclose(read.face_normals, normals, atol=1e-6)


def test_trimesh_reads_the_stl_back_closed() -> None:
    medal = piece()
    read = trimesh.load(io.BytesIO(stl_bytes(medal)), file_type="stl")
    assert read.is_watertight
    assert read.is_winding_consistent
    assert len(read.faces) == len(medal.triangles)
    assert read.volume == pytest.approx(medal.volume_mm3, rel=1e-6)
    proof = closure(*weld(np.asarray(read.vertices), np.asarray(read.faces)))
    assert proof.is_closed
    assert proof.bodies == 1


# --- 3MF -------------------------------------------------------------------------------------


def test_trimesh_reads_the_3mf_back_closed() -> None:
    medal = piece()
    read = trimesh.load(io.BytesIO(threemf_bytes(medal)), file_type="3mf", force="mesh")
    assert read.is_watertight
    assert read.units in ("millimeter", "mm")
    assert len(read.faces) == len(medal.triangles)
    assert read.volume == pytest.approx(medal.volume_mm3, rel=1e-6)


def test_reference_library_reads_the_3mf(tmp_path: Path) -> None:
    """lib3mf, the consortium's own reader: no warnings, manifold, and exactly our numbers."""
    medal = piece()
    path = tmp_path / "piece.3mf"
    path.write_bytes(threemf_bytes(medal))
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    assert reader.GetWarningCount() == 0
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    objects = model.GetMeshObjects()
    assert objects.Count() == 1
    objects.MoveNext()
    mesh = objects.GetCurrentMeshObject()
    assert mesh.IsManifoldAndOriented()
    assert mesh.GetVertexCount() == len(medal.vertices)
    assert mesh.GetTriangleCount() == len(medal.triangles)
    points = np.array([tuple(v.Coordinates) for v in mesh.GetVertices()], dtype=np.float64)
    assert np.array_equal(points, medal.vertices)
    triangles = np.array([tuple(t.Indices) for t in mesh.GetTriangleIndices()])
    assert np.array_equal(triangles, medal.triangles)
    title = model.GetMetaDataGroup().GetMetaDataByKey("", "Title").GetValue()
    assert title == medal.name


def test_reference_library_sees_the_zones(tmp_path: Path) -> None:
    medal = piece()
    path = tmp_path / "piece.3mf"
    path.write_bytes(threemf_bytes(medal))
    model = lib3mf.get_wrapper().CreateModel()
    model.QueryReader("3mf").ReadFromFile(str(path))
    groups = model.GetBaseMaterialGroups()
    assert groups.Count() == 1
    groups.MoveNext()
    group = groups.GetCurrentBaseMaterialGroup()
    ids = list(group.GetAllPropertyIDs())
    assert tuple(group.GetName(i) for i in ids) == medal.zone_names
    objects = model.GetMeshObjects()
    objects.MoveNext()
    mesh = objects.GetCurrentMeshObject()
    seen = [mesh.GetTriangleProperties(i).PropertyIDs[0] for i in range(len(medal.triangles))]
    assert [ids.index(i) for i in seen] == medal.zone.tolist()


def test_3mf_coordinates_are_exact_for_awkward_numbers() -> None:
    """Subnormal, huge and neighbouring float32 come back bit for bit."""
    awkward = np.array(
        [[1e-45, 1.1754944e-38, -0.0], [16777216.0, 16777214.0, 0.1], [1 / 3, 1e-5, 20.000002]],
        dtype=np.float32,
    )
    flags = np.zeros(1, dtype=np.uint8)
    medal = Medal("x", awkward.astype(np.float64), np.array([[0, 1, 2]]), flags,
                  flags.astype(np.int8), ("field",), 0.0, 0.0, False)  # fmt: skip
    with zipfile.ZipFile(io.BytesIO(threemf_bytes(medal))) as archive:
        text = archive.read("3D/3dmodel.model").decode()
    numbers = [float(n) for n in re.findall(r' [xyz]="([^"]+)"', text)]
    assert np.array_equal(np.float32(numbers), np.abs(awkward.ravel()) * np.sign(awkward.ravel()))
    number = re.compile(r"[-+]?([0-9]+(\.[0-9]+)?|\.[0-9]+)([eE][-+]?[0-9]+)?")  # ST_Number
    assert all(number.fullmatch(n) for n in re.findall(r' [xyz]="([^"]+)"', text))


@pytest.mark.parametrize("write", [stl_bytes, threemf_bytes, report_bytes, glb_bytes, mtl_bytes])
def test_same_piece_same_bytes(write) -> None:
    assert write(piece()) == write(piece())


# --- OBJ, GLB, depth --------------------------------------------------------------------------


def test_trimesh_reads_the_obj_back_closed_with_its_zones(tmp_path: Path) -> None:
    medal = piece()
    (tmp_path / "p.obj").write_bytes(obj_bytes(medal, "p.mtl"))
    (tmp_path / "p.mtl").write_bytes(mtl_bytes(medal))
    whole = trimesh.load(tmp_path / "p.obj", force="mesh", process=False, split_object=False)
    proof = closure(*weld(np.asarray(whole.vertices), np.asarray(whole.faces)))
    assert proof.is_closed
    assert proof.volume_mm3 == pytest.approx(medal.volume_mm3, rel=1e-6)
    text = (tmp_path / "p.obj").read_text(encoding="utf-8")
    points = [line.split()[1:] for line in text.splitlines() if line.startswith("v ")]
    assert np.array_equal(np.float32(points), medal.vertices)
    counts = {part.split("\n", 1)[0]: part.count("\nf ") for part in text.split("usemtl ")[1:]}
    assert counts == {
        name: int(np.count_nonzero(medal.zone == i)) for i, name in enumerate(medal.zone_names)
    }
    named = [line.split()[1] for line in (tmp_path / "p.mtl").read_text().splitlines()
             if line.startswith("newmtl")]  # fmt: skip
    assert tuple(named) == medal.zone_names


def test_glb_is_in_metres_with_a_metal_per_zone() -> None:
    """By glTF 2.0, section 3.4, lengths are metres: a 40 mm piece is 0.04 across."""
    medal = piece()
    data = glb_bytes(medal)
    assert data[:4] == b"glTF"
    length, kind = struct.unpack_from("<I4s", data, 12)
    tree = json.loads(data[20 : 20 + length])
    assert kind == b"JSON"
    assert sorted(m["name"] for m in tree["materials"]) == sorted(medal.zone_names)
    assert all(m["pbrMetallicRoughness"]["metallicFactor"] == 1.0 for m in tree["materials"])
    assert all("NORMAL" in p["attributes"] for m in tree["meshes"] for p in m["primitives"])
    scene = trimesh.load(io.BytesIO(data), file_type="glb")
    assert scene.extents[0] == pytest.approx(np.ptp(medal.vertices[:, 0]) / 1000.0, rel=1e-6)
    whole = scene.to_geometry()
    assert whole.volume * 1e9 == pytest.approx(medal.volume_mm3, rel=1e-4)
    in_mm = np.concatenate([g.vertices for g in scene.geometry.values()])
    assert set(map(tuple, np.float32(in_mm).tolist())) == set(map(tuple, medal.vertices.tolist()))


def test_depth_picture_says_true_heights() -> None:
    """Heights read back from the 16-bit samples by the formula in the file, in the mesh's mm."""
    medal = piece()
    with Image.open(io.BytesIO(depth_bytes(medal, "obverse", pixels=400))) as read:
        assert read.mode == "I;16"
        said = read.info["Description"]
        value = np.asarray(read).astype(float)
        resolution = read.info["dpi"][0]
    low, span, pixel = (float(re.search(rf"{word} ([-+.e\d]+)", said)[1])
                        for word in ("height_mm =", r"65535 \*", "pixel_mm ="))  # fmt: skip
    height = low + value / 65535.0 * span
    middle = tuple(n // 2 for n in value.shape)
    row = middle[0] - round(2.0 / 7.0 / pixel)
    col = middle[1] + round(1.0 / 3.0 / pixel)
    assert height[row, col] == pytest.approx(5.2, abs=0.01)  # the top of the boss
    assert height[middle[0], middle[1] + round(15.0 / pixel)] == pytest.approx(1.6, abs=1e-4)
    assert value[0, 0] == 0
    assert 25.4 / resolution == pytest.approx(pixel, rel=2e-3)


# --- report ----------------------------------------------------------------------------------


def test_report_is_plain_json() -> None:
    """Numpy values, tuples and numbers JSON has no word for (RFC 8259) all come through."""
    odd = {"b": np.float32(0.5), "a": np.arange(3), "n": float("nan"), "t": (1, np.True_), 3: "é",
           "i": np.float64("inf"), "p": Path("x/y")}  # fmt: skip
    text = json.dumps(plain(odd), sort_keys=True, allow_nan=False)
    assert json.loads(text) == {
        "3": "é", "a": [0, 1, 2], "b": 0.5, "i": None, "n": None, "p": "x/y", "t": [1, True],
    }  # fmt: skip
    data = report_bytes(piece())
    assert list(json.loads(data)) == sorted(json.loads(data))
    assert "Öl" in data.decode("utf-8")


# --- whole or not at all ---------------------------------------------------------------------


def test_set_is_written_whole(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "deep"
    files = {folder / "a": b"1", folder / "b": lambda stream: stream.write(b"2")}
    assert write_files(files) == (folder / "a", folder / "b")
    assert sorted(p.name for p in folder.iterdir()) == ["a", "b"]
    assert (folder / "b").read_bytes() == b"2"


def test_nothing_is_overwritten_unasked(tmp_path: Path) -> None:
    (tmp_path / "b").write_bytes(b"old")
    with pytest.raises(DeliveryError, match=r"b is there already.*--overwrite") as caught:
        write_files({tmp_path / "a": b"1", tmp_path / "b": b"2"})
    assert "\n" not in str(caught.value)
    assert [p.name for p in tmp_path.iterdir()] == ["b"]
    assert (tmp_path / "b").read_bytes() == b"old"
    write_files({tmp_path / "a": b"1", tmp_path / "b": b"2"}, overwrite=True)
    assert (tmp_path / "b").read_bytes() == b"2"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a", "b"]


@pytest.mark.parametrize("failure", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_failure_while_writing_leaves_nothing(tmp_path: Path, failure: BaseException) -> None:
    """The second file fails half way: neither file, no folder, no temporary name remains."""

    def half(stream) -> None:
        stream.write(b"half")
        raise failure

    folder = tmp_path / "out"
    kind = DeliveryError if isinstance(failure, OSError) else KeyboardInterrupt
    with pytest.raises(kind):
        write_files({folder / "a": b"1", folder / "b": half})
    assert list(tmp_path.iterdir()) == []


def test_failure_while_renaming_restores_the_old_set(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last rename fails: old files stand with their old content, new ones are gone."""
    (tmp_path / "a").write_bytes(b"old a")
    (tmp_path / "c").write_bytes(b"old c")
    rename = os.replace

    def failing(source: Path, target: Path) -> None:
        if target.name == "c":
            raise OSError(13, "Permission denied")
        rename(source, target)

    monkeypatch.setattr(os, "replace", failing)
    monkeypatch.setattr(file_access, "_PATIENCE", 0.05)
    files = {tmp_path / n: b"new" for n in "abcd"}
    with pytest.raises(DeliveryError, match=r"c: cannot be written \(Permission denied\)"):
        write_files(files, overwrite=True)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a": b"old a", "c": b"old c"}


def test_folder_in_the_way_of_a_file(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    with pytest.raises(MedalError, match="a folder has this name"):
        write_files({tmp_path / "a": b"1"}, overwrite=True)
    (tmp_path / "f").write_bytes(b"")
    with pytest.raises(MedalError, match="cannot be written"):
        write_files({tmp_path / "f" / "a": b"1"})


def test_deliver_writes_the_set(tmp_path: Path) -> None:
    medal = piece()
    paths = deliver(medal, tmp_path / "out", size=96)
    assert tuple(p.name for p in paths) == file_names("fennick-light")
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == sorted(p.name for p in paths)
    assert paths[0].read_bytes() == stl_bytes(medal)
    with pytest.raises(DeliveryError, match=r"obverse\.png, reverse\.png are there already"):
        deliver(medal, tmp_path / "out", size=96)
    with pytest.raises(DeliveryError):
        check_free("fennick-light", tmp_path / "out")
    check_free("fennick-light", tmp_path / "out", overwrite=True)
    deliver(medal, tmp_path / "out", size=96, overwrite=True)


def test_further_files_on_request(tmp_path: Path) -> None:
    paths = deliver(piece(), tmp_path / "out", size=70, also=tuple(ALSO))
    names = [p.name for p in paths]
    assert names[:5] == list(file_names("fennick-light"))
    assert names[5:] == [
        "fennick-light.obj", "fennick-light.mtl", "fennick-light.glb",
        "obverse.depth.png", "reverse.depth.png", "standing.png",
    ]  # fmt: skip
    assert "mtllib fennick-light.mtl" in paths[5].read_text(encoding="utf-8")[:200]
    with pytest.raises(DeliveryError, match="'gbl' is no kind of file; did you mean 'glb'"):
        file_names("x", ("gbl",))
