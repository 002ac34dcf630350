"""Heights of finished reliefs, measured from their triangles by rays and sections.

What they should be is computed here from the spec alone, with numpy and scipy; rays and
sections are trimesh's.
"""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from lightness import lightness
from measured_reliefs import DISC, TWO, drawing_file, heights, made, picture_file, steps
from scipy.interpolate import RegularGridInterpolator

from medalcore.context.element import Model
from medalcore.context.tolerance import TOLERANCES
from medalcore.errors import SpecError
from medalcore.spec import Cut, Flat, Picture


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
        source=picture_file(tmp_path / "steps.png", steps(pixels)),
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
        source=picture_file(tmp_path / "steps.png", steps(320, degrees, finer)),
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


@pytest.mark.slow
@pytest.mark.parametrize(("pixels", "finer"), [(1200, 1), (1200, 4), (1300, 4)])
def test_a_slanting_cliff_of_a_finer_picture_has_no_teeth(tmp_path, pixels, finer):
    """Each edge of the top lies on a straight line, fitted by numpy, to a quarter of a pixel.

    The picture has about two and a half pixels in one of the draft's grid.
    """
    degrees = 17.0
    shown = made(
        source=picture_file(tmp_path / "steps.png", steps(pixels, degrees, finer)),
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
        source=picture_file(tmp_path / "bump.png", np.where(place > 4.0, 0.9, bump)),
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
        source=picture_file(tmp_path / "ramp.png", ramp),
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
    source = picture_file(tmp_path / "ramp.png", ramp)
    with pytest.raises(SpecError, match=says) as caught:
        made(source=source, fit=16.0, compression="none", **keys)
    assert caught.value.key == key


BAR = '<rect x="5" y="32" width="90" height="36"/>'
RING = (
    '<path fill-rule="evenodd" d="M5 50a45 45 0 1 0 90 0a45 45 0 1 0 -90 0z'
    'M30 50a20 20 0 1 0 40 0a20 20 0 1 0 -40 0z"/>'
)


@pytest.mark.parametrize("compression", ["gradient", "linear"])
@pytest.mark.parametrize(
    ("body", "middle", "way"),
    [(DISC, (0.0, 0.0), (9.0, 0.0)), (BAR, (0.0, 0.0), (0.0, 3.6)), (RING, (6.5, 0.0), (2.5, 0.0))],
)
def test_a_swelling_form_is_highest_in_its_middle(tmp_path, body, middle, way, compression):
    """From its edge, at the asked share of the height, it rises to its middle and never falls."""
    shown = made(
        source=drawing_file(tmp_path / "a.svg", body),
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
        source=drawing_file(tmp_path / "a.svg", DISC),
        fit=18.0,
        height=0.6,
        flat=Flat(shoulder=2.0, edge=edge),
    )
    away = np.hypot(*shown.vertices[:, :2].T)
    z = shown.vertices[:, 2]
    rim = z[(z > 0.02) & (away > away[z > 0.02].max() - 0.01)]
    assert rim == pytest.approx(0.6 * edge, abs=0.004)


def test_levels_swell_each_from_its_own_edge(tmp_path):
    """The lower level's edge at its share of its height, though the upper stands off its middle."""
    shown = made(
        source=drawing_file(tmp_path / "a.svg", TWO), fit=18.0, height=0.6, flat=Flat(shoulder=2.0)
    )
    low = 0.6 * (1.0 - lightness("#777777") / 100.0)
    at_edge = heights(shown, [(-8.98, 0.0), (0.0, 8.98)])
    assert at_edge == pytest.approx(0.4 * low, abs=0.012)
    assert shown.bounds[1, 2] == pytest.approx(0.6, abs=1e-4)
    top = heights(shown, [(4.8, 0.0)])[0]
    assert top > 0.59
    assert heights(shown, [(-3.0, 0.0)])[0] == pytest.approx(low, abs=0.04)


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
