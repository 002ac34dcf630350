"""Clefts too narrow for a relief are bridged; all else stays as it is seen."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from medalcore.elements.relief.depth.crevices import WIDTH, close_crevices

PIXEL = 0.02
SIZE = 1000


def plate(height=5.0):
    """Return a map of a level plate with nothing round it, and its columns in mm."""
    heights = np.full((SIZE, SIZE), -np.inf)
    heights[100:-100, 100:-100] = height
    return heights, (np.arange(SIZE) - SIZE / 2 + 0.5) * PIXEL


@pytest.mark.slow
@pytest.mark.parametrize("pixel", [0.02, 0.03])
def test_it_is_a_grey_closing_where_clefts_are_deep(pixel):
    """Against scipy's closing by the same octagon, on clefts in all directions."""
    random = np.random.default_rng(3)
    heights = np.full((900, 900), 4.0)
    for _ in range(12):
        one, two = random.integers(40, 860, (2, 2))
        for share in np.linspace(0.0, 1.0, 2000):
            r, c = np.rint(one + share * (two - one)).astype(int)
            heights[r : r + 1 + int(0.03 / pixel), c : c + 2] = 1.0
    reach = round(0.5 * WIDTH / pixel)
    tool = np.ones((1, 1), bool)
    cross = ndimage.generate_binary_structure(2, 1)
    for k in range(reach):
        square = k < round((2**0.5 - 1) * reach)
        tool = ndimage.binary_dilation(np.pad(tool, 1), np.ones((3, 3)) if square else cross)
    want = ndimage.grey_closing(heights, footprint=tool)[20:-20, 20:-20]
    got = close_crevices(heights, pixel)
    assert (got >= heights).all()
    assert got[20:-20, 20:-20] == pytest.approx(want, abs=1e-6)
    assert (want > heights[20:-20, 20:-20]).sum() > 1000


@pytest.mark.parametrize(("wide", "left"), [(0.04, False), (0.08, False), (0.16, True)])
def test_a_slit_stays_if_a_tool_gets_in(wide, left):
    heights, across = plate()
    slit = np.abs(across) < 0.5 * wide
    heights[200:800, slit] = 2.0
    got = close_crevices(heights, PIXEL)[300:700, slit]
    assert got == pytest.approx(np.full(got.shape, 2.0 if left else 5.0), abs=1e-6)


def test_folds_stay():
    """A fold whose sides lean at 45 degrees is no deeper than it is wide."""
    heights, across = plate()
    heights[100:-100, 100:-100] = 3.0 + np.minimum(np.abs(across), 1.0)[100:-100]
    assert np.array_equal(close_crevices(heights, PIXEL), heights)


def test_narrow_gaps_of_the_outline_are_closed_and_nothing_is_added_to_the_box():
    heights, across = plate()
    heights[:500, np.abs(across) < 0.03] = -np.inf
    heights[:500, np.abs(across - 4.0) < 0.2] = -np.inf
    got = close_crevices(heights, PIXEL)
    assert np.ptp(got[110:500, np.abs(across) < 0.03]) < 1e-6
    assert got[300, SIZE // 2] == pytest.approx(5.0, abs=1e-6)
    assert np.isinf(got[110:490, np.abs(across - 4.0) < 0.15]).all()
    assert np.isinf(got[:100]).all()
    assert np.isinf(got[:, :100]).all()


def test_tiny_and_coarse_maps_are_left_their_forms():
    """The width shrinks with the piece, so no length of it becomes thousands of pixels."""
    heights, _ = plate()
    heights[100:-100, 490:510] = 1.0
    assert np.array_equal(close_crevices(heights, 1e-5), heights)
    assert close_crevices(heights, 0.2) is heights
