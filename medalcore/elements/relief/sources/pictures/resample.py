"""A depth picture between its pixels: smooth forms, upright cliffs, nothing beyond its heights.

Forms are read by cubic convolution, held to the heights of the four pixels round a place: it
may pass beyond them only as far as the form bends alike on both sides, as at a rounded top.
Where the picture jumps from one pixel to the next, the jump runs along the smoothest line
between them (`step_edges`), as does the outline (`silhouette`); what is beside that line is
read from its own side only. So a cliff has neither a ridge nor a trench nor the stairs of the
pixels along it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .....geometry.extended_heights import ExtendedHeights
from .....geometry.grid import Grid, HeightField
from .....geometry.masks import grown
from .....geometry.silhouette import Silhouette, trace_silhouette
from .....geometry.step_edges import StepEdges, find_step_edges
from .....geometry.types import BoolArray, Float32Array, FloatArray, IntArray

_STEEP = 0.3
"""Rise over run from which `find_step_edges` takes a jump for one; heights are scaled to that."""

_MARGIN = 3
"""Pixels round the picture, so that all that is read of it is there."""


_BEYOND = 16
"""Pixels that outlines are carried on beyond its border, so that it cuts them off straight."""


@dataclass(frozen=True, eq=False)
class PictureSurface:
    """A picture that can be read anywhere.

    Places are in pixels of the picture: x = column, y = −row.

    Attributes
    ----------
    outline : Outline
        Of what is part of the relief; it goes on beyond the border of the picture.
    """

    outline: Silhouette
    _values: Float32Array  # carried on beyond the outline, with a margin all round
    _ends: tuple[float, float]  # lowest and highest
    _room: tuple[Float32Array, Float32Array]  # below and above four pixels to which a form may bend
    _cells: IntArray  # flat indices of cells that a cliff runs through, sorted
    _chords: FloatArray  # (n, 2, 2) along which it does, from their first pixels on

    def at(self, row: FloatArray, col: FloatArray) -> Float32Array:
        """Return heights at places, arrays of one shape."""
        cols = self._values.shape[1]
        r = np.clip(row + _MARGIN, 1.0, self._values.shape[0] - 2.001)
        c = np.clip(col + _MARGIN, 1.0, cols - 2.001)
        r0, c0 = r.astype(np.int64), c.astype(np.int64)
        first = r0 * cols + c0
        fr, fc = r - r0, c - c0
        out = self._smooth(first, fr, fc)
        place = np.minimum(np.searchsorted(self._cells, first), max(len(self._cells) - 1, 0))
        if len(self._cells):
            near = np.nonzero(self._cells[place] == first)
            out[near] = self._beside(place[near], fr[near], fc[near])
        return np.clip(out, *self._ends).astype(np.float32)

    def _smooth(self, first: IntArray, fr: FloatArray, fc: FloatArray) -> FloatArray:
        """Return heights by cubic convolution, held to what is round them.

        R. Keys, *Cubic convolution interpolation for digital image processing*, 1981
        (a = −1/2). Bound at extrema by the lesser bend on either side, after A. Suresh,
        H. T. Huynh, *Accurate monotonicity-preserving schemes*, J. Comput. Phys. 136, 1997.
        """
        flat, cols = self._values.ravel(), self._values.shape[1]
        out = np.zeros(first.shape)
        low, high = np.full((2, *first.shape), np.inf)
        high *= -1.0
        for i in range(-1, 3):
            wide = _keys(fr - i)
            for j in range(-1, 3):
                tap = flat.take(first + (i * cols + j))
                out += wide * _keys(fc - j) * tap
                if i in (0, 1) and j in (0, 1):
                    np.minimum(low, tap, out=low)
                    np.maximum(high, tap, out=high)
        below, above = (part.ravel().take(first) for part in self._room)
        return np.clip(out, low - below, high + above)

    def _beside(self, cell: IntArray, fr: FloatArray, fc: FloatArray) -> FloatArray:
        """Return heights in cells that a cliff runs through, from their own side of it."""
        flat, cols = self._values.ravel().astype(np.float64), self._values.shape[1]
        start, stop = self._chords[cell, 0], self._chords[cell, 1]
        way = stop - start

        def side(x: FloatArray | float, y: FloatArray | float) -> BoolArray:
            return np.asarray(way[:, 0] * (y - start[:, 1]) - way[:, 1] * (x - start[:, 0]) > 0.0)

        own = side(fc, fr)
        first = self._cells[cell]
        ring = ((0, 0), (0, 1), (1, 1), (1, 0))  # rows and columns of corners, round the cell
        same = np.stack([side(float(c), float(r)) == own for r, c in ring])
        value = np.stack([flat[first + r * cols + c] for r, c in ring])
        beyond = np.empty((4, 2, len(cell)))  # the next pixel from a corner on, outside the cell
        for k, (r, c) in enumerate(ring):
            corner = first + r * cols + c
            beyond[k, 0] = flat[corner + (1 if c else -1)]
            beyond[k, 1] = flat[corner + (cols if r else -cols)]
        value = _filled(value, same, beyond, self._most)
        top = value[0] * (1 - fc) + value[1] * fc
        low = value[3] * (1 - fc) + value[2] * fc
        return np.asarray(top * (1 - fr) + low * fr)

    @property
    def _most(self) -> float:
        return 0.1 * (self._ends[1] - self._ends[0])


def resample(values: Float32Array, mask: BoolArray, pixel: float, least: float) -> PictureSurface:
    """Return the surface that a picture's pixels stand for.

    Parameters
    ----------
    values : (rows, cols) float32
        Heights, mm.
    mask : (rows, cols) bool
        Pixels that are part of the relief, at least one.
    pixel : float
        mm.
    least : float
        Jump from one pixel to the next from which it is a cliff, above 0, mm.
    """
    inside = np.pad(mask, _MARGIN)
    known = values[mask]
    ends = float(known.min()), float(known.max())
    carried = ExtendedHeights(np.pad(values, _MARGIN), inside, pixel, ends[0]).values
    scaled = carried * np.float32(_STEEP / least)
    grid = Grid(0.0, 0.0, 1.0, *inside.shape)
    found = find_step_edges(HeightField(grid, scaled, inside), inside, 0.1, _STEEP / 3.0)
    cells, chords = _cells(found, grid.cols)
    # where a form goes on to the picture's border, so does its outline: the border cuts it off
    traced = trace_silhouette(np.pad(mask, _BEYOND, mode="edge"))
    outline = Silhouette(traced.points + np.array([-_BEYOND, _BEYOND]), traced.first)
    return PictureSurface(outline, carried, ends, _bends(carried, cells), cells, chords)


def _cells(found: StepEdges, cols: int) -> tuple[IntArray, FloatArray]:
    """Return the cells between four pixels that cliffs run through, and where they do."""
    here = np.arange(len(found.line))
    after = np.append(here[1:], 0)[: len(here)]
    last = found.first[1:] - 1
    after[last] = found.first[:-1]
    go = np.ones(len(here), dtype=bool)
    go[last[~found.closed]] = False
    here, after = here[go], after[go]
    ends = np.stack([found.high[here], found.low[here], found.high[after], found.low[after]])
    rows, columns = ends // cols, ends % cols
    row, col = rows.min(axis=0), columns.min(axis=0)
    good = (rows.max(axis=0) == row + 1) & (columns.max(axis=0) == col + 1)
    chords = np.stack([found.line[here], found.line[after]], axis=1)[good]
    row, col = row[good], col[good]
    chords = np.abs(chords - np.stack([col, -row], axis=1)[:, None])  # y down, as rows count
    cells, one = np.unique(row * cols + col, return_index=True)
    return cells, chords[one]


def _bends(values: Float32Array, cells: IntArray) -> tuple[Float32Array, Float32Array]:
    """Return how far forms may bend below and above their pixels in each cell; 0 beside cliffs."""
    free = np.zeros(values.shape, dtype=bool)
    free.ravel()[cells] = True
    free = ~grown(free)
    below, above = np.zeros((2, *values.shape), dtype=np.float32)
    for h, low, high, ok in (
        (values, below, above, free),
        (values.T, below.T, above.T, free.T),
    ):
        bend = np.zeros(h.shape, dtype=np.float32)
        bend[:, 1:-1] = h[:, :-2] - 2 * h[:, 1:-1] + h[:, 2:]
        for sign, room in ((1.0, low), (-1.0, high)):
            up = np.maximum(np.float32(sign / 8.0) * bend, np.float32(0))
            least = np.minimum(up[:-1], up[1:])
            least = np.minimum(least[:, :-1], least[:, 1:])
            room[:-1, :-1] += np.where(ok[:-1, :-1], least, np.float32(0))
    return below, above


def _filled(value: FloatArray, same: BoolArray, beyond: FloatArray, most: float) -> FloatArray:
    """Return the corners of cells with those beyond a cliff carried on from this side of it.

    Parameters
    ----------
    value : (4, n) float64
        Corners, in turn round the cell from its first one: along a row, a column, a row back.
    same : (4, n) bool
        Those on the side that is asked for.
    beyond : (4, 2, n) float64
        The next values outside the cell, along the row and the column of each corner.
    most : float
        A greater change goes on level: it is no slope but another cliff.
    """
    slope = value[:, None] - beyond
    carried = value[:, None] + np.where(np.abs(slope) <= most, slope, 0.0)
    out = value.copy()
    for k in range(4):
        in_row, in_column, across = k ^ 1, 3 - k, k ^ 2
        parts = same[in_row].astype(np.float64), same[in_column].astype(np.float64)
        total = parts[0] * carried[in_row, 0] + parts[1] * carried[in_column, 1]
        count = parts[0] + parts[1]
        corner = carried[across, 0] + carried[across, 1] - value[across]
        mean = np.where(count > 0, total / np.maximum(count, 1.0), corner)
        out[k] = np.where(same[k] | ~same.any(axis=0), value[k], mean)
    return out


def _keys(distance: FloatArray) -> FloatArray:
    x = np.abs(distance)
    near = (1.5 * x - 2.5) * x * x + 1
    far = ((-0.5 * x + 2.5) * x - 4) * x + 2
    return np.where(x <= 1, near, np.where(x < 2, far, 0.0))
