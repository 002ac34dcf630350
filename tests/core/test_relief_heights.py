"""Heights and sizes of finished reliefs, measured from their triangles by rays and sections.

What they should be is computed here from the spec alone, with numpy and scipy; rays and
sections are trimesh's.
"""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from PIL import Image
from scipy.interpolate import RegularGridInterpolator

from medalcore.context.containment import keep_clear
from medalcore.context.element import Context, Model
from medalcore.context.ground import Ground
from medalcore.context.tolerance import TOLERANCES
from medalcore.elements.relief import build_relief
from medalcore.errors import SpecError
from medalcore.geometry.contour import circle
from medalcore.geometry.grid import height_field
from medalcore.geometry.solid import arrays_of
from medalcore.spec import Crop, Cut, Flat, Picture, Relief

LEVEL = 1.0
GROUND = Ground(level=LEVEL, radius=18.0, dish=0.0, floor=-1.0)


def made(quality="draft", models=None, **keys) -> trimesh.Trimesh:
    """Return the finished relief, z from the field."""
    built = build_relief(Relief(**keys), Context(GROUND, TOLERANCES[quality], models=models or {}))
    vertices, triangles, _, _ = arrays_of(built.parts[0].solid)
    return trimesh.Trimesh(vertices - (0, 0, LEVEL), triangles, process=False)


def heights(mesh: trimesh.Trimesh, points) -> np.ndarray:
    """Return how high the relief stands at points of the face, by rays from above."""
    points = np.atleast_2d(np.asarray(points, float))
    start = np.column_stack([points, np.full(len(points), 50.0)])
    down = np.tile([0.0, 0.0, -1.0], (len(points), 1))
    hits, ray, _ = mesh.ray.intersects_location(start, down, multiple_hits=False)
    out = np.full(len(points), np.nan)
    out[ray] = hits[:, 2]
    return out


def width_at(mesh: trimesh.Trimesh, level: float) -> np.ndarray:
    """Return how wide the relief is at a height above the field, in u and v."""
    cut = mesh.section(plane_origin=[0, 0, level], plane_normal=[0, 0, 1])
    return np.ptp(cut.vertices[:, :2], axis=0)


def picture(path, values) -> str:
    Image.fromarray(np.round(values * 65535).astype(np.uint16)).save(path)
    return str(path)


def steps(pixels: int, degrees: float = 0.0, finer: int = 1) -> np.ndarray:
    """Return a square of 0.25 with an inner one of 1 on 0, turned; `finer` smooths its edges."""
    place = (np.arange(pixels * finer) + 0.5) / (pixels * finer) * 2 - 1
    x, y = np.meshgrid(place, -place)
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    size = np.maximum(abs(x * c + y * s), abs(y * c - x * s))
    values = np.where(size < 0.3, 1.0, np.where(size < 0.6, 0.25, 0.0))
    return values.reshape(pixels, finer, pixels, finer).mean(axis=(1, 3))


def steps_as_mesh() -> Model:
    """Return the same steps, 0.5 and 2 mm deep on 16 mm, as two boxes."""
    low, high = trimesh.creation.box((16, 16, 0.5)), trimesh.creation.box((8, 8, 2.0))
    low.apply_translation((0, 0, 0.25))
    high.apply_translation((0, 0, 1.0))
    both = trimesh.util.concatenate([low, high])
    return Model(np.asarray(both.vertices), np.asarray(both.faces))


PLACES = [(0, 0), (3.5, 3.5), (-3.6, 0), (4.6, 0), (0, -7), (6.5, 6.5), (-5, 2)]
ON_TOP = np.array([1, 1, 1, 0, 0, 0, 0], dtype=bool)


@pytest.mark.parametrize(("pixels", "compression"), [(160, "gradient"), (900, "linear")])
def test_steps_of_a_picture_stand_as_those_of_a_mesh(tmp_path, pixels, compression):
    """0.5 mm is the lowest of 0.5 and 2 mm, and 2 mm the height: nothing in between, or beyond."""
    keys = {"fit": 16.0, "height": 0.8, "foot": 0.001}
    mesh = made(models={"steps": steps_as_mesh()}, source="steps", compression="linear", **keys)
    shown = made(
        source=picture(tmp_path / "steps.png", steps(pixels)),
        picture=Picture(black=0.0, white=2.0),
        compression=compression,
        **keys,
    )
    want = np.where(ON_TOP, 0.8, 0.001)
    assert heights(mesh, PLACES) == pytest.approx(want, abs=0.005)
    assert heights(shown, PLACES) == pytest.approx(heights(mesh, PLACES), abs=0.005)
    assert shown.bounds[1, 2] == pytest.approx(0.8, abs=1e-4)


