"""The same relief from twice the pixels: every length of the method is in millimetres.

The limit is the error that the fine triangulation is allowed, 5 micrometres.
"""

from __future__ import annotations

import compared_models as compared
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from medalcore.elements.relief.compression.compress import compress
from medalcore.geometry.grid import Grid, HeightField
from medalcore.spec import Relief

LIMIT = 0.005
MADE = ("pot", "chapel", "hand", "head")
TORN = "elephant-with-holes"  # hundreds of rims, before something or nothing by a pixel


def at_pixels_of(grid: Grid, field: HeightField) -> NDArray[np.float64]:
    """Read a field between its pixels, at those of another grid."""
    rows = (field.grid.top - grid.v()) / field.grid.pixel
    cols = (grid.u() - field.grid.left) / field.grid.pixel
    places = np.meshgrid(rows, cols, indexing="ij")
    read: NDArray[np.float64] = ndimage.map_coordinates(
        field.heights.astype(float), places, order=1, mode="nearest"
    )
    return read


def edges(raw: HeightField) -> NDArray[np.bool_]:
    """Tell which pixels are outside, or at a step of the depth steeper than 76 degrees."""
    out = ~raw.mask
    for axis in (0, 1):
        step = np.abs(np.diff(raw.heights, axis=axis)) > 4.0 * raw.grid.pixel
        size = step.shape[axis]
        for part in (slice(None, size), slice(1, size + 1)):
            out[(part, slice(None)) if axis == 0 else (slice(None), part)] |= step
    return out


@pytest.mark.once
@pytest.mark.parametrize("name", [*dict.fromkeys([*MADE, *(p.stem for p in compared.files())])])
def test_1024_and_2048_pixels_give_the_same_relief(name: str) -> None:
    """On every model: 5 micrometres at most 0.2 mm away from outlines and steps.

    Two pixels away from them 99 % keep to that limit, and but for 0.1 % all do (0.04 % at most
    is measured). The torn model is not held to that: 0.3 % of it do not, round its holes, and
    it just keeps to 5 micrometres from 0.2 mm on; its limits are 0.5 % and 0.3 mm.
    """
    sizes = (compared.raw_fields(pixels, [name]) for pixels in (1024, 2048))
    for (_, raw), (_, fine) in zip(*sizes, strict=True):  # a scan may be called as a made one is
        spec = Relief(source="-", height=compared.HEIGHT)
        one, two = (compress(field, spec).field for field in (raw, fine))
        off = np.abs(one.heights - at_pixels_of(raw.grid, two))
        beside = HeightField(fine.grid, edges(fine).astype(np.float32), fine.mask)
        calm = ~edges(raw) & (at_pixels_of(raw.grid, beside) == 0.0)
        away = ndimage.distance_transform_edt(calm) * raw.grid.pixel
        near = off[away > 2.0 * raw.grid.pixel]
        share = float((near > LIMIT).mean())
        far = float(off[away > (0.3 if name == TORN else 0.2)].max())
        assert far < LIMIT, f"{name}: {1000 * far:.1f} micrometres"
        assert np.percentile(near, 99) < LIMIT, name
        assert share < (0.005 if name == TORN else 0.001), f"{name}: {100 * share:.3f} %"
