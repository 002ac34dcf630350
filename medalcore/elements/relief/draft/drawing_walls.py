"""Where the walls of a flat drawing's levels stand: from the edge of each down to what is lower.

All points in pixels, x = column and y = −row; heights in mm.
"""

from __future__ import annotations

import math

import numpy as np

from ....geometry.arrays import cross2, ragged
from ....geometry.bodies import Section, mitred
from ....geometry.contour import section
from ....geometry.distance import to_edges
from ....geometry.extended_heights import ExtendedHeights
from ....geometry.types import BoolArray, Float32Array, FloatArray

LEAST = 0.35
"""Pixels that a wall is wide at least: a height field has none that stand upright."""

_APART = 2.0  # pixels between places at which the foot of a wall is looked for
_LOOK = 0.25  # pixels from look to look
_FAN = math.radians(15.0)  # a wall turns round a corner in steps of at most this
_CRACK = 0.001  # pixels that cracks between pieces of a wall are wide at most
_FINE = 0.002  # pixels: points of a wall's foot nearer to their chord go


def walled(
    loops: list[FloatArray], top: ExtendedHeights, below: ExtendedHeights, drop: float, most: float
) -> Section:
    """Return a level together with the walls that go down from its edge.

    Parameters
    ----------
    loops : list of (n, 2) float64
        Outlines, inside on the left.
    top, below : Heights
        Of what stands inside, and of what lies outside.
    drop : float
        mm that a wall falls in a pixel.
    most : float
        Pixels that a wall is wide at most.
    """
    pieces = list(loops)
    for loop in loops:
        pieces += _skirt(_split(loop, _APART), top, below, drop, most)
    whole = section(tuple(pieces))
    # rounding leaves cracks between walls that join: spurs of what is below, up to the edge
    whole = mitred(mitred(whole, _CRACK, 2.0), -_CRACK, 2.0)
    return whole.simplify(_FINE)


def _split(loop: FloatArray, longest: float) -> FloatArray:
    """Return a loop with more points on its long edges."""
    way = np.roll(loop, -1, axis=0) - loop
    count = np.maximum(np.ceil(np.hypot(*way.T) / longest), 1).astype(np.int64)
    at, step = ragged(count)
    return np.asarray(loop[at] + way[at] * (step / count[at])[:, None])


def _skirt(
    loop: FloatArray, top: ExtendedHeights, below: ExtendedHeights, drop: float, most: float
) -> list[FloatArray]:
    """Return the areas of the walls outside the edges of a loop, and round its corners."""
    way = np.roll(loop, -1, axis=0) - loop
    way /= np.hypot(*way.T)[:, None]
    normal = np.column_stack([way[:, 1], -way[:, 0]])
    height = top.at(loop)
    ends = np.roll(loop, -1, axis=0)
    here = _widths(loop, normal, height, below, drop, most)
    there = _widths(ends, normal, np.roll(height, -1), below, drop, most)
    quads = np.stack(
        [ends, loop, loop + here[:, None] * normal, ends + there[:, None] * normal], axis=1
    )  # counter-clockwise as the fans are: where they lie over one another they add up
    before = np.roll(normal, 1, axis=0)
    turn = np.arctan2(cross2(before, normal), np.sum(before * normal, axis=1))
    came = np.roll(there, 1)
    fans = []
    for k in np.flatnonzero(turn > 1e-6):
        share = np.linspace(0.0, 1.0, int(np.ceil(turn[k] / _FAN)) + 1)
        angle = math.atan2(before[k, 1], before[k, 0]) + share * turn[k]
        wide = np.maximum(came[k], here[k])
        arc = loop[k] + wide * np.column_stack([np.cos(angle), np.sin(angle)])
        fans.append(np.vstack([loop[k], arc]))
    return [*quads, *fans]


