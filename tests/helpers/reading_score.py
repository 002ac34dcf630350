"""How well a low relief shows what the full model shows, as one number.

The full model is lit from 45 degrees, the relief from 25, from four sides (Lambert's law, no
ambient light); the two pictures are compared by structural similarity (Z. Wang, A. C. Bovik,
H. R. Sheikh, E. P. Simoncelli, "Image quality assessment: from error visibility to structural
similarity", IEEE Trans. Image Process. 13(4), 2004) inside the silhouette. 1 would be the
model itself. *Coverage* goes with it: the share of the silhouette that stands above the field.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

Array = NDArray[np.float64]

MODEL_LIGHT, RELIEF_LIGHT = 45.0, 25.0  # degrees above the field
SIDES = (45.0, 135.0, 225.0, 315.0)  # degrees, where the light comes from
STANDS = 0.03  # mm above the field that count as seen
WINDOW = 6.0 / 360.0  # standard deviation of the window, as a share of the picture
_C1, _C2 = 0.01**2, 0.03**2


def shaded(heights: Array, pixel: float, elevation: float, azimuth: float) -> Array:
    """Return the brightness of a height field, 1 where it faces the light."""
    down, right = np.gradient(np.asarray(heights, dtype=np.float64), pixel)
    e, a = np.radians(elevation), np.radians(azimuth)
    facing = -np.cos(e) * (right * np.cos(a) - down * np.sin(a)) + np.sin(e)
    light: Array = np.maximum(facing / np.sqrt(1.0 + right**2 + down**2), 0.0)
    return light


def reading_score(model: Array, relief: Array, mask: NDArray[np.bool_], pixel: float) -> float:
    """Return the mean similarity inside the mask.

    Parameters
    ----------
    model, relief : (rows, cols) arrays
        Depth of the model and heights of the relief, mm; 0 outside the mask.
    mask : (rows, cols) bool
    pixel : float
        mm.
    """
    sigma = WINDOW * max(mask.shape)
    grey = np.sin(np.radians(MODEL_LIGHT)) / np.sin(np.radians(RELIEF_LIGHT))
    total = np.zeros(mask.shape)
    for side in SIDES:
        total += similarity(
            shaded(model, pixel, MODEL_LIGHT, side),
            grey * shaded(relief, pixel, RELIEF_LIGHT, side),
            sigma,
        )
    return float(total[mask].mean()) / len(SIDES)


def coverage(relief: Array, mask: NDArray[np.bool_]) -> float:
    """Return the share of the silhouette that stands at least 0.03 mm above the field."""
    return float((np.asarray(relief)[mask] >= STANDS).mean())


def similarity(a: Array, b: Array, sigma: float) -> Array:
    """Return the structural similarity of two pictures at every pixel."""

    def mean(x: Array) -> Array:
        blurred: Array = gaussian_filter(x, sigma)
        return blurred

    ma, mb = mean(a), mean(b)
    va, vb, both = mean(a * a) - ma * ma, mean(b * b) - mb * mb, mean(a * b) - ma * mb
    return ((2.0 * ma * mb + _C1) * (2.0 * both + _C2)) / (
        (ma * ma + mb * mb + _C1) * (va + vb + _C2)
    )
