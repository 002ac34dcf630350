"""The outermost pixels of a depth map, as a modeller would finish them.

Where a form turns away steeply at its outline, the last pixels see it as high as chance has
put their centres nearer to the edge or farther from it: along the outline they alternate, and
a relief made from them has a milled fringe. There the surface is carried on from inside
instead. The depth map itself (`raster.top_surface`) is exact; this treats what sampling it
does to an outline, so all lengths are in pixels.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ....geometry.masks import grown
from ....geometry.types import BoolArray, FloatArray, IntArray

FALL = 0.5
"""Pixels by which an outermost pixel may lie lower than the surface carried on to it."""

ALIKE = 4.0
"""Pixels that heights carried on from different sides may differ by and be one surface."""

BEND = 2.5
"""How many times its slope before a surface may fall towards its outline, and"""

BEND_MORE = 1.0
"""how much besides. Steeper than that it is another surface, and the slope is not carried on."""

FLATTENING = 0.7
"""What is left of a slope from pixel to pixel beyond a surface's own outline."""

JUMP = 6.0
"""Pixels that a depth lies from the surfaces on both sides to belong to neither."""

ABOUT = 4
"""Pixels to all sides of a flank too wide to be an accident of sampling that stay as seen."""

SMOOTH = 0.2
"""Share of a jump that the surfaces on its sides may change by from pixel to pixel."""

REACH = 8
"""Pixels to all sides by which an outline is judged, and by which it is moved at most."""

FAIR = 0.515
"""Share of what is in reach that may be covered; more is a dent, and is filled."""

HOLLOW = 0.62
"""Share of what is two to three times as far that may be covered; more is a true notch."""

_PAD = 12
_CELL = 12
_FRONT = 1e9  # above everything


