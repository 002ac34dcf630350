"""How wide finished reliefs are at the field, and where they stay, by trimesh's sections."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from measured_reliefs import (
    DISC,
    GROUND,
    TWO,
    drawing_file,
    heights,
    made,
    picture_file,
    steps,
    width_at,
)

from medalcore.context.containment import keep_clear
from medalcore.context.element import Context, Model
from medalcore.context.tolerance import TOLERANCES
from medalcore.elements.relief import build_relief
from medalcore.errors import SpecError
from medalcore.geometry.contour import circle
from medalcore.geometry.grid import height_field
from medalcore.geometry.solid import arrays_of
from medalcore.spec import Crop, Relief


@pytest.mark.parametrize(("form", "reach"), [("dome", 1.5), ("block", 0.5)])
def test_a_blended_foot_reaches_as_far_as_asked(form, reach):
    """However high the outline stands: within 5 %, where the section at the field ends."""
    ball, block = trimesh.creation.icosphere(3, 5.0), trimesh.creation.box((10, 10, 3))
    mesh = ball if form == "dome" else block
    models = {"form": Model(np.asarray(mesh.vertices), np.asarray(mesh.faces))}
    shown = made(models=models, source="form", fit=20.0, height=0.6, blend=reach)
    assert width_at(shown, 0.0) / 2 - 10.0 == pytest.approx([reach, reach], rel=0.05)


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
    body = drawing_file(tmp_path / "a.svg", TWO)
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


@pytest.mark.slow
@pytest.mark.parametrize("form", ["ball", "cone", "picture", "drawing"])
def test_whether_it_stays_on_the_piece_is_no_matter_of_quality(tmp_path, form):
    """Footprint and distance to keep are those of the source; to 0.01 mm, what fits is one."""
    ball, cone = trimesh.creation.icosphere(3, 5.0), trimesh.creation.cone(5, 4, sections=5)
    models = {
        name: Model(np.asarray(m.vertices), np.asarray(m.faces))
        for name, m in (("ball", ball), ("cone", cone))
    }
    source = {
        "picture": picture_file(tmp_path / "a.png", steps(400, 17.0)),
        "drawing": drawing_file(tmp_path / "a.svg", DISC),
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
