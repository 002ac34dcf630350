"""Recesses: the cutter that leaves an area sunk, its walls narrowing with depth."""

from __future__ import annotations

import math

import numpy as np

from ...errors import SolidError
from ...geometry.bodies import cuboid, extruded
from ...geometry.contour import Contours, bounds, offset, subtracted
from ...geometry.draft import Draft
from ...geometry.loft import drafted
from ...geometry.solid import Solid, solid_from_manifold, without
from ...geometry.swept_profile import profiled

_ABOVE = 0.05  # mm that the walls go on leaning past the field
_CLEAR = 20.0  # mm that a cutter goes on upright, through any relief that stands there
_MARGIN = 1.0  # mm of metal modelled round the area


def well(
    contours: Contours, mouth: float, floor: float, highest: float, draft: float, zone: str
) -> Solid:
    """Return the cutter for a recess.

    Strokes too narrow for the depth end in a groove, never in a wall that hangs over.

    Parameters
    ----------
    contours : tuple of (n, 2) float64
        The recess where it meets the field, mm.
    mouth, floor : float
        z of the field and of the floor, mm.
    highest : float
        z of the highest field under the area, mm.
    draft : float
        Degrees from upright.
    zone : str
    """
    lean = Draft.of_degrees(draft).run_per_rise
    depth, rest = mouth - floor, highest - mouth + _ABOVE
    try:
        return profiled(
            contours,
            mouth,
            zone,
            up=((rest * lean, rest), (0.0, _CLEAR)),
            down=((-depth * lean, depth),),
        )
    except SolidError:  # an outline too intricate to follow
        return _around(contours, mouth, floor, mouth + rest + _CLEAR, rest, draft, zone)


def _around(
    contours: Contours,
    mouth: float,
    floor: float,
    top: float,
    rest: float,
    draft: float,
    zone: str,
) -> Solid:
    """Return the cutter as what the metal round it leaves of a block."""
    lean = math.radians(draft)
    low, high = bounds(contours)
    out = (mouth - floor + rest + _ABOVE) * math.tan(lean) + _MARGIN
    frame = np.array([
        low - out, (high[0] + out, low[1] - out), high + out, (low[0] - out, high[1] + out),
    ])  # fmt: skip
    edge = mouth + rest
    at_edge = offset(contours, rest * math.tan(lean), "mitre", least=2e-4)
    if not at_edge:
        raise SolidError("nothing of the drawing is left to sink")
    metal = drafted(subtracted((frame,), at_edge, 2e-4), floor - _ABOVE, edge, lean, zone)
    size = high - low + 2.0 * (out - _MARGIN / 2.0)
    middle = (low + high) / 2.0

    def block(bottom: float, end: float) -> Solid:
        body = cuboid((float(size[0]), float(size[1]), end - bottom))
        at = (float(middle[0]), float(middle[1]), (bottom + end) / 2.0)
        return solid_from_manifold(body.translate(at), zone)

    below = without(block(floor, edge - 1e-3), [metal])
    shaft = extruded(at_edge, top - edge + 0.002)
    upper = solid_from_manifold(shaft.translate((0.0, 0.0, edge - 0.002)), zone)
    return Solid(below.manifold + upper.manifold, {**below.labels, **upper.labels})
