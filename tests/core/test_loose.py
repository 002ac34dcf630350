"""Bodies that nothing joins to the blank are named, and holes go through whatever stands there."""

import numpy as np
import pytest
import trimesh

from medalcore import build, height_field, parse_spec
from medalcore.context.element import Unit
from medalcore.errors import SpecError
from medalcore.geometry.closure import closure
from medalcore.geometry.solid import Label
from medalcore.piece.assemble import Assembled
from medalcore.piece.loose import loose_bodies


def assembled(*boxes):
    """Return boxes of (side, middle, label) as one assembled piece of one body."""
    meshes = [trimesh.creation.box((s, s, s)) for s, _, _ in boxes]
    for mesh, (_, middle, _) in zip(meshes, boxes, strict=True):
        mesh.apply_translation(middle)
    both = trimesh.util.concatenate(meshes)
    code = np.repeat(np.arange(len(boxes)), 12)
    units = (("obverse.legend[0]", Unit("'F'")), ("obverse.border[1]", Unit()))
    vertices, triangles = np.array(both.vertices), np.array(both.faces)
    labels = tuple(label for *_, label in boxes)
    proof = closure(vertices, triangles)
    return Assembled(vertices, triangles, code, labels, proof, {}, (), {}, 1, units)


def test_loose_bodies_are_named_with_their_place():
    told = loose_bodies(
        assembled(
            (10.0, (0.0, 0.0, 0.0), Label("field", 1)),
            (1.0, (3.0, -2.5, 8.0), Label("legend", 1, 0)),
            (0.5, (-1.0, 0.0, 9.0), Label("border", 1, 1)),
            (0.2, (2.0, 0.0, 9.0), Label("loop")),
        )
    )
    assert told == (
        "obverse.legend[0] 'F' near 3.0, -2.5 mm (1 mm3), obverse.border[1] near -1.0, 0.0 mm "
        "(0.12 mm3), a part of the blank (loop) near 2.0, 0.0 mm (0.008 mm3) stand off the blank"
    )


@pytest.mark.parametrize(("fillet", "most"), [(0.0, 0.96), (0.4, 1.0)])
def test_a_lug_meets_the_piece_or_says_what_gap_does(fillet, most):
    """Without its fillet a lug reaches no deeper into the piece than with it."""
    text = (
        f"[blank]\ndiameter = 20.0\n[blank.loop]\nkind = 'lug'\nwidth = 1.0\nfillet = {fillet}\n"
        "gap = {}\n[blank.rim]\nheight = 0.5\n[obverse.field]\ndish = 0.95\n"
    )
    with pytest.raises(SpecError, match=f"a gap below {most:g} mm meets it"):
        build(parse_spec(text.format(most + 0.005)), "draft")
    medal = build(parse_spec(text.format(most - 0.005)), "draft")
    loop = medal.points(medal.zone == medal.zone_names.index("loop"))
    assert medal.report["bodies"] == 1
    assert np.hypot(loop[:, 0], loop[:, 1]).min() > 8.0


@pytest.mark.parametrize(
    "cut",
    [
        "drill]\ndiameter = 2.0\ninset = 5.0",
        "core]\ndiameter = 10.0",
        "hole]\nshape = 'round'\nsize = 5.0",
    ],
)
def test_holes_and_joints_go_through_the_highest_relief(cut):
    """A slab 12 mm high over all of the field."""
    block = height_field(np.ones((40, 40)), pixel=0.1)
    text = (
        f"[blank]\ndiameter = 20.0\n[blank.{cut}\n[[obverse.relief]]\nsource = 'array:block'\n"
        "fit = 12.0\nheight = 12.0\ndraft = 5.0\n"
    )
    medal = build(parse_spec(text), "draft", models={"array:block": block})
    mesh = trimesh.Trimesh(medal.vertices, medal.triangles, process=False)
    assert medal.report["bodies"] == 1 + ("core" in cut)
    if "core" in cut:
        return
    at = [0.0, 5.0, -30.0] if "drill" in cut else [0.01, 0.02, -30.0]
    assert not mesh.ray.intersects_any([at], [[0.0, 0.0, 1.0]])[0]
