"""A relief from its table: facts that are measured, findings that say what was done."""

import numpy as np
import pytest
import trimesh
from relief_fields import GROUNDS

from medalcore.context.element import Cancelled, Context, Model
from medalcore.context.tolerance import tolerance_for
from medalcore.elements.relief import build_relief
from medalcore.geometry.closure import closure
from medalcore.geometry.solid import arrays_of
from medalcore.spec import Relief


def model(*parts):
    joined = trimesh.util.concatenate(parts)
    return Model(np.asarray(joined.vertices, float), np.asarray(joined.faces, np.int64))


def context(made, quality="draft", progress=None):
    extra = {} if progress is None else {"progress": progress}
    return Context(GROUNDS["dished"], tolerance_for(quality), models={"made": made}, **extra)


def block(width, depth, height, at=(0.0, 0.0)):
    box = trimesh.creation.box((width, depth, height))
    box.apply_translation((*at, height / 2))
    return box


@pytest.mark.parametrize("compression", ["gradient", "linear"])
def test_facts_are_measured_on_the_solid(compression):
    ball = trimesh.creation.icosphere(subdivisions=4, radius=5.0)
    spec = Relief(source="made", fit=20.0, height=0.7, compression=compression, at=(1.0, -2.0))
    built = build_relief(spec, context(model(ball), "fine"))
    vertices, triangles, _, labels = arrays_of(built.parts[0].solid)
    assert [label.zone for label in labels] == ["relief"]
    assert closure(vertices, triangles).is_closed
    rise = vertices[:, 2] - GROUNDS["dished"].height(vertices[:, :2])
    assert rise.max() == pytest.approx(0.7, abs=0.002)
    assert built.facts["height_mm"] == pytest.approx(0.7, abs=0.002)
    assert built.facts["size_mm"] == pytest.approx([20.0, 20.0], abs=built.facts["pixel_mm"])
    assert built.facts["triangles"] == len(triangles)
    assert (built.facts["pieces"], built.facts["holes"]) == (1, 0)
    middle = 0.5 * (vertices[:, :2].max(axis=0) + vertices[:, :2].min(axis=0))
    assert middle == pytest.approx([1.0, -2.0], abs=built.facts["pixel_mm"])


def test_a_slot_too_narrow_for_its_draft_is_filled_and_told():
    """Two blocks 0.15 mm apart, 1 mm high, draft 20 degrees: walls meet 0.2 mm down."""
    two = model(block(9.9, 10, 5, (-5.025, 0)), block(9.9, 10, 5, (5.025, 0)))
    spec = Relief(source="made", fit=20.0, height=1.0, compression="linear", draft=20.0)
    built = build_relief(spec, context(two, "fine"))
    assert built.facts["gaps_filled_mm2"] == pytest.approx(0.15 * 10, rel=0.25)
    assert any("got a floor" in f.message for f in built.findings)
    upright = Relief(source="made", fit=20.0, height=1.0, compression="linear", draft=0.0)
    open_slot = build_relief(upright, context(two, "fine"))
    assert open_slot.facts["gaps_filled_mm2"] == 0.0
    assert open_slot.facts["pieces"] == 2


def test_progress_runs_forward_and_may_stop_the_build():
    ball = model(trimesh.creation.icosphere(subdivisions=2))
    heard = []
    spec = Relief(source="made", fit=10.0)
    build_relief(spec, context(ball, progress=lambda fraction, label: heard.append(fraction)))
    assert heard == sorted(heard)
    assert heard[-1] == 1.0

    def stop(fraction, label):
        if fraction > 0.5:
            raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        build_relief(spec, context(ball, progress=stop))
