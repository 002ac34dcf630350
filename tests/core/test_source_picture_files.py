"""Deep TIFF and EXR pictures, written by the libraries OpenEXR and tifffile: every bit comes in."""

from __future__ import annotations

import sys

import numpy as np
import OpenEXR
import pytest
import tifffile
from PIL import Image

from medalcore.context.ground import Ground
from medalcore.elements.relief.depth.source_depth import see_source
from medalcore.elements.relief.sources.pictures.depth_picture import read_picture
from medalcore.errors import SourceError
from medalcore.spec import Picture, Relief

ROWS, COLS = 90, 130
Y, X = np.mgrid[0:ROWS, 0:COLS]
GREY = ((Y * 400 + X * 203) % 65536).astype(np.uint16)
"""No symmetry: a turn, a mirroring or swapped bytes would show."""
HEIGHT = (0.25 + X / 512 + Y / 256).astype(np.float32)  # exact in 16-bit floats
DISTANCE = np.where(Y < 20, 1e10, 8 + X / 128 + Y / 64).astype(np.float32)
EXR = {"zip": OpenEXR.ZIP_COMPRESSION, "piz": OpenEXR.PIZ_COMPRESSION,
       "dwaa": OpenEXR.DWAA_COMPRESSION}  # fmt: skip


def _exr(path, channels, packing="zip", kind=OpenEXR.scanlineimage):
    header = {"compression": EXR[packing], "type": kind}
    if kind == OpenEXR.tiledimage:
        tile = OpenEXR.TileDescription()
        tile.xSize, tile.ySize = 32, 32
        header["tiles"] = tile
    OpenEXR.File(header, channels).write(str(path))
    return str(path)


@pytest.mark.parametrize("kind", [OpenEXR.scanlineimage, OpenEXR.tiledimage])
@pytest.mark.parametrize("packing", ["zip", "piz", "dwaa"])
@pytest.mark.parametrize("dtype", [np.float16, np.float32])
@pytest.mark.parametrize("names", ["Y", "V", "RGB"])
def test_heights_of_an_exr_come_in_as_they_stand(tmp_path, names, dtype, packing, kind):
    """One channel or three; DWAA loses a little by its nature, the others nothing."""
    values = HEIGHT.astype(dtype)
    name = _exr(tmp_path / "a.exr", dict.fromkeys(names, values), packing, kind)
    picture = read_picture(name)
    assert picture.mask.all()
    assert np.abs(picture.values - HEIGHT).max() <= (0.01 if packing == "dwaa" else 1e-7)


def test_colours_of_an_exr_are_multiplied_with_its_alpha(tmp_path):
    """OpenEXR, Technical Introduction: associated alpha. Below half it is no part."""
    alpha = np.where(X < 30, 0.25, np.where(X < 60, 0.5, 1.0)).astype(np.float32)
    stored = HEIGHT * alpha
    picture = read_picture(_exr(tmp_path / "a.exr", {**dict.fromkeys("RGB", stored), "A": alpha}))
    assert np.array_equal(picture.mask, alpha >= 0.5)
    assert np.abs(picture.values - HEIGHT)[picture.mask].max() < 1e-6


def _passes() -> dict[str, np.ndarray]:
    """Return passes as Blender names them (measured: 4.2 and 5.2)."""
    one = np.ones_like(DISTANCE)
    return {
        **{f"ViewLayer.Combined.{c}": (one if c == "A" else 0.3 * one) for c in "RGBA"},
        "ViewLayer.Denoising Depth.Z": np.where(Y < 20, 0, 5 * one).astype(np.float32),
        "ViewLayer.Depth.Z": DISTANCE,
        "ViewLayer.Mist.Z": np.where(Y < 20, one, 0.5 * one),
        **{f"ViewLayer.Normal.{c}": 0.5 * one for c in "XYZ"},
    }


