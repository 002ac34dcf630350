"""Files as people have them: formats read here, checked against other readers and writers."""

from __future__ import annotations

import re
import struct
import zlib

import lib3mf
import numpy as np
import pytest
import trimesh
from PIL import Image

from medalcore.elements.relief.sources.model import read_model
from medalcore.elements.relief.sources.pictures.depth_picture import read_picture
from medalcore.elements.relief.sources.pictures.png import deep_png
from medalcore.errors import SourceError


def _ball():
    return trimesh.creation.icosphere(2)


def _size(mesh):
    return np.ptp(mesh.vertices, axis=0)


def test_binary_stl_as_it_is_found(tmp_path):
    """What begins with 'solid' and what goes on after its triangles, as other programs write."""
    file = tmp_path / "a.stl"
    _ball().export(file)
    told = file.read_bytes()
    for content in (told, b"solid ball".ljust(80) + told[80:], told + b"made by hand"):
        file.write_bytes(content)
        mesh = read_model(str(file), {})
        assert mesh.topology.is_closed
        assert len(mesh.triangles) == 320
    assert np.abs(mesh.vertices[mesh.triangles] - _ball().triangles).max() < 1e-6


def test_a_stl_cut_short_tells_by_how_much(tmp_path):
    """Two of the 320 triangles are missing."""
    file = tmp_path / "a.stl"
    _ball().export(file)
    file.write_bytes(file.read_bytes()[:-60])
    with pytest.raises(SourceError, match="tells of 320 triangles and holds 318"):
        read_model(str(file), {})


def test_text_stl_is_read_as_before(tmp_path):
    file = tmp_path / "a.stl"
    _ball().export(file, file_type="stl_ascii")
    assert len(read_model(str(file), {}).triangles) == 320


def test_3mf_with_transforms_is_read_as_trimesh_reads_it(tmp_path):
    """A scene of one mesh used twice, once stretched and moved, written by trimesh."""
    scene = trimesh.Scene()
    matrix = np.diag([2.0, 1.0, 1.0, 1.0])
    matrix[:3, 3] = (3.0, 0.5, -1.0)
    ball = _ball()
    scene.add_geometry(ball, geom_name="ball")
    scene.add_geometry(ball, geom_name="ball", transform=matrix)
    file = tmp_path / "a.3mf"
    scene.export(file)
    mesh = read_model(str(file), {})
    assert len(mesh.triangles) == 640
    assert _size(mesh) == pytest.approx(np.ptp(scene.bounds, axis=0), abs=1e-5)


def test_3mf_of_ours_and_of_the_reference_library(tmp_path):
    """lib3mf, the 3MF consortium's own library, writes components within components."""
    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    mesh = model.AddMeshObject()
    for x, y, z in ((0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)):
        place = lib3mf.Position()
        place.Coordinates[:] = (x, y, z)
        mesh.AddVertex(place)
    for corners in ((0, 2, 1), (0, 1, 3), (1, 2, 3), (0, 3, 2)):
        triangle = lib3mf.Triangle()
        triangle.Indices[:] = corners
        mesh.AddTriangle(triangle)
    group = model.AddComponentsObject()
    identity = wrapper.GetIdentityTransform()
    moved = wrapper.GetTranslationTransform(5.0, 0.0, 0.0)
    group.AddComponent(mesh, identity)
    group.AddComponent(mesh, moved)
    model.AddBuildItem(group, wrapper.GetTranslationTransform(0.0, 7.0, 0.0))
    file = tmp_path / "a.3mf"
    model.QueryWriter("3mf").WriteToFile(str(file))
    found = read_model(str(file), {})
    assert found.vertices.min(axis=0) == pytest.approx((0, 7, 0))
    assert found.vertices.max(axis=0) == pytest.approx((6, 8, 1))
    assert found.topology.shells == 2


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("a.3mf", b"PK nothing", "cannot be read as 3MF"),
        ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", "points that are not there"),
        ("a.obj", b"v 0 0 0\nv nan 0 0\nv 0 1 0\nf 1 2 3\n", "not finite"),
        # trimesh 5.2 refuses the negative corner itself, 5.0 leaves that to us (both tried)
        (
            "a.off",
            b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 -2\n",
            "cannot be read as OFF|name points that are not there",
        ),
        ("a.stl", b"hello\n", "no triangles"),
        ("a.stl", struct.pack("<80xI", 0), "no triangles"),
        ("a.glb", b"glTF\2\0\0\0", "cannot be read as GLB"),
        ("a.webp", b"", "flat drawings from SVG"),
    ],
)
def test_broken_models_get_one_line(tmp_path, name, content, says):
    file = tmp_path / name
    file.write_bytes(content)
    with pytest.raises(SourceError) as caught:
        read_model(str(file), {})
    assert re.search(says, str(caught.value))
    assert "\n" not in str(caught.value)


