"""The silhouette of a relief as smooth vector contours.

A mask knows only which pixel centres are inside. The true outline crosses every grid edge
between an inside and an outside centre somewhere; where exactly is free. That freedom is
used to make the line as smooth as it can be: each crossing slides along its own grid edge
until the contour bends least. A straight edge at any angle comes out straight, a curve
comes out round, no pixel centre ever changes sides, and nothing shrinks.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from .arrays import cross2
from .types import BoolArray, FloatArray, IntArray

_SLIDE = (0.04, 0.96)  # a crossing never reaches a pixel centre, so strands never touch
_CLEAR = 0.1  # and in the end keeps clear of the inner one, so that thinning loses none
_STRIDES = (128, 64, 32, 16, 8, 4, 2, 1)
_SWEEPS = 12
_TURN = 0.97  # chord over arc below which a wide neighbourhood turns too much to follow
_LOOK = 6  # points on either side by which a corner is judged
_SHARP = 0.7  # radians: the least turn of a corner


@dataclass(frozen=True, eq=False)
class Silhouette:
    """Closed contours, inside on the left: outer ones counter-clockwise, holes clockwise.

    Attributes
    ----------
    points : (n, 2) float64
        x = column, y = −row, in pixels; loops one after another.
    first : (k + 1,) int64
        Where each loop starts in `points`, and the end.
    """

    points: FloatArray
    first: IntArray

    @property
    def loops(self) -> list[FloatArray]:
        """Return the loops as separate (n_i, 2) arrays, pixels."""
        return [self.points[a:b] for a, b in itertools.pairwise(self.first)]

    @property
    def edges(self) -> FloatArray:
        """Return the ends of all edges, (n, 2, 2) pixels."""
        return np.stack([self.points, self.points[next_in_loop(self.first)]], axis=1)

    def areas(self) -> FloatArray:
        """Return the signed area of every loop, (k,) square pixels; holes are negative."""
        nxt = self.points[next_in_loop(self.first)]
        cross = cross2(self.points, nxt)
        return 0.5 * np.add.reduceat(cross, self.first[:-1]) if len(cross) else np.zeros(0)

    def keep(self, loops: BoolArray) -> Silhouette:
        """Return only the loops marked True in (k,) bool."""
        sizes = np.diff(self.first)
        first = np.concatenate([[0], np.cumsum(sizes[loops])])
        return Silhouette(self.points[np.repeat(loops, sizes)], first)


def next_in_loop(first: IntArray, step: int = 1) -> IntArray:
    """Return for every point of a set of loops the index of the one `step` places on."""
    sizes = np.diff(first)
    start = np.repeat(first[:-1], sizes)
    place = np.arange(first[-1]) - start + step
    return np.asarray(start + place % np.repeat(sizes, sizes))


def trace_silhouette(mask: BoolArray) -> Silhouette:
    """Trace the outline of a mask to a fraction of a pixel.

    Parameters
    ----------
    mask : (rows, cols) bool
        Pixel centres inside. Pixels that meet only at a corner count as joined.

    Returns
    -------
    Outline
        One point for every grid edge crossed; no pixel centre lies on the wrong side.
    """
    inner, outer, first = crossings(mask)
    if len(inner) == 0:
        return Silhouette(np.zeros((0, 2)), np.zeros(1, dtype=np.int64))
    return Silhouette(fair_boundary(inner, outer - inner, first), first)


def crossings(mask: BoolArray) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return the inside and outside pixel of every crossed grid edge, in contour order."""
    padded = np.pad(mask, 1)
    cols = padded.shape[1]
    corner = (padded[1:, :-1], padded[1:, 1:], padded[:-1, 1:], padded[:-1, :-1])
    mixed = (corner[0] | corner[1] | corner[2] | corner[3]) & ~(
        corner[0] & corner[1] & corner[2] & corner[3]
    )
    r, c = np.nonzero(mixed)
    inside = np.stack([k[r, c] for k in corner], axis=1)
    pixel = np.stack(
        [(r + 1) * cols + c, (r + 1) * cols + c + 1, r * cols + c + 1, r * cols + c], 1
    )
    start, stop, near, far = [], [], [], []
    for e in range(4):  # going round a cell counter-clockwise: leave inside at e, return later
        a, b = e, (e + 1) % 4
        go = inside[:, a] & ~inside[:, b]
        ring = inside[go][:, [(e + 2) % 4, (e + 3) % 4]]
        steps = np.where(ring[:, 0], 1, np.where(ring[:, 1], 2, 3))
        back = (e + steps) % 4
        px = pixel[go]
        row = np.arange(len(px))
        start.append(_edge(px[:, a], px[:, b]))
        stop.append(_edge(px[row, back], px[row, (back + 1) % 4]))
        near.append(px[:, a])
        far.append(px[:, b])
    order, first = _cycles(np.concatenate(start), np.concatenate(stop))

    def place(p: IntArray) -> FloatArray:
        return np.stack([p % cols - 1.0, 1.0 - p // cols], axis=1)

    return place(np.concatenate(near)[order]), place(np.concatenate(far)[order]), first


def _edge(p: IntArray, q: IntArray) -> IntArray:
    """Name a grid edge the same from both sides."""
    low = np.minimum(p, q)
    return np.asarray(low * 2 + (np.abs(p - q) == 1))


def _cycles(start: IntArray, stop: IntArray) -> tuple[IntArray, IntArray]:
    """Chain segments that share an edge into loops; return their order and loop starts."""
    by_start = np.argsort(start)
    nxt = by_start[np.searchsorted(start[by_start], stop)].tolist()
    seen = bytearray(len(nxt))
    order: list[int] = []
    first = [0]
    for i in range(len(nxt)):
        while not seen[i]:
            seen[i] = 1
            order.append(i)
            i = nxt[i]
        if len(order) > first[-1]:
            first.append(len(order))
    return np.array(order, dtype=np.int64), np.array(first, dtype=np.int64)


def fair_boundary(
    anchor: FloatArray, way: FloatArray, first: IntArray, ends: BoolArray | None = None
) -> FloatArray:
    """Slide every crossing along its grid edge until the lines bend least.

    Damped Jacobi on the bending energy, free at corners, so that a corner stays one and the
    sides next to it stay straight. Wide neighbourhoods first, so that the long steps of a
    nearly level edge straighten too.

    Parameters
    ----------
    anchor, way : (n, 2) float64
        Inner pixel and the way to the outer one, pixels; lines one after another.
    first : (k + 1,) int64
        Where each line starts.
    ends : (n,) bool, optional
        First and last points of lines that do not close.

    Returns
    -------
    points : (n, 2) float64
    """
    t = np.full(len(anchor), 0.5)
    sizes = np.repeat(np.diff(first), np.diff(first))
    room = _room(anchor + 0.5 * way, first, ends)
    for stride in _STRIDES:
        active = np.flatnonzero(sizes >= 8 * stride) if stride > 1 else np.arange(len(t))
        if len(active) == 0:
            continue
        around = [next_in_loop(first, k * stride)[active] for k in (-2, -1, 1, 2)]
        ok = (room >= stride).astype(np.float64)
        share = [ok[around[1]], 4.0 * ok[active], ok[around[2]]]
        base, along = anchor[active], way[active]
        for _ in range(_SWEEPS):
            p = anchor + t[:, None] * way
            want, tangent, bend = _unbent(p[active], [p[i] for i in around], share)
            lever = cross2(along, tangent)
            gap = want - base
            moved = cross2(gap, tangent)
            free = (np.abs(lever) > 0.08) & ((bend > _TURN) | (stride < 4))
            goal = np.where(free, moved / np.where(free, lever, 1.0), t[active])
            t[active] += 0.55 * (np.clip(goal, *_SLIDE) - t[active])
    return np.asarray(anchor + np.maximum(t, _CLEAR)[:, None] * way)


def _unbent(
    here: FloatArray, around: list[FloatArray], share: list[FloatArray]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return where points would bend the contour least, unit tangents, and chord over arc.

    On the cubic through two neighbours on either side; next to a corner, where one of the
    `share` is 0, on what the second differences on this side of it ask for. All by true arc
    lengths.
    """
    p0, p1, p2, p3 = around
    a0, a1 = np.maximum(_length(p1 - p0), 1e-3), np.maximum(_length(here - p1), 1e-3)
    a2, a3 = np.maximum(_length(p2 - here), 1e-3), np.maximum(_length(p3 - p2), 1e-3)
    want = _cubic(around, (-a0 - a1, -a1, a2, a2 + a3))
    cut = np.flatnonzero((share[0] == 0) | (share[1] == 0) | (share[2] == 0))
    tangent = p2 - p1
    bend = _length(p3 - p0) / (a0 + a1 + a2 + a3)
    if len(cut):
        q0, q1, q2, q3 = (p[cut] for p in around)
        b0, b1, b2, b3 = (a[cut, None] for a in (a0, a1, a2, a3))
        w0, w1, w2 = (w[cut, None] for w in share)
        goal = w0 * (q1 + b1 / b0 * (q1 - q0)) + w2 * (q2 + b2 / b3 * (q2 - q3))
        goal += w1 * (q1 + b1 / (b1 + b2) * (q2 - q1))
        total = w0 + w1 + w2
        want[cut] = np.where(total > 0, goal / np.maximum(total, 1.0), here[cut])
        tangent[cut] = np.where(w1 > 0, q2 - q1, np.where(w0 > 0, q1 - q0, q3 - q2))
        bend[cut] = 1.0
    return want, tangent / np.maximum(_length(tangent), 1e-9)[:, None], bend


def _cubic(
    points: list[FloatArray], s: tuple[FloatArray, FloatArray, FloatArray, FloatArray]
) -> FloatArray:
    """Return the value at 0 of cubics through four points at parameters `s` (Lagrange)."""
    total = np.zeros_like(points[0])
    for i in range(4):
        w = np.ones_like(s[0])
        for j in range(4):
            if j != i:
                w = w * s[j] / (s[j] - s[i])
        total += w[:, None] * points[i]
    return total


def _room(p: FloatArray, first: IntArray, ends: BoolArray | None) -> FloatArray:
    """Return how many points away the nearest corner is, 0 at one.

    At a corner the line turns by the same angle whether looked at closely or from a little
    farther; on a tight curve it turns farther the farther one looks.
    """
    index = np.arange(len(p))
    sizes = np.repeat(np.diff(first), np.diff(first))
    close, wide = _turn(p, first, _LOOK), _turn(p, first, 2 * _LOOK)
    sharp = (close > _SHARP) & (wide < 1.3 * close) & (sizes >= 8 * _LOOK)
    for k in range(1, _LOOK + 1):  # only the sharpest place of each corner
        for step in (k, -k):
            other = close[next_in_loop(first, step)]
            sharp &= (close > other) | ((close == other) & (step > 0))
    if ends is not None:
        sharp |= ends
    room = np.full(len(p), np.inf)
    corners = np.flatnonzero(sharp)
    if len(corners) == 0:
        return room
    loop = np.repeat(np.arange(len(first) - 1), np.diff(first))
    away = np.concatenate([corners, corners - sizes[corners], corners + sizes[corners]])
    home = np.tile(loop[corners], 3)
    order = np.lexsort((away, home))
    away, home = away[order], home[order]
    span = 4.0 * len(p)
    place = np.searchsorted(away + span * home, index + span * loop)
    for found in (place - 1, place):
        at = np.clip(found, 0, len(away) - 1)
        room = np.minimum(room, np.where(home[at] == loop, np.abs(away[at] - index), np.inf))
    return room


def _turn(p: FloatArray, first: IntArray, look: int) -> FloatArray:
    """Return by how much the line turns between `look` points before and after, radians."""
    came, goes = p - p[next_in_loop(first, -look)], p[next_in_loop(first, look)] - p
    cross = cross2(came, goes)
    return np.asarray(np.abs(np.arctan2(cross, np.sum(came * goes, axis=1))))


def _length(v: FloatArray) -> FloatArray:
    return np.asarray(np.hypot(v[:, 0], v[:, 1]))


def simplify(points: FloatArray, first: IntArray, scale: FloatArray) -> IntArray:
    """Choose the points of closed polylines that are needed to keep within tolerance.

    Splitting at the farthest point, all segments of all loops at once (Ramer 1972,
    Douglas and Peucker 1973).

    Parameters
    ----------
    points : (n, 3) float64
        x, y and z; loops one after another.
    first : (k + 1,) int64
        Loop starts.
    scale : (2,) float64
        Allowed distance in the plane, and in z.

    Returns
    -------
    chosen : (m,) int64
        Indices into `points`, ascending; at least three of each loop.
    """
    start = first[:-1]
    sizes = np.diff(first)
    third = [start + sizes * k // 3 for k in range(3)]
    chosen = np.unique(np.concatenate(third))
    loop_of = np.repeat(np.arange(len(start)), sizes)
    while True:
        ends = np.roll(chosen, -1)
        last = np.flatnonzero(np.append(np.diff(loop_of[chosen]), 1))
        ends[last] = chosen[np.searchsorted(chosen, start)]
        lengths = np.diff(np.append(chosen, first[-1]))
        a, b = np.repeat(chosen, lengths), np.repeat(ends, lengths)
        off = _deviation(points, a, b, scale)
        worst = np.maximum.reduceat(off, np.concatenate([[0], np.cumsum(lengths)[:-1]]))
        bad = worst > 1.0
        if not np.any(bad):
            return np.asarray(chosen)
        hit = np.flatnonzero((off == np.repeat(worst, lengths)) & np.repeat(bad, lengths))
        _, one = np.unique(a[hit], return_index=True)
        chosen = np.unique(np.concatenate([chosen, chosen[0] + hit[one]]))


def _deviation(points: FloatArray, a: IntArray, b: IntArray, scale: FloatArray) -> FloatArray:
    """Return how far each point lies from its chord a–b, in tolerances."""
    chord = points[b] - points[a]
    gap = points - points[a]
    square = np.maximum(chord[:, 0] ** 2 + chord[:, 1] ** 2, 1e-30)
    t = np.clip((gap[:, 0] * chord[:, 0] + gap[:, 1] * chord[:, 1]) / square, 0.0, 1.0)
    miss = gap - t[:, None] * chord
    off = np.maximum(_length(miss[:, :2]) / scale[0], np.abs(miss[:, 2]) / scale[1])
    return np.asarray(off)
