"""What the heights of a relief have to satisfy: slopes, steps, an outline drawn down, a flat base.

Two systems are set up for a model. The one *told* wants slopes as raking light shows the
model's own, small steps at inner edges, and the outline at the field. The *true* one wants
the model as it is, at one scale. What is solved is either, or a mixture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..spec.relief import Relief
from .gradient import Outline, attenuate, beyond, divergence, slopes
from .layers import add_steps, take_cliffs
from .multigrid import Poisson, Pyramid
from .quadrants import Cells

BROADEST = 0.1  # detail below which slopes are not weakened any more: they would vanish
TAIL = 1.0  # per cent of the cells at either end that go into the soft ends
_STEP = 0.055  # of the height: how high the front of a deep inner edge stands
_BASE = 0.3  # of the model's depth, in proportion, that the flat base keeps
_CATCH = 0.2  # per cent of the cells that may catch the model farther down than the rest
_SAMPLES = 120_000  # cells tell the ends as well as all of them


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

    @property
    def range(self) -> tuple[float, float, float]:
        """Return the lowest depth, the lowest but for what single pixels catch, the highest; mm."""
        deep, highest = self.ends(self.depth, 0.0)
        return deep, self.ends(self.depth, _CATCH)[0], highest

    def emphasise(self, across: Cells, down: Cells) -> None:
        """Weigh slopes by how strongly each place is modelled, in place."""
        if self.weight is not None:
            across *= 0.5 * (self.weight[:, 1:] + self.weight[:, :-1])
            down *= 0.5 * (self.weight[1:] + self.weight[:-1])

    def ends(self, heights: Cells, tail: float) -> tuple[float, float]:
        """Return below and above which `tail` per cent of the cells lie.

        What single pixels catch at the outline, and how far down, hangs on their size.
        """
        step = max(1, math.isqrt(np.count_nonzero(self.mask) // _SAMPLES)) if tail > 0.0 else 1
        few = np.s_[::step, ::step]
        inside = heights[few][self.mask[few]]
        if tail == 0.0:
            return float(inside.min()), float(inside.max())
        low, high = np.percentile(inside, (tail, 100.0 - tail))
        return float(low), float(high)


@dataclass(frozen=True, eq=False)
class System:
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

    def coarse(self, pyramid: Pyramid, level: int) -> System:
        """Return the system on a coarser grid of the pyramid."""
        fixed, base, pull, cells = (
            pyramid.sums(a, level) for a in (self.fixed, self.base, self.pull, self.cells)
        )
        return System(fixed, base, pull, cells, self.span, self.tail)

    def mixed(self, other: System, share: float) -> System:
        """Return a mixture with a share, 0 to 1, of another system on the same grid."""

        def mix(a: Cells, b: Cells) -> Cells:
            return a + np.float32(share) * (b - a)

        return System(
            mix(self.fixed, other.fixed),
            mix(self.base, other.base),
            mix(self.pull, other.pull),
            self.cells,
            self.span,
            self.tail + share * (other.tail - self.tail),
        )

    def solve(
        self, pyramid: Pyramid, screen: float, start: Cells | None, tolerance: float
    ) -> tuple[Cells, int]:
        """Solve for a screen, (pixel / length)², to a share of the span; also tell the rounds."""
        s = np.float32(screen)
        poisson = Poisson(pyramid, self.pull + s * self.cells)
        return poisson.solve(self.fixed + s * self.base, start, tolerance=tolerance * self.span)


def told(job: Job, pyramid: Pyramid) -> System:
    """Return the system of slopes as raking light wants them."""
    pixel, spec, mask, outline = job.pixel, job.spec, job.mask, job.outline
    lowest, highest = job.ends(job.depth, TAIL)
    scale = np.float32(job.use / max(highest - lowest, 1e-9))
    across, down = slopes(job.depth, mask, pixel)
    beside, below = take_cliffs(across, 1, mask, pixel), take_cliffs(down, 0, mask, pixel)
    attenuate(across, down)
    beside.heal(across)
    below.heal(down)
    job.emphasise(across, down)
    detail = max(spec.detail, BROADEST)
    gain = np.float32(detail * pixel)
    fixed: Cells = divergence(across, down)
    fixed *= gain
    rise = _STEP * job.use * spec.edges * min(detail, 1.0)
    for axis, cliffs in ((1, beside), (0, below)):
        add_steps(fixed, axis, cliffs, rise, spec.height / pixel)
    hold = np.float32(pixel / spec.height)
    low = np.full(outline.index.shape, np.float32(-0.5 * job.use))
    if not spec.settle:
        low += (job.depth.ravel()[outline.index] - np.float32(lowest)) * scale
    pull = np.zeros(mask.shape, np.float32)
    pull.ravel()[outline.index] = hold * outline.sides
    fixed.ravel()[outline.index] += hold * (
        outline.sides * low + gain * beyond(across, down, outline)
    )
    # the base keeps a little of the model's depth, and all of it as detail nears 0
    keep = _BASE + (1.0 - _BASE) * max(1.0 - spec.detail, 0.0) ** 2
    base = _levelled(job, lowest, highest, keep * float(scale))
    return System(
        pyramid.pad(fixed), pyramid.pad(base), pyramid.pad(pull), pyramid.inside[0], job.use, TAIL
    )


def true(job: Job, pyramid: Pyramid, scale: float) -> System:
    """Return the system of the model as it is, its slopes times `scale`."""
    across, down = slopes(job.depth, job.mask, job.pixel)
    job.emphasise(across, down)
    fixed: Cells = divergence(across, down)
    fixed *= np.float32(scale * job.pixel)
    _, lowest, highest = job.range
    base = _levelled(job, lowest, highest, job.use / max(highest - lowest, 1e-9))
    none = np.zeros_like(pyramid.inside[0])
    return System(pyramid.pad(fixed), pyramid.pad(base), none, pyramid.inside[0], job.use, 0.0)


def _levelled(job: Job, lowest: float, highest: float, scale: float) -> Cells:
    """Return the model's depth about its middle, scaled; 0 outside."""
    out = job.depth - np.float32(0.5 * (lowest + highest))
    out *= np.float32(scale)
    out *= job.mask
    return out
