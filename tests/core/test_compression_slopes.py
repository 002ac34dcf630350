"""Slopes brought to a low relief: by the law that is stated, and wherever pixels lie."""

import math

import numpy as np
import pytest

from medalcore.elements.relief.compression.compress import compress
from medalcore.elements.relief.compression.slopes import attenuate
from medalcore.geometry.grid import Grid, HeightField
from medalcore.spec import Relief


def shown(slope: float) -> float:
    """Return the relief's slope: small ones by 0.61 of tan 25° / tan 45°, an upright wall 0.48.

    sin b = k sin a is tan b = k tan a / sqrt(1 + (1 - k^2) tan^2 a) (trigonometry); gentle slopes
    are 1.3 times as strong, steep ones saturate as if tan^2 were doubled.
    """
    k = math.tan(math.radians(25.0)) / math.tan(math.radians(45.0))
    return 1.3 * k * slope / math.sqrt(1.0 + 2.0 * (1.0 - k * k) * slope * slope)


@pytest.mark.parametrize(("left", "right"), [(1.5, -1.5), (2.0, 0.0), (0.0, 1.0)])
@pytest.mark.parametrize("share", [0.25, 0.5, 0.8])
@pytest.mark.parametrize("axis", [1, 0])
def test_an_edge_between_two_slopes_costs_no_height_wherever_it_lies(
    left: float, right: float, share: float, axis: int
) -> None:
    """A roof's edge falls between two pixels: its sides are shown as if it fell on one.

    The mean of both slopes, shown as one, would be up to 0.15 of a pixel too high or too low.
    """
    row = [left] * 6 + [share * left + (1.0 - share) * right] + [right] * 6
    along = np.tile(np.array(row, np.float32), (9, 1))
    across = np.zeros((8, 14), np.float32)
    if axis == 1:
        attenuate(along, across)
    else:
        along, across = along.T.copy(), across.T.copy()
        attenuate(across, along)
        along = along.T
    rise = 6.0 * (shown(left) + shown(right)) + share * shown(left) + (1.0 - share) * shown(right)
    assert along[4].sum() == pytest.approx(rise, abs=1e-4)


def test_what_goes_beyond_the_ends_is_eased_not_cut_off_flat() -> None:
    """Of a ball with a ring of lower ground hardly any pixel stands at the foot exactly.

    A hundredth of the pixels may lie beyond the lower end; cut off there they would be a plate
    of that size, with an edge round it that shows.
    """
    pixel = 0.1
    v, u = np.mgrid[:220, :220] * pixel - 11.0
    r = np.hypot(u, v)
    mask = r < 10.0
    z = np.sqrt(np.maximum(64.0 - r**2, 0.0)) + 0.3 * np.sin(1.7 * u) * np.sin(1.3 * v) + 0.2 * u
    depth = np.where(mask, z - z[mask].min(), 0.0).astype(np.float32)
    raw = HeightField(Grid(0.0, 0.0, pixel, 220, 220), depth, mask)
    made = compress(raw, Relief(source="-", height=0.6)).field.heights[mask]
    lowest, highest = made.min(), made.max()
    assert highest == pytest.approx(0.6, abs=1e-6)
    assert (made < lowest + 1e-6).mean() < 0.001
    assert (made > highest - 1e-6).mean() < 0.001
