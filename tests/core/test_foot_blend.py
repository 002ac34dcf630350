"""Where the skirt of a blended relief ends, and what finding that costs."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from medalcore.elements.relief.compression import foot_blend as apron
from medalcore.geometry import slope_envelope as flanks
from medalcore.geometry.grid import Grid, HeightField

SIZE = 240


def block(mask: np.ndarray) -> HeightField:
    grid = Grid(0.0, 0.0, 0.1, *mask.shape)
    return HeightField(grid, np.where(mask, 0.5, 0.0).astype(np.float32), mask)


def letter() -> np.ndarray:
    """Return a form with corners, a narrow slot and a hole."""
    mask = np.zeros((SIZE, SIZE), dtype=bool)
    mask[30:210, 40:90] = mask[150:210, 40:200] = mask[30:60, 40:200] = True
    mask[95:140, 100:180] = True
    mask[110:125, 120:160] = False
    return mask


@pytest.mark.parametrize("reach", [4.0, 12.0, 31.5])
def test_a_skirt_covers_what_is_within_its_reach(reach):
    """Against SciPy's exact distance transform, to the pixel that an outline lies inside."""
    mask = letter()
    shown = apron.blend_foot(block(mask), reach * 0.1)
    grow = (shown.mask.shape[0] - SIZE) // 2
    away = ndimage.distance_transform_edt(~np.pad(mask, grow))
    assert np.all(shown.mask[away <= reach])
    assert not np.any(shown.mask[away > reach + 1.0])


def test_finding_a_short_skirt_costs_little_on_a_wide_grid(monkeypatch):
    """Pixels are looked at by their neighbours, a score of times each, and only within reach."""
    looked = []
    value = flanks._Sources.value

    def counted(self, owner, q, drop):
        looked.append(len(q))
        return value(self, owner, q, drop)

    monkeypatch.setattr(flanks._Sources, "value", counted)
    mask = letter()
    shown = apron.blend_foot(block(mask), 0.8)
    skirt = np.count_nonzero(shown.mask) - np.count_nonzero(mask)
    assert sum(looked) < 60 * skirt
