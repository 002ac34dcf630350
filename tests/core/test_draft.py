"""The allowed slope of a wall in every unit."""

import math

import pytest

from medalcore.geometry.draft import Draft


@pytest.mark.parametrize(
    ("degrees", "tangent"),
    # tan 15° = 2 − √3, tan 30° = 1/√3, tan 45° = 1 (plane geometry)
    [(15.0, 2.0 - math.sqrt(3.0)), (30.0, 1.0 / math.sqrt(3.0)), (45.0, 1.0)],
)
def test_one_draft_in_every_unit(degrees, tangent):
    draft = Draft.of_degrees(degrees)
    assert draft.run_per_rise == pytest.approx(tangent)
    assert draft.rise_per_run == pytest.approx(1.0 / tangent)
    assert draft.drop_per_pixel(0.05) == pytest.approx(0.05 / tangent)


def test_an_upright_wall_falls_without_end():
    upright = Draft(0.0)
    assert upright.run_per_rise == 0.0
    assert upright.rise_per_run == upright.drop_per_pixel(0.05) == math.inf
