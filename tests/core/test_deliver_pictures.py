"""Pictures: the light obeys published formulas, faces stand as their viewers see them."""

from __future__ import annotations

import io
import math

import manifold3d as m3
import numpy as np
import pytest
from PIL import Image

from medalcore.context.materials import materials
from medalcore.context.medal import Medal
from medalcore.deliver.png import write_png
from medalcore.errors import DeliveryError
from medalcore.geometry.solid import Solid, arrays_of, solid_from_manifold, united
from medalcore.render.cast import cast_of, turned
from medalcore.render.lights import LAMPS, Lamp, irradiance, look_up, mirrored, tables
from medalcore.render.metals import LOOKS, look_of
from medalcore.render.normals import corner_normals
from medalcore.render.occlusion import Bearing, relief_of
from medalcore.render.picture import picture, png_bytes, standing
from medalcore.render.shading import Surface, encoded, shaded

UP_LEFT = np.array([-math.sqrt(0.5), math.sqrt(0.5), 0.0])


def medal_of(solids: list[Solid], alignment: str | float = "medal") -> Medal:
    vertices, triangles, code, labels = arrays_of(united(solids))
    zones = sorted({label.zone for label in labels})
    return Medal(
        "test",
        vertices,
        triangles,
        zone=np.array([zones.index(label.zone) for label in labels], dtype=np.uint8)[code],
        side=np.array([label.side for label in labels], dtype=np.int8)[code],
        zone_names=tuple(zones),
        volume_mm3=1.0,
        mass_g=1.0,
        is_closed=True,
        report={"alignment": alignment, "metal": "bronze"},
    )


def disc() -> Solid:
    return solid_from_manifold(m3.Manifold.cylinder(3.0, 20.0, 20.0, 180, True), "field")


def letter_f() -> m3.CrossSection:
    """Return an F of boxes, 12 mm wide and 18 high, about the middle: no symmetry at all."""
    boxes = [((-6, -9), (4, 18)), ((-6, 5), (12, 4)), ((-6, -2), (9, 4))]
    return m3.CrossSection.batch_boolean(
        [m3.CrossSection.square(size).translate(at) for at, size in boxes], m3.OpType.Add
    )


def tilted(degrees: float, towards: np.ndarray = UP_LEFT) -> np.ndarray:
    """Return the normal of a plane tilted towards a direction of the picture."""
    a = math.radians(degrees)
    return math.sin(a) * towards + np.array([0.0, 0.0, math.cos(a)])


# --- the light, against published formulas ---------------------------------------------------


@pytest.mark.parametrize(("roughness", "elevation"), [(0.15, 40.0), (0.3, 40.0), (0.5, 12.0)])
@pytest.mark.parametrize("tilt", [0.0, 10.0, 25.0, 40.0])
def test_tilted_plane_reflects_a_lamp_as_ggx_says(
    roughness: float, elevation: float, tilt: float
) -> None:
    """Walter et al., "Microfacet models for refraction" (EGSR 2007), eq. 20, 33 and 23.

    A small lamp of radiance L and solid angle Ω seen in a surface: D G F / (4 n·v) L Ω,
    with Smith's height-correlated G (Heitz 2014, JCGT 3(2), eq. 99) and F = 1.
    """
    lamp = Lamp(135.0, elevation, 2.0, 1e-3, 1.0)
    normal, light, view = tilted(tilt), lamp.direction, np.array([0.0, 0.0, 1.0])
    half = (light + view) / np.linalg.norm(light + view)
    nh, nv, nl = normal @ half, normal @ view, normal @ light
    d = roughness**2 / (math.pi * (nh**2 * (roughness**2 - 1.0) + 1.0) ** 2)

    def smith(cosine: float) -> float:
        return 0.5 * (math.sqrt(1.0 + roughness**2 * (1.0 / cosine**2 - 1.0)) - 1.0)

    g = 1.0 / (1.0 + smith(nv) + smith(nl))
    solid_angle = 2.0 * math.pi * (1.0 - math.cos(math.radians(2.0)))
    expected = d * g / (4.0 * nv) * solid_angle
    found = mirrored(normal[None], roughness, (lamp,), samples=1 << 18)[0, 0]
    assert found == pytest.approx(expected, rel=0.05, abs=2e-5)