def _filtered(samples, kinds):
    """Filter big-endian samples line by line as the PNG standard says (clause 9.2)."""
    rows = samples.shape[0]
    wide = samples.shape[2] * 2
    raw = samples.astype(">u2").view(np.uint8).reshape(rows, -1).astype(int)
    out = b""
    for r in range(rows):
        line, above = raw[r], raw[r - 1] if r else np.zeros_like(raw[0])
        left = np.concatenate([np.zeros(wide, int), line[:-wide]])
        corner = np.concatenate([np.zeros(wide, int), above[:-wide]])
        guess = left + above - corner
        a, b, c = abs(guess - left), abs(guess - above), abs(guess - corner)
        paeth = np.where((a <= b) & (a <= c), left, np.where(b <= c, above, corner))
        by = [0, left, above, (left + above) // 2, paeth][kinds[r]]
        out += bytes([kinds[r]]) + ((line - by) % 256).astype(np.uint8).tobytes()
    return out


def _png(file, samples, kinds, colour):
    rows, cols, _ = samples.shape

    def chunk(kind, data):
        end = struct.pack(">I", zlib.crc32(kind + data))
        return struct.pack(">I", len(data)) + kind + data + end

    head = struct.pack(">IIBBBBB", cols, rows, 16, colour, 0, 0, 0)
    told = zlib.compress(_filtered(samples, kinds))
    half = len(told) // 2
    file.write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", told[:half])
        + chunk(b"IDAT", told[half:])
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(("colour", "channels"), [(2, 3), (4, 2), (6, 4)])
def test_sixteen_bits_with_colours_or_transparency(tmp_path, colour, channels):
    """All five filters of the standard, two data chunks; the high bytes as Pillow reads them."""
    draw = np.random.default_rng(5)
    samples = draw.integers(0, 65536, (25, 17, channels), dtype=np.uint16)
    file = tmp_path / "a.png"
    _png(file, samples, [r % 5 for r in range(25)], colour)
    assert np.array_equal(deep_png(str(file)), samples)
    eight = np.asarray(Image.open(file))
    assert np.array_equal(eight[..., 0], samples[..., 0] >> 8)


def test_sixteen_bit_colours_keep_their_sixteen_bits(tmp_path):
    """A ramp of 65536 heights in RGB comes back as one, and half of it where it is clear."""
    ramp = np.arange(65536, dtype=np.uint16).reshape(256, 256)
    file = tmp_path / "a.png"
    _png(file, np.stack([ramp] * 3, axis=2), [4] * 256, 2)
    picture = read_picture(str(file))
    assert np.abs(picture.values - ramp / 65535).max() < 1e-6
    assert picture.notes == ()
    clear = np.where(ramp < 32768, 0, 65535).astype(np.uint16)
    _png(file, np.stack([ramp, clear], axis=2), [3] * 256, 4)
    assert np.array_equal(read_picture(str(file)).mask, ramp >= 32768)


def test_a_deep_picture_cut_short_is_refused(tmp_path):
    file = tmp_path / "a.png"
    _png(file, np.full((40, 40, 3), 500, np.uint16), [1] * 40, 2)
    file.write_bytes(file.read_bytes()[:60])
    with pytest.raises(SourceError, match="cut short or damaged"):
        read_picture(str(file))


@pytest.mark.parametrize("ending", ["jpg", "png"])
def test_pictures_lie_as_their_camera_held_them(tmp_path, ending):
    """Orientation 6 of EXIF 2.32: the first row is the right side, so it is shown turned."""
    wide = np.zeros((20, 40), np.uint8)
    wide[:, :20] = 200
    exif = Image.Exif()
    exif[0x0112] = 6
    file = tmp_path / f"a.{ending}"
    Image.fromarray(wide).save(file, exif=exif, **({"quality": 95} if ending == "jpg" else {}))
    values = read_picture(str(file)).values
    assert values.shape == (40, 20)
    assert values[:15].min() > 0.7 > 0.1 > values[25:].max()


def test_a_picture_of_one_grey_is_told_of(tmp_path):
    file = tmp_path / "a.png"
    Image.fromarray(np.full((9, 9), 200, np.uint8)).save(file)
    assert "one grey" in read_picture(str(file)).notes[0]