@pytest.mark.parametrize("finer", [1, 4])
def test_slanting_cliffs_of_a_picture_are_straight(tmp_path, finer):
    """Of a square turned by 17 degrees the edges of the top lie on four lines; no ridge, no teeth.

    A pixel of the picture is 0.067 mm, of the relief's grid 0.043; its stairs would stand out
    by half a pixel on either side of the line.
    """
    degrees = 17.0
    shown = made(
        source=picture(tmp_path / "steps.png", steps(320, degrees, finer)),
        fit=16.0,
        height=0.8,
        foot=0.001,
        compression="linear",
        picture=Picture(black=0.0, white=2.0),
    )
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    half = 4.0 / (c + s)  # the larger square is fitted by its corners
    cut = shown.section(plane_origin=[0, 0, 0.7], plane_normal=[0, 0, 1])
    turned = cut.vertices[:, :2] @ np.array([[c, -s], [s, c]])
    along, off = np.abs(turned), np.max(np.abs(turned), axis=1)
    side = along.min(axis=1) < half - 0.3
    wall = half + 0.1 * np.tan(np.radians(10.0))  # 0.1 mm below the top, with the draft
    assert np.ptp(off[side]) < 0.025
    assert np.median(off[side]) == pytest.approx(wall, abs=0.03)
    apart = np.linspace(-0.6, 0.6, 13) * half
    for inset in (0.1, 0.3):  # just inside, and just beyond the foot of the wall
        on_top = np.column_stack([np.full(13, half - inset), apart]) @ [[c, s], [-s, c]]
        below = np.column_stack([np.full(13, half + 0.15 + inset), apart]) @ [[c, s], [-s, c]]
        assert heights(shown, on_top) == pytest.approx(0.8, abs=0.01)
        assert heights(shown, below) == pytest.approx(0.001, abs=0.01)


@pytest.mark.parametrize(("pixels", "finer"), [(1200, 1), (1200, 4), (1300, 4)])
def test_a_slanting_cliff_of_a_finer_picture_has_no_teeth(tmp_path, pixels, finer):
    """Each edge of the top lies on a straight line, fitted by numpy, to a quarter of a pixel.

    The picture has about two and a half pixels in one of the draft's grid.
    """
    degrees = 17.0
    shown = made(
        source=picture(tmp_path / "steps.png", steps(pixels, degrees, finer)),
        fit=16.0,
        height=0.8,
        foot=0.001,
        compression="linear",
        picture=Picture(black=0.0, white=2.0),
    )
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    half = 4.0 / (c + s)
    cut = shown.section(plane_origin=[0, 0, 0.72], plane_normal=[0, 0, 1])
    turned = cut.vertices[:, :2] @ np.array([[c, -s], [s, c]])
    for axis in (0, 1):
        for way in (1.0, -1.0):
            off, along = way * turned[:, axis], turned[:, 1 - axis]
            side = (off > 0.8 * half) & (np.abs(along) < 0.85 * half)
            assert np.ptp(along[side]) > 1.4 * half
            line = np.polyfit(along[side], off[side], 1)
            teeth = np.ptp(off[side] - np.polyval(line, along[side]))
            assert teeth < 0.25 * 16.0 / TOLERANCES["draft"].pixels


