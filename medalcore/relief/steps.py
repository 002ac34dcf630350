"""Strong inner edges as smooth lines.

Where one form stands before another, the field jumps from one pixel to the next, and the
jump runs in stairs along the grid. Like the outline (`outline.silhouette`), each crossed grid
edge leaves open where between its two pixels the true edge passes; the smoothest line
through all of them is taken. The surface then gets corners on it, high ones on the line and
low ones beside it, instead of on the pixels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..grid import HeightField
from .outline import following, slid, thinned

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_RISE = 0.3  # rise over run of a jump from which its stairs show
_SEEN = 3.0  # tolerances that a jump is high at least
_ALONE = 0.6  # of a jump: what the field may change by just before and after it
_FAINT = (0.5, 0.9)  # of the rise, and alone: a line may run on through fainter jumps
_STRONG = 0.4  # share of a line that must not be faint
_SHORT = 12  # crossings: shorter lines are texture
_APART = 0.8  # pixels between corners along a line
_TRUE = (0.02, 0.05)  # pixels by which a line drawn with few points may differ
_WIDTH = 0.35  # pixels that the flank of an edge is at least wide
_STRIDE = 0.25  # pixels between places where a flank is held against the low side
_FAR = 60.0  # pixels that flanks are followed
_HIDDEN = 0.3  # pixels that a corner of a flank may lie below others' flanks


@dataclass(frozen=True, eq=False)
class Cliffs:
    """Lines along which a field jumps, high side on the left; points one line after another.

    Attributes
    ----------
    high, low : (n,) int64
        Flat indices of the pixels between which each point lies.
    line : (n, 2) float64
        x = column, y = −row, pixels.
    top, foot : (n,) float64
        Heights of the field on both sides, evened along the lines, mm.
    first : (k + 1,) int64
        Where each line starts, and the end.
    closed : (k,) bool
    kept : (m,) int64
        Points that draw the lines truly.
    edges : (l, 2) int64
        Those that follow one another, as indices into `kept`.
    """

    high: IntArray
    low: IntArray
    line: FloatArray
    top: FloatArray
    foot: FloatArray
    first: IntArray
    closed: BoolArray
    kept: IntArray
    edges: IntArray

    @property
    def ends(self) -> BoolArray:
        """Tell which points are ends of lines that do not close, (n,)."""
        ends = np.zeros(len(self.line), dtype=bool)
        ends[self.first[:-1][~self.closed]] = True
        ends[self.first[1:][~self.closed] - 1] = True
        return ends


def cliffs(field: HeightField, inner: BoolArray, draft: float, tolerance: float) -> Cliffs:
    """Find the strong inner edges of a field.

    Parameters
    ----------
    field : HeightField
        mm.
    inner : (rows, cols) bool
        Pixels far enough from the outline.
    draft : float
        Least lean of the edges' flanks from upright, radians.
    tolerance : float
        Allowed deviation of the lines in z, mm.
    """
    level = max(_RISE * field.grid.pixel, _SEEN * tolerance)
    high, low, start, stop, strong = _jumps(field, inner, level)
    order, first, closed = _chains(start, stop, strong)
    none = np.zeros(0, dtype=np.int64)
    found = Cliffs(
        none, none, np.zeros((0, 2)), np.zeros(0), np.zeros(0), np.zeros(1, dtype=np.int64),
        np.zeros(0, dtype=bool), none, np.zeros((0, 2), dtype=np.int64),
    )  # fmt: skip
    if len(order) == 0:
        return found
    high, low = high[order], low[order]
    cols = field.grid.cols
    a, b = _place(high, cols), _place(low, cols)
    found = replace(found, high=high, low=low, first=first, closed=closed)
    found = replace(found, line=np.zeros((len(order), 2)))
    ends = found.ends
    line = slid(a, b - a, first, ends)
    flat = field.heights.ravel().astype(np.float64)
    top, foot = _evened(flat[high], first, ends), _evened(flat[low], first, ends)
    # across a flank, which falls by its slope, what a line is off counts as height
    fall = field.grid.pixel / max(math.tan(draft), 1e-3)
    scale = np.array([np.clip(tolerance / fall, *_TRUE), tolerance])
    kept, edges = _needed(np.column_stack([line, top]), first, closed, scale)
    return replace(found, line=line, top=top, foot=foot, kept=kept, edges=edges)


@dataclass(frozen=True, eq=False)
class Steps:
    """Lines to put into the surface, and pixels it need not pass through.

    Attributes
    ----------
    points : (n, 2) float64
        x = column, y = −row, pixels.
    height : (n,) float64
        Above the field, mm.
    edges : (m, 2) int64
        Points that follow one another.
    released : (k,) int64
        Flat indices of pixels beside the lines.
    """

    points: FloatArray
    height: FloatArray
    edges: IntArray
    released: IntArray


def steps(found: Cliffs, before: HeightField, after: HeightField, draft: float) -> Steps:
    """Give inner edges their flanks.

    Parameters
    ----------
    found : Cliffs
    before, after : HeightField
        The field without and with draft, mm.
    draft : float
        Lean of the flanks from upright, radians.
    """
    if len(found.line) == 0:
        none = np.zeros((0, 2))
        return Steps(none, np.zeros(0), none.astype(np.int64), np.zeros(0, dtype=np.int64))
    pixel = before.grid.pixel
    out = _outward(found.line, found.first, found.ends)
    lean = max(math.tan(draft), 1e-6) / pixel  # pixels out for each mm down
    width = _widths(found, out, before, lean)
    width = np.maximum(_evened(width, found.first, found.ends), _WIDTH)
    foot = np.where(width > _WIDTH, found.top - width / lean, np.minimum(found.foot, found.top))
    beside = found.line + width[:, None] * out
    both = np.column_stack([found.line, found.top, beside, foot])
    k = found.kept
    points = np.concatenate([both[k, :2], both[k, 3:5]])
    height = np.concatenate([both[k, 2], both[k, 5]])
    edges = np.concatenate([found.edges, found.edges + len(k)])
    raised = envelope(points, after.mask, after.heights, 1.0 / lean)
    good = raised <= height + _HIDDEN * pixel
    height = np.maximum(height, raised)
    name = np.cumsum(good) - 1
    edges = name[edges[np.all(good[edges], axis=1)]]
    even = _spaced(both, found.first)
    return Steps(
        points[good],
        height[good],
        edges,
        np.unique(np.concatenate([found.high, found.low, _between(even, after.grid.shape)])),
    )


def _widths(found: Cliffs, out: FloatArray, before: HeightField, lean: float) -> FloatArray:
    """Return how wide flanks are until they meet the low side, pixels."""
    rise = found.top - found.foot
    middle = found.foot + 0.5 * rise
    far = min(float(rise.max()) * lean * 1.5 + 2.0, _FAR)
    width = np.full(len(rise), np.nan)
    last = rise.copy()
    for r in np.arange(_STRIDE, far + _STRIDE, _STRIDE):
        todo = np.flatnonzero(np.isnan(width))
        if len(todo) == 0:
            break
        low = _low_side(before, found.line[todo] + r * out[todo], middle[todo])
        low = np.where(np.isnan(low), found.foot[todo], low)
        over = found.top[todo] - r / lean - low
        met = over <= 0.0
        share = last[todo] / np.maximum(last[todo] - over, 1e-12)
        width[todo[met]] = (r - _STRIDE + _STRIDE * share)[met]
        last[todo] = over
    return np.where(np.isnan(width), rise * lean, width)


def _low_side(field: HeightField, at: FloatArray, below: FloatArray) -> FloatArray:
    """Read a field between its pixels, only those that lie lower than a height; NaN if none."""
    rows, cols = field.heights.shape
    x, y = np.clip(at[:, 0], 0, cols - 1.001), np.clip(-at[:, 1], 0, rows - 1.001)
    c, r = x.astype(np.int64), y.astype(np.int64)
    flat, inside = field.heights.ravel(), field.mask.ravel()
    total, weight = np.zeros(len(at)), np.zeros(len(at))
    for dr in (0, 1):
        for dc in (0, 1):
            q = (r + dr) * cols + c + dc
            w = np.abs(1 - dr - (y - r)) * np.abs(1 - dc - (x - c))
            w = w * (inside[q] & (flat[q] < below))
            total += w * flat[q]
            weight += w
    return np.where(weight > 0.05, total / np.maximum(weight, 1e-9), np.nan)


def envelope(
    at: FloatArray, mask: BoolArray, heights: NDArray[np.float32], fall: float
) -> FloatArray:
    """Return how high places stand at least, as slopes from the pixels about them fall no faster.

    Parameters
    ----------
    at : (n, 2) float64
        Pixels.
    mask : (rows, cols) bool
    heights : (rows, cols) float32
        mm.
    fall : float
        mm in a pixel.

    Returns
    -------
    least : (n,) float64
        mm; −inf where no pixel is near.
    """
    rows, cols = mask.shape
    c, r = np.rint(at[:, 0]).astype(np.int64), np.rint(-at[:, 1]).astype(np.int64)
    least = np.full(len(at), -np.inf)
    for dr in range(-2, 3):
        for dc in range(-2, 3):
            rr, cc = np.clip(r + dr, 0, rows - 1), np.clip(c + dc, 0, cols - 1)
            away = np.hypot(cc - at[:, 0], rr + at[:, 1])
            low = np.where(mask[rr, cc], heights[rr, cc] - fall * away, -np.inf)
            least = np.maximum(least, low)
    return least


def _needed(
    line: FloatArray, first: IntArray, closed: BoolArray, scale: FloatArray
) -> tuple[IntArray, IntArray]:
    """Choose the crossings that draw lines truly; return them and their edges."""
    kept = np.union1d(thinned(line, first, scale), np.concatenate([first[:-1], first[1:] - 1]))
    start = np.searchsorted(kept, first)
    here = np.arange(len(kept))
    edges = np.stack([here, following(start)], axis=1)
    wraps = start[1:] - 1
    return kept, np.delete(edges, wraps[~closed], axis=0)


def grown(mask: BoolArray) -> BoolArray:
    """Return the mask with its eight neighbours."""
    tall = mask.copy()
    tall[1:] |= mask[:-1]
    tall[:-1] |= mask[1:]
    wide = tall.copy()
    wide[:, 1:] |= tall[:, :-1]
    wide[:, :-1] |= tall[:, 1:]
    return wide


def away_from(mask: BoolArray) -> BoolArray:
    """Return the pixels all of whose eight neighbours are inside."""
    padded = np.pad(~mask, 1, constant_values=True)
    return np.asarray(~grown(padded)[1:-1, 1:-1])


def _between(even: FloatArray, shape: tuple[int, int]) -> IntArray:
    """Return the pixels nearest to places on the flank, and a little beyond its foot."""
    line, beside = even[:, :2], even[:, 3:5]
    way = beside - line
    out = way / np.hypot(way[:, 0], way[:, 1])[:, None]
    narrow = line + np.minimum(0.5, 0.5 * np.hypot(way[:, 0], way[:, 1]))[:, None] * out
    at = np.concatenate([narrow, beside - 0.3 * out, beside + 0.3 * out])
    col = np.clip(np.rint(at[:, 0]).astype(np.int64), 0, shape[1] - 1)
    row = np.clip(np.rint(-at[:, 1]).astype(np.int64), 0, shape[0] - 1)
    return np.asarray(row * shape[1] + col)


def _place(pixel: IntArray, cols: int) -> FloatArray:
    return np.stack([pixel % cols, -(pixel // cols)], axis=1).astype(np.float64)


def _jumps(
    field: HeightField, inner: BoolArray, level: float
) -> tuple[IntArray, IntArray, IntArray, IntArray, BoolArray]:
    """Return high and low pixel of each jump, the jumps that follow one another, and strength.

    The next two are indices into the first two: the line through the jumps runs from
    ``start`` to ``stop`` with the high side on its left. The last marks strong jumps.
    """
    h = field.heights
    rows, cols = h.shape
    jump = {1: _isolated(h, inner, level), cols: _isolated(h.T, inner.T, level).T}
    low_end, step, rise, strong = [], [], [], []
    for across, found in jump.items():
        r, c = np.nonzero(found)
        strong.append(found[r, c] > 1)
        p = r * cols + c
        low_end.append(p)
        step.append(np.full(len(p), across))
        rise.append(h.ravel()[p + across] - h.ravel()[p])
    p, d = np.concatenate(low_end), np.concatenate(step)
    up = np.concatenate(rise) > 0
    high, low = np.where(up, p + d, p), np.where(up, p, p + d)
    size = np.abs(np.concatenate(rise))
    start, stop = _linked(p, d, high, size, (rows, cols))
    return high, low, start, stop, np.concatenate(strong)


def _linked(
    p: IntArray, d: IntArray, high: IntArray, size: NDArray[np.float32], shape: tuple[int, int]
) -> tuple[IntArray, IntArray]:
    """Link jumps across the cells between four pixels; each has one before and one after.

    A jump is known by its first pixel `p`, the way `d` to its second, and its high one.
    """
    rows, cols = shape
    number = {1: np.full(rows * cols, -1), cols: np.full(rows * cols, -1)}
    index = np.arange(len(p))
    for across, table in number.items():
        table[p[d == across]] = index[d == across]
    cell = np.unique(np.concatenate([p, p - np.where(d == 1, cols, 1)]))
    cell = cell[(cell >= 0) & (cell < (rows - 1) * cols)]
    # the four sides of a cell, counter-clockwise from the bottom, each from corner to corner
    corner = np.stack([cell + cols, cell + cols + 1, cell + 1, cell], axis=1)
    side = np.stack(
        [number[1][cell + cols], number[cols][cell + 1], number[1][cell], number[cols][cell]],
        axis=1,
    )
    known = side >= 0
    leaves = known & (high[side] == corner)
    enters = known & ~leaves
    odd = np.flatnonzero(leaves.sum(axis=1) != enters.sum(axis=1))
    for of in (leaves, enters):  # where three levels meet the line follows the greatest jumps
        most = np.argmax(np.where(of[odd], size[side[odd]], -1.0), axis=1)
        of[odd] &= np.arange(4) == most[:, None]
    good = np.any(leaves, axis=1) & np.any(enters, axis=1)
    start, stop = [], []
    for e in range(4):
        go = np.flatnonzero(good & leaves[:, e])
        ring = (e + np.arange(1, 4)) % 4
        back = ring[np.argmax(enters[go][:, ring], axis=1)]
        start.append(side[go, e])
        stop.append(side[go, back])
    return np.concatenate(start), np.concatenate(stop)


def _isolated(h: NDArray[np.float32], inner: BoolArray, level: float) -> NDArray[np.uint8]:
    """Mark pixels from which the field jumps to the next column, and only there.

    1 stands for a faint jump, 2 for a strong one.
    """
    found = np.zeros(h.shape, dtype=np.uint8)
    step = np.diff(h, axis=1)
    middle = step[:, 1:-1]
    beside = np.maximum(_onward(step[:, :-2], middle), _onward(step[:, 2:], middle))
    middle = np.abs(middle)
    both = inner[:, 1:-2] & inner[:, 2:-1]
    faint = (
        both & (middle > np.float32(_FAINT[0] * level)) & (beside < np.float32(_FAINT[1]) * middle)
    )
    strong = (middle > np.float32(level)) & (beside < np.float32(_ALONE) * middle)
    found[:, 1:-2] = faint * (np.uint8(1) + strong)
    return found


def _onward(step: NDArray[np.float32], jump: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return how large steps are beside jumps; a lip that rises towards a jump counts half."""
    size = np.abs(step)
    return np.where(step * jump > 0, size, np.float32(0.5) * size)


