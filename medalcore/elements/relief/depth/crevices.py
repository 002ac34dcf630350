"""Clefts of a model that are too narrow for a relief: bridged before it is made.

A crack between two shells, a slit between lips or toes that is narrower than the finest tool
would come out as a row of pits, as pixels happen to fall into it or not. What is left of it is
the hollow that its sides lead into.
"""

from __future__ import annotations

import numpy as np

from ....geometry.types import Float32Array, FloatArray

WIDTH = 0.09
"""mm: narrower clefts are bridged. Cutters finer than a tenth of a millimetre are rare, and
what they leave is not seen with the bare eye (common practice, no source)."""

_SHARE = 1 / 256
"""Of the map's larger side: on a very small relief narrower clefts are forms of their own."""

_DEEP = (2.0, 4.0)  # widths that a cleft is deep: less stays a fold, more is bridged altogether
_ROUND = 2.0**0.5 - 1.0  # of an octagon's reach, that of the square in it (geometry)


def close_crevices(heights: FloatArray, pixel: float) -> FloatArray:
    """Return a depth map whose narrow deep clefts are filled to the lower of their sides.

    Parameters
    ----------
    heights : (rows, cols) float64
        Depth of a model, mm; −inf where nothing is seen.
    pixel : float
        mm.

    Returns
    -------
    heights : (rows, cols) float64
        Nowhere lower: a grey closing (Serra 1982) by an octagon as wide as `WIDTH`, or as a
        share of a very small map, where it raises by more than twice that width. Gaps of the
        outline that are as narrow are closed; the same array if pixels are too large to tell.
    """
    width = min(WIDTH, _SHARE * pixel * max(heights.shape))
    reach = round(0.5 * width / pixel)
    if reach < 1:
        return heights
    inside = np.isfinite(heights)
    # float32 is exact to a nanometre over the depth of a model
    closed = -_spread(
        -_spread(np.pad(heights.astype(np.float32), 2 * reach, constant_values=-np.inf), reach),
        reach,
    )
    closed = closed[2 * reach : -2 * reach, 2 * reach : -2 * reach]
    out = heights.copy()
    deep = np.flatnonzero(inside & (closed > heights + _DEEP[0] * width))
    low, high = heights.ravel()[deep], closed.ravel()[deep].astype(np.float64)
    share = np.clip(((high - low) / width - _DEEP[0]) / (_DEEP[1] - _DEEP[0]), 0.0, 1.0)
    out.ravel()[deep] = low + share * share * (3.0 - 2.0 * share) * (high - low)
    gap = ~inside & np.isfinite(closed)
    out[gap] = closed[gap]
    return out


def _spread(heights: Float32Array, reach: int) -> Float32Array:
    """Return the largest value in an octagon round every pixel."""
    square = round(_ROUND * reach)
    out = heights
    for k in range(reach):
        wide = out.copy()
        np.maximum(wide[:, 1:], out[:, :-1], out=wide[:, 1:])
        np.maximum(wide[:, :-1], out[:, 1:], out=wide[:, :-1])
        tall = wide.copy() if k < square else wide
        source = wide if k < square else out
        np.maximum(tall[1:], source[:-1], out=tall[1:])
        np.maximum(tall[:-1], source[1:], out=tall[:-1])
        out = tall
    return out
