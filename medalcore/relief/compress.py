"""A model's depth, told in the height of a relief.

*Linear* compression scales. *Gradient* compression keeps what raking light shows: every slope
is shrunk to the lean that looks, under the light by which a medal is seen, as the model's own
lean looks under the light by which a model is seen (`gradient.attenuate`). Heights are then
grown back from the slopes inside the silhouette, held by a weak pull towards a flat base; the
length over which that pull lets go is chosen so that the relief just fills its height. Slopes
stay true, so small forms read as they do on the model, and only forms broader than that length
are flattened. The outline is pulled down towards the field. Every length is in millimetres or
a share of the height.

Background, by their papers: T. Weyrich, J. Deng, C. Barnes, S. Rusinkiewicz, A. Finkelstein,
"Digital bas-relief from 3D scenes", ACM Trans. Graph. 26(3), 2007; P. Bhat, B. Curless,
M. Cohen, C. L. Zitnick, "Fourier analysis of the 2D screened Poisson equation for gradient
domain problems", ECCV 2008. The slope law and the fitted length are ours.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import SourceError
from ..grid import Grid, HeightField
from ..spec.relief import Relief
from .apron import with_apron
from .gradient import Outline, attenuate, beyond, divergence, outline_of, slopes
from .layers import split_jumps, steps
from .multigrid import Poisson, Pyramid
from .quadrants import Cells

_FIT_PIXELS = 128  # the length is fitted on a coarse grid of at most this many cells a side
_BROADEST = 0.1  # detail below which slopes are not weakened any more: they would vanish
_STEP = 0.04  # of the height: how high the front of a deep inner edge stands
_EXACT = 3e-4  # last change of the solver, root mean square, as a share of the height
_TAIL = 1.0  # per cent of the cells at either end that go into the soft ends
_BASE = 0.3  # of the model's depth, in proportion, that the flat base keeps
_KNEE = 0.1  # of the height: reach of the soft ends


@dataclass(frozen=True, eq=False)
class Compressed:
    """A relief's heights above the field.

    Attributes
    ----------
    field : HeightField
        Heights in mm above the field: at least the foot everywhere inside the silhouette, at
        most (and somewhere exactly) the asked height; 0 outside. With ``blend`` the mask and
        the grid reach beyond the silhouette, where the foot flows into the field.
    facts : mapping
        What was measured, for the report; lengths in mm.
    solution : (rows, cols) float32
        The solver's answer, to start the next solve of the same model from.
    """

    field: HeightField
    facts: Mapping[str, Any]
    solution: Cells


def foot_of(spec: Relief) -> float:
    """Return the least height inside the outline, mm: as asked, or chosen from the height."""
    if spec.foot > 0.0:
        return min(spec.foot, 0.5 * spec.height)
    return min(max(0.08 * spec.height, 0.035), 0.25 * spec.height)


def compress(
    raw: HeightField,
    spec: Relief,
    *,
    start: Compressed | None = None,
    weight: NDArray[np.floating] | None = None,
) -> Compressed:
    """Bring a model's depth to the height of a relief.

    Parameters
    ----------
    raw : HeightField
        Depth of the model in mm at its in-plane scale (slopes are true), lowest seen 0; the
        mask is the silhouette.
    spec : Relief
    start : Compressed, optional
        The answer for the same model and grid with other numbers in `spec`.
    weight : (rows, cols) array, optional
        How strongly each place is modelled; 1 is even, 2 twice as steep, 0 lets it lie. Should
        change softly from place to place. Gradient compression only.

    Raises
    ------
    SourceError
        If the mask is empty, or the weight has another shape or is not finite.
    """
    if not raw.mask.any():
        raise SourceError("the model covers no pixel of the relief; make it larger or turn it")
    if weight is not None and (weight.shape != raw.mask.shape or not np.isfinite(weight).all()):
        raise SourceError(
            f"the weight map is {weight.shape[1]} x {weight.shape[0]} pixels or holds gaps; give "
            f"{raw.grid.cols} x {raw.grid.rows} numbers, one for each pixel of the relief"
        )
    part, whole = _spanned(raw), raw
    raw = _cropped(raw, part)
    weight = None if weight is None else np.asarray(weight[part], np.float32)
    foot, outline = foot_of(spec), outline_of(raw.mask)
    depth = np.where(raw.mask, raw.heights, np.float32(np.inf)).astype(np.float32, copy=False)
    depth -= depth.min()
    np.copyto(depth, np.float32(0.0), where=~raw.mask)
    most = float(depth.max())
    facts: dict[str, Any] = {"model_depth_mm": most, "foot_mm": foot}
    if most <= 0.0:
        heights = solution = raw.mask.astype(np.float32) * np.float32(spec.height)
    elif spec.compression == "linear":
        heights = depth * np.float32((spec.height - foot) / most) + np.float32(foot) * raw.mask
        solution = heights
    else:
        job = _Job(raw.grid.pixel, raw.mask, outline, depth, most, foot, spec, weight)
        heights, solution, more = _recompose(job, start)
        facts.update(more)
    facts.update(_closed(depth, heights, outline, spec, foot))
    facts = {k: round(v, 5) if isinstance(v, float) else v for k, v in facts.items()}
    field = with_apron(_placed(heights, part, whole), spec.blend)
    return Compressed(field, facts, solution)


@dataclass(frozen=True, eq=False)
class _Job:
    """What the steps below share: the cropped model and what is asked for."""

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

    @property
    def relax(self) -> float:
        """Return how nearly, 0 to 1, the relief is as deep as its model.

        Such a relief is the model: there is nothing to win from raking light.
        """
        return min(max((self.use / self.most - 0.15) / 0.7, 0.0), 1.0)


def _spanned(raw: HeightField) -> tuple[slice, slice]:
    """Return the rows and columns that the silhouette spans.

    They begin at whole cells of the coarse grid on which the length is fitted, so that finer
    pixels over the same place are summed to the same cells.
    """
    rows, cols = np.flatnonzero(raw.mask.any(1)), np.flatnonzero(raw.mask.any(0))
    cell = 1 << _fit_level(max(int(np.ptp(rows)), int(np.ptp(cols))) + 1)
    return (
        slice(int(rows[0]) // cell * cell, int(rows[-1]) + 1),
        slice(int(cols[0]) // cell * cell, int(cols[-1]) + 1),
    )


def _cropped(raw: HeightField, part: tuple[slice, slice]) -> HeightField:
    grid, mask = raw.grid, raw.mask[part]
    left, top = grid.left + grid.pixel * part[1].start, grid.top - grid.pixel * part[0].start
    return HeightField(Grid(left, top, grid.pixel, *mask.shape), raw.heights[part], mask)


def _placed(heights: Cells, part: tuple[slice, slice], whole: HeightField) -> HeightField:
    """Put heights of a part back where they belong on the whole grid."""
    out = np.zeros(whole.grid.shape, np.float32)
    out[part] = heights
    return HeightField(whole.grid, out, whole.mask)


def _recompose(job: _Job, start: Compressed | None) -> tuple[Cells, Cells, dict[str, Any]]:
    """Return heights, (rows, cols) mm, the solver's answer they come from, and facts."""
    mask, use, shape = job.mask, job.use, job.mask.shape
    pyramid = Pyramid(mask)
    fixed, pull = _wanted(job)
    # the flat base keeps a little of the model's depth; all of it as detail nears 0, and where
    # there is room for it
    keep = _BASE + (1.0 - _BASE) * max(max(1.0 - job.spec.detail, 0.0) ** 2, job.relax)
    base = job.depth * np.float32(keep * use / job.most)
    base -= np.float32(0.5 * keep * use)
    base *= mask
    fixed, base, pull = (pyramid.pad(a) for a in (fixed, base, pull))
    free = 1.0 - job.relax
    length, ends = _fit_length(pyramid, (fixed, base, pull), job.pixel, use, free * _TAIL)
    screen = np.float32((job.pixel / length) ** 2)
    base *= screen
    base += fixed
    pull += screen * pyramid.inside[0]
    fits = start is not None and start.solution.shape == shape
    x, rounds = Poisson(pyramid, pull).solve(
        base, pyramid.pad(start.solution) if start and fits else None, tolerance=use * _EXACT
    )
    x = x[: shape[0], : shape[1]]
    if job.relax > 0.0:  # nothing is eased away: the ends are the extremes themselves
        extremes = float(x[mask].min()), float(x[mask].max())
        low, high = (e + job.relax * (m - e) for e, m in zip(ends, extremes, strict=True))
        ends = low, high
    heights = _soften(x, mask, ends, (job.foot, job.spec.height), free * _KNEE)
    return heights, x, {"screen_mm": length, "rounds": rounds}