@pytest.mark.parametrize("parts", [1, 8])
def test_the_depth_pass_of_a_render_is_found_and_turned_round(tmp_path, parts):
    """Passes in one part as of Blender 4.2, in one each as of 5.2: nearest is highest."""
    name = str(tmp_path / "render.exr")
    if parts == 1:
        _exr(name, _passes())
    else:
        layers: dict[str, dict[str, np.ndarray]] = {}
        for key, values in _passes().items():
            layers.setdefault(key.rpartition(".")[0], {})[key] = values
        OpenEXR.File(
            [OpenEXR.Part({"name": layer, "type": OpenEXR.scanlineimage}, channels)
             for layer, channels in layers.items()]
        ).write(name)  # fmt: skip
    picture = read_picture(name)
    hit = Y >= 20
    low, high = DISTANCE[hit].min(), DISTANCE[hit].max()
    assert np.array_equal(picture.mask, hit)
    assert np.abs(picture.values - (high - DISTANCE) / (high - low))[hit].max() < 1e-6
    assert "heights are taken from ViewLayer.Depth.Z" in picture.notes[0]
    assert "distances from the eye" in picture.notes[1]


def test_a_distance_of_nothing_is_no_part(tmp_path):
    """The next best pass, of the denoiser, says 0 where nothing was hit (Blender 4.2)."""
    passes = {key: values for key, values in _passes().items() if ".Depth." not in key}
    picture = read_picture(_exr(tmp_path / "a.exr", passes))
    assert "Denoising Depth.Z" in picture.notes[0]
    assert np.array_equal(picture.mask, Y >= 20)


@pytest.mark.parametrize("dtype", [np.float16, np.float32])
def test_distances_saved_as_grey_are_known_by_their_background(tmp_path, dtype):
    """A node's output saved in one layer: only the far background tells what it is."""
    values = np.minimum(DISTANCE, np.finfo(dtype).max).astype(dtype)  # as 16 bits are clamped
    picture = read_picture(_exr(tmp_path / "a.exr", dict.fromkeys("RGB", values)))
    assert np.array_equal(picture.mask, Y >= 20)
    assert picture.values[20, 0] == 1.0
    assert picture.values[-1, -1] == 0.0


def test_black_and_white_hold_for_distances(tmp_path):
    """Farthest at 1 mm, nearest at 4 mm: 3 mm from end to end."""
    name = _exr(tmp_path / "a.exr", {"Z": DISTANCE})
    ground = Ground(level=1.0, radius=18.0, dish=0.0, floor=-1.0)
    spec = Relief(source=name, fit=20.0, picture=Picture(black=1.0, white=4.0, empty="none"))
    field = see_source(spec, ground, 216, {}).field
    heights = field.heights[field.mask]
    assert np.ptp(heights) == pytest.approx(3.0, rel=0.02)
    rows, cols = np.nonzero(field.mask)
    assert field.heights[rows.min() + 2, cols.min() + 2] > heights.mean()  # top left is nearest


@pytest.mark.parametrize(
    ("channels", "message"),
    [({"N.X": HEIGHT, "N.Y": HEIGHT, "N.Z": HEIGHT}, "no channel Z, V, Y or R"),
     ({"Z": np.full_like(DISTANCE, 1e10)}, "transparent everywhere")],
)  # fmt: skip
def test_an_exr_without_heights_gets_one_line(tmp_path, channels, message):
    with pytest.raises(SourceError, match=message) as caught:
        read_picture(_exr(tmp_path / "a.exr", channels))
    assert "\n" not in str(caught.value)


