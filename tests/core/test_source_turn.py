"""A turned model is smoothed once: what does not hang on the view is kept."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from medalcore.cache import StageCache, Stages
from medalcore.element import Model
from medalcore.ground import Ground
from medalcore.relief import place
from medalcore.relief.source import source_mesh
from medalcore.spec import Relief

GROUND = Ground(level=1.0, radius=20.0, dish=0.0, floor=-1.0)
NAME = "object:lump"


def lump() -> Model:
    """Return a coarse lump of 1280 triangles."""
    ball = trimesh.creation.icosphere(subdivisions=3)
    size = 1.0 + 0.2 * np.sin(4.0 * ball.vertices[:, 0]) + 0.1 * np.cos(5.0 * ball.vertices[:, 1])
    return Model(ball.vertices * size[:, None] * (1.0, 0.9, 0.7), np.asarray(ball.faces, np.int64))


@pytest.mark.parametrize(("pixels", "times"), [(300, 1), (700, 2)])
def test_a_kept_surface_gives_the_same_field_and_is_made_once(
    pixels: int, times: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At draft one surface serves every turn, at fine every swing about the line of sight."""
    model, made = lump(), []
    mesh = source_mesh(model.vertices, model.triangles, NAME)
    real = place.smoothed
    monkeypatch.setattr(place, "smoothed", lambda *a, **k: made.append(1) or real(*a, **k))
    stages = Stages(StageCache(), {NAME: model})
    turns = [(0.0, 0.0, 0.0), (0.0, 0.0, 2.0), (0.0, 0.0, -2.0), (2.0, 0.0, 0.0)]
    specs = [Relief(source=NAME, fit=20.0, turn=turn) for turn in turns]
    kept = [place.raw_field(mesh, spec, GROUND, pixels, stages=stages) for spec in specs]
    assert len(made) == times
    for spec, field in zip(specs, kept, strict=True):
        fresh = place.raw_field(mesh, spec, GROUND, pixels)
        assert np.array_equal(field.heights, fresh.heights)
        assert np.array_equal(field.mask, fresh.mask)
