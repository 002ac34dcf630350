"""What the report says of a relief's overhangs, against what is measured on its mesh."""

import numpy as np
import pytest
import trimesh

from medalcore import Model, build
from medalcore.spec import spec_from_dict


def _piece(model: trimesh.Trimesh, **relief):
    table = {"source": "object:made", "fit": 20.0, "height": 0.6, "draft": 0.0, **relief}
    models = {"object:made": Model(np.asarray(model.vertices), np.asarray(model.faces))}
    spec = spec_from_dict({"blank": {"diameter": 40}, "obverse": {"relief": [table]}})
    made = build(spec, "draft", models=models)
    facts = made.report["elements"]["obverse.relief[0]"]
    return made, facts, [f for f in made.report["remarks"] if f["rule"] == "relief-overhang"]


def _bracket() -> trimesh.Trimesh:
    """Return a dome of radius 1 with a bar on top that sticks out 1 beyond it, 0.9 up."""
    dome = trimesh.creation.icosphere(5)
    bar = trimesh.creation.box((2.0, 0.6, 0.2)).apply_translation((1.0, 0.0, 0.9))
    return trimesh.util.concatenate([dome, bar])


def test_what_was_closed_is_told_and_true():
    """The overhang is the bar's top, at 20/3 mm a unit; its end stands as the facts say."""
    made, facts, told = _piece(_bracket())
    # half a pixel inside its rim, the dome stands 0.09 high already: there is the lowest seen
    assert 0.88 * 20.0 / 3.0 < facts["overhang_on_model_mm"] < 20.0 / 3.0
    assert len(told) == 1
    assert told[0]["severity"] == "remark"
    assert "\n" not in told[0]["message"]
    assert told[0]["measured"] == facts["overhang_closed_mm"] > 0.1
    assert f"{facts['overhang_closed_mm']:.2f} mm" in told[0]["message"]
    assert 0.1 < facts["overhang_closed_share"] < 0.7
    # measured back: the end of the bar on the finished piece
    zone = made.zone == made.zone_names.index("relief")
    points = made.vertices[np.unique(made.triangles[zone])]
    field = made.vertices[np.unique(made.triangles[made.zone == made.zone_names.index("field")])]
    level = np.median(field[field[:, 2] > 0][:, 2])
    end = points[points[:, 0] > points[:, 0].max() - 0.02]
    stands = end[:, 2].max() - level
    scaled = facts["overhang_scaled_mm"]
    assert scaled - facts["overhang_closed_mm"] - 0.05 < stands < facts["outline_highest_mm"] + 0.03


def test_what_lies_on_the_field_is_not_told():
    """Half a ball meets the field all round: nothing hangs, and the report keeps silent."""
    ball = trimesh.creation.icosphere(5)
    _, facts, told = _piece(ball.slice_plane((0, 0, 0), (0, 0, 1)))
    assert facts["overhang_closed_share"] < 0.01 or facts["overhang_closed_mm"] < 0.02
    assert told == []


def test_plain_scaling_closes_nothing():
    _, facts, told = _piece(_bracket(), compression="linear")
    assert facts["overhang_closed_mm"] == 0.0
    assert facts["outline_highest_mm"] == pytest.approx(facts["overhang_scaled_mm"], abs=1e-4)
    assert told == []