def test_a_bump_between_pixels_is_round_and_a_wall_beside_it_upright(tmp_path):
    """The bump against scipy's cubic spline through the same pixels; the wall's top is level."""
    place = (np.arange(60) + 0.5) / 60 * 12.0 - 6.0
    bump = 0.1 + 0.8 * np.exp(-(place[:, None] ** 2 + place[None] ** 2) / 6.0)
    shown = made(
        source=picture(tmp_path / "bump.png", np.where(place > 4.0, 0.9, bump)),
        fit=12.0,
        compression="none",
        picture=Picture(white=1.0, empty="none"),
    )
    u, v = np.meshgrid(np.linspace(-4.9, 3.4, 15), np.linspace(-4.9, 4.9, 17))
    spline = RegularGridInterpolator((place, place), bump, method="cubic")
    seen = heights(shown, np.column_stack([u.ravel(), v.ravel()]))
    want = spline(np.column_stack([-v.ravel(), u.ravel()]))
    assert np.abs(seen - want).max() < TOLERANCES["draft"].surface
    wall = heights(shown, [(4.2, v) for v in np.linspace(-5, 5, 9)] + [(5.5, 0.0)])
    assert wall == pytest.approx(0.9, abs=0.004)
    assert shown.bounds[1, 2] == pytest.approx(0.9, abs=0.002)


@pytest.mark.parametrize(("black", "white"), [(0.0, 1.0), (0.2, 0.7), (1.0, 0.0)])
def test_without_compression_grey_is_height(tmp_path, black, white):
    """One to one above the field, wherever black and white are set; the foot lifts nothing."""
    ramp = np.tile((np.arange(400) + 0.5) / 400, (80, 1))
    shown = made(
        source=picture(tmp_path / "ramp.png", ramp),
        fit=16.0,
        compression="none",
        picture=Picture(black=black, white=white, empty="none"),
    )
    share = np.array([0.05, 0.1, 0.3, 0.5, 0.7, 0.95])
    seen = heights(shown, np.column_stack([(share - 0.5) * 16.0, np.zeros(6)]))
    assert seen == pytest.approx(black + share * (white - black), abs=0.004)


