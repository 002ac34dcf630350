"""The walls round a relief as part of its height field, down to below the field of the piece.

From the outline, walls fall outwards at the slope of the draft (`flanks`); where they meet in
a gap before they come down, they leave a valley, as they would in a die. All that is above a
level just below the field is modelled, and the line where the walls reach that level is the
new border, smooth like the outline because the walls are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ....geometry.silhouette import Silhouette, crossings, next_in_loop
from ....geometry.slope_envelope import raise_to_envelope
from ....geometry.types import BoolArray, Float32Array, FloatArray, IntArray
from .edge_walls import envelope, highest_under
from .outline_heights import OutlineHeights

_LEAST = 0.2  # pixels that a wall reaches outwards at least
_NEXT = (0.04, 0.985)  # of the way between pixels, where a border may cross
_BESIDE = 0.03  # of that way, at least, that the border keeps from the outline
_ROUNDS = 4
_HALVINGS = 3
_ROUND = 0.004  # pixels by which a border may cut off the walls about a corner
_SHORT = 0.1  # pixels: shorter stretches of a border are not halved
_TINY = 1e-4  # mm by which an outline is raised for no other walls
_SPECK = 1.5  # square pixels: smaller holes are closed


@dataclass(frozen=True, eq=False)
class PerimeterWall:
    """A relief with its walls on a wider grid.

    Attributes
    ----------
    pad : int
        Pixels that it is wider on every side.
    below : float
        How far below the field the walls end, mm.
    heights : (rows, cols) float32
        mm above the field, −`below` at the border.
    mask : (rows, cols) bool
        Relief and walls.
    border : Outline
        Where the walls end, pixels.
    rim : OutlineHeights
        As it was, but raised where walls from across a gap stand higher.
    """

    pad: int
    below: float
    heights: Float32Array
    mask: BoolArray
    border: Silhouette
    rim: OutlineHeights


def add_perimeter_wall(
    mask: BoolArray,
    heights: Float32Array,
    rim: OutlineHeights,
    drop_per_pixel: float,
    below: float,
    least: float,
) -> PerimeterWall:
    """Let walls fall from an outline.

    Parameters
    ----------
    mask : (rows, cols) bool
        Pixels inside the outline.
    heights : (rows, cols) float32
        mm above the field.
    rim : OutlineHeights
    drop_per_pixel : float
        mm that walls fall in a pixel.
    below : float
        How far below the field they end, mm.
    least : float
        How far they reach outwards at least, pixels.
    """
    drop_per_pixel = min(drop_per_pixel, (float(rim.z.min()) + below) / max(least, _LEAST))
    pad = math.ceil((float(rim.z.max()) + below) / drop_per_pixel) + 4
    nothing = np.float32(-below - 3.0 * drop_per_pixel)
    own = np.s_[pad:-pad, pad:-pad]
    wide = np.full([n + 2 * pad for n in mask.shape], nothing, dtype=np.float32)
    wide[own][mask] = heights[mask]
    everywhere = np.ones(wide.shape, dtype=bool)
    points = rim.outline.points + np.array([pad, -pad])
    for _ in range(_ROUNDS):
        wide[[0, -1]] = wide[:, [0, -1]] = np.inf
        raise_to_envelope(wide, drop_per_pixel, np.zeros(0, dtype=np.int64), rim.line, pad)
        wide[[0, -1]] = wide[:, [0, -1]] = nothing
        # walls that reach other parts of the outline raise it, and its walls
        z = np.maximum(rim.z, envelope(points, everywhere, wide, drop_per_pixel))
        higher = bool(np.any(z > rim.z + _TINY))
        rim = replace(rim, z=z)
        if not higher:
            break
    whole = wide >= np.float32(-below)
    whole[own] |= mask
    border = _border(whole, np.pad(mask, pad), wide, _where(rim, pad), below)
    for _ in range(_HALVINGS):
        border = _round_corners(border, points, rim.z, drop_per_pixel, below)
    return PerimeterWall(pad, below, wide, whole, border, rim)


def _where(rim: OutlineHeights, pad: int) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return the outline's points by the grid edges they lie on: keys, points, heights."""
    at = rim.outline.points + np.array([pad, -pad])
    key = _key(np.floor(at).astype(np.int64), np.ceil(at).astype(np.int64))
    order = np.argsort(key)
    return key[order], at[order], rim.z[order]


def _key(p: FloatArray | IntArray, q: FloatArray | IntArray) -> IntArray:
    """Name a grid edge by its ends, pixels, the same from both."""
    middle = np.rint(np.asarray(p) + np.asarray(q)).astype(np.int64)
    return np.asarray(middle[:, 0] * (1 << 32) - middle[:, 1])


def _border(
    whole: BoolArray,
    inside: BoolArray,
    height: Float32Array,
    edge: tuple[IntArray, FloatArray, FloatArray],
    below: float,
) -> Silhouette:
    """Trace where heights pass the level −`below`."""
    inner, outer, first = crossings(whole)
    r, c = -inner[:, 1].astype(np.int64), inner[:, 0].astype(np.int64)
    rr, cc = -outer[:, 1].astype(np.int64), outer[:, 0].astype(np.int64)
    high, low = height[r, c].astype(np.float64), height[rr, cc].astype(np.float64)
    share = (high + below) / np.maximum(high - low, 1e-9)
    key, at, z = edge
    name = _key(inner, outer)
    place = np.minimum(np.searchsorted(key, name), len(key) - 1)
    on = np.flatnonzero(inside[r, c] & (key[place] == name))
    place = place[on]
    start = np.abs(at[place] - inner[on]).sum(axis=1)
    fall = (z[place] + below) / np.maximum(z[place] - low[on], 1e-9)
    share[on] = np.maximum(start + (1.0 - start) * fall, start + _BESIDE)
    points = inner + np.clip(share, *_NEXT)[:, None] * (outer - inner)
    border = Silhouette(points, first)
    area = border.areas()
    return border.keep((area > 0) | (area < -_SPECK))


def _round_corners(
    border: Silhouette, points: FloatArray, z: FloatArray, drop_per_pixel: float, below: float
) -> Silhouette:
    """Return a border with points added where walls turn round corners of an outline.

    A chord of the border would lie nearer to the corner, and the wall be too steep.
    """
    p, q = border.points, border.points[next_in_loop(border.first)]
    middle, way = 0.5 * (p + q), q - p
    out = (highest_under(middle, points, z, drop_per_pixel) + below) / drop_per_pixel
    length = np.hypot(way[:, 0], way[:, 1])
    good = np.flatnonzero((out > _ROUND) & (out < 0.5 * length) & (length > _SHORT))
    normal = np.stack([way[good, 1], -way[good, 0]], axis=1) / length[good, None]
    added = middle[good] + out[good, None] * normal
    place = np.searchsorted(good, border.first)
    return Silhouette(np.insert(p, good + 1, added, axis=0), border.first + place)
