"""Where a source comes to lie on its face: turn, size, crop, height and the grid round it."""

from __future__ import annotations

import math

import numpy as np
from msgspec.structs import replace

from ....context.ground import Ground
from ....errors import SpecError
from ....geometry.grid import Grid
from ....geometry.types import BoolArray, FloatArray
from ....spec import Relief
from ..keys import SourceKeys

MARGIN_PIXELS = 8
"""Empty pixels round the silhouette, where a wall's foot and a smooth outline find room."""


CLEARANCE = 0.05
"""Share of the field's radius that a relief filling it keeps away from the rim."""


def rotate(vertices: FloatArray, turn: tuple[float, float, float]) -> FloatArray:
    """Turn points about x, then y, then z.

    Parameters
    ----------
    vertices : (n, 3) float64
    turn : three floats
        Degrees, counter-clockwise seen from the axis' positive end.

    Returns
    -------
    vertices : (n, 3) float64
    """
    if not any(turn):
        return vertices
    matrix = np.eye(3)
    for axis, degrees in enumerate(turn):
        c, s = _cos_sin(degrees)
        one = np.eye(3)
        j, k = (axis + 1) % 3, (axis + 2) % 3
        one[j, j], one[j, k], one[k, j], one[k, k] = c, -s, s, c
        matrix = one @ matrix
    turned_points: FloatArray = vertices @ matrix.T
    return turned_points


def _cos_sin(degrees: float) -> tuple[float, float]:
    # quarter turns are exact, so that level planes stay level
    quarter = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}
    known = quarter.get(degrees % 360.0)
    return known or (math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))


USUAL_HEIGHT = 0.5
"""mm, of a relief whose height is not given and that no rim protects (common practice, no
source)."""


_BELOW_RIM = 0.9
"""Share of the rim's height that a relief may take which is to stay below it."""


_LEAST_HEIGHT = 0.1
"""mm, where a dome leaves less below the rim: lower than that nothing reads (common practice, no
source)."""


def with_height(spec: Relief, ground: Ground) -> Relief:
    """Return a relief with a height: the given one, or what stays below the rim, 0.5 at most."""
    if spec.height > 0.0:
        return spec
    if not ground.rim:
        return replace(spec, height=USUAL_HEIGHT)
    below = _BELOW_RIM * ground.rim + min(ground.dish, 0.0)  # a dome takes some of it
    return replace(spec, height=min(max(round(below, 3), _LEAST_HEIGHT), USUAL_HEIGHT))


_AIR = 0.4
"""mm between a relief that fills the field and the words or borders round it: twice the
narrowest gap that is cast (common practice, no source)."""


def free_reach(spec: SourceKeys, ground: Ground) -> float:
    """Return how far a relief that fills the field may reach from its middle, mm.

    Raises
    ------
    SpecError
        If its middle is not on the field.
    """
    radius = min(ground.radius, ground.free - _AIR) if ground.free else ground.radius
    left = radius * (1.0 - CLEARANCE) - math.hypot(*spec.at)
    if left <= 0:
        raise SpecError(
            f"{spec.at[0]:g}, {spec.at[1]:g} is off the field, or what words and borders leave of "
            f"it, {radius:.3g} mm in radius; a relief that fills it (fit = 0) needs its middle on "
            "it: move it, or give a fit",
            key="at",
        )
    return left


def grid_around(low: FloatArray, high: FloatArray, pixels: int) -> Grid:
    """Return a grid round a box, with `MARGIN_PIXELS` empty pixels on every side.

    Parameters
    ----------
    low, high : (2,) float64
        Corners of the box, mm.
    pixels : int
        Along the larger side, margins included.
    """
    span = high - low
    pixel = float(max(span)) / max(pixels - 2 * MARGIN_PIXELS, 8)
    cols, rows = (math.ceil(side / pixel - 1e-9) + 2 * MARGIN_PIXELS for side in span)
    middle = (low + high) / 2
    return Grid(
        left=float(middle[0] - pixel * (cols - 1) / 2),
        top=float(middle[1] + pixel * (rows - 1) / 2),
        pixel=pixel,
        rows=rows,
        cols=cols,
    )


def crop_box(low: FloatArray, high: FloatArray, spec: SourceKeys) -> tuple[FloatArray, FloatArray]:
    """Return the part of a box that the crop leaves.

    Raises
    ------
    SpecError
        If it leaves nothing.
    """
    if spec.crop.shape == "none":
        return low, high
    half = np.array([spec.crop.width, spec.crop.height]) / 2
    low, high = np.maximum(low, spec.at - half), np.minimum(high, spec.at + half)
    if (high <= low).any():
        raise SpecError("nothing of the relief lies inside it; enlarge it", key="crop")
    return low, high


def crop_mask(grid: Grid, mask: BoolArray, spec: SourceKeys) -> BoolArray:
    """Return the mask inside the crop."""
    if spec.crop.shape == "none":
        return mask
    u = 2 * (grid.u() - spec.at[0])[None, :] / spec.crop.width
    v = 2 * (grid.v() - spec.at[1])[:, None] / spec.crop.height
    inside = np.hypot(u, v) <= 1 if spec.crop.shape == "oval" else (abs(u) <= 1) & (abs(v) <= 1)
    return mask & inside
