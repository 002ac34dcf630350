"""The exergue, and what lies along a hollow field, measured on the meshes."""

import numpy as np
import pytest
from letter_meshes import context, ink_of, mesh_of

from medalcore.context.ground import Ground
from medalcore.elements.lettering import build_exergue, build_inscription
from medalcore.errors import SpecError
from medalcore.spec import Exergue, Inscription


def test_the_exergue_fills_its_segment_without_leaving_it():
    built = build_exergue(Exergue(text="ELSPETH RAE FECIT\n2026", level=11.0), context())
    words = ink_of(built)
    assert words[:, 1].max() < -11.2
    assert np.hypot(*words.T).max() < 18.0
    assert built.facts["cap_height_mm"] < 2.0
    line = ink_of(built, 1)
    assert np.ptp(line[:, 1]) == pytest.approx(0.3, abs=1e-6)
    assert line[:, 0].max() == pytest.approx(-line[:, 0].min(), abs=1e-9)
    with pytest.raises(SpecError, match="would fit"):
        build_exergue(
            Exergue(text="ELSPETH RAE FECIT", level=12.0, cap_height=3, fit=False), context()
        )
    with pytest.raises(SpecError, match="outside the field"):
        build_exergue(Exergue(text="X", level=18.0), context())
    with pytest.raises(SpecError, match="words or a line"):
        build_exergue(Exergue(line=0.0), context())


@pytest.mark.parametrize(("half_width", "reach"), [(43.0, 28.0), (12.0, 17.0)])
def test_on_a_plaque_the_exergue_goes_from_side_to_side(half_width, reach):
    """The line ends its own width and 0.3 mm before the edge; words have the room below it."""
    corner = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * [half_width, reach]
    field = (tuple(map(tuple, corner.tolist())),)
    ground = Ground(1.0, min(half_width, reach), 0.0, -0.5, outline=field)
    level = reach - 10.0
    spec = Exergue(text="FENNICK LIGHT", level=level, cap_height=3.0, tracking=0.0)
    built = build_exergue(spec, context(ground))
    line = ink_of(built, 1)
    assert line[:, 0].max() == pytest.approx(half_width - 0.3 - 0.3, abs=0.01)
    words = ink_of(built)
    assert np.abs(words[:, 0]).max() < half_width
    assert words[:, 1].min() > -reach
    assert (built.facts["cap_height_mm"] == 3.0) == (half_width == 43.0)
    if half_width == 12.0:  # as large as the sides allow, with air of 0.35 caps at each
        cap = built.facts["cap_height_mm"]
        assert np.abs(words[:, 0]).max() == pytest.approx(12.0 - 0.35 * cap, abs=0.1)


@pytest.mark.parametrize("dish", [0.6, -0.6])
def test_the_line_of_an_exergue_lies_along_a_hollow_field(dish):
    """Between its corners too its top is as high above the field, and its foot below it."""
    ground = Ground(level=1.0, radius=18.0, dish=dish, floor=-0.5)
    (bar,) = build_exergue(Exergue(height=0.3), context(ground)).parts
    mesh = mesh_of(bar.solid)
    above = mesh.triangles_center[:, 2] - ground.height(mesh.triangles_center[:, :2])
    top = mesh.face_normals[:, 2] > 0.95
    assert mesh.area_faces[top].sum() > 24 * 0.3
    assert above[top] == pytest.approx(0.3, abs=0.004)
    assert (above[mesh.face_normals[:, 2] < -0.95] < -0.05).all()


def test_a_long_dash_standing_level_floats_nowhere():
    """In a hollow the field is lowest in the middle of the dash, where it has no corners."""
    deep = Ground(level=1.0, radius=18.0, dish=1.5, floor=-2.5)
    spec = Inscription(text="\u2014", font="serif-bold", cap_height=14.0, at=(0.0, 6.0))
    mesh = mesh_of(build_inscription(spec, context(deep)).parts[0].solid)
    low, high = mesh.bounds
    assert high[0] - low[0] > 15.0
    under = np.linspace([low[0], (low[1] + high[1]) / 2], [high[0], (low[1] + high[1]) / 2], 99)
    assert (deep.height(under) > low[2] + 0.05).all()
