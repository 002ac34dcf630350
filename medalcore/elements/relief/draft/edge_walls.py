"""The flanks of strong inner edges, between two smooth lines.

The surface gets corners on the edges (`step_edges`), and where their flanks, which fall at the
slope of the draft, meet the low side; instead of on the pixels, which would make stairs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ....geometry.arrays import ragged
from ....geometry.constraint_lines import Lines, joined
from ....geometry.draft import Draft
from ....geometry.grid import HeightField
from ....geometry.silhouette import next_in_loop
from ....geometry.step_edges import TRUE, StepEdges, simplify_lines, smooth_along
from ....geometry.types import BoolArray, Float32Array, FloatArray, IntArray

_APART = 0.8  # pixels between corners along a line
_WIDTH = 0.35  # pixels that the flank of an edge is at least wide
_STRIDE = 0.25  # pixels between places where a flank is held against the low side
_FAR = 60.0  # pixels that flanks are followed
_WELL = 0.03  # of the width of flanks, by which the line of their feet may differ
_HIDDEN = 0.1  # pixels by which a corner of a flank may lie within others'


@dataclass(frozen=True, eq=False)
class WallConstraints:
    """Lines to put into the surface, and pixels it need not pass through.

    Attributes
    ----------
    lines : Lines
        z in mm above the field.
    released : (k,) int64
        Flat indices of pixels beside the lines.
    """

    lines: Lines
    released: IntArray


def constrain_walls(
    found: StepEdges,
    before: HeightField,
    after: HeightField,
    draft: float,
    rim: Lines | None = None,
) -> WallConstraints:
    """Give inner edges their flanks.

    Parameters
    ----------
    found : StepEdges
    before, after : HeightField
        The field without and with draft, mm.
    draft : float
        Lean of the flanks from upright, radians.
    rim : Lines, optional
        The outline, z in mm above the field.
    """
    if len(found.line) == 0:
        return WallConstraints(found.tops, found.kept)
    pixel = before.grid.pixel
    out = _outward(found.line, found.first, found.ends)
    pixels_per_mm = max(Draft(draft).run_per_rise, 1e-6) / pixel  # pixels out for each mm down
    width = _widths(found, out, before, pixels_per_mm)
    width = np.maximum(smooth_along(width, found.first, found.ends), _WIDTH)
    foot = np.where(
        width > _WIDTH, found.top - width / pixels_per_mm, np.minimum(found.foot, found.top)
    )
    beside = found.line + width[:, None] * out
    high = _visible(
        found, found.line, found.top, found.kept, found.edges, after, rim, pixels_per_mm
    )
    true = np.clip(_WELL * np.median(width), *TRUE)
    scale = np.array([true, true / pixels_per_mm])
    kept, edges = simplify_lines(np.column_stack([beside, foot]), found.first, found.closed, scale)
    low = _visible(found, beside, foot, kept, edges, after, rim, pixels_per_mm)
    both = np.column_stack([found.line, found.top, beside, foot])
    even = _resample(both, found.first)
    return WallConstraints(
        joined(high, low),
        np.unique(np.concatenate([found.high, found.low, _between(even, after.grid.shape)])),
    )


def _visible(
    found: StepEdges,
    points: FloatArray,
    z: FloatArray,
    kept: IntArray,
    edges: IntArray,
    field: HeightField,
    rim: Lines | None,
    pixels_per_mm: float,
) -> Lines:
    """Return what is to be seen of lines, brought to where slopes allow.

    Hidden is what runs within the walls of others.
    """
    drop_per_pixel = 1.0 / pixels_per_mm
    tops, high = found.line, found.top
    if rim is not None:
        tops, high = np.concatenate([tops, rim.points]), np.concatenate([high, rim.z])
    beside = field.mask.copy()  # a line may run through pixels of its own, which it stands for
    beside.ravel()[np.concatenate([found.high, found.low])] = False
    z = np.minimum(z, -envelope(points, beside, -field.heights, drop_per_pixel))
    least = np.maximum(
        envelope(points, beside, field.heights, drop_per_pixel),
        highest_under(points, tops, high, drop_per_pixel),
    )
    within = least > z + _HIDDEN * drop_per_pixel
    hidden = np.concatenate([[0], np.cumsum(within)])
    one, two = kept[edges[:, 0]], kept[edges[:, 1]]
    line = np.searchsorted(found.first, one, side="right")
    wraps = two < one
    many = hidden[two + 1] - hidden[one]
    begin, end = found.first[line - 1], found.first[line]
    round_end = hidden[end] - hidden[one] + hidden[two + 1] - hidden[begin]
    clear = np.where(wraps, round_end, many) == 0
    some = ~within[kept]
    name = np.cumsum(some) - 1
    own = kept[some]
    return Lines(points[own], np.maximum(z, least)[own], name[edges[clear]])


def highest_under(
    at: FloatArray, tops: FloatArray, z: FloatArray, drop_per_pixel: float
) -> FloatArray:
    """Return how high places stand at least under the walls from points that are near.

    Parameters
    ----------
    at : (n, 2) float64
        Pixels.
    tops : (m, 2) float64
    z : (m,) float64
        Of those, mm.
    drop_per_pixel : float
        mm in a pixel.

    Returns
    -------
    least : (n,) float64
        mm; −inf where no point is within about two pixels.
    """
    cell = np.rint(tops).astype(np.int64) * [1, 1 << 32]
    cell = cell[:, 0] + cell[:, 1]
    order = np.argsort(cell, kind="stable")
    cell, tops, z = cell[order], tops[order], z[order]
    here = np.rint(at).astype(np.int64)
    least = np.full(len(at), -np.inf)
    for right in (-2, -1, 0, 1, 2):
        for up in (-2, -1, 0, 1, 2):
            own = here[:, 0] + right + (here[:, 1] + up) * (1 << 32)
            start, stop = (np.searchsorted(cell, own, side) for side in ("left", "right"))
            for k in range(int((stop - start).max(initial=0))):
                some = np.flatnonzero(start + k < stop)
                p = start[some] + k
                away = np.hypot(*(tops[p] - at[some]).T)
                least[some] = np.maximum(least[some], z[p] - drop_per_pixel * away)
    return least


def _widths(
    found: StepEdges, out: FloatArray, before: HeightField, pixels_per_mm: float
) -> FloatArray:
    """Return how wide flanks are until they meet the low side, pixels."""
    rise = found.top - found.foot
    middle = found.foot + 0.5 * rise
    far = min(float(rise.max()) * pixels_per_mm * 1.5 + 2.0, _FAR)
    width = np.full(len(rise), np.nan)
    last = rise.copy()
    for r in np.arange(_STRIDE, far + _STRIDE, _STRIDE):
        todo = np.flatnonzero(np.isnan(width))
        if len(todo) == 0:
            break
        low = _low_side(before, found.line[todo] + r * out[todo], middle[todo])
        low = np.where(np.isnan(low), found.foot[todo], low)
        over = found.top[todo] - r / pixels_per_mm - low
        met = over <= 0.0
        share = last[todo] / np.maximum(last[todo] - over, 1e-12)
        width[todo[met]] = (r - _STRIDE + _STRIDE * share)[met]
        last[todo] = over
    return np.where(np.isnan(width), rise * pixels_per_mm, width)


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
    at: FloatArray, mask: BoolArray, heights: Float32Array, drop_per_pixel: float
) -> FloatArray:
    """Return how high places stand at least, as slopes from the pixels about them fall no faster.

    Parameters
    ----------
    at : (n, 2) float64
        Pixels.
    mask : (rows, cols) bool
    heights : (rows, cols) float32
        mm.
    drop_per_pixel : float
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
            low = np.where(mask[rr, cc], heights[rr, cc] - drop_per_pixel * away, -np.inf)
            least = np.maximum(least, low)
    return least


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


