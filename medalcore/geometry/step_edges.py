"""Strong inner edges as smooth lines.

Where one form stands before another, the field jumps from one pixel to the next, and the
jump runs in stairs along the grid. Like the outline (`silhouette`), each crossed grid
edge leaves open where between its two pixels the true edge passes; the smoothest line
through all of them is taken.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .constraint_lines import Lines
from .draft import Draft
from .grid import HeightField
from .silhouette import fair_boundary, next_in_loop, simplify
from .types import BoolArray, ByteArray, Float32Array, FloatArray, IntArray

_RISE = 0.3  # rise over run of a jump from which its stairs show
_SEEN = 3.0  # tolerances that a jump is high at least
_ALONE = 0.6  # of a jump: what the field may change by just before and after it
_FAINT = (0.5, 0.9)  # of the rise, and alone: a line may run on through fainter jumps
_STRONG = 0.4  # share of a line that must not be faint
_SHORT = 12  # crossings: shorter lines are texture
TRUE = (0.02, 0.05)  # pixels by which a line drawn with few points may differ


@dataclass(frozen=True, eq=False)
class StepEdges:
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

    @property
    def tops(self) -> Lines:
        """Return the lines, drawn with few points, at the height of their high side."""
        return Lines(self.line[self.kept], self.top[self.kept], self.edges)


def find_step_edges(
    field: HeightField, inner: BoolArray, draft: float, tolerance: float
) -> StepEdges:
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
    found = StepEdges(
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
    line = fair_boundary(a, b - a, first, ends)
    flat = field.heights.ravel().astype(np.float64)
    top, foot = smooth_along(flat[high], first, ends), smooth_along(flat[low], first, ends)
    # across a flank, which falls by its slope, what a line is off counts as height
    drop_per_pixel = field.grid.pixel / max(Draft(draft).run_per_rise, 1e-3)
    scale = np.array([np.clip(tolerance / drop_per_pixel, *TRUE), tolerance])
    kept, edges = simplify_lines(np.column_stack([line, top]), first, closed, scale)
    return replace(found, line=line, top=top, foot=foot, kept=kept, edges=edges)


def simplify_lines(
    line: FloatArray, first: IntArray, closed: BoolArray, scale: FloatArray
) -> tuple[IntArray, IntArray]:
    """Choose the crossings that draw lines truly; return them and their edges."""
    kept = np.union1d(simplify(line, first, scale), np.concatenate([first[:-1], first[1:] - 1]))
    start = np.searchsorted(kept, first)
    here = np.arange(len(kept))
    edges = np.stack([here, next_in_loop(start)], axis=1)
    wraps = start[1:] - 1
    return kept, np.delete(edges, wraps[~closed], axis=0)


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
    p: IntArray,
    d: IntArray,
    high: IntArray,
    size: Float32Array,
    shape: tuple[int, int],
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
    level, upright = number[1], number[cols]
    side = np.stack([level[cell + cols], upright[cell + 1], level[cell], upright[cell]], axis=1)
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


def _isolated(h: Float32Array, inner: BoolArray, level: float) -> ByteArray:
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


def _onward(step: Float32Array, jump: Float32Array) -> Float32Array:
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
    return (
        np.array(order, dtype=np.int64),
        np.array(first),
        np.array(closed, dtype=bool),
    )


def smooth_along(value: FloatArray, first: IntArray, ends: BoolArray) -> FloatArray:
    """Even values along the lines over about two pixels; ends keep theirs."""
    nxt, prv = next_in_loop(first), next_in_loop(first, -1)
    for _ in range(6):
        value = np.where(ends, value, 0.25 * (value[prv] + 2.0 * value + value[nxt]))
    return value
