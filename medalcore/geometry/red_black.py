"""Grids of numbers stored so that red-black loops run over plain memory.

A grid is kept as four *quadrants*, an array (2, 2, rows / 2 + 2, cols / 2 + 2): cell
[2 i + a, 2 j + b] of the grid is [a, b, i + 1, j + 1], with a border of zeros. The cells of
one colour are then two plain arrays, and their neighbours the other two, shifted. Shifts are
taken in the flat memory of a quadrant, where a whole quadrant is one run of numbers (four
times as fast as row by row); what spills into the border is multiplied by 0 at once.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Cells = NDArray[np.floating]

RED = ((0, 0), (1, 1))
BLACK = ((0, 1), (1, 0))
IN = np.s_[1:-1, 1:-1]


class Quadrants:
    """One grid of numbers as quadrants, with the runs that the loops below need at hand.

    Attributes
    ----------
    all : (2, 2, rows + 2, cols + 2) array
    own : dict of flat arrays by quadrant
        Without the first and last row.
    near : dict of four flat arrays by quadrant
        What lies left, right, above and below each number of `own`.
    """

    def __init__(self, values: Cells) -> None:
        self.all = values
        width, size = values.shape[3], values.shape[2] * values.shape[3]
        runs = values.reshape(2, 2, size)

        def run(i: int, j: int, shift: int) -> Cells:
            out: Cells = runs[i, j, width + shift : size - width + shift]
            return out

        self.own = {(i, j): run(i, j, 0) for i, j in (*RED, *BLACK)}
        self.near = {
            (i, j): (
                run(i, 1 - j, j - 1),
                run(i, 1 - j, j),
                run(1 - i, j, (i - 1) * width),
                run(1 - i, j, i * width),
            )
            for i, j in (*RED, *BLACK)
        }

    @classmethod
    def like(cls, other: Quadrants) -> Quadrants:
        """Return zeros of the same shape and type."""
        return cls(np.zeros_like(other.all))


def split(a: Cells, out: Cells | None = None) -> Cells:
    """Return a grid as quadrants; with `out`, its sides may be short by one."""
    if out is None:
        out = np.zeros((2, 2, a.shape[0] // 2 + 2, a.shape[1] // 2 + 2), a.dtype)
    for i in (0, 1):
        for j in (0, 1):
            part = a[i::2, j::2]
            out[i, j, 1 : part.shape[0] + 1, 1 : part.shape[1] + 1] = part
    return out


def join(q: Cells, out: Cells | None = None) -> Cells:
    """Return quadrants as a grid; `out` may be short by one row and column."""
    if out is None:
        out = np.empty((2 * (q.shape[2] - 2), 2 * (q.shape[3] - 2)), q.dtype)
    for i in (0, 1):
        for j in (0, 1):
            part = out[i::2, j::2]
            part[:] = q[i, j, 1 : part.shape[0] + 1, 1 : part.shape[1] + 1]
    return out


def sides(across: Cells, down: Cells) -> tuple[Quadrants, ...]:
    """Return face weights as seen from each cell: left, right, up, down; quadrants."""
    shape = (across.shape[0], down.shape[1])
    out = []
    for faces, cells in (
        (across, np.s_[:, 1:]),
        (across, np.s_[:, :-1]),
        (down, np.s_[1:]),
        (down, np.s_[:-1]),
    ):
        seen = np.zeros(shape, across.dtype)
        seen[cells] = faces
        out.append(Quadrants(split(seen)))
    return tuple(out)


def sum4(a: Cells) -> Cells:
    """Return sums of two by two cells."""
    rows = a[0::2] + a[1::2]
    out: Cells = rows[:, 0::2] + rows[:, 1::2]
    return out


def even(a: Cells, rows: int = 0, cols: int = 0) -> Cells:
    """Return `a` grown by zeros until its sides, with `rows` and `cols` added, are even."""
    short = (a.shape[0] + rows) % 2, (a.shape[1] + cols) % 2
    return np.pad(a, ((0, short[0]), (0, short[1]))) if any(short) else a


def dot(a: Cells, b: Cells) -> float:
    """Return the inner product; not by BLAS, whose threads make the last digits vary."""
    width = a.shape[-1]
    return float(np.einsum("ij,ij->i", a.reshape(-1, width), b.reshape(-1, width)).sum(dtype=float))
