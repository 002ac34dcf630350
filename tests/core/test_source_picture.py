"""Depth pictures: what grey values mean, and where they come to lie."""

from __future__ import annotations

import struct
import zlib

import numpy as np
import pytest
from PIL import Image

from medalcore.context.element import Context
from medalcore.context.ground import Ground
from medalcore.context.tolerance import TOLERANCES
from medalcore.elements.relief import model_relief
from medalcore.elements.relief.depth.source_depth import see_source
from medalcore.elements.relief.sources.pictures.depth_picture import read_picture
from medalcore.errors import SourceError, SpecError
from medalcore.geometry.grid import Grid, HeightField
from medalcore.geometry.masks import away_from
from medalcore.spec import Crop, Cut, Picture, Relief

GROUND = Ground(level=1.0, radius=18.0, dish=0.0, floor=-1.0)


def _png(path, samples: np.ndarray, colour: int = 0, extra: bytes = b"") -> str:
    """Write a PNG by hand: signature, IHDR, IDAT, IEND; samples most significant byte first.

    W3C, Portable Network Graphics, third edition (2025), clauses 5, 7.1 and 11.2.
    """
    rows, cols = samples.shape[:2]
    depth = 16 if samples.dtype == np.uint16 else 8
    big = samples.astype(">u2") if depth == 16 else samples
    lines = b"".join(b"\0" + big[r].tobytes() for r in range(rows))

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    header = struct.pack(">IIBBBBB", cols, rows, depth, colour, 0, 0, 0)
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + extra
        + chunk(b"IDAT", zlib.compress(lines))
        + chunk(b"IEND", b"")
    )
    return str(path)


def _dome(size: int) -> np.ndarray:
    """Return a dome from 0 to 1 in a square, 0 outside its circle."""
    x = (np.arange(size) + 0.5) / size * 2 - 1
    return np.maximum(1 - (x[:, None] ** 2 + x[None, :] ** 2), 0.0)


def test_sixteen_bits_are_read_as_the_png_standard_says(tmp_path):
    """Value / 65535, linear, though the file names a gamma of 1/2.2 in its gAMA chunk."""
    samples = np.array([[0, 1, 256], [32768, 65534, 65535]], dtype=np.uint16)
    gamma = struct.pack(">I", 4) + b"gAMA" + struct.pack(">I", 45455)
    gamma += struct.pack(">I", zlib.crc32(gamma[4:]))
    picture = read_picture(_png(tmp_path / "a.png", samples, extra=gamma))
    assert np.abs(picture.values - samples / 65535).max() < 1e-7
    assert picture.mask.all()
    assert picture.notes == ()


def test_eight_bits_are_smoothed_within_half_a_step(tmp_path):
    """A ramp's stairs become a ramp; no sample moves by more than its rounding."""
    truth = np.linspace(20.0, 40.0, 400)[None, :].repeat(60, axis=0)
    samples = np.round(truth).astype(np.uint8)
    picture = read_picture(_png(tmp_path / "a.png", samples))
    read = picture.values * 255
    assert np.abs(read - samples).max() <= 0.5 + 1e-4
    inner = np.s_[:, 30:-30]
    assert np.abs(read - truth)[inner].max() < 0.25
    assert np.diff(read[30])[30:-30].max() < 0.2  # the stairs had steps of 1
    assert "8 bits" in picture.notes[0]


@pytest.mark.slow
@pytest.mark.parametrize("compression", ["gradient", "linear"])
def test_eight_bits_leave_no_terraces_on_the_relief(tmp_path, compression):
    """The slopes of a smooth dome come out as from 16 bits, where half the places are at best.

    Terraces of 256 heights would lean by more than the dome itself, in gradient compression.
    """
    x = np.arange(900) / 899 * 2 - 1
    dome = np.sqrt(np.clip(1.3 - x[:, None] ** 2 - x[None] ** 2, 0.3, None)) - np.sqrt(0.3)
    dome /= dome.max()
    slopes, inside = [], np.ones((1024, 1024), dtype=bool)
    for name, samples in (
        ("8.png", np.round(dome * 255).astype(np.uint8)),
        ("16.png", np.round(dome * 65535).astype(np.uint16)),
    ):
        spec = Relief(source=_png(tmp_path / name, samples), fit=26.0, height=0.6,
                      compression=compression)  # fmt: skip
        field = model_relief(spec, Context(GROUND, TOLERANCES["fine"])).field
        slopes.append(np.stack(np.gradient(field.heights, field.grid.pixel)))
        inside &= away_from(field.mask)  # the outline's wall is no terrace
    middle = np.zeros_like(inside)
    middle[150:-150, 150:-150] = inside[150:-150, 150:-150]
    off = np.hypot(*(slopes[0] - slopes[1])[:, middle])
    lean = np.hypot(*slopes[1][:, middle]).mean()
    assert np.median(off) < 0.02 * lean
    assert np.sqrt(np.mean(off**2)) < 0.2 * lean


