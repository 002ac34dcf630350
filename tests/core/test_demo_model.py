"""The demo's models and spec: closed, sized as the spec says, the same on every run."""

from pathlib import Path

import numpy as np
import pytest
from script import SCRIPTS, script

from medalcore.geometry.closure import closure
from medalcore.spec import read_spec

FENNICK = SCRIPTS / "fennick"
fennick, scene = script("fennick.models"), script("fennick.scene")


@pytest.fixture(scope="module")
def models():
    """Return every model of the demo by file name."""
    return {name: make() for name, make in fennick.MODELS.items()}


def arrays(model):
    mesh = model.to_mesh64()
    return np.array(mesh.vert_properties)[:, :3], np.array(mesh.tri_verts).astype(np.int64)


def test_spec_draws_on_every_model_and_on_nothing_else(models):
    """A fresh clone has everything the spec asks for."""
    spec = read_spec(FENNICK / "fennick-light.toml")
    faces = (spec.obverse, spec.reverse)
    named = {Path(r.source).name for f in faces for r in f.relief}
    assert named == {*models, "beams.svg"}
    assert not any(f.emblem for f in faces)


def test_models_are_closed_and_of_a_sensible_size(models):
    """Every model is a solid; the scene is a real one of more than 100 000 triangles."""
    for model in models.values():
        vertices, triangles = arrays(model)
        assert closure(vertices, triangles).is_closed
    assert 100_000 < models["lighthouse.stl"].num_tri() < 600_000


def test_the_lighthouse_has_true_overhangs(models):
    """A look through the scene from the front often crosses more than one layer of it."""
    import trimesh

    relief = read_spec(FENNICK / "fennick-light.toml").obverse.relief[0]
    vertices, triangles = arrays(models["lighthouse.stl"].rotate(relief.turn))
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    grid = [np.linspace(low[k], high[k], 62)[1:-1] for k in (0, 1)]
    start = np.stack([*np.meshgrid(*grid), np.full((60, 60), high[2] + 1.0)], -1).reshape(-1, 3)
    mesh = trimesh.Trimesh(vertices, triangles, process=False)
    hits = mesh.ray.intersects_id(start, np.tile([0.0, 0.0, -1.0], (3600, 1)), multiple_hits=True)
    crossed = np.bincount(hits[1], minlength=3600)
    seen = crossed > 0
    assert np.count_nonzero(crossed[seen] >= 4) > 0.1 * np.count_nonzero(seen)


def test_scene_lies_where_it_was_composed(models):
    """Size and place in the spec put the sea's circle concentric with the piece."""
    relief = read_spec(FENNICK / "fennick-light.toml").obverse.relief[0]
    low_x, low_y, _, high_x, high_y, _ = models["lighthouse.stl"].rotate(relief.turn).bounding_box()
    assert relief.fit == pytest.approx(max(high_x - low_x, high_y - low_y), abs=0.02)
    assert relief.at[0] == pytest.approx((low_x + high_x) / 2.0, abs=0.02)
    assert relief.at[1] == pytest.approx((low_y + high_y) / 2.0 - scene.CENTRE, abs=0.02)


def test_beams_come_from_the_lamp(models, tmp_path):
    """The drawing, placed as the spec says, has its beams where they were composed."""
    from medalcore.geometry.contour import bounds
    from medalcore.svg.drawing import read_drawing

    fennick.write_drawings(tmp_path)
    relief = read_spec(FENNICK / "fennick-light.toml").obverse.relief[1]
    drawing = read_drawing(str(tmp_path / "beams.svg"), relief.fit, 0.001, frozenset())
    drawn = bounds(drawing.contours) + np.array(relief.at)
    composed = np.vstack(scene.beams())
    assert len(drawing.contours) == len(scene.beams()) == 6
    assert drawn == pytest.approx(np.array([composed.min(axis=0), composed.max(axis=0)]), abs=0.02)


@pytest.mark.slow
def test_modelling_twice_gives_the_same_bytes(models):
    """No clock, no machine and no chance in the models."""
    again = fennick.MODELS["lighthouse.stl"]()
    for left, right in zip(arrays(models["lighthouse.stl"]), arrays(again), strict=True):
        assert np.array_equal(left, right)
