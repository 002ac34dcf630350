"""Turning, cutting, scaling and placing a model on its face, and its depth map there."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ....context.ground import Ground
from ....errors import SpecError
from ....geometry.clip import clipped
from ....geometry.grid import HeightField
from ....geometry.raster import top_surface
from ....geometry.types import FloatArray, IntArray
from ..keys import SourceKeys
from ..sources.fit import crop_box, crop_mask, free_reach, grid_around, rotate
from ..sources.model import SourceMesh
from .adaptive_subdivision import subdivide_seen
from .boundary_pixels import correct
from .crevices import close_crevices
from .lowest import lowest_seen

FACET_PIXELS = 3.0
"""Width of a facet of a model that is not seen, in pixels of its depth map; at least this:"""

FACETS = 300.0
"""So many such facets span a relief, however fine its depth map is."""


def place_mesh(mesh: SourceMesh, spec: SourceKeys, ground: Ground) -> tuple[FloatArray, IntArray]:
    """Bring a model into face coordinates, facets as they are.

    The middle of its box, seen from above, comes to ``at``; depth is scaled with width.

    Parameters
    ----------
    mesh : SourceMesh
    spec : SourceKeys
        Its ``turn``, ``mirror``, ``cut``, ``fit`` and ``at``.
    ground : Ground
        The field that ``fit = 0`` fills.

    Returns
    -------
    vertices : (n, 3) float64
        mm; the lowest point is at z = 0.
    triangles : (m, 3) int64

    Raises
    ------
    SpecError
        If the model is seen exactly edge-on, or is to fill a field that its middle is not on.
    """
    points, triangles = _cut(_turn(mesh, spec), mesh.triangles, spec)
    return _fit(points, mesh.name, spec, ground).placed(points), triangles


def _turn(mesh: SourceMesh, spec: SourceKeys) -> FloatArray:
    points = rotate(mesh.vertices, spec.turn)
    return points * np.array([-1.0, 1.0, 1.0]) if spec.mirror else points


def _cut(
    points: FloatArray, triangles: IntArray, spec: SourceKeys, size: FloatArray | None = None
) -> tuple[FloatArray, IntArray]:
    """Take away what lies below the cut at the foot and behind the one at the back.

    Both planes are seen edge-on or face the back, so that the open cuts do not show. Shares
    are of the box of the points `size`, or of the points themselves.
    """
    cut = spec.cut
    if not cut.foot and not cut.back:
        return points, triangles
    whole = points if size is None else size
    low, high = whole.min(axis=0), whole.max(axis=0)
    if cut.back:
        level = float(low[2] + cut.back * (high[2] - low[2]))
        points, triangles = clipped(points, triangles, np.array([0.0, 0.0, 1.0]), level)
    if cut.foot:
        angle = math.radians(cut.slant)
        normal = np.array([-math.sin(angle), math.cos(angle), 0.0])
        through = np.array([(low[0] + high[0]) / 2, low[1] + cut.foot * (high[1] - low[1]), 0.0])
        points, triangles = clipped(points, triangles, normal, float(normal @ through))
    if not len(triangles):
        raise SpecError("nothing of the model is left above it; cut away less", key="cut")
    used, faces = np.unique(triangles, return_inverse=True)
    return points[used], faces.reshape(-1, 3)


class _Fit(NamedTuple):
    """How a model is moved to its place: middle taken away, scaled, put at its place."""

    middle: FloatArray
    scale: float
    at: FloatArray

    def placed(self, points: FloatArray) -> FloatArray:
        """Return points (n, 3) in their place, mm."""
        moved: FloatArray = (points - self.middle) * self.scale + self.at
        return moved


def _fit(points: FloatArray, name: str, spec: SourceKeys, ground: Ground) -> _Fit:
    """Find how to scale and move points to their place on the face."""
    low, high = points.min(axis=0), points.max(axis=0)
    span = high - low
    if min(span[0], span[1]) <= 1e-9 * max(span):
        raise SpecError(
            f"{name} is flat and seen edge-on; turn it so that its face looks up (+z)",
            key="turn",
        )
    middle = np.array([(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, low[2]])
    if spec.fit > 0:
        scale = spec.fit / max(span[0], span[1])
    else:
        reach = float(np.sqrt(np.square(points[:, :2] - middle[:2]).sum(axis=1).max()))
        scale = free_reach(spec, ground) / reach
    return _Fit(middle, float(scale), np.array([*spec.at, 0.0]))


def model_frame(mesh: SourceMesh, spec: SourceKeys, ground: Ground) -> FloatArray:
    """Return the map from the relief's own frame to the face.

    Its origin is the middle of the whole model as it is seen, its unit the larger side;
    mirror, turn about z, cut, fit and place come after it.

    Returns
    -------
    matrix : (2, 3) float64
        face = matrix[:, :2] @ own + matrix[:, 2], mm.

    Raises
    ------
    SpecError
        As `place_mesh`.
    """
    whole = rotate(mesh.vertices, (spec.turn[0], spec.turn[1], 0.0))[:, :2]
    low, high = whole.min(axis=0), whole.max(axis=0)
    left = _cut(_turn(mesh, spec), mesh.triangles, spec)[0]
    fit = _fit(left, mesh.name, spec, ground)
    flat = rotate(np.eye(3), (0.0, 0.0, spec.turn[2])).T[:2, :2]
    if spec.mirror:
        flat = np.diag([-1.0, 1.0]) @ flat
    larger, middle = float((high - low).max()), (low + high) / 2
    moved = fit.scale * (flat @ middle - fit.middle[:2]) + fit.at[:2]
    return np.column_stack([fit.scale * larger * flat, moved])


def raw_field(
    mesh: SourceMesh, spec: SourceKeys, ground: Ground, pixels: int, *, exact: bool = False
) -> HeightField:
    """Return the depth of a placed model, facets smoothed, uncompressed.

    Parameters
    ----------
    mesh : SourceMesh
    spec : SourceKeys
    ground : Ground
    pixels : int
        Along the larger side of the grid.
    exact : bool
        Whether to leave every pixel as it is sampled, and the silhouette as the facets have
        it, instead of finishing the fringe (see `boundary_pixels`) and bridging `crevices`.

    Returns
    -------
    HeightField
        Depth of the model at its placed size, mm; the lowest point seen is at 0, which may
        lie between the last pixels and the outline.

    Raises
    ------
    SpecError
        As `place_mesh`; or if nothing is left of the model.
    """
    whole = _turn(mesh, spec)
    facets, triangles = _cut(whole, mesh.triangles, spec)
    fit = _fit(facets, mesh.name, spec, ground)
    facets = fit.placed(facets)
    low, high = crop_box(facets[:, :2].min(axis=0), facets[:, :2].max(axis=0), spec)
    grid = grid_around(low, high, pixels)
    heights, index = top_surface(facets, triangles, grid, with_index=True)
    assert index is not None
    surface = heights
    if spec.crease > 0:
        width = FACET_PIXELS * grid.pixel, float((high - low).max()) / FACETS
        smooth, split = subdivide_seen(
            whole, mesh.triangles, max(width) / fit.scale, math.radians(spec.crease)
        )
        if split is not mesh.triangles:
            smooth, split = _cut(smooth, split, spec, whole)
            surface, _ = top_surface(fit.placed(smooth), split, grid)
    if exact:
        heights = np.where(np.isfinite(surface) & np.isfinite(heights), surface, heights)
    else:
        heights = close_crevices(correct(surface, heights, grid.pixel), grid.pixel)
    mask = crop_mask(grid, np.isfinite(heights), spec)
    if not mask.any():
        key, what = ("crop", "enlarge it") if spec.crop.shape != "none" else ("turn", "turn it")
        raise SpecError(f"{mesh.name} shows no surface from above; {what}", key=key)
    ends = float(heights[mask].min()), float(heights[mask].max())
    heights -= lowest_seen(facets, triangles, grid, mask, index, ends)
    heights[~mask] = 0.0
    return HeightField(grid, heights.astype(np.float32), mask)
