"""What the heights of a relief have to satisfy: slopes, steps, an outline drawn down, a flat base.

Two systems are set up for a model. The one *told* wants slopes as raking light shows the
model's own, small steps at inner edges, and the outline at the field. The *true* one wants
the model as it is, at one scale. What is solved is either, or a mixture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ....geometry.poisson import Poisson, Pyramid
from ....geometry.red_black import Cells
from ....geometry.types import BoolArray
from ..keys import CompressionKeys
from .occlusions import add_steps, remove_occlusions
from .slopes import BoundaryPixels, attenuate, beyond, divergence, slopes

BROADEST = 0.1  # detail below which slopes are not weakened any more: they would vanish
TAIL = 1.0  # per cent of the cells at the lower end that go into the soft ends
TOP = 0.5  # of that share is what goes into the upper one: noses are small and must not be blunt
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
        Of the model, mm; lowest 0, and 0 outside.
    most : float
        Largest depth, mm.
    foot : float
        Least height, mm.
    spec : CompressionKeys
    weight : (rows, cols) float32 or None
        How strongly each place is modelled.
    """

    pixel: float
    mask: BoolArray
    outline: BoundaryPixels
    depth: Cells
    most: float
    foot: float
    spec: CompressionKeys
    weight: Cells | None

    @property
    def use(self) -> float:
        """Return the height there is to model in, mm."""
        return self.spec.height - self.foot

    def emphasise(self, across: Cells, down: Cells) -> None:
        """Weigh slopes by how strongly each place is modelled, in place."""
        if self.weight is not None:
            across *= 0.5 * (self.weight[:, 1:] + self.weight[:, :-1])
            down *= 0.5 * (self.weight[1:] + self.weight[:-1])

    @cached_property
    def marks(self) -> tuple[float, float, float]:
        """Return three depths, mm.

        The lowest but for what single pixels catch at the outline, which hangs on their size;
        and the ends, see `ends`.
        """
        low, *ends = np.percentile(self._some(self.depth), (_CATCH, TAIL, 100.0 - TOP * TAIL))
        return float(low), float(ends[0]), float(ends[1])

    def ends(self, heights: Cells, tail: float) -> tuple[float, float]:
        """Return below which `tail` per cent of the cells lie, and above which `TOP` times that."""
        if tail == 0.0:
            inside = heights[self.mask]
            return float(inside.min()), float(inside.max())
        low, high = np.percentile(self._some(heights), (tail, 100.0 - TOP * tail))
        return float(low), float(high)

    def _some(self, heights: Cells) -> Cells:
        """Return heights of enough cells, evenly spread."""
        step = max(1, math.isqrt(np.count_nonzero(self.mask) // _SAMPLES))
        few = np.s_[::step, ::step]
        some: Cells = heights[few][self.mask[few]]
        return some if len(some) else heights[self.mask]


@dataclass(frozen=True, eq=False)
class System:
    """The solver's right-hand side and pulls, on a padded grid.

    Attributes
    ----------
    rhs : array
        Right-hand side of slopes, steps and outline.
    data : array
        Heights that the screen pulls towards, mm, summed over the finest cells.
    boundary_weight : array
        Pull on the outline.
    cells : array
        Finest cells inside.
    span : float
        How far apart the heights of the answer should lie, mm.
    tail : float
        Per cent of the cells at the lower end that may lie beyond it.
    """

    rhs: Cells
    data: Cells
    boundary_weight: Cells
    cells: Cells
    span: float
    tail: float

    def coarse(self, pyramid: Pyramid, level: int) -> System:
        """Return the system on a coarser grid of the pyramid."""
        rhs, data, boundary_weight, cells = (
            pyramid.sums(a, level) for a in (self.rhs, self.data, self.boundary_weight, self.cells)
        )
        return System(rhs, data, boundary_weight, cells, self.span, self.tail)

    def mixed(self, other: System, share: float) -> System:
        """Return a mixture with a share, 0 to 1, of another system on the same grid."""

        def mix(a: Cells, b: Cells) -> Cells:
            return a + np.float32(share) * (b - a)

        return System(
            mix(self.rhs, other.rhs),
            mix(self.data, other.data),
            mix(self.boundary_weight, other.boundary_weight),
            self.cells,
            self.span,
            self.tail + share * (other.tail - self.tail),
        )

    def solve(
        self, pyramid: Pyramid, screening: float, start: Cells | None, tolerance: float
    ) -> tuple[Cells, int]:
        """Solve for a screen, (pixel / length)², to a share of the span; also tell the rounds."""
        s = np.float32(screening)
        poisson = Poisson(pyramid, self.boundary_weight + s * self.cells)
        return poisson.solve(self.rhs + s * self.data, start, tolerance=tolerance * self.span)


def attenuated(job: Job, pyramid: Pyramid) -> System:
    """Return the system of slopes as raking light wants them."""
    pixel, spec, mask, outline = job.pixel, job.spec, job.mask, job.outline
    _, lowest, highest = job.marks
    scale = np.float32(job.use / max(highest - lowest, 1e-9))
    across, down = slopes(job.depth, mask, pixel)
    beside, below = (
        remove_occlusions(across, 1, mask, pixel),
        remove_occlusions(down, 0, mask, pixel),
    )
    attenuate(across, down)
    beside.heal(across)
    below.heal(down)
    job.emphasise(across, down)
    detail = max(spec.detail, BROADEST)
    gain = np.float32(detail * pixel)
    rhs: Cells = divergence(across, down)
    rhs *= gain
    rise = _STEP * job.use * spec.edges * min(detail, 1.0)
    for axis, cliffs in ((1, beside), (0, below)):
        add_steps(rhs, axis, cliffs, rise, spec.height / pixel)
    hold = np.float32(pixel / spec.height)
    low = np.full(outline.index.shape, np.float32(-0.5 * job.use))
    if not spec.settle:
        low += (job.depth.ravel()[outline.index] - np.float32(lowest)) * scale
    boundary_weight = np.zeros(mask.shape, np.float32)
    boundary_weight.ravel()[outline.index] = hold * outline.sides
    rhs.ravel()[outline.index] += hold * (
        outline.sides * low + gain * beyond(across, down, outline)
    )
    # the base keeps a little of the model's depth, and all of it as detail nears 0
    keep = _BASE + (1.0 - _BASE) * max(1.0 - spec.detail, 0.0) ** 2
    data = _centred_depth(job, lowest, highest, keep * float(scale))
    return System(
        pyramid.pad(rhs),
        pyramid.pad(data),
        pyramid.pad(boundary_weight),
        pyramid.inside[0],
        job.use,
        TAIL,
    )


def original(job: Job, pyramid: Pyramid, scale: float) -> System:
    """Return the system of the model as it is, its slopes times `scale`."""
    across, down = slopes(job.depth, job.mask, job.pixel)
    job.emphasise(across, down)
    rhs: Cells = divergence(across, down)
    rhs *= np.float32(scale * job.pixel)
    lowest, highest = job.marks[0], job.most
    data = _centred_depth(job, lowest, highest, job.use / max(highest - lowest, 1e-9))
    none = np.zeros_like(pyramid.inside[0])
    return System(pyramid.pad(rhs), pyramid.pad(data), none, pyramid.inside[0], job.use, 0.0)


def _centred_depth(job: Job, lowest: float, highest: float, scale: float) -> Cells:
    """Return the model's depth about its middle, scaled; 0 outside."""
    out = job.depth - np.float32(0.5 * (lowest + highest))
    out *= np.float32(scale)
    out *= job.mask
    return out