def _wanted(job: _Job) -> tuple[Cells, Cells]:
    """Return the right-hand side of the wanted slopes, and the pull on the outline."""
    pixel, spec, mask, outline = job.pixel, job.spec, job.mask, job.outline
    relax = job.relax
    across, down = slopes(job.depth, mask, pixel)
    jumps = split_jumps(across, down)
    attenuate(across, down, relax)
    detail = max(spec.detail, _BROADEST)
    gain = np.float32(detail * pixel)
    if job.weight is not None:
        across *= 0.5 * (job.weight[:, 1:] + job.weight[:, :-1])
        down *= 0.5 * (job.weight[1:] + job.weight[:-1])
    fixed: Cells = divergence(across, down)
    fixed *= gain
    rise = _STEP * spec.height * spec.edges * min(detail, 1.0)
    fixed += steps(*jumps, (1.0 - relax) * rise, spec.height / pixel, relax * pixel)
    hold = np.float32((1.0 - relax) * pixel / spec.height)
    low = np.full(outline.index.shape, np.float32(-0.5 * job.use))
    if not spec.settle:
        low += job.depth.ravel()[outline.index] * np.float32(job.use / job.most)
    pull = np.zeros(mask.shape, np.float32)
    pull.ravel()[outline.index] = hold * outline.sides
    fixed.ravel()[outline.index] += hold * (
        outline.sides * low + gain * beyond(across, down, outline)
    )
    return fixed, pull


