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
from .gradient import attenuate, beyond, divergence, open_sides, slopes
from .layers import split_jumps, steps
from .multigrid import Poisson, Pyramid
from .quadrants import Cells

_FIT_PIXELS = 128  # the length is fitted on a coarse grid of at most this many cells a side
_STEP = 0.04  # of the height: how high the front of a deep inner edge stands
_STEP_WIDTH = 0.02  # of the height: standard deviation of that step's width
_EXACT = 3e-4  # last change of the solver, root mean square, as a share of the height
_TAIL = 1.0  # per cent of the cells at either end that go into the soft ends
_BASE = 0.15  # of the model's depth, in proportion, that the flat base keeps
_KNEE = 0.1  # of the height: reach of the soft ends


@dataclass(frozen=True, eq=False)
class Compressed:
    """A relief's heights above the field.

    Attributes
    ----------
    field : HeightField
        Heights in mm above the field: at least the foot everywhere inside the mask, at most
        (and somewhere exactly) the asked height; 0 outside.
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


def compress(raw: HeightField, spec: Relief, *, start: Compressed | None = None) -> Compressed:
    """Bring a model's depth to the height of a relief.

    Parameters
    ----------
    raw : HeightField
        Depth of the model in mm at its in-plane scale (slopes are true), lowest seen 0; the
        mask is the silhouette.
    spec : Relief
    start : Compressed, optional
        The answer for the same model and grid with other numbers in `spec`.

    Raises
    ------
    SourceError
        If the mask is empty.
    """
    if not raw.mask.any():
        raise SourceError("the model covers no pixel of the relief; make it larger or turn it")
    whole, raw = raw, _cropped(raw)
    foot = foot_of(spec)
    depth = np.where(raw.mask, raw.heights, 0).astype(np.float32)
    depth -= depth[raw.mask].min() * raw.mask
    most = float(depth.max())
    draped = foot + (spec.height - foot) * depth / max(most, 1e-6)
    draped *= raw.mask
    facts: dict[str, Any] = {"model_depth_mm": most, "foot_mm": foot}
    if spec.compression == "linear" or most <= 0.0:
        heights, solution = draped if most > 0.0 else spec.height * raw.mask, draped
    else:
        heights, solution, more = _recompose(raw, depth, draped, spec, start)
        facts.update(more)
    heights = heights.astype(np.float32)
    facts.update(_closed(draped, heights, raw.mask))
    return Compressed(_placed(heights, raw.grid, whole), facts, solution)


def _cropped(raw: HeightField) -> HeightField:
    """Return the part of a field that the silhouette spans.

    It begins at whole cells of the coarse grid on which the length is fitted, so that finer
    pixels over the same place are summed to the same cells.
    """
    rows, cols = np.flatnonzero(raw.mask.any(1)), np.flatnonzero(raw.mask.any(0))
    cell = 1 << _fit_level(max(int(np.ptp(rows)), int(np.ptp(cols))) + 1)
    row, col = int(rows[0]) // cell * cell, int(cols[0]) // cell * cell
    part = np.s_[row : rows[-1] + 1, col : cols[-1] + 1]
    grid, mask = raw.grid, raw.mask[part]
    near = Grid(grid.left + grid.pixel * col, grid.top - grid.pixel * row, grid.pixel, *mask.shape)
    return HeightField(near, raw.heights[part], mask)


def _placed(heights: Cells, grid: Grid, whole: HeightField) -> HeightField:
    """Put heights on a cropped grid back where they belong on the whole one."""
    out = np.zeros(whole.grid.shape, np.float32)
    row = round((whole.grid.top - grid.top) / grid.pixel)
    col = round((grid.left - whole.grid.left) / grid.pixel)
    out[row : row + grid.rows, col : col + grid.cols] = heights
    return HeightField(whole.grid, out, whole.mask)


def _recompose(
    raw: HeightField, depth: Cells, draped: Cells, spec: Relief, start: Compressed | None
) -> tuple[Cells, Cells, dict[str, Any]]:
    """Return heights, (rows, cols) mm, the solver's answer they come from, and facts."""
    pixel, mask, use = raw.grid.pixel, raw.mask, spec.height - foot_of(spec)
    # a relief nearly as deep as its model is the model: nothing to win from raking light
    relax = min(max((use / float(depth.max()) - 0.15) / 0.7, 0.0), 1.0)
    across, down = slopes(depth, mask, pixel)
    jumps = split_jumps(across, down)
    attenuate(across, down, relax)
    hold = np.float32((1.0 - relax) * pixel / spec.height)
    pull = open_sides(mask) * hold
    middle = np.float32(0.5 * (spec.height + foot_of(spec)))
    low = (0.0 if spec.settle else draped - middle) - np.float32(0.5 * use * spec.settle)
    pyramid = Pyramid(mask)
    fixed = divergence(across, down) * np.float32(spec.detail * pixel) + pull * low
    fixed += beyond(across, down, mask) * (hold * np.float32(spec.detail * pixel))
    rise = _STEP * spec.height * spec.edges
    if rise > 0.0:
        blur = _STEP_WIDTH * spec.height / pixel
        fixed += steps(*jumps, mask, rise, spec.height / pixel, blur)
    base = (draped - middle) * mask * np.float32(_BASE)
    parts = tuple(pyramid.pad(a) for a in (fixed, base, pull))
    length, low_end, high_end = _fit_length(pyramid, parts, pixel, use)
    screen = np.float32((pixel / length) ** 2)
    first = pyramid.pad(start.solution) if start and start.solution.shape == mask.shape else None
    x, rounds = Poisson(pyramid, parts[2] + screen * pyramid.inside[0]).solve(
        parts[0] + screen * parts[1], first, tolerance=use * _EXACT
    )
    x = x[: mask.shape[0], : mask.shape[1]]
    heights = _soften(x, mask, (low_end, high_end), (foot_of(spec), spec.height))
    return heights, x, {"screen_mm": length, "rounds": rounds}


