"""The drafted wall round a relief, from its outline down into the piece."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from ....geometry.arrays import cross2, ragged
from ....geometry.contour import section
from ....geometry.silhouette import next_in_loop
from ....geometry.types import BoolArray, FloatArray, IntArray

_FAN = math.radians(40.0)  # a convex corner turns in steps of at most this
_REACH = 6.0  # a mitre is at most this many offsets long
_CLEAR = 1.15  # walls keep this much clear of one another
_HALVINGS = 5
_TRIES = 16
_ROUNDS = 40


@dataclass(frozen=True, eq=False)
class Wall:
    """A ring of points round every loop of the outline, and how they join it.

    Attributes
    ----------
    points : (n, 2) float64
        Where the wall ends, mm.
    home : (n,) int64
        An outline point that each is joined to.
    first : (k + 1,) int64
        Where the ring of each loop starts in `points`.
    strip : (m, 3) int64
        Triangles seen from outside; outline points first, then ring points (+ outline size).
    reach : (len(outline),) float64
        How far the wall leans out at each outline point, mm.
    """

    points: FloatArray
    home: IntArray
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
    for attempt in range(_TRIES):
        wall, clash = _tried(outline, first, reach)
        if not np.any(clash):
            return wall
        late = max(attempt - _HALVINGS, 0)
        for k in range(_TRIES):  # walls that stand upright already clash because of others
            if k >= 2 * late and np.any(clash & (reach > 0)):
                break
            clash = clash | clash[next_in_loop(first)] | clash[next_in_loop(first, -1)]
        if np.any(reach[clash] > 0):
            reach[clash] *= 0.5 if late == 0 else 0.0
        else:  # what stands upright is run into by long walls whose ends are far away
            reach[_passing(outline, _ring(outline, first, _CLEAR * reach))] *= 0.5
    for least in (8.0, 64.0, 512.0, math.inf):
        wall, clash = _tried(outline, first, np.minimum(reach, reach.max() / least))
        if not np.any(clash):
            break
    return wall


def _tried(outline: FloatArray, first: IntArray, reach: FloatArray) -> tuple[Wall, BoolArray]:
    """Return a wall, and where it clashes with itself or leaves walls hardly apart."""
    wide = _clashes(outline, _ring(outline, first, _CLEAR * reach))
    wall = _ring(outline, first, reach)
    return wall, wide | _clashes(outline, wall)


def gaps(points: FloatArray, first: IntArray, mask: BoolArray, reach: FloatArray) -> FloatArray:
    """Return how wide the gap before each outline point is, up to twice a wanted reach.

    Parameters
    ----------
    points : (n, 2) float64
        Loops, x = column, y = −row, pixels.
    first : (k + 1,) int64
        Loop starts.
    mask : (rows, cols) bool
        Where the relief is.
    reach : (n,) float64
        Pixels.
    """
    rows, cols = mask.shape
    way = points[next_in_loop(first)] - points
    way /= np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-12)[:, None]
    way += way[next_in_loop(first, -1)]
    way /= np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-12)[:, None]
    found = np.full(len(points), np.inf)
    going = np.flatnonzero(reach > 0)
    far = 1.5  # pixels: nearer ones are the outline's own
    while len(going):
        col = np.rint(points[going, 0] + far * way[going, 1]).astype(np.int64)
        row = np.rint(-points[going, 1] + far * way[going, 0]).astype(np.int64)
        known = (col >= 0) & (col < cols) & (row >= 0) & (row < rows)
        hit = known & mask[np.clip(row, 0, rows - 1), np.clip(col, 0, cols - 1)]
        found[going[hit]] = far
        far += 0.5
        going = going[~hit & (far < 2.0 * reach[going] + 1.0)]
    return found


class _Lines:
    """The lines that the wall ends on, in order: one for each edge, more at sharp corners.

    `point` is the outline point a line belongs to; the line of an edge starts there, that of
    a corner turns round it. `normal` looks outwards.
    """

    def __init__(self, outline: FloatArray, first: IntArray, reach: FloatArray) -> None:
        self.outline, self.first, self.reach = outline, first, reach
        self.next = next_in_loop(first)
        way = outline[self.next] - outline
        way /= np.hypot(way[:, 0], way[:, 1])[:, None]
        came = way[next_in_loop(first, -1)]
        turn = np.arctan2(cross2(came, way), np.sum(came * way, axis=1))
        facets = np.where(reach > 0, np.maximum(np.ceil(turn / _FAN), 1), 1).astype(np.int64)
        self.point, place = ragged(facets)
        step = place + 1
        angle = np.arctan2(-came[:, 0], came[:, 1])[self.point]
        angle = angle + step * (turn / facets)[self.point]
        self.normal = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        self.is_edge = step == facets[self.point]
        self.start = np.append(0, np.cumsum(facets))[first]

    def meet(self, one: IntArray, two: IntArray) -> FloatArray:
        """Return where lines meet the lines that follow them, (k, 2)."""
        p = np.where(self.is_edge[one], self.next[self.point[one]], self.point[one])
        q = self.point[two]
        n0, n1 = self.normal[one], self.normal[two]
        d0 = np.sum(n0 * self.outline[p], axis=1) + self.reach[p]
        d1 = np.sum(n1 * self.outline[q], axis=1) + self.reach[q]
        det = cross2(n0, n1)
        middle = 0.5 * (self.outline[p] + self.outline[q])
        wide = 0.5 * (self.reach[p] + self.reach[q])
        side = n0 + n1
        side /= np.maximum(np.hypot(side[:, 0], side[:, 1]), 1e-9)[:, None]
        bent = np.abs(det) > 1e-3
        safe = np.where(bent, det, 1.0)
        x = (d0 * n1[:, 1] - d1 * n0[:, 1]) / safe
        y = (n0[:, 0] * d1 - n1[:, 0] * d0) / safe
        at = np.where(bent[:, None], np.stack([x, y], axis=1), middle + wide[:, None] * side)
        off = at - middle
        length = np.hypot(off[:, 0], off[:, 1])
        limit = _REACH * wide + 0.5 * np.hypot(*(self.outline[p] - self.outline[q]).T)
        return np.asarray(
            middle + off * np.minimum(1.0, limit / np.maximum(length, 1e-12))[:, None]
        )


def _ring(outline: FloatArray, first: IntArray, reach: FloatArray) -> Wall:
    """Offset an outline; an edge that shrinks to nothing in a hollow is left out."""
    lines = _Lines(outline, first, reach)
    alive = np.arange(len(lines.point))
    for attempt in range(_ROUNDS):
        start = np.searchsorted(alive, lines.start)
        after = next_in_loop(start)
        points = lines.meet(alive, alive[after])
        before = next_in_loop(start, -1)
        normal = lines.normal[alive]
        run = points - points[before]
        length = cross2(normal, run)
        gone = (length < 0) & (length <= length[before]) & (length < length[after])
        left = np.diff(start) - np.add.reduceat(gone.astype(np.int64), start[:-1])
        gone &= np.repeat(left >= 3, np.diff(start))
        if not np.any(gone) or attempt == _ROUNDS - 1:
            break
        alive = alive[~gone]
    return Wall(points, _home(lines, alive), start, _strip(lines, alive, before), reach)


def _home(lines: _Lines, alive: IntArray) -> IntArray:
    """Return the outline point at which each of the chosen lines ends."""
    point = lines.point[alive]
    return np.where(lines.is_edge[alive], lines.next[point], point)


def _strip(lines: _Lines, alive: IntArray, before: IntArray) -> IntArray:
    """Return the triangles between the outline and the ring."""
    n = len(lines.outline)
    ring = n + np.arange(len(alive))
    edge = lines.is_edge[alive]
    i = lines.point[alive]
    j = lines.next[i]
    left = n + before
    corner = np.stack([i, left, ring], axis=1)[~edge]
    low = np.stack([left, ring, j], axis=1)[edge]
    high = np.stack([left, j, i], axis=1)[edge]
    dead = np.setdiff1d(np.flatnonzero(lines.is_edge), alive, assume_unique=True)
    loop = np.searchsorted(lines.start, dead, side="right") - 1
    start = np.searchsorted(alive, lines.start)
    last = np.searchsorted(alive, dead) - 1
    last = np.where(last < start[loop], start[loop + 1] - 1, last)
    k = lines.point[dead]
    folded = np.stack([n + last, lines.next[k], k], axis=1)
    return np.concatenate([low, high, corner, folded])


def _clashes(outline: FloatArray, wall: Wall) -> BoolArray:
    """Mark outline points whose walls fold over or run into others."""
    n = len(outline)
    clash = np.zeros(n, dtype=bool)
    everything = np.concatenate([outline, wall.points])
    home = np.concatenate([np.arange(n), wall.home])
    corner = everything[wall.strip]
    e1, e2 = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    area = cross2(e1, e2)
    size = np.maximum(np.sum(e1**2, axis=1), np.sum(e2**2, axis=1))
    clash[home[wall.strip[area < -1e-9 * size]]] = True
    foot, end = outline[wall.home], wall.points
    least, most = np.minimum(foot, end), np.maximum(foot, end)
    for low, high in _overlaps(wall):
        near = np.all((most >= low) & (least <= high), axis=1)
        clash[wall.home[near]] = True
    return clash


def _passing(outline: FloatArray, wall: Wall) -> BoolArray:
    """Mark the outline points at both ends of walls that pass where walls run into others."""
    after = next_in_loop(wall.first)
    corners = np.stack([outline[wall.home], wall.points])
    corners = np.concatenate([corners, corners[:, after]])
    least, most = corners.min(axis=0), corners.max(axis=0)
    passing = np.zeros(len(outline), dtype=bool)
    for low, high in _overlaps(wall):
        near = np.all((most >= low) & (least <= high), axis=1)
        passing[wall.home[near]] = passing[wall.home[after[near]]] = True
    return passing


def _overlaps(wall: Wall) -> list[tuple[FloatArray, FloatArray]]:
    """Return boxes round the places that the rings cover twice, or the wrong way round."""
    rings = [wall.points[a:b] for a, b in itertools.pairwise(wall.first)]
    once = section(tuple(rings), "evenodd")
    solid = section(tuple(rings), "positive")
    twice = (solid - once) + (once - solid)
    scale = float(np.ptp(wall.points, axis=0).max())
    boxes = []
    for patch in twice.to_polygons():
        low, high = patch.min(axis=0), patch.max(axis=0)
        if np.prod(high - low) > (1e-7 * scale) ** 2:
            margin = 0.1 * float(np.max(wall.reach))
            boxes.append((low - margin, high + margin))
    return boxes