def test_black_and_white_stand_for_the_depths_given(tmp_path):
    """A ramp from black = 1 mm to white = 4 mm is 3 mm deep; swapped, it leans the other way."""
    samples = np.round(np.linspace(0, 65535, 200)).astype(np.uint16)[None, :].repeat(100, axis=0)
    name = _png(tmp_path / "a.png", samples)
    for black, white in ((1.0, 4.0), (4.0, 1.0)):
        spec = Relief(
            source=name, fit=20.0, picture=Picture(black=black, white=white, empty="none")
        )
        field = see_source(spec, GROUND, 216, {}).field
        row = field.heights[field.grid.rows // 2]
        row = row[field.mask[field.grid.rows // 2]]
        assert row.max() - row.min() == pytest.approx(3.0, rel=0.01)
        assert (row[-1] > row[0]) == (white > black)
        assert field.mask.sum() * field.grid.pixel**2 == pytest.approx(20 * 10, rel=0.02)


def test_the_lowest_pixels_are_left_to_the_field(tmp_path):
    """A dome on black comes out round, its place and size as asked, white nearest."""
    name = _png(tmp_path / "a.png", np.round(_dome(300) * 65535).astype(np.uint16))
    spec = Relief(source=name, fit=12.0, at=(2.0, 1.0), picture=Picture(black=0, white=6.0))
    field = see_source(spec, GROUND, 240, {}).field
    u, v = np.meshgrid(field.grid.u() - 2.0, field.grid.v() - 1.0)
    expected = 6 * (1 - (u**2 + v**2) / 36)
    inner = np.hypot(u, v) < 5.5
    assert field.mask[inner].all()
    assert not field.mask[np.hypot(u, v) > 6.1].any()
    error = (field.heights - expected)[inner]
    assert np.ptp(error) < 0.005
    assert abs(error.mean()) < 0.1  # the lowest point seen lies within a pixel of the border


def test_turning_mirroring_cutting_and_cropping(tmp_path):
    """An L of two bars: where its parts come to lie tells what was done."""
    ell = np.zeros((120, 120), dtype=np.uint16)
    ell[10:110, 10:30] = 65535  # upright on the left
    ell[90:110, 10:110] = 65535  # foot to the right
    name = _png(tmp_path / "a.png", ell)

    def corners(**keys) -> list[bool]:
        """Tell whether top left, top right, bottom left, bottom right are there."""
        field = see_source(Relief(source=name, fit=20.0, **keys), GROUND, 216, {}).field
        u, v = field.grid.u(), field.grid.v()
        pick = [(-8, 8), (8, 8), (-8, -8), (8, -8)]
        return [
            bool(field.mask[np.abs(v - y).argmin(), np.abs(u - x).argmin()])
            and abs(u - x).min() < 0.2
            and abs(v - y).min() < 0.2
            for x, y in pick
        ]

    assert corners() == [True, False, True, True]
    assert corners(mirror=True) == [False, True, True, True]
    assert corners(turn=(0.0, 0.0, 90.0)) == [False, True, True, True]
    assert corners(cut=Cut(foot=0.3)) == [True, False, False, False]
    assert corners(crop=Crop(shape="rectangle", width=40, height=10)) == [False] * 4
    with pytest.raises(SpecError, match="turn it about z only"):
        corners(turn=(90.0, 0.0, 0.0))


@pytest.mark.parametrize("size", [64, 1500])
def test_small_and_large_pictures_give_the_same_relief(tmp_path, size):
    """Sampled up or averaged down, the dome keeps its volume: half its cylinder's."""
    name = _png(tmp_path / "a.png", np.round(_dome(size) * 65535).astype(np.uint16))
    spec = Relief(source=name, fit=20.0, picture=Picture(white=5.0))
    field = see_source(spec, GROUND, 316, {}).field
    volume = float(field.heights.sum()) * field.grid.pixel**2
    assert volume == pytest.approx(np.pi * 100 * 5 / 2, rel=0.03)


def test_transparent_pixels_are_no_part_of_the_relief(tmp_path):
    """Grey and alpha (colour type 4), one of them clear."""
    samples = np.zeros((40, 40, 2), dtype=np.uint8)
    samples[..., 0] = 200
    samples[:, :20, 1] = 255
    picture = read_picture(_png(tmp_path / "a.png", samples, colour=4))
    assert picture.mask[:, :20].all()
    assert not picture.mask[:, 20:].any()


def test_tiff_of_integers_and_floats(tmp_path):
    """16-bit TIFF as PNG; floating-point TIFF as it stands, holes where it is not finite."""
    samples = np.arange(0, 60000, 100, dtype=np.uint16).reshape(20, 30)
    Image.fromarray(samples).save(tmp_path / "a.tif")
    assert np.abs(read_picture(str(tmp_path / "a.tif")).values - samples / 65535).max() < 1e-7
    floats = np.linspace(-2, 5, 600, dtype=np.float32).reshape(20, 30)
    floats[3, 4] = np.nan
    Image.fromarray(floats).save(tmp_path / "b.tiff")
    picture = read_picture(str(tmp_path / "b.tiff"))
    assert not picture.mask[3, 4]
    assert picture.mask.sum() == 599
    assert picture.values[0, 0] == -2


def test_a_height_field_from_python_is_scaled_like_a_model():
    """Twice as wide is twice as deep; what its mask leaves out stays out."""
    dome = (3 * _dome(200)).astype(np.float32)
    given = HeightField(Grid(0.0, 0.0, 0.05, 200, 200), dome, dome > 0)  # 10 wide, 3 deep
    field = see_source(
        Relief(source="array:dome", fit=20.0), GROUND, 416, {"array:dome": given}
    ).field
    assert field.heights.max() == pytest.approx(6.0, abs=0.05)
    assert field.mask.sum() * field.grid.pixel**2 == pytest.approx(np.pi * 100, rel=0.02)


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("gone.png", None, "there is no such file"),
        ("noise.png", b"\x89PNG\r\n\x1a\nnothing", "cannot be read as a picture"),
        ("depth.exr", b"v/1\x01", "EXR"),
    ],
)
def test_bad_pictures_get_one_line(tmp_path, name, content, message):
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(SourceError) as caught:
        read_picture(str(tmp_path / name))
    assert message in str(caught.value)
    assert name in str(caught.value)
    assert "\n" not in str(caught.value)


def test_clear_pictures_are_refused(tmp_path):
    samples = np.zeros((4, 4, 2), dtype=np.uint8)
    with pytest.raises(SourceError, match="transparent everywhere"):
        read_picture(_png(tmp_path / "a.png", samples, colour=4))


def test_pictures_and_height_fields_become_pieces(tmp_path):
    """End to end at draft: closed, as high as asked above the field."""
    import medalcore

    dome = np.round(_dome(200) * 65535).astype(np.uint16)
    name = _png(tmp_path / "a.png", dome)
    field = HeightField(
        Grid(0.0, 0.0, 0.05, 200, 200), (3 * _dome(200)).astype(np.float32), _dome(200) > 0
    )
    for source in (name, "array:dome"):
        spec = medalcore.spec.MedalSpec(
            obverse=medalcore.spec.Face(relief=(Relief(source=source, fit=20.0, height=0.5),))
        )
        medal = medalcore.build(spec, "draft", models={"array:dome": field})
        assert medal.is_closed
        relief = medal.zone == medal.zone_names.index("relief")
        top = medal.vertices[medal.triangles[relief]][..., 2].max()
        on_field = medal.zone == medal.zone_names.index("field")
        up = on_field & (medal.side == 1)
        level = medal.vertices[medal.triangles[up]][..., 2].max()
        assert top - level == pytest.approx(0.5, abs=0.01)


def test_an_array_becomes_a_relief(tmp_path):
    """NaN is outside; the pitch of the pixels says how deep it is; a spec file can name it."""
    import medalcore

    y, x = np.mgrid[-1:1:201j, -1:1:201j]
    heights = np.where(x**2 + y**2 < 1.0, np.sqrt(np.maximum(1.0 - x**2 - y**2, 0.0)), np.nan)
    ball = medalcore.height_field(heights, pixel=0.01)
    (tmp_path / "medal.toml").write_text(
        '[[obverse.relief]]\nsource = "array:ball"\nfit = 20.0\nheight = 0.5\n'
    )
    spec = medalcore.read_spec(tmp_path / "medal.toml")
    medal = medalcore.build(spec, "draft", models={"array:ball": ball})
    facts = medal.report["elements"]["obverse.relief[0]"]
    assert facts["size_mm"] == pytest.approx([20.0, 20.0], abs=0.15)
    assert facts["model_depth_mm"] == pytest.approx(10.0, rel=0.03)  # a half ball 20 mm wide
    with pytest.raises(SourceError, match="array:ball: there is no such array"):
        medalcore.build(spec, "draft")


@pytest.mark.parametrize(
    ("heights", "pixel", "mask", "says"),
    [
        (np.zeros(9), 1.0, None, "shape (9,)"),
        (np.zeros((4, 4, 3)), 1.0, None, "shape (4, 4, 3)"),
        (np.zeros((1, 9)), 1.0, None, "at least 2 by 2"),
        (np.zeros((4, 4)), -1.0, None, "pitch, above 0"),
        (np.zeros((4, 4)), float("nan"), None, "pitch, above 0"),
        (np.full((4, 4), np.nan), 1.0, None, "some finite height"),
        (np.zeros((4, 4)), 1.0, np.zeros((4, 4), bool), "some finite height"),
        (np.zeros((4, 4)), 1.0, np.ones((4, 5), bool), "mask has shape (4, 5)"),
        ([["a", "b"], ["c", "d"]], 1.0, None, "array of numbers"),
        ([[1, 2], [3]], 1.0, None, "array of numbers"),
    ],
)
def test_bad_arrays_get_one_line(heights, pixel, mask, says):
    from medalcore import height_field

    with pytest.raises(SourceError) as caught:
        height_field(heights, pixel, mask=mask)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
