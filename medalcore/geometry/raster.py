"""Exact depth of triangles seen from above, at the centres of a grid's pixels.

Triangles whose box holds no pixel centre are dropped by comparing small integers. The others
are cut into rows; each row's exact interval is found and only pixels inside it are touched.
Triangles that face up go first: of those that face down most are then seen to be hidden by
one look at the lowest height painted around them. That only saves time: a surface that is
inside out, or open, comes out the same.
Work goes through in blocks whose temporaries stay in the processor's cache, which also
bounds the memory. Nothing is sorted but the three corners of a triangle.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .grid import Grid
from .types import BoolArray, FloatArray, IndexArray, Int32Array

BLOCK = 1 << 16
"""Triangles at a time."""

FRAGMENTS = 1 << 17
"""Rows or pixels expanded at a time."""

LOW = 4
"""Triangles of up to this many rows are done together with all others of as many."""

TILE = 8
"""Pixels a side of the squares whose lowest heights tell what is hidden."""

EDGE = 1e-9
"""Pixels by which a row's interval is widened, so that rounding opens no cracks."""


def top_surface(
    vertices: FloatArray,
    triangles: NDArray[np.integer],
    grid: Grid,
    *,
    with_index: bool = False,
) -> tuple[FloatArray, Int32Array | None]:
    """Return the highest z that is seen from +z at every pixel centre.

    Which way a triangle faces does not matter. Edges belong to both their triangles, so no
    cracks open along them. A triangle narrower than `EDGE` pixels, seen edge-on, adds
    nothing; its neighbours cover it.

    Parameters
    ----------
    vertices : (n, 3) float64
        Finite; same unit as the grid (mm).
    triangles : (m, 3) int
    grid : Grid
        At most 32,000 pixels a side.
    with_index : bool
        Whether to say also which triangle is seen.

    Returns
    -------
    heights : (rows, cols) float64
        −inf where nothing is seen.
    index : (rows, cols) int32 or None
        Row of `triangles` that is seen, −1 where none.

    Raises
    ------
    ValueError
        If the grid is larger than that.
    """
    if max(grid.shape) > 32000:
        raise ValueError(f"a grid of {grid.rows} by {grid.cols} is too large; 32000 a side at most")
    painter = _Painter(np.asarray(vertices, dtype=np.float64), grid, with_index)
    if painter.heights.size:
        painter.paint(np.asarray(triangles))
    index = painter.index
    return painter.heights.reshape(grid.shape), None if index is None else index.reshape(grid.shape)


class _Boxes(NamedTuple):
    """The pixels whose centres triangles' boxes hold: the first, and how many; (k,) each."""

    col: NDArray[np.uint16]
    row: NDArray[np.uint16]
    cols: NDArray[np.uint16]
    rows: NDArray[np.uint16]

    def take(self, which: IndexArray) -> _Boxes:
        """Return some of the boxes."""
        return _Boxes(*(values.take(which) for values in self))


class _Edges(NamedTuple):
    """What rows need to know of their triangles; corners 0, 1, 2 run down the rows.

    x and z along the long edge from corner 0, x along the short edge above or below
    corner 1, and what z gains per column.
    """

    y0: FloatArray
    x0: FloatArray
    dx_long: FloatArray
    z0: FloatArray
    dz_long: FloatArray
    y1: FloatArray
    x1: FloatArray
    dx_above: FloatArray
    dx_below: FloatArray
    dz_col: FloatArray