@pytest.mark.parametrize("tilt", [0.0, 20.0, 45.0])
def test_matt_plane_is_lit_as_lambert_says(tilt: float) -> None:
    """Irradiance of a round uniform source of half angle α: π L sin²α cos θ (radiometry)."""
    lamp = Lamp(135.0, 50.0, 20.0, 1e-3, 1.0)
    normal = tilted(tilt)
    expected = math.sin(math.radians(20.0)) ** 2 * (normal @ lamp.direction)
    assert irradiance(normal[None], (lamp,))[0, 0] == pytest.approx(expected, rel=0.03)


def test_white_furnace() -> None:
    """In a uniformly bright world a perfect mirror with little roughness shows that world."""
    normals = np.array([tilted(t) for t in (0.0, 15.0, 30.0, 45.0, 60.0)])
    room_and_floor = mirrored(normals, 0.1, ())
    assert np.all(room_and_floor.sum(axis=1) <= 1.0 + 1e-9)
    assert np.all(room_and_floor.sum(axis=1) > 0.96)  # what single scattering loses at 60°


def test_table_agrees_with_what_it_is_made_of() -> None:
    """Looking up a lamp stays within 1 % of its brightest value, room and floor within 3 %."""
    rng = np.random.default_rng(5)
    normals = rng.normal(size=(400, 3)) + np.array([0.0, 0.0, 1.5])
    normals = normals[normals[:, 2] > 0.2]
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    direct = np.hstack([mirrored(normals, 0.21, LAMPS), irradiance(normals, LAMPS)]).T
    nx, ny, nz = np.ascontiguousarray(normals.T, dtype=np.float32)
    found = look_up(tables(0.21), nx, ny, nz)
    n = len(LAMPS)
    allowed = np.array([0.01] * n + [0.03] * 2 + [0.01] * (n + 2))
    assert np.all(np.abs(found - direct).max(axis=1) <= allowed * direct.max(axis=1))


def test_slope_towards_the_key_light_is_brighter() -> None:
    """From −15° to +20° of tilt towards the upper left, a metal only gets brighter."""
    tilts = np.arange(-15.0, 21.0, 2.5)
    normals = np.array([tilted(t, LAMPS[0].direction * [1, 1, 0] / 0.788) for t in tilts])
    n = len(tilts)
    one, zero = np.ones(n, dtype=np.float32), np.zeros(n, dtype=np.float32)
    surface = Surface(
        *np.ascontiguousarray(normals.T, dtype=np.float32), one, zero, (one,) * len(LAMPS), zero
    )
    light = shaded(surface, LOOKS["bronze"])
    assert np.all(np.diff(light.sum(axis=0)) > 0.0)
    assert np.all(light[0] > light[2])  # bronze is warm


def test_srgb_encoding() -> None:
    """IEC 61966-2-1: display-linear 0.21404 is sRGB 0.5, 0.0031308 is 0.04045."""
    values = np.full((3, 64, 64), 0.21404, dtype=np.float32)
    assert encoded(values).astype(float).mean() == pytest.approx(127.5, abs=0.3)
    values[:] = 0.0031308
    assert encoded(values).astype(float).mean() == pytest.approx(0.04045 * 255, abs=0.3)
    assert encoded(np.ones((3, 8, 8), dtype=np.float32)).min() >= 254
    assert encoded(np.zeros((3, 8, 8), dtype=np.float32)).max() == 0


# --- what stands in the light ----------------------------------------------------------------


def wall(height: float, pixel: float) -> np.ndarray:
    """Return heights of level ground with a long thick wall on its left (columns 0 to 99)."""
    heights = np.zeros((300, 400), dtype=np.float32)
    heights[:, :100] = height
    return heights


