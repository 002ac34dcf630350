"""Recesses: the cutter that leaves an area sunk, its walls narrowing with depth."""

from __future__ import annotations

import math

import manifold3d as m3
import numpy as np

from ..contour import Contours, bounds, offset, subtracted
from ..loft import drafted
from ..solid import Solid, solid_from_manifold, without

_ABOVE = 0.05  # mm that the cutter reaches past the field
_MARGIN = 1.0  # mm of metal modelled round the area


def well(
    contours: Contours, mouth: float, floor: float, highest: float, draft: float, zone: str
) -> Solid:
    """Return the cutter for a recess.

    It is what the metal round it leaves: that grows downwards as any raised wall does, so
    strokes too narrow for the depth end in a groove, never in a wall that hangs over.

    Parameters
    ----------
    contours : tuple of (n, 2) float64
        The recess where it meets the field, mm.
    mouth, floor : float
        z of the field and of the floor, mm.
    highest : float
        z that the cutter has to pass, mm.
    draft : float
        Degrees from upright.
    zone : str
    """
    lean = math.radians(draft)
    top = highest + _ABOVE
    drop = top - floor
    grown = (drop + _ABOVE) * math.tan(lean)
    low, high = bounds(contours)
    out = grown + _MARGIN
    frame = np.array([
        low - out, (high[0] + out, low[1] - out), high + out, (low[0] - out, high[1] + out),
    ])  # fmt: skip
    at_top = offset(contours, (top + _ABOVE - mouth) * math.tan(lean), "mitre", least=2e-4)
    metal = drafted(subtracted((frame,), at_top, 2e-4), floor - _ABOVE, top + _ABOVE, lean, zone)
    size = high - low + 2.0 * (out - _MARGIN / 2.0)
    middle = (low + high) / 2.0
    block = m3.Manifold.cube((float(size[0]), float(size[1]), drop), True)
    placed = block.translate((float(middle[0]), float(middle[1]), floor + drop / 2.0))
    return without(solid_from_manifold(placed, zone), [metal])
