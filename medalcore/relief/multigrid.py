"""Screened Poisson equations on a masked pixel grid, by multigrid.

The energy that is minimised over all cells inside the mask is

    E(x) = Σ_faces (x_j − x_i − q_f)² + Σ_cells s_i (x_i − base_i)²

with no flow through the outline, so the equations are

    Σ_faces (x_i − x_j) + s_i x_i = s_i base_i − (div q)_i

They are solved by conjugate gradients with one multigrid V-cycle as preconditioner
(cell-centred coarsening, bilinear prolongation kept inside the mask, its transpose as
restriction, damped Jacobi), after a first guess brought up from the coarsest grid.
Background: U. Trottenberg, C. W. Oosterlee, A. Schüller, *Multigrid*, Academic Press
2001, chapters 2 and 8; O. Tatebe, "The multigrid preconditioned conjugate gradient
method", NASA Conf. Publ. 3224, 1993.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Cells = NDArray[np.floating]

_DAMPING = 0.8  # best damping of Jacobi for the five-point stencil (Trottenberg, 2.1.2)
_COARSEST = 400  # cells that a dense inverse still handles at once


class Pyramid:
    """A mask and its coarser and coarser versions: what no right-hand side changes.

    Parameters
    ----------
    mask : (rows, cols) bool
        Cells that take part.
    dtype : numpy dtype
        float32 is enough for a micrometre on a medal; float64 for checks.
    """

    def __init__(self, mask: NDArray[np.bool_], dtype: type[np.floating] = np.float32) -> None:
        self.dtype = dtype
        depth = 0
        while (mask.shape[0] >> depth) * (mask.shape[1] >> depth) > _COARSEST:
            depth += 1
        step = 1 << depth
        rows, cols = (-(-n // step) * step for n in mask.shape)
        ones = np.zeros((rows, cols), dtype)
        ones[: mask.shape[0], : mask.shape[1]] = mask
        across, down = ones[:, 1:] * ones[:, :-1], ones[1:] * ones[:-1]
        self.inside: list[Cells] = []
        self.across: list[Cells] = []
        self.down: list[Cells] = []
        self.share: list[Cells] = []  # 1 / (weight that bilinear interpolation finds inside)
        for k in range(depth + 1):
            self.inside.append(ones)
            self.across.append(across)
            self.down.append(down)
            if k < depth:
                coarse = (_sum4(ones) > 0).astype(dtype)
                self.share.append(
                    np.divide(1.0, _up(coarse), where=ones > 0, out=np.zeros_like(ones))
                )
                ones = coarse
                across = 0.5 * (across[0::2, 1::2] + across[1::2, 1::2])
                down = 0.5 * (down[1::2, 0::2] + down[1::2, 1::2])

    def pad(self, a: Cells, level: int = 0) -> Cells:
        """Return `a` on the grid of a level, 0 outside the mask."""
        full = np.zeros(self.inside[level].shape, self.dtype)
        full[: a.shape[0], : a.shape[1]] = a
        full *= self.inside[level]
        return full

    def coarsen(self, a: Cells, levels: int) -> Cells:
        """Return sums over the cells of a padded array that make one cell `levels` up."""
        for _ in range(levels):
            a = _sum4(a)
        return a


class Poisson:
    """The operator on one mask with one screen, ready to solve for any right-hand side.

    Parameters
    ----------
    pyramid : Pyramid
    screen : (rows, cols) array
        s of the energy for every cell of the padded grid of `top`, dimensionless: (pixel /
        screening length)². Must be above 0 somewhere in every connected part of the mask, or
        that part's mean is undefined; a tiny value is put everywhere to keep the equations
        regular.
    top : int
        Level of the pyramid that counts as the finest here.
    """

    def __init__(self, pyramid: Pyramid, screen: Cells, top: int = 0) -> None:
        self._p = pyramid
        self._top = top
        self._diagonal: list[Cells] = []
        self._inverse: list[Cells] = []
        s = screen
        for k in range(top, len(pyramid.inside)):
            inside, across, down = pyramid.inside[k], pyramid.across[k], pyramid.down[k]
            diagonal = np.maximum(s, 1e-9) * inside
            diagonal[:, 1:] += across
            diagonal[:, :-1] += across
            diagonal[1:] += down
            diagonal[:-1] += down
            self._diagonal.append(diagonal)
            self._inverse.append(
                np.divide(_DAMPING, diagonal, where=inside > 0, out=np.zeros_like(diagonal))
            )
            if k + 1 < len(pyramid.inside):
                s = _sum4(s)
        self._direct = _dense_inverse(diagonal, across, down)

    def apply(self, x: Cells, level: int = 0) -> Cells:
        """Return A x, (rows, cols) of the level."""
        across, down = self._p.across[self._top + level], self._p.down[self._top + level]
        out = self._diagonal[level] * x
        flow = across * x[:, 1:]
        out[:, :-1] -= flow
        np.multiply(across, x[:, :-1], out=flow)
        out[:, 1:] -= flow
        flow = down * x[1:]
        out[:-1] -= flow
        np.multiply(down, x[:-1], out=flow)
        out[1:] -= flow
        return out

    def cycle(self, b: Cells, level: int = 0) -> Cells:
        """Return one V-cycle's answer to A x = b, from x = 0."""
        if level == len(self._diagonal) - 1:
            return (self._direct @ b.ravel()).reshape(b.shape)
        inverse, share = self._inverse[level], self._p.share[self._top + level]
        x = inverse * b
        x += inverse * (b - self.apply(x, level))
        left = (b - self.apply(x, level)) * share
        x += share * _up(self.cycle(_down(left), level + 1))
        for _ in range(2):
            x += inverse * (b - self.apply(x, level))
        return x

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
            A first guess, 0 outside the mask, such as the answer before a slider moved.
        tolerance : float
            The last correction may be this share of the answer, both as the largest value.
        most : int
            Largest number of iterations.

        Returns
        -------
        x : (rows, cols) array
            On the padded grid, 0 outside the mask.
        iterations : int
        """
        x = self._first_guess(b) if start is None else start.copy()
        r = b - self.apply(x)
        r = b - self.apply(x)
        z = self.cycle(r)
        p, rz, count = z, float(np.vdot(r, z)), 0
        while rz > 0:
            ap = self.apply(p)
            step = rz / float(np.vdot(p, ap))
            x += step * p
            count += 1
            if count >= most or step * np.abs(p).max() <= tolerance * np.abs(x).max():
                break
            r -= step * ap
            z = self.cycle(r)
            new = float(np.vdot(r, z))
            p = z + (new / rz) * p
            rz = new
        return x, count

    def _first_guess(self, rhs: Cells) -> Cells:
        chain = [rhs]
        for share in self._p.share[self._top :]:
            chain.append(_down(chain[-1] * share))
        x = self.cycle(chain[-1], len(chain) - 1)
        for level in range(len(chain) - 2, -1, -1):
            x = self._p.share[self._top + level] * _up(x)
            x += self.cycle(chain[level] - self.apply(x, level), level)
        return x


def _sum4(a: Cells) -> Cells:
    return a[0::2, 0::2] + a[1::2, 0::2] + a[0::2, 1::2] + a[1::2, 1::2]


def _up(c: Cells) -> Cells:
    """Bilinear interpolation from cells to the four cells in each; 0 beyond the grid."""
    mid = np.empty((2 * c.shape[0], c.shape[1]), c.dtype)
    mid[0::2] = mid[1::2] = 0.75 * c
    quarter = 0.25 * c
    mid[2::2] += quarter[:-1]
    mid[1:-1:2] += quarter[1:]
    out = np.empty((mid.shape[0], 2 * c.shape[1]), c.dtype)
    out[:, 0::2] = out[:, 1::2] = 0.75 * mid
    quarter = 0.25 * mid
    out[:, 2::2] += quarter[:, :-1]
    out[:, 1:-1:2] += quarter[:, 1:]
    return out


def _down(f: Cells) -> Cells:
    """Transpose of `_up`."""
    mid = 0.75 * (f[:, 0::2] + f[:, 1::2])
    mid[:, :-1] += 0.25 * f[:, 2::2]
    mid[:, 1:] += 0.25 * f[:, 1:-1:2]
    out = 0.75 * (mid[0::2] + mid[1::2])
    out[:-1] += 0.25 * mid[2::2]
    out[1:] += 0.25 * mid[1:-1:2]
    return out


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
