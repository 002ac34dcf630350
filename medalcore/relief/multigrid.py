"""Screened Poisson equations on a masked pixel grid, by multigrid.

The energy that is minimised over all cells inside the mask is

    E(x) = Σ_faces (x_j − x_i − q_f)² + Σ_cells s_i (x_i − base_i)²

with no flow through the outline, so the equations are

    Σ_faces (x_i − x_j) + s_i x_i = s_i base_i − (div q)_i

They are solved by conjugate gradients with one multigrid V-cycle as preconditioner, after a
first guess brought up from the coarsest grid. Cells are coarsened two by two; values come
back by bilinear interpolation that never reaches across a gap in the mask, residuals go down
by its transpose; the smoother is red-black Gauss-Seidel, its order turned round on the way
up, so that the cycle is symmetric. Background: U. Trottenberg, C. W. Oosterlee, A. Schüller,
*Multigrid*, Academic Press 2001, chapters 2 and 8; O. Tatebe, "The multigrid preconditioned
conjugate gradient method", NASA Conf. Publ. 3224, 1993.

Each grid is kept as four *quadrants*, an array (2, 2, rows / 2 + 2, cols / 2 + 2): cell
[2 i + a, 2 j + b] of the grid is [a, b, i + 1, j + 1], with a border of zeros. The cells of
one colour are then two plain arrays, and their neighbours plain slices of the other two.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Cells = NDArray[np.floating]

_COARSEST = 64  # cells that a dense inverse still handles at once
_RED = ((0, 0), (1, 1))
_BLACK = ((0, 1), (1, 0))
_IN = np.s_[1:-1, 1:-1]


class Pyramid:
    """A mask and its coarser and coarser versions: what no right-hand side changes.

    Parameters
    ----------
    mask : (rows, cols) bool
        Cells that take part.
    dtype : numpy dtype
        float32 is enough for a micrometre on a medal; float64 for checks.

    Attributes
    ----------
    inside : list of (rows, cols) arrays
        1 inside and 0 outside, by level, padded to whole coarse cells.
    count : list of int
        Cells inside, by level.
    """

    def __init__(self, mask: NDArray[np.bool_], dtype: type[np.floating] = np.float32) -> None:
        self.dtype = dtype
        self.size = mask.shape
        ones = _even(mask.astype(dtype))
        across, down = ones[:, 1:] * ones[:, :-1], ones[1:] * ones[:-1]
        self.inside: list[Cells] = []
        self.count: list[int] = []
        self._keep: list[Cells] = []  # quadrants of `inside`
        self._degree: list[Cells] = []  # quadrants of the sum of a cell's face weights
        self._weights: list[tuple[Cells, ...]] = []  # left, right, up, down; () where all are 1
        self._joined: list[tuple[Cells, Cells]] = []  # 1 where coarse neighbours share a face
        while True:
            last = ones.size <= _COARSEST
            if not last:
                ones, across, down = _even(ones), _even(across, 0, 1), _even(down, 1, 0)
            self.inside.append(ones)
            self.count.append(int(np.count_nonzero(ones)))
            self.across, self.down = across, down  # of the coarsest level in the end
            degree = np.zeros_like(ones)
            degree[:, 1:] += across
            degree[:, :-1] += across
            degree[1:] += down
            degree[:-1] += down
            if last:
                self.degree = degree
                break
            self._keep.append(_split(ones))
            self._degree.append(_split(degree))
            self._weights.append(_sides(across, down) if len(self.inside) > 1 else ())
            ones = (_sum4(ones) > 0).astype(dtype)
            across = 0.5 * (across[0::2, 1::2] + across[1::2, 1::2])
            down = 0.5 * (down[1::2, 0::2] + down[1::2, 1::2])
            self._joined.append(((across > 0).astype(dtype), (down > 0).astype(dtype)))

    def pad(self, a: Cells | NDArray[np.bool_]) -> Cells:
        """Return `a` on the padded finest grid, 0 outside the mask."""
        full = np.zeros(self.inside[0].shape, self.dtype)
        full[: a.shape[0], : a.shape[1]] = a
        full *= self.inside[0]
        return full

    def coarsen(self, a: Cells, levels: int) -> Cells:
        """Return sums over the cells of a padded array that make one cell `levels` up."""
        for _ in range(levels):
            a = _sum4(_even(a))
        return a if levels + 1 >= len(self.inside) else _even(a)


class Poisson:
    """The operator on one mask with one screen, ready to solve for any right-hand side.

    Parameters
    ----------
    pyramid : Pyramid
    screen : (rows, cols) array
        s of the energy for every cell of the padded grid of level `top`, dimensionless:
        (pixel / screening length)². Must be above 0 somewhere in every connected part of the
        mask, or that part's mean is undefined; a tiny value is put everywhere to keep the
        equations regular.
    top : int
        Level of the pyramid that counts as the finest here.
    """

    def __init__(self, pyramid: Pyramid, screen: Cells, top: int = 0) -> None:
        self._p, self._top = pyramid, min(top, len(pyramid.inside) - 1)
        self._diagonal: list[Cells] = []
        self._inverse: list[Cells] = []
        self._x: list[Cells] = []
        self._b: list[Cells] = []
        s = np.maximum(screen, 1e-9) * pyramid.inside[self._top]
        for k in range(self._top, len(pyramid.inside) - 1):
            diagonal = _split(s)
            diagonal += pyramid._degree[k]
            self._diagonal.append(diagonal)
            inverse = np.zeros_like(diagonal)
            np.divide(1.0, diagonal, where=pyramid._keep[k] > 0, out=inverse)
            self._inverse.append(inverse)
            self._x.append(np.zeros_like(diagonal))
            self._b.append(np.zeros_like(diagonal))
            s = _sum4(s)
            if k + 2 < len(pyramid.inside):
                s = _even(s)
        self._direct = _dense_inverse(s + pyramid.degree, pyramid.across, pyramid.down)

    def solve(
        self,
        b: Cells,
        start: Cells | None = None,
        *,
        tolerance: float = 1e-3,
        most: int = 40,
    ) -> tuple[Cells, int]:
        """Solve A x = b.

        Parameters
        ----------
        b : (rows, cols) array
            Right-hand side on the padded grid, 0 outside the mask.
        start : (rows, cols) array, optional
            A first guess on the padded grid, such as the answer before a slider moved.
        tolerance : float
            Stop when a round changes x by less than this, root mean square, in the unit of x.
        most : int
            Largest number of rounds.

        Returns
        -------
        x : (rows, cols) array
            On the padded grid, 0 outside the mask.
        rounds : int
        """
        if not self._x:
            return self._exact(b), 0
        if start is None:
            x = self._first_guess(b, 0, tolerance)
        else:
            x = _split(start * self._p.inside[self._top])
        rounds = self._iterate(x, _split(b), 0, tolerance, most)
        return _join(x), rounds

    def _exact(self, b: Cells) -> Cells:
        x: Cells = (self._direct @ b.ravel()).reshape(b.shape)
        return x

    def _first_guess(self, b: Cells, level: int, tolerance: float) -> Cells:
        """Bring an answer up from the coarsest grid, a few rounds on each (quadrants)."""
        x = np.zeros_like(self._x[level])
        coarse_b = _sum4(b)
        if level + 1 == len(self._x):
            coarse = self._exact(coarse_b)
        else:
            rows, cols = coarse_b.shape
            coarse_b = _even(coarse_b)
            coarse_x = self._first_guess(coarse_b, level + 1, tolerance)
            self._iterate(coarse_x, _split(coarse_b), level + 1, tolerance, 2)
            coarse = _join(coarse_x)[:rows, :cols]
        self._add_up(coarse, x, level)
        return x

    def _iterate(self, x: Cells, b: Cells, level: int, tolerance: float, most: int) -> int:
        """Improve x in place by conjugate gradients; return the rounds taken."""
        enough = tolerance * math.sqrt(self._p.count[self._top + level])
        r = np.empty_like(x)
        self._apply(x, r, level)
        np.subtract(b, r, out=r)
        z = self._cycle(r, level)
        p, ap, rz = z.copy(), np.empty_like(x), _dot(r, z)
        scratch = np.empty_like(x)
        for done in range(1, most + 1):
            self._apply(p, ap, level)
            bend = _dot(p, ap)
            if not (rz > 0.0 and bend > 0.0):
                return done - 1
            step = rz / bend
            x += np.multiply(p, x.dtype.type(step), out=scratch)
            if done == most or step * math.sqrt(_dot(p, p)) <= enough:
                break
            r -= np.multiply(ap, x.dtype.type(step), out=scratch)
            z = self._cycle(r, level)
            before, rz = rz, _dot(r, z)
            p *= x.dtype.type(rz / before)
            p += z
        return done

    def _cycle(self, b: Cells, level: int = 0) -> Cells:
        """Return one V-cycle's answer to A x = b from x = 0; quadrants, reused storage."""
        x, inverse = self._x[level], self._inverse[level]
        for i, j in _RED:  # from zero a red cell sees no neighbour
            np.multiply(b[i, j], inverse[i, j], out=x[i, j])
        for i, j in _BLACK:
            self._relax(x, b, level, i, j)
        left = self._red_residual(x, b, level)
        coarse = self._lower(left, level)
        if level + 1 < len(self._x):
            below = self._b[level + 1]
            _split(coarse, below)
            coarse = _join(self._cycle(below, level + 1))[: coarse.shape[0], : coarse.shape[1]]
        else:
            coarse = self._exact(coarse)
        self._add_up(coarse, x, level)
        for i, j in (*_BLACK, *_RED):
            self._relax(x, b, level, i, j)
        return x

    def _gather(self, x: Cells, level: int, i: int, j: int, out: Cells) -> None:
        """Write the weighted sum of the neighbours of quadrant [i, j] to `out`, no border."""
        weights = self._p._weights[self._top + level]
        around = _near(x, i, j)
        if not weights:
            np.add(around[0], around[1], out=out)
            out += around[2]
            out += around[3]
            return
        np.multiply(around[0], weights[0][i, j][_IN], out=out)
        term = np.empty_like(out)
        for value, weight in zip(around[1:], weights[1:], strict=True):
            out += np.multiply(value, weight[i, j][_IN], out=term)

    def _relax(self, x: Cells, b: Cells, level: int, i: int, j: int) -> None:
        own = x[i, j][_IN]
        self._gather(x, level, i, j, own)
        own += b[i, j][_IN]
        own *= self._inverse[level][i, j][_IN]

    def _apply(self, x: Cells, out: Cells, level: int = 0) -> None:
        """Write A x to `out`, quadrants; as D (x − D⁻¹ Σ), which is 0 outside the mask."""
        out[:] = 0
        for i, j in (*_RED, *_BLACK):
            own = out[i, j][_IN]
            self._gather(x, level, i, j, own)
            own *= self._inverse[level][i, j][_IN]
            np.subtract(x[i, j][_IN], own, out=own)
            own *= self._diagonal[level][i, j][_IN]

    def _red_residual(self, x: Cells, b: Cells, level: int) -> list[Cells]:
        """Return b − A x of the two red quadrants, no border; black ones were just solved."""
        out = []
        for i, j in _RED:
            own = np.empty_like(x[i, j][_IN])
            self._gather(x, level, i, j, own)
            own += b[i, j][_IN]
            own *= self._inverse[level][i, j][_IN]
            own -= x[i, j][_IN]
            own *= self._diagonal[level][i, j][_IN]
            out.append(own)
        return out

    def _lower(self, red: list[Cells], level: int) -> Cells:
        """Transpose of `_add_up` for a residual that lives on red cells; (rows, cols) coarse."""
        across, down = self._p._joined[self._top + level]
        upper, lower = red
        part = 0.25 * upper[:, 1:]
        part *= across
        upper[:, 1:] -= part
        upper[:, :-1] += part
        part = 0.25 * lower[:, :-1]
        part *= across
        lower[:, 1:] += part
        lower[:, :-1] -= part
        part = lower[:-1] - upper[1:]
        part *= down
        part *= part.dtype.type(0.25)
        upper += lower
        upper[1:] += part
        upper[:-1] -= part
        return upper

    def _add_up(self, coarse: Cells, x: Cells, level: int) -> None:
        """Add a coarse correction, (rows, cols), to quadrants: bilinear, not across gaps."""
        across, down = self._p._joined[self._top + level]
        keep = self._p._keep[self._top + level]
        quarter = coarse.dtype.type(0.25)
        slope = np.diff(coarse, axis=0)
        slope *= down
        slope *= quarter
        for i in (0, 1):
            row = coarse.copy()
            if i == 0:
                row[1:] -= slope
            else:
                row[:-1] += slope
            part = np.diff(row, axis=1)
            part *= across
            part *= quarter
            for j in (0, 1):
                value = row.copy() if j == 0 else row
                if j == 0:
                    value[:, 1:] -= part
                else:
                    value[:, :-1] += part
                value *= keep[i, j][_IN]
                x[i, j][_IN] += value


