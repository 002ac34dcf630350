"""A model's depth, told in the height of a relief.

Without compression depths are heights as they are. *Linear* compression scales.
*Gradient* compression keeps what raking light shows: every slope
is shrunk to the lean that looks, under the light by which a medal is seen, as the model's own
lean looks under the light by which a model is seen (`slopes.attenuate`). Heights are then
grown back from the slopes inside the silhouette, held by a weak pull towards a flat base; the
length over which that pull lets go is chosen so that the relief just fills its height. Slopes
stay true, so small forms read as they do on the model, and only forms broader than that length
are flattened. The outline is pulled down towards the field. Where a relief is so high that the
broadest forms leave height unused, the model's own slopes are mixed in, and the nearer it comes
to the height at which plain scaling looks best, the more of that it becomes. Every
length is in millimetres or a share of the height.

Background, by their papers: T. Weyrich, J. Deng, C. Barnes, S. Rusinkiewicz, A. Finkelstein,
"Digital bas-relief from 3D scenes", ACM Trans. Graph. 26(3), 2007; P. Bhat, B. Curless,
M. Cohen, C. L. Zitnick, "Fourier analysis of the 2D screened Poisson equation for gradient
domain problems", ECCV 2008. The slope law and the fitted length are ours.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ....errors import SourceError
from ....geometry.grid import Grid, HeightField
from ....geometry.red_black import Cells
from ..keys import CompressionKeys
from .foot_blend import blend_foot
from .reconstruct import reconstruct
from .slopes import BoundaryPixels, boundary_pixels
from .system import Job

_CLEAR = 0.002
"""mm: height from which a surface and the field are two."""

SEEN = 0.02
"""mm: an outline that came down by less has not changed to the eye."""


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
        What was measured, for the report: ``model_depth_mm``; ``foot_mm``;
        ``flattened_from_mm``, the size from which forms are flattened; ``evenly_lowered_share``,
        0 for slopes as raking light wants them, 1 for plain scaling; and of the outline
        ``overhang_on_model_mm``, how far the model's hangs above its lowest point at most,
        ``overhang_scaled_mm``, how high that would stand were the model only scaled,
        ``overhang_closed_mm``, by how much it was brought down from there at most, and
        ``overhang_closed_share``, along which share of it by more than `SEEN`;
        ``outline_height_mm`` and ``outline_highest_mm``, its middle and largest height now.
    rounds : int
        Of the solver.
    """

    field: HeightField
    facts: Mapping[str, Any]
    rounds: int = 0


def foot_of(spec: CompressionKeys) -> float:
    """Return the least height inside the outline, mm: as asked, or chosen from the height.

    Depths that are heights as they are get no foot that nobody asked for, only what a surface
    needs to stand clear of the field.
    """
    if spec.foot > 0.0:
        return min(spec.foot, 0.5 * spec.height)
    if spec.compression == "none":
        return min(_CLEAR, 0.5 * spec.height)
    return min(max(0.08 * spec.height, 0.035), 0.045, 0.25 * spec.height)


def compress(
    raw: HeightField,
    spec: CompressionKeys,
    *,
    weight: NDArray[np.floating] | None = None,
    lowest: float = 0.0,
) -> Compressed:
    """Bring a model's depth to the height of a relief.

    Parameters
    ----------
    raw : HeightField
        Depth of the model in mm at its in-plane scale (slopes are true), lowest seen 0; the
        mask is the silhouette.
    spec : CompressionKeys
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
    foot, outline = foot_of(spec), boundary_pixels(raw.mask, raw.grid.pixel)
    depth = raw.heights * raw.mask  # lowest between the last pixels and the outline, maybe
    if spec.compression == "gradient":
        depth -= raw.heights[raw.mask].min()
        depth *= raw.mask
    most = float(depth.max())
    rounds = 0
    facts: dict[str, Any] = {"model_depth_mm": float(raw.heights[raw.mask].max()), "foot_mm": foot}
    if spec.compression == "none":
        heights = np.maximum(depth + np.float32(lowest), np.float32(foot)) * raw.mask
    elif most <= 0.0:
        heights = raw.mask.astype(np.float32) * np.float32(spec.height)
    elif spec.compression == "linear":
        heights = depth * np.float32((spec.height - foot) / most) + np.float32(foot) * raw.mask
    else:
        job = Job(raw.grid.pixel, raw.mask, outline, depth, most, foot, spec, weight)
        heights, more, rounds = reconstruct(job)
        facts.update(more)
    facts.update(_closed(depth, heights, outline, spec, foot))
    facts = {k: round(v, 5) if isinstance(v, float) else v for k, v in facts.items()}
    field = blend_foot(_placed(heights, part, whole), spec.blend)
    return Compressed(field, facts, rounds)


def _spanned(raw: HeightField) -> tuple[slice, slice]:
    """Return the rows and columns that the silhouette spans, even numbers of them if they can be.

    The solver would have to copy odd ones.
    """
    rows, cols = np.flatnonzero(raw.mask.any(1)), np.flatnonzero(raw.mask.any(0))
    first, last = (int(rows[0]), int(cols[0])), (int(rows[-1]) + 1, int(cols[-1]) + 1)
    return (
        slice(first[0], last[0] + (last[0] - first[0]) % 2),
        slice(first[1], last[1] + (last[1] - first[1]) % 2),
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


def _closed(
    depth: Cells, heights: Cells, outline: BoundaryPixels, spec: CompressionKeys, foot: float
) -> dict[str, Any]:
    """Return how far the outline hung above the field, and how far it came down, mm.

    Whatever the model leaves open below its outline, the relief fills down to the field; the
    lower the outline, the less there is to fill. What closes it is measured against plain
    scaling.
    """
    hung = depth.ravel()[outline.index]
    made = heights.ravel()[outline.index]
    scale = (spec.height - foot) / max(float(depth.max()), 1e-9)
    if spec.compression == "none":
        scale = 1.0
    scaled = foot + hung * scale
    drop = np.maximum(scaled - made, 0.0)
    return {
        "overhang_on_model_mm": float(hung.max()),
        "overhang_scaled_mm": float(scaled.max()),
        "overhang_closed_mm": float(drop.max()),
        "overhang_closed_share": float((drop > SEEN).mean()),
        "outline_height_mm": float(np.median(made)),
        "outline_highest_mm": float(made.max()),
    }