@pytest.mark.parametrize("distance", [0.2, 0.4, 1.0])
def test_sky_before_a_long_wall(distance: float) -> None:
    """View factor of ground before an endless wall to the sky: (1 + cos φ) / 2 (Hottel)."""
    pixel = 0.02
    relief = relief_of(wall(0.5, pixel), pixel, 0.1, ())
    column = 100 + round(distance / pixel)
    angle = math.atan2(0.5, distance)
    expected = (1.0 + math.cos(angle)) / 2.0
    assert relief.open_sky[150, column] == pytest.approx(expected, abs=0.05)
    assert relief.open_sky[150, 390] == pytest.approx(1.0, abs=0.03)
    assert relief.open_sky[150, 20] == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("azimuth", [0.0, 90.0, 180.0, 270.0])
def test_shadow_ends_where_the_lamp_rises_over_the_wall(azimuth: float) -> None:
    """Length of a shadow: height / tan(elevation); rows of a map run down."""
    pixel = 0.02
    quarter = round(azimuth / 90.0) + 2  # turns that bring the wall from the left to the lamp
    lamps = (Bearing(azimuth, 35.0, 3.0), Bearing(azimuth + 180.0, 35.0, 3.0))
    relief = relief_of(np.rot90(wall(0.5, pixel), quarter).copy(), pixel, 0.1, lamps)
    lit, other = (np.rot90(m, -quarter)[150] for m in relief.lit)
    length = 0.5 / math.tan(math.radians(35.0))
    half_way = 100 + int(np.argmax(lit[100:] > 0.5))
    assert (half_way - 100) * pixel == pytest.approx(length, abs=0.1)
    assert lit[110] < 0.05
    assert lit[390] > 0.99
    assert other[110:].min() > 0.99


# --- normals ---------------------------------------------------------------------------------


def test_normals_of_a_sphere_are_radial() -> None:
    """Facets of 5° give normals within 0.5° of the true sphere's."""
    mesh = m3.Manifold.sphere(10.0, 72).to_mesh64()
    points, triangles = np.array(mesh.vert_properties), np.array(mesh.tri_verts, dtype=np.int64)
    normals = corner_normals(points, triangles, np.zeros(len(triangles), dtype=np.int64))
    cosine = np.einsum("ijk,ijk->ij", normals, points[triangles] / 10.0)
    assert np.degrees(np.arccos(np.clip(cosine, -1, 1))).max() < 0.5


def test_normals_of_a_box_stay_crisp_and_groups_apart() -> None:
    mesh = m3.Manifold.cube((1.0, 2.0, 3.0)).to_mesh64()
    points, triangles = np.array(mesh.vert_properties), np.array(mesh.tri_verts, dtype=np.int64)
    corner = points[triangles]
    face = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    face /= np.linalg.norm(face, axis=1, keepdims=True)
    one = corner_normals(points, triangles, np.zeros(12, dtype=np.int64))
    assert np.allclose(one, face[:, None], atol=1e-6)
    soft = corner_normals(points, triangles, np.zeros(12, dtype=np.int64), crease_deg=100.0)
    areas = np.array([2.0 * 3.0, 1.0 * 3.0, 1.0 * 2.0])  # every corner: a right angle of each face
    assert np.allclose(np.abs(soft), areas / np.linalg.norm(areas), atol=1e-6)
    split = corner_normals(points, triangles, np.arange(12), crease_deg=100.0)
    assert np.allclose(split, face[:, None], atol=1e-6)


def test_normals_where_three_triangles_meet_and_where_none_does() -> None:
    """Where a mesh is not a surface, or ends, every triangle keeps its own normal."""
    points = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, -1, 0.1], [0, 1, 0.1]])
    triangles = np.array([[0, 1, 2], [0, 3, 1], [0, 1, 4]])
    normals = corner_normals(points, triangles, np.zeros(3, dtype=np.int64))
    corner = points[triangles]
    face = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    face /= np.linalg.norm(face, axis=1, keepdims=True)
    assert np.allclose(normals, face[:, None], atol=1e-6)
    pair = corner_normals(points, triangles[:2], np.zeros(2, dtype=np.int64))
    assert np.allclose(pair[0, 0], pair[1, 0])  # two alone are a surface, bent by 6°


