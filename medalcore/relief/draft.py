"""Draft of the modelling: no wall steeper than the process allows.

The least raising that does it is the upper envelope of cones: every point carries a cone
whose flank falls at the allowed slope, and the field becomes the highest of them. That is a
projection (a field that already has draft does not change), not a blur. Points are those of
the strong inner edges, as smooth lines, all pixels, and what lies between pixels: else walls
would be ribbed with cones, and the surface between them too steep.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..grid import HeightField
from .steps import Cliffs

IntArray = NDArray[np.int64]

_STEPS = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))
_FLOOR = 0.01  # mm: the floor of a filled gap stands at least this high
_TINY = 1e-6  # mm: less than this is not worth raising


def enforce_draft(field: HeightField, angle: float, edges: Cliffs | None = None) -> HeightField:
    """Raise a height field by the least that leaves no wall steeper than `angle`.

    Parameters
    ----------
    field : HeightField
        mm.
    angle : float
        Draft from upright, radians; 0 or less changes nothing.
    edges : Cliffs, optional
        Strong inner edges of the field, from which walls fall as well.

    Returns
    -------
    HeightField
        h(p) = max over q of h(q) − |p − q| / tan(angle), inside the mask: grey dilation by
        a cone (Serra 1982), q also on lines between pixels. Nowhere lower than `field`; the
        same object if nothing changes.
    """
    if angle <= 0.0:
        return field
    drop = field.grid.pixel / math.tan(angle)  # mm that the allowed wall falls in one pixel
    height = np.full((field.grid.rows + 2, field.grid.cols + 2), np.inf, dtype=np.float32)
    height[1:-1, 1:-1] = np.where(field.mask, field.heights, np.float32(np.inf))
    front = _peaks(height, np.isfinite(height), drop)
    if len(front) == 0:
        return field
    _raise(height, front, drop, edges)
    _between(height, drop)
    raised = np.where(field.mask, height[1:-1, 1:-1], 0).astype(np.float32)
    return HeightField(field.grid, raised, field.mask)


def fill_gaps(field: HeightField, angle: float) -> HeightField:
    """Fill the gaps of an outline that are too narrow for the walls on both sides.

    There the walls meet before they come down to the field, as they would in a die; where
    they meet the gap gets a floor. Elsewhere the mask stays as it is.

    Parameters
    ----------
    field : HeightField
        mm, with draft (`enforce_draft`).
    angle : float
        Draft from upright, radians; 0 or less changes nothing.

    Returns
    -------
    HeightField
        The mask grown by the filled places; the same object if there are none.
    """
    if angle <= 0.0:
        return field
    drop = field.grid.pixel / math.tan(angle)
    # room for the walls all round the grid, so that every one comes down to the field
    room = math.ceil(float(field.heights.max(initial=0.0)) / drop) + 2
    inside = np.pad(field.mask, room)
    height = np.pad(np.where(field.mask, field.heights, np.float32(0)), room)
    height[[0, -1]] = height[:, [0, -1]] = np.inf  # never raised
    _raise(height, _peaks(height, inside, drop), drop)
    walls = np.isfinite(height) & ~inside & (height > np.float32(_FLOOR))
    if not np.any(walls):
        return field
    # how high a wall rising from the open field would be there
    depth = np.where(walls, np.float32(-np.inf), np.float32(np.inf))
    open_field = np.isfinite(height) & ~inside & ~walls
    depth[open_field] = 0.0
    _raise(depth, np.flatnonzero(open_field & _beside(walls)), drop)
    closed = walls & (-depth > height + np.float32(1.5 * drop))
    if not np.any(closed):
        return field
    own = (slice(room, -room), slice(room, -room))
    closed = closed[own]
    filled = np.where(closed, height[own], field.heights).astype(np.float32)
    # a wall across a filled gap may reach the form on the other side
    return enforce_draft(HeightField(field.grid, filled, field.mask | closed), angle)


class _Sources:
    """What walls fall from: stretches of lines, and single pixels, which follow them.

    Places are rows and columns of the padded grid.
    """

    def __init__(self, height: NDArray[np.float32], front: IntArray, edges: Cliffs | None) -> None:
        wide = height.shape[1]
        self.wide = wide
        r, c = np.divmod(front, wide)
        own = height.ravel()[front].astype(np.float64)
        none = np.zeros(0)
        lines = [none, none, none, none, none, none]
        self.lines, self.near = 0, np.zeros(0, dtype=np.int64)
        self.before = self.after = self.near
        if edges is not None and len(edges.edges):
            one, two = edges.kept[edges.edges[:, 0]], edges.kept[edges.edges[:, 1]]
            x, y, z = edges.line[:, 0] + 1.0, 1.0 - edges.line[:, 1], edges.top
            lines = [y[one], x[one], z[one], y[two], x[two], z[two]]
            self.lines = len(one)
            self._follow(edges)
        self.r, self.c, self.z = (
            np.concatenate([a, b]) for a, b in zip(lines[:3], (r, c, own), strict=True)
        )
        self.dr, self.dc, self.dz = (
            np.concatenate([b - a, np.zeros(len(front))])
            for a, b in zip(lines[:3], lines[3:], strict=True)
        )

    def _follow(self, edges: Cliffs) -> None:
        """Note which stretches follow one another, and on which each point of a line lies."""
        number = np.full(len(edges.kept), -1)
        number[edges.edges[:, 0]] = np.arange(self.lines)
        self.after = number[edges.edges[:, 1]]
        self.before = np.full(self.lines, -1)
        self.before[self.after[self.after >= 0]] = np.flatnonzero(self.after >= 0)
        last = np.maximum(np.searchsorted(edges.kept, np.arange(len(edges.line)), "right") - 1, 0)
        self.near = number[last]
        ends = np.flatnonzero(self.near < 0)  # the last point of an open line
        self.near[ends] = number[np.maximum(last[ends] - 1, 0)]

    def value(self, owner: IntArray, q: IntArray, drop: float) -> NDArray[np.float32]:
        """Return how high the walls from some sources stand at some pixels."""
        pr, pc = q // self.wide - self.r[owner], q % self.wide - self.c[owner]
        point = self.z[owner] - drop * np.hypot(pr, pc)
        line = np.flatnonzero(owner < self.lines)
        if len(line):
            o = owner[line]
            dr, dc, dz = self.dr[o], self.dc[o], self.dz[o]
            length = np.maximum(np.hypot(dr, dc), 1e-9)
            along = (pr[line] * dr + pc[line] * dc) / length
            off = np.abs(pr[line] * dc - pc[line] * dr) / length
            rise = np.clip(dz / length, -0.99 * drop, 0.99 * drop)
            # where the cone that reaches highest stands
            at = np.clip(along + off * rise / np.sqrt(drop * drop - rise * rise), 0.0, length)
            point[line] = self.z[o] + at * dz / length - drop * np.hypot(off, along - at)
        return np.asarray(point, dtype=np.float32)


def _raise(
    height: NDArray[np.float32], front: IntArray, drop: float, edges: Cliffs | None = None
) -> None:
    """Raise heights to the envelope of the walls from some pixels and lines, in place."""
    flat = height.reshape(-1)
    wide = height.shape[1]
    sources = _Sources(height, front, edges)
    owner = np.full(flat.size, -1, dtype=np.int32)
    owner[front] = sources.lines + np.arange(len(front))
    if edges is not None and sources.lines:
        some = np.flatnonzero(sources.near >= 0)
        pixel = [p[some] + wide + 1 + 2 * (p[some] // (wide - 2)) for p in (edges.low, edges.high)]
        at = np.concatenate([p + dr * wide + dc for p in pixel for dr, dc in (*_STEPS, (0, 0))])
        to = np.tile(sources.near[some], len(at) // len(some))
        won = _better(flat, owner, sources, at, to, drop)
        front = np.union1d(front, won)
    while len(front):
        carried = owner[front].astype(np.int64)
        at_all = [front + (dr * wide + dc) for dr, dc in _STEPS]
        to_all = [carried] * len(at_all)
        on_line = np.flatnonzero(carried < sources.lines)
        for other in (sources.before, sources.after) if len(on_line) else ():
            more = other[carried[on_line]]
            has = more >= 0
            near = front[on_line[has]]
            at_all += [near, *(near + (dr * wide + dc) for dr, dc in _STEPS)]
            to_all += [more[has]] * 9
        front = _better(flat, owner, sources, np.concatenate(at_all), np.concatenate(to_all), drop)


def _better(
    flat: NDArray[np.float32],
    owner: NDArray[np.int32],
    sources: _Sources,
    at: IntArray,
    to: IntArray,
    drop: float,
) -> IntArray:
    """Let sources raise pixels where they reach higher, in place; return those pixels."""
    low = flat[at] < np.inf
    at, to = at[low], to[low]
    value = sources.value(to, at, drop)
    better = value > flat[at] + np.float32(_TINY)
    at, to, value = at[better], to[better], value[better]
    np.maximum.at(flat, at, value)
    won = value == flat[at]
    owner[at[won]] = to[won]
    return np.unique(at[won])


def _between(height: NDArray[np.float32], drop: float) -> None:
    """Raise pixels to the walls that fall from lines between their neighbours, in place.

    Of the triangles between neighbouring pixels none is then too steep whose lowest corner
    stands at one of its short sides.
    """
    flat = height.reshape(-1)
    wide = height.shape[1]
    todo = np.flatnonzero(_steep(height, drop))
    ring = np.array([1, 1 - wide, -wide, -1 - wide, -1, wide - 1, wide, wide + 1])
    square = drop * drop
    while len(todo):
        around = [flat[todo + k].astype(np.float64) for k in ring]
        best = flat[todo].astype(np.float64)
        for k in range(0, 8, 2):
            a, b = around[k], around[(k + 2) % 8]
            with np.errstate(invalid="ignore"):
                good = (np.abs(a - b) < drop) & np.isfinite(a + b)
                apart = 2.0 * square - (a - b) ** 2
                both = 0.5 * (a + b - np.sqrt(np.maximum(apart, 0.0)))
            best = np.where(good & (both > best), both, best)
            for j in ((k + 1) % 8, (k - 1) % 8):
                with np.errstate(invalid="ignore"):
                    more = around[j] - a
                    slant = a - np.sqrt(np.maximum(square - more * more, 0.0))
                good = (more > 0) & (2.0 * more * more < square) & np.isfinite(a)
                best = np.where(good & (slant > best), slant, best)
        up = np.isfinite(flat[todo]) & (best > flat[todo] + _TINY)
        todo = todo[up]
        flat[todo] = best[up]
        todo = np.unique(np.concatenate([todo + k for k in ring]))
        todo = todo[np.isfinite(flat[todo])]


def _steep(height: NDArray[np.float32], drop: float) -> NDArray[np.bool_]:
    """Return pixels beside steep places."""
    steep = np.zeros(height.shape, dtype=bool)
    limit = np.float32(0.6 * drop)
    with np.errstate(invalid="ignore"):
        down = np.abs(height[1:] - height[:-1]) > limit
        right = np.abs(height[:, 1:] - height[:, :-1]) > limit
    steep[1:] |= down
    steep[:-1] |= down
    steep[:, 1:] |= right
    steep[:, :-1] |= right
    return steep & np.isfinite(height)


def _beside(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the pixels next to those of a mask that is clear of its border."""
    near = np.zeros_like(mask)
    rows, cols = mask.shape
    for dr, dc in _STEPS:
        near[1:-1, 1:-1] |= mask[1 + dr : rows - 1 + dr, 1 + dc : cols - 1 + dc]
    return near


def _peaks(height: NDArray[np.float32], inside: NDArray[np.bool_], drop: float) -> IntArray:
    """Return flat indices of pixels that stand too high above some neighbour."""
    rows, cols = height.shape
    tall = np.zeros(height.shape, dtype=bool)
    here, known = height[1:-1, 1:-1], inside[1:-1, 1:-1]
    for dr, dc in _STEPS:
        there = height[1 + dr : rows - 1 + dr, 1 + dc : cols - 1 + dc]
        tall[1:-1, 1:-1] |= known & (here > there + np.float32(drop * math.hypot(dr, dc) + _TINY))
    return np.flatnonzero(tall)