def _fit_level(size: int) -> int:
    """Return how often `size` pixels are halved for the fit."""
    return max(0, math.ceil(math.log2(size / _FIT_PIXELS)))


def _fit_length(
    pyramid: Pyramid, parts: tuple[Cells, ...], pixel: float, use: float, tail: float
) -> tuple[float, tuple[float, float]]:
    """Return the screening length, mm, at which heights just fill `use` mm, and their ends."""
    top = max(pyramid.size)
    level = _fit_level(top)
    fixed, base, pull = (pyramid.coarsen(a, level) for a in parts)
    area = pyramid.coarsen(pyramid.inside[0], level)
    inside = area > 0.5 * float(area.max())
    longest = math.log(4.0 * top * pixel)
    x, tried, steepness = None, math.log(2.0 * use), 0.7
    before: tuple[float, float] | None = None
    for _ in range(8):
        screen = np.float32((pixel / math.exp(tried)) ** 2)
        x, _ = Poisson(pyramid, pull + screen * area, level).solve(
            fixed + screen * base, x, tolerance=1e-3 * use
        )
        low, high = np.percentile(x[inside], (tail, 100.0 - tail))
        miss = math.log(use / max(float(high - low), 1e-9))
        if abs(miss) < 2e-3 or (miss > 0.0 and tried >= longest):
            break
        if before is not None and tried != before[0]:
            steepness = min(max((before[1] - miss) / (tried - before[0]), 0.2), 2.0)
        before = (tried, miss)
        tried = min(tried + min(max(miss / steepness, -1.5), 1.5), longest)
    return math.exp(tried), (float(low), float(high))


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


def _closed(
    depth: Cells, heights: Cells, outline: Outline, spec: Relief, foot: float
) -> dict[str, Any]:
    """Return how far the outline hung above the field, and how far it came down, mm.

    ``overhang_mm`` is the model's own, ``closed_mm`` what the relief closed of it: by how much
    the outline lies lower than if the model were only scaled.
    """
    hung = depth.ravel()[outline.index]
    made = heights.ravel()[outline.index]
    scale = (spec.height - foot) / max(float(depth.max()), 1e-9)
    drop = np.maximum(foot + hung * scale - made, 0.0)
    return {
        "overhang_mm": float(hung.max()),
        "outline_mm": float(np.median(made)),
        "outline_most_mm": float(made.max()),
        "closed_mm": float(drop.max()),
        "closed_share": float((drop > 0.05 * spec.height).mean()),
    }