def test_without_compression_a_model_keeps_its_depth():
    """Half a ball 3 mm wide is 1.5 mm high, and round."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=5.0)
    models = {"ball": Model(np.asarray(ball.vertices), np.asarray(ball.faces))}
    shown = made(models=models, source="ball", fit=3.0, compression="none", draft=5.0)
    away = np.array([0.0, 0.5, 1.0, 1.3])
    seen = heights(shown, np.column_stack([away, np.zeros(4)]))
    assert seen == pytest.approx(np.sqrt(1.5**2 - away**2), abs=0.02)


@pytest.mark.parametrize(
    ("keys", "key", "says"),
    [
        ({}, "picture.white", "what black and white stand for"),
        ({"picture": Picture(black=-1.0, white=1.0, empty="none")}, "picture.black", "below the"),
        ({"picture": Picture(white=90.0)}, "compression", "at most 50 mm"),
        ({"picture": Picture(white=40.0)}, "fit", "is no relief"),
    ],
)
def test_what_cannot_stand_without_compression_is_told(tmp_path, keys, key, says):
    ramp = np.tile((np.arange(60) + 0.5) / 60, (40, 1))
    source = picture(tmp_path / "ramp.png", ramp)
    with pytest.raises(SpecError, match=says) as caught:
        made(source=source, fit=16.0, compression="none", **keys)
    assert caught.value.key == key


def drawing(path, body: str) -> str:
    path.write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">{body}</svg>',
        encoding="utf-8",
    )
    return str(path)


DISC = '<circle cx="50" cy="50" r="45"/>'
BAR = '<rect x="5" y="32" width="90" height="36"/>'
RING = (
    '<path fill-rule="evenodd" d="M5 50a45 45 0 1 0 90 0a45 45 0 1 0 -90 0z'
    'M30 50a20 20 0 1 0 40 0a20 20 0 1 0 -40 0z"/>'
)
TWO = '<circle cx="50" cy="50" r="45" fill="#777"/><circle cx="74" cy="50" r="15"/>'


@pytest.mark.parametrize("compression", ["gradient", "linear"])
@pytest.mark.parametrize(
    ("body", "middle", "way"),
    [(DISC, (0.0, 0.0), (9.0, 0.0)), (BAR, (0.0, 0.0), (0.0, 3.6)), (RING, (6.5, 0.0), (2.5, 0.0))],
)
def test_a_swelling_form_is_highest_in_its_middle(tmp_path, body, middle, way, compression):
    """From its edge, at the asked share of the height, it rises to its middle and never falls."""
    shown = made(
        source=drawing(tmp_path / "a.svg", body),
        fit=18.0,
        height=0.6,
        flat=Flat(shoulder=2.0),
        compression=compression,
    )
    share = np.array([0.0, 0.2, 0.4, 0.6, 0.7, 0.8, 0.9, 0.98])[:, None]
    rise = heights(shown, np.array(middle) + share * np.array(way))
    assert rise[0] == pytest.approx(0.6, abs=0.005)
    assert (np.diff(rise) < 0.004).all()
    assert 0.24 < rise[-1] < 0.36


@pytest.mark.parametrize("edge", [0.2, 0.8])
def test_the_edge_of_a_swelling_form_stands_where_asked(tmp_path, edge):
    """Read on the triangles along the edge, from the highest corners of the wall."""
    shown = made(
        source=drawing(tmp_path / "a.svg", DISC),
        fit=18.0,
        height=0.6,
        flat=Flat(shoulder=2.0, edge=edge),
    )
    away = np.hypot(*shown.vertices[:, :2].T)
    z = shown.vertices[:, 2]
    rim = z[(z > 0.02) & (away > away[z > 0.02].max() - 0.01)]
    assert rim == pytest.approx(0.6 * edge, abs=0.004)


def test_levels_swell_each_from_its_own_edge(tmp_path):
    """The lower level's edge at its share of its height, though the upper stands off its middle.

    L* of #777777 is 50.03 (CIE 1976; value from memory of published tables).
    """
    shown = made(
        source=drawing(tmp_path / "a.svg", TWO), fit=18.0, height=0.6, flat=Flat(shoulder=2.0)
    )
    low = 0.6 * (1.0 - 0.5003)
    at_edge = heights(shown, [(-8.98, 0.0), (0.0, 8.98)])
    assert at_edge == pytest.approx(0.4 * low, abs=0.012)
    assert shown.bounds[1, 2] == pytest.approx(0.6, abs=1e-4)
    top = heights(shown, [(4.8, 0.0)])[0]
    assert top > 0.59
    assert heights(shown, [(-3.0, 0.0)])[0] == pytest.approx(low, abs=0.04)


@pytest.mark.parametrize(("form", "reach"), [("dome", 1.5), ("block", 0.5)])
def test_a_blended_foot_reaches_as_far_as_asked(form, reach):
    """However high the outline stands: within 5 %, where the section at the field ends."""
    ball, block = trimesh.creation.icosphere(3, 5.0), trimesh.creation.box((10, 10, 3))
    mesh = ball if form == "dome" else block
    models = {"form": Model(np.asarray(mesh.vertices), np.asarray(mesh.faces))}
    shown = made(models=models, source="form", fit=20.0, height=0.6, blend=reach)
    assert width_at(shown, 0.0) / 2 - 10.0 == pytest.approx([reach, reach], rel=0.05)


def test_a_cut_ball_is_as_high_as_its_circle_says():
    """Half a ball is as high as a circle in proportion, though its rim is upright."""
    ball = trimesh.creation.icosphere(subdivisions=5, radius=5.0)
    models = {"ball": Model(np.asarray(ball.vertices), np.asarray(ball.faces))}
    shown = made(
        "fine",
        models=models,
        source="ball",
        fit=20.0,
        height=0.6,
        foot=0.001,
        compression="linear",
        cut=Cut(back=0.5),
    )
    share = np.array([0.0, 0.2, 0.4, 0.6, 0.8, 0.9])
    rise = np.sqrt(1 - share**2)
    seen = heights(shown, np.column_stack([share * 9.4, share * 3.4]) * 10.0 / np.hypot(9.4, 3.4))
    assert seen == pytest.approx(0.001 + 0.599 * rise, abs=0.005)


def block_and_ball() -> dict[str, Model]:
    """Return a bar with upright walls that ends in the sides of a ball, 10 wide in all."""
    ball, bar = trimesh.creation.icosphere(4, 4.0), trimesh.creation.box((10, 3, 4))
    both = trimesh.util.concatenate([ball, bar])
    return {"both": Model(np.asarray(both.vertices), np.asarray(both.faces))}


@pytest.mark.parametrize("compression", ["gradient", "linear"])
def test_a_relief_is_as_wide_at_the_field_as_asked(compression):
    """With walls 0.14 mm wide on both sides, and to half a pixel of the coarse grid."""
    models = block_and_ball()
    shown = made(models=models, source="both", fit=16.0, height=0.8, compression=compression)
    assert width_at(shown, 0.0)[0] == pytest.approx(16.0, abs=0.021)
    assert (shown.bounds[0, 0] + shown.bounds[1, 0]) / 2 == pytest.approx(0.0, abs=0.01)


def test_a_fine_relief_is_as_wide_at_the_field_as_asked():
    models = block_and_ball()
    shown = made("fine", models=models, source="both", fit=16.0, height=0.8, compression="linear")
    assert width_at(shown, 0.0)[0] == pytest.approx(16.0, abs=0.01)


@pytest.mark.parametrize("shape", ["rectangle", "oval"])
def test_a_crop_is_kept_at_the_field(shape):
    """The section at the field lies on the crop's border, and the height is met within it."""
    ball = trimesh.creation.icosphere(subdivisions=5, radius=5.0)
    shown = made(
        models={"ball": Model(np.asarray(ball.vertices), np.asarray(ball.faces))},
        source="ball",
        fit=20.0,
        height=0.8,
        compression="linear",
        crop=Crop(shape=shape, width=12.0, height=8.0),
    )
    assert width_at(shown, 0.0) == pytest.approx([12.0, 8.0], abs=0.02)
    u, v = shown.section(plane_origin=[0, 0, 0], plane_normal=[0, 0, 1]).vertices[:, :2].T
    if shape == "rectangle":
        off = np.minimum(6.0 - abs(u), 4.0 - abs(v))
    else:
        off = 4.0 * (1.0 - np.hypot(u / 6.0, v / 4.0))
    assert np.abs(off).max() < 0.03
    assert shown.bounds[1, 2] == pytest.approx(0.8, abs=1e-4)


