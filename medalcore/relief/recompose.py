"""Heights grown back from the slopes a relief should show, filling the height there is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..spec.relief import Relief
from .gradient import LEAN, Outline, attenuate, beyond, divergence, slopes
from .layers import add_steps, take_cliffs
from .multigrid import Poisson, Pyramid
from .quadrants import Cells

_FIT_PIXELS = 128, 256  # a side: the length is looked for on at most the first, then the second
_CLOSE = 0.008  # miss of the spread from which one more step ends the search
_LONGEST = 4.0  # of the larger side: a longer screen changes nothing any more
_BROADEST = 0.1  # detail below which slopes are not weakened any more: they would vanish
_STEP = 0.055  # of the height: how high the front of a deep inner edge stands
_EXACT = 3e-4  # last change of the solver, root mean square, as a share of the height
_TAIL = 1.0  # per cent of the cells at either end that go into the soft ends
_BASE = 0.3  # of the model's depth, in proportion, that the flat base keeps
_KNEE = 0.1  # of the height: reach of the soft ends
_BINS = 4096  # a count of heights is as good as their order
_SAMPLES = 250_000  # cells tell the ends as well as all of them


@dataclass(frozen=True, eq=False)
class Job:
    """What is to be modelled.

    Attributes
    ----------
    pixel : float
        mm.
    mask : (rows, cols) bool
        The silhouette.
    outline : Outline
        Of the mask.
    depth : (rows, cols) float32
        Of the model, mm; 0 outside.
    foot : float
        Least height, mm.
    spec : Relief
    weight : (rows, cols) float32 or None
        How strongly each place is modelled.
    """

    pixel: float
    mask: NDArray[np.bool_]
    outline: Outline
    depth: Cells
    foot: float
    spec: Relief
    weight: Cells | None

    @property
    def use(self) -> float:
        """Return the height there is to model in, mm."""
        return self.spec.height - self.foot

    def ends(self, heights: Cells, tail: float) -> tuple[float, float]:
        """Return below and above which `tail` per cent of the cells lie.

        What single pixels catch at the outline, and how far down, hangs on their size.
        """
        step = max(1, math.isqrt(np.count_nonzero(self.mask) // _SAMPLES)) if tail > 0.0 else 1
        few = np.s_[::step, ::step]
        low, high = np.percentile(heights[few][self.mask[few]], (tail, 100.0 - tail))
        return float(low), float(high)


@dataclass(frozen=True, eq=False)
class _Equations:
    """The solver's right-hand side and pulls, on a padded grid.

    Attributes
    ----------
    fixed : array
        Right-hand side of slopes, steps and outline.
    base : array
        Heights that the screen pulls towards, mm, summed over the finest cells.
    pull : array
        Pull on the outline.
    cells : array
        Finest cells inside.
    span : float
        How far apart the heights of the answer should lie, mm.
    tail : float
        Per cent of the cells at either end that may lie beyond.
    """

    fixed: Cells
    base: Cells
    pull: Cells
    cells: Cells
    span: float
    tail: float

    def coarse(self, pyramid: Pyramid, level: int) -> _Equations:
        """Return the equations on a coarser grid of the pyramid."""
        fixed, base, pull, cells = (
            pyramid.sums(a, level) for a in (self.fixed, self.base, self.pull, self.cells)
        )
        return _Equations(fixed, base, pull, cells, self.span, self.tail)

    def solve(
        self, pyramid: Pyramid, screen: float, start: Cells | None, tolerance: float
    ) -> tuple[Cells, int]:
        """Solve them for a screen, (pixel / length)²."""
        s = np.float32(screen)
        poisson = Poisson(pyramid, self.pull + s * self.cells)
        return poisson.solve(self.fixed + s * self.base, start, tolerance=tolerance * self.span)


@dataclass(frozen=True)
class _Fit:
    """The screening length that was found, and how far the heights spread with it, mm."""

    length: float
    spread: float


def recompose(job: Job) -> tuple[Cells, dict[str, Any]]:
    """Model a relief.

    Parameters
    ----------
    job : Job

    Returns
    -------
    heights : (rows, cols) float32
        mm above the field, 0 outside.
    facts : dict
        As in `compress.Compressed`.
    """
    pyramid = Pyramid(job.mask)
    relax, wanted = 0.0, _equations(job, pyramid, 0.0)
    fit = _fit(job, pyramid, wanted)
    reached = fit.spread / min(max(job.spec.detail, _BROADEST), 1.0)
    if reached < 0.98 * job.use:
        # Even the broadest forms leave height unused: weaken the slopes less, until at LEAN
        # of the model's depth, where plain scaling looks as the model does, nothing is lost.
        low, high = job.ends(job.depth, _TAIL)
        room = math.log(max(LEAN * (high - low) / reached, 1.0 + 1e-9))
        relax = min(math.log(job.use / reached) / room, 1.0)
        # the base then knows the broad forms too, and is held to more firmly
        wanted = _equations(job, pyramid, relax)
        fit = _fit(job, pyramid, wanted, _LONGEST / 16.0**relax)
    rows, cols = job.mask.shape
    x, rounds = wanted.solve(pyramid, (job.pixel / fit.length) ** 2, None, _EXACT)
    x = x[:rows, :cols]
    ends = job.ends(x, wanted.tail)
    knee = (1.0 - relax) * _KNEE
    heights = _soften(x, job.mask, ends, (job.foot, job.spec.height), knee)
    return heights, {"screen_mm": fit.length, "rounds": rounds, "scaled_share": relax}


def _equations(job: Job, pyramid: Pyramid, relax: float) -> _Equations:
    """Set the equations up; `relax` is 0 for slopes as raking light wants them, 1 for true."""
    pixel, spec, mask, outline = job.pixel, job.spec, job.mask, job.outline
    tail = (1.0 - relax) * _TAIL
    lowest, highest = job.ends(job.depth, tail)
    most = max(highest - lowest, 1e-9)
    span = job.use ** (1.0 - relax) * most**relax
    across, down = slopes(job.depth, mask, pixel)
    beside, below = take_cliffs(across, 1, mask, pixel), take_cliffs(down, 0, mask, pixel)
    attenuate(across, down, relax)
    beside.heal(across)
    below.heal(down)
    detail = max(spec.detail, _BROADEST)
    detail **= 1.0 - relax
    gain = np.float32(detail * pixel)
    if job.weight is not None:
        across *= 0.5 * (job.weight[:, 1:] + job.weight[:, :-1])
        down *= 0.5 * (job.weight[1:] + job.weight[:-1])
    fixed: Cells = divergence(across, down)
    fixed *= gain
    rise = (1.0 - relax) * _STEP * span * spec.edges * min(detail, 1.0)
    for axis, cliffs in ((1, beside), (0, below)):
        add_steps(fixed, axis, cliffs, rise, spec.height / pixel, relax * pixel)
    hold = np.float32((1.0 - relax) * pixel / spec.height)
    low = np.full(outline.index.shape, np.float32(-0.5 * span))
    if not spec.settle:
        low += (job.depth.ravel()[outline.index] - np.float32(lowest)) * np.float32(span / most)
    pull = np.zeros(mask.shape, np.float32)
    pull.ravel()[outline.index] = hold * outline.sides
    fixed.ravel()[outline.index] += hold * (
        outline.sides * low + gain * beyond(across, down, outline)
    )
    # the base keeps a little of the model's depth; all of it as detail nears 0, and where
    # there is room for it
    keep = _BASE + (1.0 - _BASE) * max(max(1.0 - spec.detail, 0.0) ** 2, relax)
    base = job.depth - np.float32(0.5 * (lowest + highest))
    base *= np.float32(keep * span / most)
    base *= mask
    return _Equations(
        pyramid.pad(fixed), pyramid.pad(base), pyramid.pad(pull), pyramid.inside[0], span, tail
    )


def _fit(job: Job, pyramid: Pyramid, wanted: _Equations, given: float | None = None) -> _Fit:
    """Find the screening length at which the heights just fill their span.

    Where `given`, as a multiple of the larger side, it is only measured what they fill.
    """
    most = math.log((given or _LONGEST) * max(job.mask.shape) * job.pixel)
    steepness, tried = 0.7, most if given else min(math.log(2.0 * wanted.span), most)
    spread = 0.0
    for pixels, enough in zip(_FIT_PIXELS, (5e-3, 5e-4), strict=True):
        level = max(0, math.ceil(math.log2(max(job.mask.shape) / pixels)))
        level = min(level, len(pyramid.inside) - 1)
        coarse, few = pyramid.coarse(level), wanted.coarse(pyramid, level)
        inside = few.cells > 0
        x, before = None, None
        for _ in range(8):
            x, _ = few.solve(coarse, (job.pixel / math.exp(tried)) ** 2, x, 0.3 * enough)
            spread = max(_spread(x[inside], few.cells[inside], wanted.tail), 1e-9)
            miss = math.log(wanted.span / spread)
            if given or abs(miss) < enough or (miss > 0.0 and tried >= most):
                break
            if before is not None and tried != before[0]:
                steepness = min(max((before[1] - miss) / (tried - before[0]), 0.1), 2.0)
            before = (tried, miss)
            tried = min(tried + min(max(miss / steepness, -1.5), 1.5), most)
            if abs(miss) < _CLOSE * (pixels == _FIT_PIXELS[-1]):
                break  # so small a step needs no proof
    return _Fit(math.exp(tried), spread)


def _spread(heights: Cells, cells: Cells, tail: float) -> float:
    """Return how far heights spread, `tail` per cent of the finest cells left out at either end."""
    low, high = float(heights.min()), float(heights.max())
    size = max(high - low, 1e-9) / _BINS
    count = np.bincount(((heights - low) / size).astype(np.int64), cells, _BINS)
    below = np.append(0.0, np.cumsum(count)) / count.sum()
    ends = np.interp((0.01 * tail, 1.0 - 0.01 * tail), below, size * np.arange(len(below)))
    return float(ends[1] - ends[0])


def _soften(
    x: Cells,
    mask: NDArray[np.bool_],
    ends: tuple[float, float],
    to: tuple[float, float],
    knee: float,
) -> Cells:
    """Bring heights from between two ends to between others: straight, eased near the ends.

    The map never turns over, so what stands above its neighbour stays above it.
    """
    foot, height = to
    span = np.float32(max(ends[1] - ends[0], 1e-9))
    y = x - np.float32(ends[0])
    _ease(y, np.float32(knee) * span)
    np.subtract(span, y, out=y)
    _ease(y, np.float32(knee) * span)
    np.subtract(span, y, out=y)
    y *= mask
    y *= np.float32((height - foot) / float(y.max()))
    y += np.float32(foot)
    np.clip(y, np.float32(foot), np.float32(height), out=y)
    y *= mask
    return y


def _ease(y: Cells, knee: np.float32) -> None:
    """Bend what lies below `knee` towards 0 without reaching it, in place."""
    if knee > 0.0:
        below = y < knee
        y[below] = knee * np.exp(y[below] / knee - np.float32(1.0))
