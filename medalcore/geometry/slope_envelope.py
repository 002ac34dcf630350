"""Walls that fall at one slope from lines and pixels, on a grid."""

from __future__ import annotations

import numpy as np

from .arrays import ragged
from .constraint_lines import Lines
from .types import BoolArray, Float32Array, Int32Array, IntArray

_STEPS = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))
_TINY = 1e-6  # mm: less than this is not worth raising


class _Sources:
    """What walls fall from: stretches of lines, and single pixels, which follow them.

    Places are rows and columns of the padded grid.
    """

    def __init__(
        self, height: Float32Array, front: IntArray, lines: Lines | None, pad: int
    ) -> None:
        wide = height.shape[1]
        self.wide = wide
        r, c = np.divmod(front, wide)
        none = np.zeros(0, dtype=np.int64)
        one, two, spots = none, none, np.zeros((0, 3))
        if lines is not None:
            one, two = lines.edges[:, 0], lines.edges[:, 1]
            spots = np.column_stack([pad - lines.points[:, 1], pad + lines.points[:, 0], lines.z])
        own = np.column_stack([r, c, height.ravel()[front].astype(np.float64)])
        self.start = np.concatenate([spots[one], own])
        self.way = np.concatenate([spots[two] - spots[one], np.zeros_like(own)])
        self.lines = len(one)
        number = np.full(len(spots), -1)
        number[one] = np.arange(len(one))
        self.after = number[two]
        number[:] = -1
        number[two] = np.arange(len(two))
        self.before = number[one]

    def seeds(self) -> tuple[IntArray, IntArray]:
        """Return pixels beside the lines, flat indices, and the stretches they are beside."""
        start, way = self.start[: self.lines], self.way[: self.lines]
        parts = np.ceil(2.0 * np.hypot(way[:, 0], way[:, 1])).astype(np.int64) + 1
        owner, step = ragged(parts)
        share = (step / np.maximum(parts - 1, 1)[owner])[:, None]
        at = np.rint(start[owner, :2] + share * way[owner, :2]).astype(np.int64)
        flat = at[:, 0] * self.wide + at[:, 1]
        near = [flat + dr * self.wide + dc for dr, dc in (*_STEPS, (0, 0))]
        return np.concatenate(near), np.tile(owner, len(near))

    def value(self, owner: IntArray, q: IntArray, drop_per_pixel: float) -> Float32Array:
        """Return how high the walls from some sources stand at some pixels."""
        start = self.start[owner]
        pr, pc = q // self.wide - start[:, 0], q % self.wide - start[:, 1]
        point = start[:, 2] - drop_per_pixel * np.hypot(pr, pc)
        line = np.flatnonzero(owner < self.lines)
        if len(line):
            dr, dc, dz = self.way[owner[line]].T
            length = np.maximum(np.hypot(dr, dc), 1e-9)
            along = (pr[line] * dr + pc[line] * dc) / length
            off = np.abs(pr[line] * dc - pc[line] * dr) / length
            rise = np.clip(dz / length, -0.99 * drop_per_pixel, 0.99 * drop_per_pixel)
            # where the cone that reaches highest stands
            at = np.clip(
                along + off * rise / np.sqrt(drop_per_pixel * drop_per_pixel - rise * rise),
                0.0,
                length,
            )
            point[line] = (
                start[line, 2] + at * dz / length - drop_per_pixel * np.hypot(off, along - at)
            )
        return np.asarray(point, dtype=np.float32)


def raise_to_envelope(
    height: Float32Array,
    drop_per_pixel: float,
    front: IntArray,
    lines: Lines | None = None,
    pad: int = 0,
) -> None:
    """Raise heights to the envelope of the walls from some pixels and lines, in place.

    Parameters
    ----------
    height : (rows, cols) float32
        mm; what is infinite stays. The outermost pixels have to be.
    drop_per_pixel : float
        mm that a wall falls in a pixel.
    front : (k,) int64
        Flat indices of pixels.
    lines : Lines, optional
        z in mm.
    pad : int
        Pixels that the grid of `height` is wider on every side than that of `lines`.
    """
    flat = height.reshape(-1)
    wide = height.shape[1]
    sources = _Sources(height, front, lines, pad)
    owner = np.full(flat.size, -1, dtype=np.int32)
    owner[front] = sources.lines + np.arange(len(front))
    if sources.lines:
        front = np.union1d(front, _better(flat, owner, sources, *sources.seeds(), drop_per_pixel))
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
        front = _better(
            flat, owner, sources, np.concatenate(at_all), np.concatenate(to_all), drop_per_pixel
        )


def _better(
    flat: Float32Array,
    owner: Int32Array,
    sources: _Sources,
    at: IntArray,
    to: IntArray,
    drop_per_pixel: float,
) -> IntArray:
    """Let sources raise pixels where they reach higher, in place; return those pixels."""
    low = flat[at] < np.inf
    at, to = at[low], to[low]
    value = sources.value(to, at, drop_per_pixel)
    better = value > flat[at] + np.float32(_TINY)
    at, to, value = at[better], to[better], value[better]
    np.maximum.at(flat, at, value)
    won = value == flat[at]
    owner[at[won]] = to[won]
    return np.unique(at[won])


def raise_between_pixels(height: Float32Array, drop_per_pixel: float) -> None:
    """Raise pixels to the walls that fall from lines between their neighbours, in place.

    Of the triangles between neighbouring pixels none is then too steep whose lowest corner
    stands at one of its short sides.
    """
    flat = height.reshape(-1)
    wide = height.shape[1]
    todo = np.flatnonzero(_steep(height, drop_per_pixel))
    ring = np.array([1, 1 - wide, -wide, -1 - wide, -1, wide - 1, wide, wide + 1])
    square = drop_per_pixel * drop_per_pixel
    while len(todo):
        around = [flat[todo + k].astype(np.float64) for k in ring]
        best = flat[todo].astype(np.float64)
        for k in range(0, 8, 2):
            a, b = around[k], around[(k + 2) % 8]
            with np.errstate(invalid="ignore"):
                good = (np.abs(a - b) < drop_per_pixel) & np.isfinite(a + b)
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


def _steep(height: Float32Array, drop_per_pixel: float) -> BoolArray:
    """Return pixels beside steep places."""
    steep = np.zeros(height.shape, dtype=bool)
    limit = np.float32(0.6 * drop_per_pixel)
    with np.errstate(invalid="ignore"):
        down = np.abs(height[1:] - height[:-1]) > limit
        right = np.abs(height[:, 1:] - height[:, :-1]) > limit
    steep[1:] |= down
    steep[:-1] |= down
    steep[:, 1:] |= right
    steep[:, :-1] |= right
    return steep & np.isfinite(height)
