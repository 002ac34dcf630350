"""What the steps of draft give each by itself, measured on what comes out of them."""

import math

import numpy as np
import pytest
from embree import top_seen
from relief_fields import GROUNDS, comb, grid, over, plate

from medalcore.context.tolerance import tolerance_for
from medalcore.elements.relief.draft.curvature_flow import smooth_level_lines
from medalcore.elements.relief.draft.draft import enforce_draft
from medalcore.elements.relief.surface.relief_solid import relief_shape

FINE = tolerance_for("fine")


@pytest.mark.parametrize("field", [plate(300, 0.3), comb(400)], ids=["plate", "comb"])
def test_walls_round_corners_take_nothing_from_the_form(field) -> None:
    """The face of a plate with corners is level to its very outline, seen by Embree.

    Where the foot of a wall cut across a corner, the wall would be too steep there, and the
    corners of the face would be lowered by up to 0.05 mm to mend that.
    """
    shape = relief_shape(field, GROUNDS["flat"], draft=math.radians(5.0), tolerance=FINE)
    row, col = np.nonzero(field.mask)
    points = np.column_stack([field.grid.u()[col], field.grid.v()[row]])
    z = top_seen(shape.vertices, shape.triangles, points) - GROUNDS["flat"].level
    assert np.abs(z - field.heights[field.mask]).max() < FINE.surface


@pytest.mark.parametrize("degrees", [20.0, 45.0])
def test_no_hollow_between_three_pixels_is_steeper_than_the_draft(degrees: float) -> None:
    """Noise after draft: the planes through a pixel and two higher ones beside it, square on.

    Pixels on cones alone keep the slope along the grid, and are up to √2 too steep across it:
    of these planes one in three.
    """
    noise = np.random.default_rng(1).random((150, 150))
    field = over(
        grid(150, size=10.0), lambda u, v: 0.1 + 0.3 * noise, lambda u, v: np.hypot(u, v) < 4.5
    )
    angle = math.radians(degrees)
    h = np.where(field.mask, enforce_draft(field, angle).heights, np.nan).astype(float)
    for down, right in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
        turned = h[::down, ::right]
        here, beside, below = turned[:-1, :-1], turned[:-1, 1:], turned[1:, :-1]
        slope = np.hypot(beside - here, below - here) / field.grid.pixel
        hollow = (here < beside) & (here < below) & np.isfinite(slope)
        assert hollow.sum() > 1000
        assert slope[hollow].max() < 1.001 / math.tan(angle)


@pytest.mark.parametrize("steep", [1.5, 3.0])
def test_a_pointed_summit_keeps_its_height(steep: float) -> None:
    """Level lines round a cone's tip would shrink to nothing, and 0.04 to 0.07 mm with them."""
    field = over(
        grid(300, size=10.0),
        lambda u, v: np.maximum(1.0 - steep * np.hypot(u, v - 0.03), 0.05),
        lambda u, v: np.hypot(u, v) < 4.0,
    )
    even = smooth_level_lines(field, 0.0025)
    assert even is not field
    assert even.heights.max() == field.heights.max()