def _widths(
    points: FloatArray,
    normal: FloatArray,
    height: FloatArray,
    below: ExtendedHeights,
    drop: float,
    most: float,
) -> FloatArray:
    """Return how far out walls come down to what lies below."""
    wide = np.full(len(points), most)
    going = np.arange(len(points))
    last = height - below.at(points)
    far = _LOOK
    while len(going) and far < most + _LOOK:
        over = height[going] - far * drop - below.at(points[going] + far * normal[going])
        down = over <= 0.0
        share = last[down] / np.maximum(last[down] - over[down], 1e-12)
        wide[going[down]] = far - _LOOK * (1.0 - np.clip(share, 0.0, 1.0))
        going, last, far = going[~down], over[~down], far + _LOOK
    return np.asarray(np.clip(wide, LEAST, max(most, LEAST)))


def cones(
    edges: FloatArray, z: FloatArray, drop: float, out: Float32Array, near: BoolArray
) -> None:
    """Raise pixels to the walls that go down from edges, in place; mark those on an edge.

    Parameters
    ----------
    edges : (n, 2, 2) float64
        Ends of edges.
    z : (n, 2) float64
        Their heights, mm.
    drop : float
        mm per pixel.
    out : (rows, cols) float32
        mm.
    near : (rows, cols) bool
        Set where a pixel is nearer to an edge than it could be told apart from it.
    """
    rows, cols = out.shape
    edges, z = _chopped(edges, z, 12.0)
    reach = np.max(z, axis=1, initial=0.0) / drop + 1.0
    low = np.floor(np.minimum(edges[:, 0], edges[:, 1]) - reach[:, None]).astype(np.int64)
    high = np.ceil(np.maximum(edges[:, 0], edges[:, 1]) + reach[:, None]).astype(np.int64)
    wide, tall = high[:, 0] - low[:, 0] + 1, high[:, 1] - low[:, 1] + 1
    part = (np.cumsum(wide * tall) // _CHUNK).astype(np.int64)
    for k in range(int(part[-1]) + 1 if len(part) else 0):
        own = np.flatnonzero(part == k)
        edge, place = ragged(wide[own] * tall[own])
        edge = own[edge]
        x, y = low[edge, 0] + place % wide[edge], low[edge, 1] + place // wide[edge]
        there = (x >= 0) & (x < cols) & (-y >= 0) & (-y < rows)
        edge, x, y = edge[there], x[there], y[there]
        away, t = to_edges(
            np.column_stack([x, y]).astype(np.float64), *np.swapaxes(edges[edge], 0, 1)
        )
        value = z[edge, 0] + t * (z[edge, 1] - z[edge, 0]) - drop * away
        flat = -y * cols + x
        np.maximum.at(out.ravel(), flat, value.astype(np.float32))
        near.ravel()[flat[away < LEAST]] = True


_CHUNK = 4_000_000


def _chopped(edges: FloatArray, z: FloatArray, longest: float) -> tuple[FloatArray, FloatArray]:
    """Return edges cut into short ones."""
    count = np.maximum(np.ceil(np.hypot(*(edges[:, 1] - edges[:, 0]).T) / longest), 1)
    at, step = ragged(count.astype(np.int64))
    ends = np.stack([step, step + 1], axis=1) / count[at][:, None]
    cut: FloatArray = edges[at, None, 0] + ends[:, :, None] * (edges[at, 1] - edges[at, 0])[:, None]
    return cut, z[at, :1] + ends * (z[at, 1] - z[at, 0])[:, None]


def heights_of_walls(
    points: FloatArray, edges: FloatArray, z: FloatArray, drop: float
) -> FloatArray:
    """Return how high the walls of edges stand at points (n, 2), mm; −inf without any."""
    out = np.full(len(points), -np.inf)
    for k, point in enumerate(points):
        away, t = to_edges(point, edges[:, 0], edges[:, 1])
        out[k] = np.max(z[:, 0] + t * (z[:, 1] - z[:, 0]) - drop * away, initial=-np.inf)
    return out
