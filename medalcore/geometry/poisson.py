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

Each grid is kept as `quadrants`, which is what makes the loops below fast.
"""

from __future__ import annotations

import copy
import math

import numpy as np

from .red_black import BLACK, IN, RED, Cells, Quadrants, dot, even, join, sides, split, sum4
from .types import BoolArray

_COARSEST = 64  # cells that a dense inverse still handles at once
_WORST = 5.0  # times the root mean square that a single cell may change by in the last round


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

    def __init__(self, mask: BoolArray, dtype: type[np.floating] = np.float32) -> None:
        self.dtype = dtype
        self.size = mask.shape
        ones = even(np.asarray(mask, dtype))
        across: Cells = ones[:, 1:] * ones[:, :-1]
        down: Cells = ones[1:] * ones[:-1]
        self.inside: list[Cells] = []
        self.count: list[int] = []
        self._keep: list[Cells] = []  # quadrants of `inside`
        self._degree: list[Cells] = []  # quadrants of the sum of a cell's face weights
        self._weights: list[tuple[Quadrants, ...]] = []  # left, right, up, down; () where all are 1
        # 1 where a coarse cell shares a face with the next to the right, below; bordered, flat
        self._joined: list[tuple[Cells, Cells]] = []
        while True:
            last = bool(ones.size <= _COARSEST)
            if not last:
                ones, across, down = even(ones), even(across, 0, 1), even(down, 1, 0)
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
            self._keep.append(split(ones))
            self._degree.append(split(degree))
            self._weights.append(sides(across, down) if len(self.inside) > 1 else ())
            ones = (sum4(ones) > 0).astype(dtype)
            across = 0.5 * (across[0::2, 1::2] + across[1::2, 1::2])
            down = 0.5 * (down[1::2, 0::2] + down[1::2, 1::2])
            joined = np.zeros((2, ones.shape[0] + 2, ones.shape[1] + 2), dtype)
            joined[0, 1:-1, 1:-2] = across > 0
            joined[1, 1:-2, 1:-1] = down > 0
            self._joined.append((joined[0].ravel(), joined[1].ravel()))

    def coarse(self, level: int) -> Pyramid:
        """Return the pyramid without its `level` finest grids."""
        rest = copy.copy(self)
        for name in ("inside", "count", "_keep", "_degree", "_weights", "_joined"):
            setattr(rest, name, getattr(self, name)[level:])
        return rest

    def sums(self, a: Cells, level: int) -> Cells:
        """Return sums of a padded finest grid's cells over those of a coarser grid."""
        for k in range(level):
            a = sum4(a)
            if k + 2 < len(self.inside):
                a = even(a)
        return a

    def pad(self, a: Cells | BoolArray) -> Cells:
        """Return `a`, which is 0 outside the mask, on the padded finest grid."""
        return even(np.asarray(a, self.dtype))