def _outward(line: FloatArray, first: IntArray, ends: BoolArray) -> FloatArray:
    """Return unit normals towards the low side, the right of the line."""
    nxt, prv = next_in_loop(first, 2), next_in_loop(first, -2)
    here = np.arange(len(line))
    near_end = ends | ends[next_in_loop(first)] | ends[next_in_loop(first, -1)]
    one = np.where(near_end, next_in_loop(first), nxt)
    two = np.where(near_end, next_in_loop(first, -1), prv)
    one = np.where(ends & (one < here), here, one)
    two = np.where(ends & (two > here), here, two)
    way = line[one] - line[two]
    way /= np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)[:, None]
    return np.stack([way[:, 1], -way[:, 0]], axis=1)


def _resample(values: FloatArray, first: IntArray) -> FloatArray:
    """Resample lines (x and y in the first columns) evenly, about `_APART` between points."""
    run = np.hypot(*np.diff(values[:, :2], axis=0, prepend=values[:1, :2]).T)
    run[first[:-1]] = 1.0  # keeps the lines apart
    place = np.cumsum(np.maximum(run, 1e-9))
    begin, end = place[first[:-1]], place[first[1:] - 1]
    count = np.maximum(np.rint((end - begin) / _APART), 1).astype(np.int64) + 1
    line, step = ragged(count)
    at = begin[line] + step * ((end - begin) / (count - 1))[line]
    return np.column_stack([np.interp(at, place, column) for column in values.T])