def _fit_level(size: int) -> int:
    """Return how often `size` pixels are halved for the fit."""
    return max(0, math.ceil(math.log2(size / _FIT_PIXELS)))


def _fit_length(
    pyramid: Pyramid, parts: tuple[Cells, ...], pixel: float, use: float
) -> tuple[float, float, float]:
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
        low, high = np.percentile(x[inside], (_TAIL, 100.0 - _TAIL))
        miss = math.log(use / max(float(high - low), 1e-9))
        if abs(miss) < 2e-3 or (miss > 0.0 and tried >= longest):
            break
        if before is not None and tried != before[0]:
            steepness = min(max((before[1] - miss) / (tried - before[0]), 0.2), 2.0)
        before = (tried, miss)
        tried = min(tried + min(max(miss / steepness, -1.5), 1.5), longest)
    return math.exp(tried), float(low), float(high)


def _soften(
    x: Cells, mask: NDArray[np.bool_], ends: tuple[float, float], to: tuple[float, float]
) -> Cells:
    """Bring heights from between two ends to between others: straight, eased near the ends.

    The map never turns over, so what stands above its neighbour stays above it.
    """
    foot, height = to
    inside, span = x[mask], max(ends[1] - ends[0], 1e-9)
    knee = np.float32(_KNEE * span)
    inside -= np.float32(ends[0])
    _ease(inside, knee)
    np.subtract(np.float32(span), inside, out=inside)
    _ease(inside, knee)
    np.subtract(np.float32(span), inside, out=inside)
    inside *= np.float32((height - foot) / float(inside.max()))
    inside += np.float32(foot)
    out = np.zeros(x.shape, np.float32)
    out[mask] = np.clip(inside, foot, height)
    return out


def _ease(y: Cells, knee: np.float32) -> None:
    """Bend what lies below `knee` towards 0 without reaching it, in place."""
    below = y < knee
    y[below] = knee * np.exp(y[below] / knee - np.float32(1.0))


def _closed(draped: Cells, heights: Cells, mask: NDArray[np.bool_]) -> dict[str, Any]:
    """Return how far the outline came down against the draped model, mm."""
    rim = open_sides(mask) > 0
    drop = np.maximum(draped[rim] - heights[rim], 0.0)
    return {
        "outline_mm": float(np.median(heights[rim])),
        "closed_most_mm": float(drop.max()),
        "closed_share": float((drop > 0.05 * float(draped.max())).mean()),
    }