def _near(x: Cells, i: int, j: int) -> tuple[Cells, Cells, Cells, Cells]:
    """Return the left, right, upper and lower neighbours of quadrant [i, j], no border."""
    beside, above = x[i, 1 - j], x[1 - i, j]
    middle, before, after = slice(1, -1), slice(None, -2), slice(2, None)
    left, right = (before, middle) if j == 0 else (middle, after)
    upper, lower = (before, middle) if i == 0 else (middle, after)
    return beside[1:-1, left], beside[1:-1, right], above[upper, 1:-1], above[lower, 1:-1]


def _split(a: Cells, out: Cells | None = None) -> Cells:
    """Return a grid as quadrants; with `out`, its sides may be short by one."""
    if out is None:
        out = np.zeros((2, 2, a.shape[0] // 2 + 2, a.shape[1] // 2 + 2), a.dtype)
    for i in (0, 1):
        for j in (0, 1):
            part = a[i::2, j::2]
            out[i, j, 1 : part.shape[0] + 1, 1 : part.shape[1] + 1] = part
    return out


def _join(q: Cells) -> Cells:
    """Return quadrants as a grid."""
    a = np.empty((2 * (q.shape[2] - 2), 2 * (q.shape[3] - 2)), q.dtype)
    for i in (0, 1):
        for j in (0, 1):
            a[i::2, j::2] = q[i, j][_IN]
    return a


def _sides(across: Cells, down: Cells) -> tuple[Cells, ...]:
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
        out.append(_split(seen))
    return tuple(out)


def _sum4(a: Cells) -> Cells:
    out: Cells = a[0::2, 0::2] + a[1::2, 0::2]
    out += a[0::2, 1::2]
    out += a[1::2, 1::2]
    return out


def _even(a: Cells, rows: int = 0, cols: int = 0) -> Cells:
    """Return `a` grown by zeros until its sides, with `rows` and `cols` added, are even."""
    short = (a.shape[0] + rows) % 2, (a.shape[1] + cols) % 2
    return np.pad(a, ((0, short[0]), (0, short[1]))) if any(short) else a


def _dot(a: Cells, b: Cells) -> float:
    """Return the inner product; not by BLAS, whose threads make the last digits vary."""
    width = a.shape[-1]
    return float(np.einsum("ij,ij->i", a.reshape(-1, width), b.reshape(-1, width)).sum(dtype=float))


def _dense_inverse(diagonal: Cells, across: Cells, down: Cells) -> Cells:
    rows, cols = diagonal.shape
    n = rows * cols
    index = np.arange(n).reshape(rows, cols)
    a = np.zeros((n, n))
    a[index, index] = np.where(diagonal > 0, diagonal, 1.0)
    for i, j, w in (
        (index[:, 1:], index[:, :-1], across),
        (index[1:], index[:-1], down),
    ):
        a[i, j] = -w
        a[j, i] = -w
    inverse: Cells = np.linalg.inv(a).astype(diagonal.dtype)
    return inverse