def test_a_cut_exr_gets_one_line(tmp_path):
    name = _exr(tmp_path / "a.exr", {"Y": np.random.default_rng(1).random((64, 64), np.float32)})
    data = (tmp_path / "a.exr").read_bytes()
    (tmp_path / "a.exr").write_bytes(data[: len(data) // 2])
    with pytest.raises(SourceError, match="cannot be read as EXR") as caught:
        read_picture(name)
    assert "\n" not in str(caught.value)


def test_without_the_library_an_exr_says_what_is_needed(tmp_path, monkeypatch):
    name = _exr(tmp_path / "a.exr", {"Y": HEIGHT})
    monkeypatch.setitem(sys.modules, "OpenEXR", None)
    with pytest.raises(SourceError, match="needs the library OpenEXR"):
        read_picture(name)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("planar", ["contig", "separate"])
@pytest.mark.parametrize(
    "how",
    [{}, {"compression": "deflate"}, {"compression": "deflate", "predictor": 2},
     {"compression": "deflate", "rowsperstrip": 7},
     {"compression": "deflate", "predictor": 2, "tile": (32, 48)}],
)  # fmt: skip
def test_sixteen_bit_colours_of_a_tiff_keep_their_bits(tmp_path, how, planar, order):
    """TIFF 6.0: strips, tiles, predictor 2, planes apart, either byte order; one 65535th counts."""
    name = str(tmp_path / "a.tif")
    stored = np.stack([GREY, GREY, GREY, np.where(X < 40, 0, 65535).astype(np.uint16)], -1)
    tifffile.imwrite(
        name, stored if planar == "contig" else np.moveaxis(stored, 2, 0), photometric="rgb",
        planarconfig=planar, extrasamples=("unassalpha",), byteorder=order, **how,
    )  # fmt: skip
    picture = read_picture(name)
    assert np.array_equal(np.round(picture.values * 65535), GREY)
    assert np.array_equal(picture.mask, X >= 40)
    assert picture.notes == ()


def test_grey_with_alpha_and_lzw(tmp_path):
    """Two samples a pixel; LZW, written by Pillow through libtiff, most image editors' default."""
    stored = np.stack([GREY, np.where(Y < 9, 0, 65535).astype(np.uint16)], -1)
    tifffile.imwrite(tmp_path / "a.tif", stored, photometric="minisblack",
                     planarconfig="contig", extrasamples=("unassalpha",))  # fmt: skip
    picture = read_picture(str(tmp_path / "a.tif"))
    assert np.array_equal(np.round(picture.values * 65535), GREY)
    assert np.array_equal(picture.mask, Y >= 9)
    Image.fromarray(GREY).save(tmp_path / "b.tif", compression="tiff_lzw")
    assert np.array_equal(np.round(read_picture(str(tmp_path / "b.tif")).values * 65535), GREY)


def test_white_is_zero_where_a_tiff_says_so(tmp_path):
    """TIFF 6.0, PhotometricInterpretation 0."""
    tifffile.imwrite(tmp_path / "a.tif", GREY, photometric="miniswhite")
    read = np.round(read_picture(str(tmp_path / "a.tif")).values * 65535)
    assert np.array_equal(read, 65535 - GREY.astype(int))


@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_orientation_of_a_tiff_is_followed(tmp_path, orientation):
    """As Pillow's exif_transpose turns the same picture of eight bits (TIFF 6.0, Orientation)."""
    from PIL import ImageOps

    eight = (GREY >> 8).astype(np.uint8)
    tags = [(274, "H", 1, orientation, True)]
    tifffile.imwrite(tmp_path / "16.tif", eight * np.uint16(257), extratags=tags,
                     photometric="minisblack")  # fmt: skip
    image = Image.fromarray(eight)
    image.getexif()[274] = orientation
    wanted = np.asarray(ImageOps.exif_transpose(image))
    assert np.array_equal(np.round(read_picture(str(tmp_path / "16.tif")).values * 255), wanted)


@pytest.mark.parametrize("dtype", [np.float16, np.float32, np.float64])
@pytest.mark.parametrize("colours", [1, 3])
def test_floats_of_a_tiff_come_in_as_they_stand(tmp_path, dtype, colours):
    values = np.repeat(HEIGHT[..., None].astype(dtype), colours, axis=2)
    values[3, 4] = np.nan
    tifffile.imwrite(tmp_path / "a.tif", values if colours == 3 else values[..., 0],
                     photometric="rgb" if colours == 3 else "minisblack")  # fmt: skip
    picture = read_picture(str(tmp_path / "a.tif"))
    assert not picture.mask[3, 4]
    assert picture.mask.sum() == ROWS * COLS - 1
    assert np.abs(picture.values - HEIGHT)[picture.mask].max() < 1e-7


def test_a_cut_tiff_gets_one_line(tmp_path):
    for how in ({}, {"compression": "deflate"}):
        tifffile.imwrite(tmp_path / "a.tif", np.stack([GREY] * 3, -1), photometric="rgb", **how)
        data = (tmp_path / "a.tif").read_bytes()
        (tmp_path / "a.tif").write_bytes(data[: len(data) * 2 // 3])
        with pytest.raises(SourceError, match="cannot be read as a picture") as caught:
            read_picture(str(tmp_path / "a.tif"))
        assert "\n" not in str(caught.value)