def correct(smooth: FloatArray, facets: FloatArray, pixel: float) -> FloatArray:
    """Return a depth map with a clean fringe that shows all of the model.

    Nothing of the model's silhouette is lost to smoothing, and nothing is added to its box.

    Parameters
    ----------
    smooth, facets : (rows, cols) float64
        Depth of the smoothed model and of the model as it is, mm; −inf where nothing is seen.
    pixel : float
        mm.

    Returns
    -------
    heights : (rows, cols) float64
        As `smooth`, but for up to two pixels inside its outline, which are raised where they
        lie lower than the surface carried on from farther inside; carried on beyond it to
        what is seen of `facets`; −inf outside.
    """
    seen = np.isfinite(facets)
    rows, cols = np.flatnonzero(seen.any(axis=1)), np.flatnonzero(seen.any(axis=0))
    if not len(rows):
        return facets
    box = np.s_[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
    outer = np.full((seen[box].shape[0] + 2 * _PAD, seen[box].shape[1] + 2 * _PAD), -np.inf)
    wide = outer.shape[1]
    outer[_PAD:-_PAD, _PAD:-_PAD] = smooth[box]
    there = np.isfinite(outer)
    value = np.where(there, outer, np.nan).ravel() / pixel
    _settle_half_way(value, wide)
    value = _raise_fringe(value, there)
    whole = np.pad(seen[box], _PAD) | there
    nubs = whole & ~grown(there)
    if nubs.any():
        whole = _fair_silhouette(whole, nubs)
    lost = np.flatnonzero(whole & ~there)
    if len(lost):
        least = np.pad(facets[box], _PAD, constant_values=-np.inf).ravel() / pixel
        _carry_out(value, lost, least, wide)
    out = np.full(smooth.shape, -np.inf)
    inner = value.reshape(outer.shape)[_PAD:-_PAD, _PAD:-_PAD] * pixel
    out[box] = np.where(np.isnan(inner), -np.inf, inner)
    return out


def _raise_fringe(value: FloatArray, there: BoolArray) -> FloatArray:
    """Return the map with its outermost pixels raised to the surface carried on from inside."""
    wide = there.shape[1]
    core = _core(there)
    frayed = _stout(core, there) & ~core
    frayed.ravel()[_on_flanks(value, core, wide)] = False
    fringe = np.flatnonzero(frayed)
    raised = np.where(core.ravel(), value, np.nan)
    for ring, height in _layers(raised, fringe, value[fringe], wide, 1.0):
        raised[ring] = np.fmax(value[ring], height - FALL)
    return np.where(np.isnan(raised), value, raised)


def _carry_out(value: FloatArray, lost: IntArray, least: FloatArray, wide: int) -> None:
    """Carry the surface on to pixels that it falls short of, in place.

    Never higher than the facets stand about there, nor lower than the lowest place; what it
    is nowhere near keeps the depth of the facets.
    """
    reach = np.arange(-2, 3)
    cap = least[lost[:, None] + (reach[:, None] * wide + reach).ravel()].max(axis=1)
    cap[np.isneginf(cap)] = _FRONT
    level = np.full(len(value), np.inf)
    level[lost] = cap
    lowest = np.fmin.reduce(value)
    for ring, height in _layers(value, lost, cap, wide, FLATTENING):
        value[ring] = np.clip(height, lowest, level[ring])
    away = lost[np.isnan(value[lost])]
    value[away] = np.where(np.isfinite(least[away]), least[away], np.nan)


def _core(mask: BoolArray) -> BoolArray:
    """Return the pixels more than two from the outline."""
    return ~_grown_twice(~mask)


def _on_flanks(value: FloatArray, core: BoolArray, wide: int) -> IntArray:
    """Return pixels round places where a flank is wide enough to reach the core.

    It is seen as a flank there, and the surface at its top cannot be carried on.
    """
    ways = np.array([-1, 1, -wide, wide, -wide - 1, wide + 1, 1 - wide, wide - 1])[:, None]
    rim = np.flatnonzero(core & grown(~core))
    here, one, two = (value[rim + k * ways] for k in (0, 1, 2))
    rise = one - here
    ends = (rise > JUMP) & (rise > BEND * np.abs(two - one) + BEND_MORE)
    flank = rim[(ends & ~core.ravel()[rim - ways]).any(axis=0)]
    reach = np.arange(-ABOUT, ABOUT + 1)
    return np.asarray((flank[:, None] + (reach[:, None] * wide + reach).ravel()).ravel())


def _stout(core: BoolArray, mask: BoolArray) -> BoolArray:
    """Return the mask without what is too thin to have an inside, but with its sharp corners.

    Corners reach up to two pixels beyond what is near the core, bars farther.
    """
    stout = _grown_twice(core) & mask
    rest = mask & ~stout
    near = grown(grown(stout))
    tips = rest & near
    if tips.any():
        tips &= ~grown(grown(rest & ~near))
    return stout | tips


def _grown_twice(mask: BoolArray) -> BoolArray:
    """Return the mask with what is less than about two and a half pixels from it."""
    cross = mask.copy()
    cross[1:] |= mask[:-1]
    cross[:-1] |= mask[1:]
    cross[:, 1:] |= mask[:, :-1]
    cross[:, :-1] |= mask[:, 1:]
    return grown(cross)


def _layers(
    value: FloatArray, todo: IntArray, near: FloatArray, wide: int, keep: float
) -> Iterator[tuple[IntArray, FloatArray]]:
    """Yield pixels beside known ones and the heights that are carried on to them.

    Parameters
    ----------
    value : (n,) float64
        Flat map, pixels; NaN where not known. The caller fills in what it makes of a layer
        before it asks for the next.
    todo : (k,) int
        Pixels to reach.
    near : (k,) float64
        Where surfaces lie beside each other, that which is nearest to this goes on.
    wide : int
        Columns of the map.
    keep : float
        Share of the slope that is carried on.
    """
    ways = np.array([-1, 1, -wide, wide, -wide - 1, wide + 1, 1 - wide, wide - 1])
    layer = np.full(len(value), np.nan)
    while len(todo):
        first = value[todo + ways[:, None]]
        ready = ~np.isnan(first).all(axis=0)
        ring = todo[ready]
        if not len(ring):
            return
        first = first[:, ready]
        height = _nearest_mean(first + keep * _slope(value, ring, first, ways), near[ready])
        for _ in range(2):  # along the outline
            layer[ring] = height
            beside = layer[ring + ways[:, None]] - height
            beside = beside[::2] + beside[1::2]  # on both sides, so that slopes stay
            beside[~(np.abs(beside) <= ALIKE)] = 0.0
            height = height + 0.25 * beside.sum(axis=0)
        layer[ring] = np.nan
        yield ring, height
        todo, near = todo[~ready], near[~ready]


def _settle_half_way(value: FloatArray, wide: int) -> None:
    """Give single pixels half-way down a jump to the surface on its nearer side, in place.

    A flank narrower than a pixel is seen by some pixel centres and missed by others.
    """
    steep = np.zeros(len(value), dtype=bool)
    for step in (1, wide):
        high = np.abs(value[step:] - value[:-step]) > JUMP
        steep[step:-step] |= high[step:] & high[:-step]  # here and just before
    at = np.flatnonzero(steep)
    best, new = np.zeros(len(at)), value[at]
    for way in (1, wide, wide + 1, wide - 1):
        a, a2, a3 = (value[at + k * way] for k in (1, 2, 3))
        b, b2, b3 = (value[at - k * way] for k in (1, 2, 3))
        jump = np.abs(a - b)
        good = np.maximum(np.abs(a - a2), np.abs(b - b2)) <= SMOOTH * jump
        up, down = a + _run(a, a2, a3), b + _run(b, b2, b3)
        here = value[at]
        to_up, to_down = up - here, here - down
        good &= (to_up * to_down > 0) & (np.minimum(np.abs(to_up), np.abs(to_down)) > JUMP)
        good &= jump > best
        side = np.where(np.abs(to_up) < np.abs(to_down), up, down)
        new[good], best[good] = side[good], jump[good]
    value[at] = new
    around = np.array([-1, 1, -wide, wide, -wide - 1, wide + 1, 1 - wide, wide - 1])
    low = value[at + around[:, None]].min(axis=0)  # cracks between forms that touch
    pit = low - new > JUMP
    value[at[pit]] = low[pit]


def _fair_silhouette(mask: BoolArray, nubs: BoolArray) -> BoolArray:
    """Return the mask with the dents beside nubs filled, so that its outline runs on evenly.

    Where the corners of a coarse model stand out beyond its smooth outline, the line is
    drawn through them: it moves outward, pixel by pixel, where it is hollow.

    Parameters
    ----------
    mask : (rows, cols) bool
        With `_PAD` empty pixels on every side, which stay so.
    nubs : (rows, cols) bool
        Pixels of it that stand out.
    """
    rows, cols = mask.shape
    near = np.zeros((rows // _CELL + 3, cols // _CELL + 3), dtype=bool)
    r, c = np.nonzero(nubs)
    for down in (0, 1, 2):
        for right in (0, 1, 2):
            near[r // _CELL + down, c // _CELL + right] = True
    wide = near[1:-1, 1:-1].repeat(_CELL, axis=0).repeat(_CELL, axis=1)[:rows, :cols]
    free = np.zeros(mask.shape, dtype=bool)
    inside = np.s_[_PAD:-_PAD, _PAD:-_PAD]
    free[inside] = wide[inside] & ~mask[inside]
    out = mask.copy()
    flat = out.ravel()
    todo = np.flatnonzero(free)
    reach = np.arange(-REACH, REACH + 1)
    dr, dc = np.nonzero(np.hypot(reach[:, None], reach) <= REACH + 0.5)
    dr, dc = reach[dr], reach[dc]
    for _ in range(REACH):
        at = todo[flat[todo - 1] | flat[todo + 1] | flat[todo - cols] | flat[todo + cols]]
        covered = flat[at[:, None] + (dr * cols + dc)].astype(np.float32)
        at = at[covered.sum(axis=1) > FAIR * len(dr)]
        at = at[_open(mask, at)]
        if not len(at):
            break
        flat[at] = True
        todo = todo[~flat[todo]]
    return out


def _open(mask: BoolArray, at: IntArray) -> BoolArray:
    """Tell which pixels lie at an outline that is not hollow when looked at from farther away.

    Notches and gaps between limbs are the model's own and stay.
    """
    rows, cols = mask.shape
    r, c = np.divmod(at, cols)
    angle = np.linspace(0.0, 2 * np.pi, 32, endpoint=False)
    far = REACH * np.array([2.0, 2.5, 3.0])[:, None]
    up = r[:, None] + np.rint(far * np.sin(angle)).astype(np.int64).ravel()
    right = c[:, None] + np.rint(far * np.cos(angle)).astype(np.int64).ravel()
    covered = mask[np.clip(up, 0, rows - 1), np.clip(right, 0, cols - 1)]  # the border is empty
    return np.asarray(covered.mean(axis=1) < HOLLOW)


def _run(first: FloatArray, second: FloatArray, third: FloatArray) -> FloatArray:
    """Return how a surface goes on from three pixels in a line, no steeper than it was."""
    return np.asarray(np.nan_to_num(np.clip(first - second, *_span(second - third))))


def _span(step: FloatArray) -> tuple[FloatArray, FloatArray]:
    most = BEND * np.nan_to_num(np.abs(step)) + BEND_MORE
    return -most, most


def _slope(value: FloatArray, ring: IntArray, first: FloatArray, ways: IntArray) -> FloatArray:
    """Return by how much the surface goes on rising from the neighbours (8, k) of pixels."""
    second = value[ring + 2 * ways[:, None]]
    third = value[ring + 3 * ways[:, None]]
    return np.minimum(_run(first, second, third), 1.0)


def _nearest_mean(heights: FloatArray, near: FloatArray) -> FloatArray:
    """Return the mean of those heights (8, k), some NaN, that are of the surface nearest."""
    off = np.abs(heights - near)
    best = np.nanargmin(off, axis=0)
    chosen = np.take_along_axis(heights, best[None], axis=0)
    alike = np.abs(heights - chosen) <= ALIKE
    return np.asarray(np.where(alike, heights, 0.0).sum(axis=0) / np.count_nonzero(alike, axis=0))