class Poisson:
    """The operator on one mask with one screen, ready to solve for any right-hand side.

    Parameters
    ----------
    pyramid : Pyramid
    screen : (rows, cols) array
        s of the energy for every cell of the padded grid, dimensionless: (pixel / screening
        length)². Must be above 0 somewhere in every connected part of the
        mask, or that part's mean is undefined; a tiny value is put everywhere to keep the
        equations regular.
    """

    def __init__(self, pyramid: Pyramid, screen: Cells) -> None:
        self._p = pyramid
        self._diagonal: list[Quadrants] = []
        self._inverse: list[Quadrants] = []
        self._x: list[Quadrants] = []
        self._b: list[Quadrants] = []  # of all levels but the finest
        s = np.maximum(screen, 1e-9) * pyramid.inside[0]
        for k in range(len(pyramid.inside) - 1):
            diagonal = split(s)
            diagonal += pyramid._degree[k]
            inverse = np.zeros_like(diagonal)
            np.divide(1.0, diagonal, where=pyramid._keep[k] > 0, out=inverse)
            self._diagonal.append(Quadrants(diagonal))
            self._inverse.append(Quadrants(inverse))
            self._x.append(Quadrants.like(self._inverse[-1]))
            if k > 0:
                self._b.append(Quadrants.like(self._inverse[-1]))
            s = sum4(s)
            if k + 2 < len(pyramid.inside):
                s = even(s)
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
            Stop when a round changes x by less than this, root mean square, in the unit of x, and
            no cell by much more.
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
        known = -1
        if start is not None:
            known = [a.shape for a in self._p.inside].index(start.shape)
        x = self._first_guess(b, 0, tolerance, start, known)
        rounds = self._iterate(x, Quadrants(split(b)), 0, tolerance, most)
        return join(x.all), rounds

    def _exact(self, b: Cells) -> Cells:
        x: Cells = np.einsum("ij,j->i", self._direct, b.ravel()).reshape(b.shape)
        return x

    def _first_guess(
        self, b: Cells, level: int, tolerance: float, start: Cells | None, known: int
    ) -> Quadrants:
        """Bring an answer up from the coarsest grid, or where it is known, a few rounds on each."""
        if start is not None and level == known:
            return Quadrants(split(start * self._p.inside[level]))
        x = Quadrants.like(self._x[level])
        coarse_b = sum4(b)
        if level + 1 == len(self._x):
            coarse = np.pad(self._exact(coarse_b), 1)
        else:
            coarse_b = even(coarse_b)
            coarse_x = self._first_guess(coarse_b, level + 1, tolerance, start, known)
            rhs = Quadrants(split(coarse_b))
            self._iterate(coarse_x, rhs, level + 1, tolerance, 2)
            coarse = np.zeros(x.all.shape[2:], x.all.dtype)
            join(coarse_x.all, coarse[IN])
        self._add_up(coarse, x.all, level)
        return x

    def _iterate(self, x: Quadrants, b: Quadrants, level: int, tolerance: float, most: int) -> int:
        """Improve x in place by conjugate gradients, at the cost of b; return the rounds."""
        enough = tolerance * math.sqrt(self._p.count[level])
        kind = x.all.dtype.type
        ap, r = Quadrants.like(x), b
        self._apply(x, ap, level)
        r.all -= ap.all
        z = self._cycle(r, level)
        p, rz = Quadrants(z.all.copy()), dot(r.all, z.all)
        for done in range(1, most + 1):
            self._apply(p, ap, level)
            bend = dot(p.all, ap.all)
            if not (rz > 0.0 and bend > 0.0):
                return done - 1
            step = rz / bend
            x.all += np.multiply(p.all, kind(step), out=z.all)  # z has served
            if done == most or (
                step * math.sqrt(dot(p.all, p.all)) <= enough
                and step * max(p.all.max(), -p.all.min()) <= _WORST * tolerance
            ):
                break
            ap.all *= kind(step)
            r.all -= ap.all
            z = self._cycle(r, level)
            before, rz = rz, dot(r.all, z.all)
            p.all *= kind(rz / before)
            p.all += z.all
        return done

    def _cycle(self, b: Quadrants, level: int = 0) -> Quadrants:
        """Return one V-cycle's answer to A x = b from x = 0, in storage that is used again."""
        x, inverse = self._x[level], self._inverse[level]
        for ij in RED:  # from zero a red cell sees no neighbour
            np.multiply(b.own[ij], inverse.own[ij], out=x.own[ij])
        for ij in BLACK:
            self._relax(x, b, level, ij)
        coarse = self._lower(self._red_residual(x, b, level), level)
        if level + 1 < len(self._x):
            below = self._b[level]
            split(coarse[IN], below.all)
            join(self._cycle(below, level + 1).all, coarse[IN])
        else:
            coarse[IN] = self._exact(coarse[IN])
        self._add_up(coarse, x.all, level)
        for ij in (*BLACK, *RED):
            self._relax(x, b, level, ij)
        return x

    def _gather(self, x: Quadrants, level: int, ij: tuple[int, int], out: Cells) -> None:
        """Write the weighted sum of the neighbours of a quadrant to `out`, flat."""
        weights = self._p._weights[level]
        left, right, above, below = x.near[ij]
        if not weights:
            np.add(left, right, out=out)
            out += above
            out += below
            return
        np.multiply(left, weights[0].own[ij], out=out)
        term = np.empty_like(out)
        for value, weight in ((right, weights[1]), (above, weights[2]), (below, weights[3])):
            out += np.multiply(value, weight.own[ij], out=term)

    def _relax(self, x: Quadrants, b: Quadrants, level: int, ij: tuple[int, int]) -> None:
        own = x.own[ij]
        self._gather(x, level, ij, own)
        own += b.own[ij]
        own *= self._inverse[level].own[ij]

    def _apply(self, x: Quadrants, out: Quadrants, level: int = 0) -> None:
        """Write A x to `out`; as D (x − D⁻¹ Σ), which is 0 outside the mask."""
        for ij in (*RED, *BLACK):
            own = out.own[ij]
            self._gather(x, level, ij, own)
            own *= self._inverse[level].own[ij]
            np.subtract(x.own[ij], own, out=own)
            own *= self._diagonal[level].own[ij]

    def _red_residual(self, x: Quadrants, b: Quadrants, level: int) -> list[Cells]:
        """Return b − A x of the two red quadrants, bordered; black ones were just solved."""
        width, out = x.all.shape[3], []
        for ij in RED:
            left = np.zeros(x.all.shape[2:], x.all.dtype)
            own = left.reshape(-1)[width:-width]
            self._gather(x, level, ij, own)
            own += b.own[ij]
            own *= self._inverse[level].own[ij]
            own -= x.own[ij]
            own *= self._diagonal[level].own[ij]
            out.append(left)
        return out

    def _lower(self, red: list[Cells], level: int) -> Cells:
        """Transpose of `_add_up` for a residual that lives on red cells; bordered coarse."""
        right, under = self._p._joined[level]
        width = red[0].shape[1]
        quarter = red[0].dtype.type(0.25)
        upper, lower = (a.reshape(-1) for a in red)
        part = upper[1:] * right[:-1]
        part *= quarter
        upper[1:] -= part
        upper[:-1] += part
        np.multiply(lower[:-1], right[:-1], out=part)
        part *= quarter
        lower[1:] += part
        lower[:-1] -= part
        part = lower[:-width] - upper[width:]
        part *= under[:-width]
        part *= quarter
        upper += lower
        upper[width:] += part
        upper[:-width] -= part
        return red[0]

    def _add_up(self, coarse: Cells, x: Cells, level: int) -> None:
        """Add a bordered coarse correction to quadrants: bilinear, not across gaps."""
        right, under = self._p._joined[level]
        keep = self._p._keep[level]
        width, quarter = coarse.shape[1], coarse.dtype.type(0.25)
        flat = coarse.reshape(-1)
        slope = flat[width:] - flat[:-width]
        slope *= under[:-width]
        slope *= quarter
        part, value = np.empty_like(flat[1:]), np.empty_like(flat)
        for i in (0, 1):
            row = flat.copy()
            if i == 0:
                row[width:] -= slope
            else:
                row[:-width] += slope
            np.subtract(row[1:], row[:-1], out=part)
            part *= right[:-1]
            part *= quarter
            for j in (0, 1):
                value[:] = row
                if j == 0:
                    value[1:] -= part
                else:
                    value[:-1] += part
                value *= keep[i, j].reshape(-1)
                own = x[i, j].reshape(-1)
                own += value


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
