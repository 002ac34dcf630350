"""Heights grown back from the slopes a relief should show, filling the height there is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..spec.relief import Relief
from .gradient import LEAN, Outline, attenuate, beyond, divergence, outline_of, slopes
from .layers import split_jumps, steps
from .multigrid import Poisson, Pyramid
from .quadrants import Cells

_FIT_PIXELS = 128  # the length is fitted on at most this many pixels a side
_FEWEST = 200  # pixels inside that a fit needs
_LONGEST = 4.0  # of the larger side: a longer screen changes nothing any more
_BROADEST = 0.1  # detail below which slopes are not weakened any more: they would vanish
_STEP = 0.04  # of the height: how high the front of a deep inner edge stands
_EXACT = 3e-4  # last change of the solver, root mean square, as a share of the height
_TAIL = 1.0  # per cent of the cells at either end that go into the soft ends
_BASE = 0.3  # of the model's depth, in proportion, that the flat base keeps
_KNEE = 0.1  # of the height: reach of the soft ends


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
        Of the model, mm; lowest 0, and 0 outside.
    most : float
        Largest depth, mm.
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
    most: float
    foot: float
    spec: Relief
    weight: Cells | None

    @property
    def use(self) -> float:
        """Return the height there is to model in, mm."""
        return self.spec.height - self.foot

    def thinned(self) -> Job:
        """Return the job on few pixels, taken out of the middle of larger cells.

        The same ones at every resolution, so that what is found on them is the same too.
        """
        step = 1 << fit_level(max(self.mask.shape))
        while True:
            few = np.s_[step // 2 :: step, step // 2 :: step]
            mask = self.mask[few]
            if step == 1 or np.count_nonzero(mask) >= _FEWEST:
                break
            step //= 2
        weight = None if self.weight is None else self.weight[few]
        return Job(
            step * self.pixel,
            mask,
            outline_of(mask),
            self.depth[few] * mask,
            self.most,
            self.foot,
            self.spec,
            weight,
        )


@dataclass(frozen=True, eq=False)
class _Equations:
    """The solver's right-hand side and pulls, on the padded grid.

    Attributes
    ----------
    fixed : array
        Right-hand side of slopes, steps and outline.
    base : array
        Heights that the screen pulls towards, mm.
    pull : array
        Pull on the outline.
    span : float
        How far apart the heights of the answer should lie, mm.
    tail : float
        Per cent of the cells at either end that may lie beyond.
    """

    fixed: Cells
    base: Cells
    pull: Cells
    span: float
    tail: float


@dataclass(frozen=True)
class _Fit:
    """The screening length that was found, and how far the heights spread with it, mm."""

    length: float
    spread: float


def recompose(job: Job, start: Cells | None) -> tuple[Cells, Cells, dict[str, Any]]:
    """Model a relief.

    Parameters
    ----------
    job : Job
    start : (rows, cols) float32, optional
        The solver's answer to a like job.

    Returns
    -------
    heights : (rows, cols) float32
        mm above the field, 0 outside.
    solution : (rows, cols) float32
        The solver's answer.
    facts : dict
        As in `compress.Compressed`.
    """
    few = job.thinned()
    relax, fit = 0.0, _fit(few, 0.0)
    reached = fit.spread / min(max(job.spec.detail, _BROADEST), 1.0)
    if reached < 0.98 * job.use:
        # Even the broadest forms leave height unused: weaken the slopes less, until at LEAN
        # of the model's depth, where plain scaling looks as the model does, nothing is lost.
        room = math.log(max(LEAN * job.most / reached, 1.0 + 1e-9))
        relax = min(math.log(job.use / reached) / room, 1.0)
        # the base then knows the broad forms too, and is held to more firmly
        fit = _fit(few, relax, _LONGEST / 16.0**relax)
    pyramid = Pyramid(job.mask)
    wanted = _equations(job, pyramid, relax)
    screen = np.float32((job.pixel / fit.length) ** 2)
    rhs = wanted.base * screen
    rhs += wanted.fixed
    pull = wanted.pull + screen * pyramid.inside[0]
    rows, cols = job.mask.shape
    warm = pyramid.pad(start) if start is not None and start.shape == job.mask.shape else None
    x, rounds = Poisson(pyramid, pull).solve(rhs, warm, tolerance=wanted.span * _EXACT)
    x = x[:rows, :cols]
    inside = x[job.mask]
    if wanted.tail > 0.0:  # so many cells tell the ends as well as all of them
        inside = inside[:: max(1, inside.size // 100_000)]
    low, high = np.percentile(inside, (wanted.tail, 100.0 - wanted.tail))
    ends = float(low), float(high)
    knee = (1.0 - relax) * _KNEE
    heights = _soften(x, job.mask, ends, (job.foot, job.spec.height), knee)
    return heights, x, {"screen_mm": fit.length, "rounds": rounds, "scaled_share": relax}


def _equations(job: Job, pyramid: Pyramid, relax: float) -> _Equations:
    """Set the equations up; `relax` is 0 for slopes as raking light wants them, 1 for true."""
    pixel, spec, mask, outline = job.pixel, job.spec, job.mask, job.outline
    span = job.use ** (1.0 - relax) * job.most**relax
    across, down = slopes(job.depth, mask, pixel)
    jumps = split_jumps(across, down)
    attenuate(across, down, relax)
    detail = max(spec.detail, _BROADEST)
    detail **= 1.0 - relax
    gain = np.float32(detail * pixel)
    if job.weight is not None:
        across *= 0.5 * (job.weight[:, 1:] + job.weight[:, :-1])
        down *= 0.5 * (job.weight[1:] + job.weight[:-1])
    fixed: Cells = divergence(across, down)
    fixed *= gain
    rise = (1.0 - relax) * _STEP * span * spec.edges * min(detail, 1.0)
    fixed += steps(*jumps, rise, spec.height / pixel, relax * pixel)
    hold = np.float32((1.0 - relax) * pixel / spec.height)
    low = np.full(outline.index.shape, np.float32(-0.5 * span))
    if not spec.settle:
        low += job.depth.ravel()[outline.index] * np.float32(span / job.most)
    pull = np.zeros(mask.shape, np.float32)
    pull.ravel()[outline.index] = hold * outline.sides
    fixed.ravel()[outline.index] += hold * (
        outline.sides * low + gain * beyond(across, down, outline)
    )
    # the base keeps a little of the model's depth; all of it as detail nears 0, and where
    # there is room for it
    keep = _BASE + (1.0 - _BASE) * max(max(1.0 - spec.detail, 0.0) ** 2, relax)
    base = job.depth * np.float32(keep * span / job.most)
    base -= np.float32(0.5 * keep * span)
    base *= mask
    return _Equations(
        pyramid.pad(fixed), pyramid.pad(base), pyramid.pad(pull), span, (1.0 - relax) * _TAIL
    )


def fit_level(size: int) -> int:
    """Return how often `size` pixels are halved for the fit of the screening length."""
    return max(0, math.ceil(math.log2(size / _FIT_PIXELS)))


def _fit(few: Job, relax: float, given: float | None = None) -> _Fit:
    """Find the screening length at which the heights just fill their span.

    Where `given`, as a multiple of the larger side, it is only measured what they fill.
    """
    pyramid = Pyramid(few.mask)
    wanted = _equations(few, pyramid, relax)
    inside = pyramid.inside[0] > 0
    most = math.log((given or _LONGEST) * max(few.mask.shape) * few.pixel)
    x, steepness = None, 0.7
    tried = most if given else math.log(2.0 * wanted.span)
    before: tuple[float, float] | None = None
    for _ in range(8):
        screen = np.float32((few.pixel / math.exp(tried)) ** 2)
        x, _ = Poisson(pyramid, wanted.pull + screen * pyramid.inside[0]).solve(
            wanted.fixed + screen * wanted.base, x, tolerance=1e-3 * wanted.span
        )
        low, high = np.percentile(x[inside], (wanted.tail, 100.0 - wanted.tail))
        miss = math.log(wanted.span / max(float(high - low), 1e-9))
        if given or abs(miss) < 2e-3 or (miss > 0.0 and tried >= most):
            break
        if before is not None and tried != before[0]:
            steepness = min(max((before[1] - miss) / (tried - before[0]), 0.2), 2.0)
        before = (tried, miss)
        tried = min(tried + min(max(miss / steepness, -1.5), 1.5), most)
    return _Fit(math.exp(tried), max(float(high - low), 1e-9))


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