def test_facets_of_a_dome_do_not_show() -> None:
    """A dome of 4° facets looks like one of 1° facets."""

    def dome(segments: int) -> np.ndarray:
        ball = m3.Manifold.sphere(40.0, segments).translate((0.0, 0.0, -37.0))
        return picture(medal_of([disc(), solid_from_manifold(ball ^ cap, "relief")]), "obverse",
                       size=300).astype(float)  # fmt: skip

    cap = m3.Manifold.cylinder(8.0, 14.0, 14.0, 360, False).translate((0.0, 0.0, 0.5))
    coarse, fine = dome(88), dome(360)
    inside = np.hypot(*np.meshgrid(*[np.arange(300) - 149.5] * 2)) < 80
    assert np.abs(coarse - fine)[inside].mean() < 3.0


# --- which way round -------------------------------------------------------------------------


@pytest.mark.parametrize("alignment", ["medal", "coin", 0.0, 30.0, 90.0])
@pytest.mark.parametrize("side", ["obverse", "reverse"])
def test_letter_reads_right(side: str, alignment: str | float) -> None:
    """An F set upright on a face, and placed by `assemble`, reads as an F in its picture."""
    from medalcore.context.ground import placement

    letter = solid_from_manifold(letter_f().extrude(1.0).translate((0.0, 0.0, 1.0)), "legend")
    front = letter.on_side(1)
    back = letter.on_side(-1).moved(placement(alignment, -1))
    medal = medal_of([disc(), front, back], alignment)
    size = 240
    pixels = picture(medal, side, size=size).astype(float).mean(axis=2)
    energy = np.hypot(*np.gradient(pixels))
    scale = 40.0 / (size * (1.0 - 2.0 * 0.07))
    v, u = np.meshgrid(-(np.arange(size) - (size - 1) / 2), np.arange(size) - (size - 1) / 2,
                       indexing="ij")  # fmt: skip
    u, v = u * scale, v * scale
    shape = np.zeros((size, size), dtype=bool)
    for (left, low), (wide, high) in [((-6, -9), (4, 18)), ((-6, 5), (12, 4)), ((-6, -2), (9, 4))]:
        shape |= (u > left) & (u < left + wide) & (v > low) & (v < low + high)
    outline = np.hypot(*np.gradient(shape.astype(float))) > 0

    def match(mask: np.ndarray) -> float:
        inner = np.hypot(u, v) < 14
        return float(energy[mask & inner].mean() / energy[~mask & inner].mean())

    right = match(outline)
    wrong = [outline[:, ::-1], outline[::-1], outline[::-1, ::-1], outline.T, outline.T[::-1]]
    assert right > 3.0
    assert all(match(w) < 0.7 * right for w in wrong)


def test_reverse_stands_as_assembly_placed_it() -> None:
    """Turning to the viewer of the reverse undoes the placing of the reverse."""
    from medalcore.context.ground import placement

    for alignment in ("medal", "coin", 17.0):
        medal = medal_of([disc()], alignment)
        both = turned(medal, "reverse") @ placement(alignment, -1)[:, :3]
        assert np.allclose(both, np.eye(3), atol=1e-12)


def test_light_comes_from_the_upper_left() -> None:
    """Of a low pyramid's four slopes, those up and left are brighter than down and right."""
    square = m3.CrossSection.square((20.0, 20.0), True)
    pyramid = square.extrude(1.5, 0, 0.0, (0.0, 0.0)).translate((0.0, 0.0, 1.4))
    pixels = picture(medal_of([disc(), solid_from_manifold(pyramid, "relief")]), "obverse",
                     size=200).astype(float).mean(axis=2)  # fmt: skip
    up, down, left, right = pixels[80, 100], pixels[120, 100], pixels[100, 80], pixels[100, 120]
    assert min(up, left) > max(down, right) + 15.0


