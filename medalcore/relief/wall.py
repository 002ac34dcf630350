"""The drafted wall round a relief, from its outline down into the piece."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray

from .outline import following

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_FAN = math.radians(40.0)  # a convex corner turns in steps of at most this
_REACH = 3.0  # a mitre is at most this many offsets long
_TRIES = 8


@dataclass(frozen=True, eq=False)
class Wall:
    """A ring of points round every loop of the outline, and how they join it.

    Attributes
    ----------
    points : (n, 2) float64
        Where the wall ends, mm; one or more for each corner of the outline.
    owner : (n,) int64
        The outline point each belongs to, ascending.
    first : (k + 1,) int64
        Where the ring of each loop starts in `points`.
    strip : (m, 3) int64
        Triangles seen from outside; outline points first, then ring points (+ outline size).
    reach : (len(outline),) float64
        How far the wall leans out at each outline point, mm.
    """

    points: FloatArray
    owner: IntArray
    first: IntArray
    strip: IntArray
    reach: FloatArray


def leaning(outline: FloatArray, first: IntArray, reach: FloatArray) -> Wall:
    """Lean a wall outwards from an outline.

    Each wall stands exactly `reach` away from its edge (mitred corners, sharp ones in
    several facets). Where two walls would run into each other, in a gap narrower than both,
    they are drawn back, step by step, until they do not.

    Parameters
    ----------
    outline : (n, 2) float64
        Loops, material on the left, mm.
    first : (k + 1,) int64
        Loop starts.
    reach : (n,) float64
        Wanted distance at each point, mm.
    """
    reach = reach.copy()
    for attempt in range(_TRIES + 1):
        wall = _ring(outline, first, reach)
        clash = _clashes(outline, wall)
        if not np.any(clash):
            break
        reach[clash] *= 0.5 if attempt < _TRIES - 1 else 0.0
    return wall


def _ring(outline: FloatArray, first: IntArray, reach: FloatArray) -> Wall:
    """Offset every corner; convex ones as the tangents of a circle."""
    n = len(outline)
    nxt, prv = following(first), following(first, -1)
    way = outline[nxt] - outline
    way /= np.hypot(way[:, 0], way[:, 1])[:, None]
    came = way[prv]
    turn = np.arctan2(came[:, 0] * way[:, 1] - came[:, 1] * way[:, 0], np.sum(came * way, axis=1))
    facets = np.maximum(np.ceil(turn / _FAN), 1).astype(np.int64)
    owner = np.repeat(np.arange(n), facets)
    begin = np.cumsum(facets) - facets
    step = np.arange(len(owner)) - begin[owner]
    share = turn / facets
    angle = np.arctan2(-came[:, 0], came[:, 1])[owner] + (step + 0.5) * share[owner]
    length = np.minimum(1.0 / np.maximum(np.cos(0.5 * share), 1e-3), _REACH) * reach
    points = outline[owner] + length[owner, None] * np.stack([np.cos(angle), np.sin(angle)], 1)
    last = begin + facets - 1
    q_last, q_next = n + last, n + begin[nxt]
    i = np.arange(n)
    inner = step[1:] > 0
    fan = np.stack([owner[1:], n + np.arange(len(owner) - 1), n + 1 + np.arange(len(owner) - 1)], 1)
    strip = np.concatenate(
        [np.stack([q_last, q_next, nxt], 1), np.stack([q_last, nxt, i], 1), fan[inner]]
    )
    return Wall(points, owner, np.append(begin, len(owner))[first], strip, reach)


def _clashes(outline: FloatArray, wall: Wall) -> NDArray[np.bool_]:
    """Mark outline points whose walls fold over or run into others."""
    n = len(outline)
    clash = np.zeros(n, dtype=bool)
    everything = np.concatenate([outline, wall.points])
    home = np.concatenate([np.arange(n), wall.owner])
    corner = everything[wall.strip]
    e1, e2 = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    area = e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0]
    size = np.maximum(np.sum(e1**2, axis=1), np.sum(e2**2, axis=1))
    clash[home[wall.strip[area < -1e-9 * size]]] = True
    for low, high in _overlaps(wall):
        near = np.all((wall.points >= low) & (wall.points <= high), axis=1)
        clash[wall.owner[near]] = True
    return clash & (wall.reach > 0)


def _overlaps(wall: Wall) -> list[tuple[FloatArray, FloatArray]]:
    """Return boxes round the places that the rings cover twice, or the wrong way round."""
    rings = [wall.points[a:b] for a, b in itertools.pairwise(wall.first)]
    once = m3.CrossSection(rings, m3.FillRule.EvenOdd)
    solid = m3.CrossSection(rings, m3.FillRule.Positive)
    twice = (solid - once) + (once - solid)
    scale = float(np.ptp(wall.points, axis=0).max())
    boxes = []
    for patch in twice.to_polygons():
        low, high = patch.min(axis=0), patch.max(axis=0)
        if np.prod(high - low) > (1e-7 * scale) ** 2:
            margin = 0.5 * float(np.max(wall.reach))
            boxes.append((low - margin, high + margin))
    return boxes