def test_a_drawing_is_cropped_at_the_field(tmp_path):
    body = drawing(tmp_path / "a.svg", TWO)
    crop = Crop(shape="rectangle", width=12.0, height=8.0)
    shown = made(source=body, fit=18.0, height=0.6, crop=crop)
    assert width_at(shown, 0.0) == pytest.approx([12.0, 8.0], abs=0.005)


def test_an_array_that_fills_its_frame_keeps_its_corners():
    """Of 60 pixels a side: what is smooth inside a picture is cut off straight at its border."""
    slab = height_field(np.ones((60, 60)), pixel=0.1)
    shown = made(models={"array:slab": slab}, source="array:slab", fit=6.0, height=0.2)
    assert width_at(shown, 0.0) == pytest.approx([6.0, 6.0], abs=0.008)
    top = 3.0 - 0.2 * np.tan(np.radians(10.0))
    assert heights(shown, [(top - 0.02, top - 0.02)])[0] == pytest.approx(0.2, abs=0.003)


EDGE = (circle(20.0, 0.002),)


@pytest.mark.parametrize("form", ["ball", "cone", "picture", "drawing"])
def test_whether_it_stays_on_the_piece_is_no_matter_of_quality(tmp_path, form):
    """Footprint and distance to keep are those of the source; to 0.01 mm, what fits is one."""
    ball, cone = trimesh.creation.icosphere(3, 5.0), trimesh.creation.cone(5, 4, sections=5)
    models = {
        name: Model(np.asarray(m.vertices), np.asarray(m.faces))
        for name, m in (("ball", ball), ("cone", cone))
    }
    source = {
        "picture": picture(tmp_path / "a.png", steps(400, 17.0)),
        "drawing": drawing(tmp_path / "a.svg", DISC),
    }.get(form, form)
    most = []
    for quality in ("draft", "fine"):
        spec = Relief(source=source, fit=30.0, height=0.4)
        context = Context(GROUND, TOLERANCES[quality], models=models)
        built = build_relief(spec, context)
        low, high = 0.5, 2.0
        for _ in range(20):
            scale = 0.5 * (low + high)
            try:
                keep_clear(EDGE, scale * built.footprint, built.keep)
                low = scale
            except SpecError:
                high = scale
        most.append(30.0 * low)
        # what keeps its distance leaves room for all of the finished relief
        points = arrays_of(built.parts[0].solid)[0]
        far = np.hypot(*built.footprint.T).max() + built.keep
        assert np.hypot(points[:, 0], points[:, 1]).max() < far
    assert most[0] == pytest.approx(most[1], abs=0.01)