def test_pieces_throw_shadows_on_the_sheet() -> None:
    """Beside a piece, away from the key light, the sheet is darker than further out."""
    medal = medal_of([disc()])
    pixels = picture(medal, "obverse", size=200).astype(float).mean(axis=2)
    diagonal = np.diagonal(pixels)  # from upper left to lower right; the rim ends at 161
    assert diagonal[164] < diagonal[185] - 8.0
    assert diagonal[34] > diagonal[164] + 12.0
    both = standing(medal, size=(400, 240)).astype(float)
    warm = both[..., 0] - both[..., 2] > 25
    foot = int(np.flatnonzero(warm[:, :200].any(axis=1)).max())
    col = int(np.flatnonzero(warm[foot]).mean())
    sheet = both.mean(axis=2)
    assert sheet[foot + 2, col] < sheet[foot + 2, 8] - 25.0


# --- pictures as files -----------------------------------------------------------------------


def test_same_piece_same_picture_and_pillow_reads_it(tmp_path) -> None:
    medal = medal_of([disc()])
    pixels = picture(medal, "obverse", size=120)
    assert pixels.shape == (120, 120, 3)
    assert pixels.dtype == np.uint8
    assert np.array_equal(pixels, picture(medal, "obverse", size=120))
    assert png_bytes(pixels) == png_bytes(pixels.copy())
    with Image.open(io.BytesIO(png_bytes(pixels))) as read:
        assert (read.format, read.mode, read.size) == ("PNG", "RGB", (120, 120))
        assert np.array_equal(np.asarray(read), pixels)
    path = tmp_path / "a.png"
    write_png(path, pixels)
    with pytest.raises(DeliveryError):
        write_png(path, pixels)


def test_standing_picture_shows_two_pieces() -> None:
    pixels = standing(medal_of([disc()]), size=(400, 240))
    assert pixels.shape == (240, 400, 3)
    warm = pixels[..., 0].astype(int) - pixels[..., 2] > 25
    assert 0.1 < warm[:, :200].mean() < 0.8
    assert 0.1 < warm[:, 200:].mean() < 0.8
    assert not warm[0].any()
    assert not warm[-1].any()


def test_every_material_has_a_look() -> None:
    """The picture of no material falls back on another's."""
    assert set(materials()) <= set(LOOKS)
    assert look_of("red-gold") == LOOKS["fine-gold"]
    assert look_of("something else") == LOOKS["bronze"]
    for look in LOOKS.values():
        assert all(0.0 <= c <= 1.0 for c in (*look.reflectance, *look.tone, *look.body))


def test_metal_can_be_chosen_for_the_picture() -> None:
    medal = medal_of([disc()])
    silver = picture(medal, "obverse", size=80, metal="fine-silver").astype(float)
    middle = silver[30:50, 30:50].mean(axis=(0, 1))
    assert middle.max() - middle.min() < 25
    bronze = picture(medal, "obverse", size=80).astype(float)[30:50, 30:50].mean(axis=(0, 1))
    assert bronze[0] - bronze[2] > 50


def test_maps_lie_under_the_face() -> None:
    """A point of the face, wherever the piece is turned, finds its own pixel of the maps."""
    angle = math.radians(25.0)
    rotation = np.array(
        [[math.cos(angle), 0, math.sin(angle)], [0, 1, 0], [-math.sin(angle), 0, math.cos(angle)]]
    )
    cast = cast_of(medal_of([disc()]), "obverse", 0.2, rotation=rotation,
                   offset=np.array([3.0, -2.0, 5.0]))  # fmt: skip
    point = np.array([[4.0, 7.0, 1.5]])
    x, y, z = (np.float32(c) for c in (point @ rotation.T + [3.0, -2.0, 5.0]).T)
    row, col, height = cast.on_face(x, y, z)
    assert cast.grid.left + cast.grid.pixel * (col[0] - 0.5) == pytest.approx(4.0, abs=1e-4)
    assert cast.grid.top - cast.grid.pixel * (row[0] - 0.5) == pytest.approx(7.0, abs=1e-4)
    assert height[0] == pytest.approx(1.5, abs=1e-4)