def _chains(
    start: IntArray, stop: IntArray, strong: BoolArray
) -> tuple[IntArray, IntArray, BoolArray]:
    """Chain links into lines; return the order, where lines start, and which are closed."""
    after = dict(zip(start.tolist(), stop.tolist(), strict=True))
    heads = np.setdiff1d(start, stop).tolist()
    order: list[int] = []
    first, closed = [0], []
    for i in [*heads, *sorted(after)]:
        line: list[int] = []
        begin = i
        while i in after:
            line.append(i)
            i = after.pop(i)
        if not line:
            continue
        if i != begin:
            line.append(i)
        if len(line) >= _SHORT and np.mean(strong[line]) >= _STRONG:
            order += line
            first.append(len(order))
            closed.append(i == begin)
    return np.array(order, dtype=np.int64), np.array(first), np.array(closed, dtype=bool)


def _evened(value: FloatArray, first: IntArray, ends: BoolArray) -> FloatArray:
    """Even values along the lines over about two pixels; ends keep theirs."""
    nxt, prv = following(first), following(first, -1)
    for _ in range(6):
        value = np.where(ends, value, 0.25 * (value[prv] + 2.0 * value + value[nxt]))
    return value


def _outward(line: FloatArray, first: IntArray, ends: BoolArray) -> FloatArray:
    """Return unit normals towards the low side, the right of the line."""
    nxt, prv = following(first, 2), following(first, -2)
    here = np.arange(len(line))
    near_end = ends | ends[following(first)] | ends[following(first, -1)]
    one = np.where(near_end, following(first), nxt)
    two = np.where(near_end, following(first, -1), prv)
    one = np.where(ends & (one < here), here, one)
    two = np.where(ends & (two > here), here, two)
    way = line[one] - line[two]
    way /= np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)[:, None]
    return np.stack([way[:, 1], -way[:, 0]], axis=1)


def _spaced(values: FloatArray, first: IntArray) -> FloatArray:
    """Resample lines (x and y in the first columns) evenly, about `_APART` between points."""
    run = np.hypot(*np.diff(values[:, :2], axis=0, prepend=values[:1, :2]).T)
    run[first[:-1]] = 1.0  # keeps the lines apart
    place = np.cumsum(np.maximum(run, 1e-9))
    begin, end = place[first[:-1]], place[first[1:] - 1]
    count = np.maximum(np.rint((end - begin) / _APART), 1).astype(np.int64) + 1
    start = np.cumsum(count) - count
    step = np.arange(int(count.sum())) - np.repeat(start, count)
    at = np.repeat(begin, count) + step * np.repeat((end - begin) / (count - 1), count)
    return np.column_stack([np.interp(at, place, column) for column in values.T])