class _Painter:
    """Vertices in pixel units, and the picture they are painted into."""

    def __init__(self, vertices: FloatArray, grid: Grid, with_index: bool) -> None:
        self.cols = grid.cols
        self.x = (vertices[:, 0] - grid.left) / grid.pixel
        self.y = (grid.top - vertices[:, 1]) / grid.pixel
        self.z = np.ascontiguousarray(vertices[:, 2])
        self.heights = np.full(grid.rows * grid.cols, -np.inf)
        self.index = np.full(len(self.heights), -1, dtype=np.int32) if with_index else None
        # floor + ceil is 2k on the centre of pixel k and 2k + 1 between k and k + 1
        code = np.empty((len(vertices), 2), dtype=np.uint16)
        for axis, (place, count) in enumerate(((self.x, grid.cols), (self.y, grid.rows))):
            both = np.floor(place)
            both += np.ceil(place)
            np.clip(both, -1.0, 2.0 * count - 1.0, out=both)
            both += 2.0
            code[:, axis] = both
        self.code = code.view(np.uint32).ravel()  # one look-up fetches both axes

    def paint(self, triangles: NDArray[np.integer]) -> None:
        """Paint triangles block by block, those that face down last."""
        down: list[tuple[IndexArray, _Boxes]] = []
        for start in range(0, len(triangles), BLOCK):
            corners = triangles[start : start + BLOCK].T.astype(np.intp, order="C")
            held, box = self._boxes(corners)
            corners = corners.take(held, axis=1)
            up = self._faces_up(corners)
            held += start
            self._paint_some(np.flatnonzero(up), corners, box, held)
            last = np.flatnonzero(~up)
            down.append((held.take(last), box.take(last)))
        self._paint_last(triangles, down)

    def _paint_last(
        self, triangles: NDArray[np.integer], down: list[tuple[IndexArray, _Boxes]]
    ) -> None:
        """Paint the triangles that face down, but for those that are hidden."""
        floor = self._floor() if down else self.heights
        left: list[IndexArray] = []
        for owner, box in down:
            corners = triangles.take(owner, axis=0).T.astype(np.intp, copy=False)
            left.append(owner.take(self._not_hidden(corners, box, floor)))
        rest = np.concatenate(left) if left else np.empty(0, dtype=np.intp)
        for start in range(0, len(rest), BLOCK):
            owner = rest[start : start + BLOCK]
            corners = triangles.take(owner, axis=0).T.astype(np.intp, order="C")
            _, box = self._boxes(corners)
            self._paint_some(np.arange(len(owner)), corners, box, owner)

    def _boxes(self, corners: IndexArray) -> tuple[IndexArray, _Boxes]:
        """Return which of the triangles (3, k) have boxes that hold pixels, and those boxes."""
        c0, c1, c2 = (self.code.take(corner).view(np.uint16) for corner in corners)
        first = np.minimum(c0, c1)
        np.minimum(first, c2, out=first)
        last = np.maximum(c0, c1)
        np.maximum(last, c2, out=last)
        first -= np.uint16(1)
        first >>= np.uint16(1)
        last >>= np.uint16(1)  # one more than the last pixel
        last -= first
        held = np.flatnonzero((last != 0).view(np.uint16) == 0x0101)
        start = first.view(np.uint32).take(held).view(np.uint16)
        count = last.view(np.uint32).take(held).view(np.uint16)
        return held, _Boxes(start[::2], start[1::2], count[::2], count[1::2])

    def _faces_up(self, corners: IndexArray) -> BoolArray:
        """Tell which triangles (3, k) turn counter-clockwise as seen from above."""
        i0, i1, i2 = corners
        x0, y0 = self.x.take(i0), self.y.take(i0)
        one = (self.x.take(i1) - x0) * (self.y.take(i2) - y0)
        two = (self.x.take(i2) - x0) * (self.y.take(i1) - y0)
        up: BoolArray = one <= two  # y runs down the picture
        return up

    def _floor(self) -> FloatArray:
        """Return the lowest height in every square of 2 by 2 tiles."""
        low = self.heights.reshape(-1, self.cols)
        for _ in range(2):  # down the columns of the picture, then of its transpose
            whole = len(low) // TILE * TILE
            tiles = [low[:whole].reshape(-1, TILE, low.shape[1]).min(axis=1)]
            if whole < len(low):
                tiles.append(low[whole:].min(axis=0, keepdims=True))
            low = np.concatenate(tiles)
            low[:-1] = np.minimum(low[:-1], low[1:])
            low = low.T
        return np.ascontiguousarray(low)

    def _not_hidden(self, corners: IndexArray, box: _Boxes, floor: FloatArray) -> IndexArray:
        """Return which triangles (3, k) are not wholly below what is painted around them."""
        i0, i1, i2 = corners
        high = np.maximum(self.z.take(i0), self.z.take(i1))
        np.maximum(high, self.z.take(i2), out=high)
        tile = (box.row // TILE).astype(np.intp)
        tile *= floor.shape[1]
        tile += box.col // TILE
        seen = high >= floor.ravel().take(tile)
        seen |= np.maximum(box.cols, box.rows) > TILE
        return np.flatnonzero(seen)

    def _paint_some(
        self, which: IndexArray, corners: IndexArray, box: _Boxes, owner: IndexArray
    ) -> None:
        """Paint some of the triangles, those of equally many rows together."""
        rows = box.rows.take(which)
        for number in range(1, LOW + 1):
            pick = which.compress(rows == number)
            if len(pick):
                self._paint_low(
                    corners.take(pick, axis=1), box.row.take(pick), number, owner.take(pick)
                )
        pick = which.compress(rows > LOW)
        if len(pick):
            self._paint_high(
                corners.take(pick, axis=1),
                box.row.take(pick),
                box.rows.take(pick),
                owner.take(pick),
            )

    def _paint_low(
        self, corners: IndexArray, top: NDArray[np.uint16], rows: int, owner: IndexArray
    ) -> None:
        """Paint triangles that all have the same few rows."""
        edges = _edges(self.x, self.y, self.z, corners)
        row = top + np.arange(float(rows))[:, None]
        self._paint_rows(row, edges, owner)

    def _paint_high(
        self,
        corners: IndexArray,
        top: NDArray[np.uint16],
        rows: NDArray[np.uint16],
        owner: IndexArray,
    ) -> None:
        """Paint triangles of any number of rows, a bounded number of rows at a time."""
        edges = _edges(self.x, self.y, self.z, corners)
        for which, step in _expanded(rows.astype(np.intp)):
            row = top.take(which).astype(np.float64)
            row += step
            some = _Edges(*(values.take(which) for values in edges))
            self._paint_rows(row, some, owner.take(which))

    def _paint_rows(self, row: FloatArray, edges: _Edges, owner: IndexArray) -> None:
        """Paint the interval of each row between the long edge and a short edge.

        Parameters
        ----------
        row : (k,) or (rows, k) float64
        edges : _Edges of (k,) float64
        owner : (k,) int
        """
        e = edges
        down = row - e.y0
        x_long = down * e.dx_long
        x_long += e.x0
        height = down * e.dz_long
        height += e.z0
        np.subtract(row, e.y1, out=down)
        x_short = np.where(down >= 0.0, e.dx_below, e.dx_above)
        x_short *= down
        x_short += e.x1
        first = np.minimum(x_long, x_short, out=down)
        first -= EDGE
        np.ceil(first, out=first)
        np.maximum(first, 0.0, out=first)
        last = np.maximum(x_long, x_short, out=x_short)
        last += EDGE
        np.floor(last, out=last)
        np.minimum(last, self.cols - 1.0, out=last)
        last -= first
        hit = np.flatnonzero(last >= 0.0)
        if not len(hit):
            return
        np.subtract(first, x_long, out=x_long)
        x_long *= e.dz_col
        height += x_long
        first += row * self.cols
        pixel = first.take(hit).astype(np.intp)
        height = height.take(hit)
        more = last.take(hit)
        which = hit % len(owner) if self.index is not None else None
        self._put(pixel, height, None if which is None else owner.take(which))
        wide = np.flatnonzero(more > 0.0)
        if len(wide):
            which = hit.take(wide) % len(owner)
            self._fill(
                pixel.take(wide),
                height.take(wide),
                more.take(wide).astype(np.intp),
                e.dz_col.take(which),
                owner.take(which),
            )

    def _fill(
        self,
        pixel: IndexArray,
        height: FloatArray,
        more: IndexArray,
        slope: FloatArray,
        owner: IndexArray,
    ) -> None:
        """Paint the `more` pixels to the right of each given one."""
        for which, step in _expanded(more):
            step += 1
            h = slope.take(which)
            h *= step
            h += height.take(which)
            step += pixel.take(which)
            self._put(step, h, owner.take(which) if self.index is not None else None)

    def _put(self, pixel: IndexArray, height: FloatArray, owner: IndexArray | None) -> None:
        """Keep the highest; of several writers to one pixel the last stays, so repeat."""
        buffer = self.heights
        while True:
            higher = np.flatnonzero(height > buffer.take(pixel))
            if not len(higher):
                return
            pixel = pixel.take(higher)
            height = height.take(higher)
            buffer[pixel] = height
            if owner is not None and self.index is not None:
                owner = owner.take(higher)
                won = np.flatnonzero(buffer.take(pixel) == height)
                self.index[pixel.take(won)] = owner.take(won)


def _edges(x: FloatArray, y: FloatArray, z: FloatArray, corners: IndexArray) -> _Edges:
    """Order the corners of triangles (3, k) down the rows and return their edges."""
    i0, i1, i2 = corners
    y0, y1, y2 = y.take(i0), y.take(i1), y.take(i2)
    i0, i1, y0, y1 = _in_order(i0, i1, y0, y1)
    i1, i2, y1, y2 = _in_order(i1, i2, y1, y2)
    i0, i1, y0, y1 = _in_order(i0, i1, y0, y1)
    x0, x1, x2 = x.take(i0), x.take(i1), x.take(i2)
    z0, z1, z2 = z.take(i0), z.take(i1), z.take(i2)
    # an edge along a row is met at the corner itself, where any slope times 0 will do
    drop = np.maximum(y2 - y0, 1e-30)
    dx_long = (x2 - x0) / drop
    dz_long = (z2 - z0) / drop
    above = y1 - y0
    wide = x1 - (above * dx_long + x0)  # along the row of corner 1
    wide[np.abs(wide) < EDGE] = np.nan  # edge-on: no row of it will compare as hit
    dz_col = (z1 - (above * dz_long + z0)) / wide
    x1 += 0.0 * wide
    dx_above = (x1 - x0) / np.maximum(above, 1e-30)
    dx_below = (x2 - x1) / np.maximum(y2 - y1, 1e-30)
    return _Edges(y0, x0, dx_long, z0, dz_long, y1, x1, dx_above, dx_below, dz_col)


def _in_order(
    i: IndexArray, j: IndexArray, a: FloatArray, b: FloatArray
) -> tuple[IndexArray, IndexArray, FloatArray, FloatArray]:
    """Swap corners i and j, and their a and b, where a is above b."""
    flip = (i ^ j) * (a > b)
    return i ^ flip, j ^ flip, np.minimum(a, b), np.maximum(a, b)


def _expanded(counts: IndexArray) -> Iterator[tuple[IndexArray, IndexArray]]:
    """Yield each item's index as often as it counts, beside its steps 0, 1, 2 …, in portions."""
    ends = np.cumsum(counts)
    start = 0
    while start < len(counts):
        done = int(ends[start - 1]) if start else 0
        stop = max(start + 1, int(np.searchsorted(ends, done + FRAGMENTS, side="right")))
        some = counts[start:stop]
        which = np.repeat(np.arange(start, stop), some)
        step = np.arange(done, done + len(which))
        step -= (ends - counts).take(which)
        yield which, step
        start = stop
