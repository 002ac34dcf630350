"""Turning, cutting, scaling and placing a model on its face, and its depth map there."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from msgspec.structs import replace

from ....context.ground import Ground
from ....errors import SpecError
from ....geometry.clip import clipped
from ....geometry.grid import Grid, HeightField
from ....geometry.raster import top_surface
from ....geometry.types import BoolArray, FloatArray, IntArray
from ....spec import Relief
from ..sources.model import SourceMesh
from .boundary_pixels import finished
from .crevices import bridged
from .lowest import lowest_seen
from .smoothing import smoothed

MARGIN_PIXELS = 8
"""Empty pixels round the silhouette, where a wall's foot and a smooth outline find room."""

FACET_PIXELS = 3.0
"""Width of a facet of a model that is not seen, in pixels of its depth map; at least this:"""

FACETS = 300.0
"""So many such facets span a relief, however fine its depth map is."""

CLEARANCE = 0.05
"""Share of the field's radius that a relief filling it keeps away from the rim."""


def turned(vertices: FloatArray, turn: tuple[float, float, float]) -> FloatArray:
    """Turn points about x, then y, then z.

    Parameters
    ----------
    vertices : (n, 3) float64
    turn : three floats
        Degrees, counter-clockwise seen from the axis' positive end.

    Returns
    -------
    vertices : (n, 3) float64
    """
    if not any(turn):
        return vertices
    matrix = np.eye(3)
    for axis, degrees in enumerate(turn):
        c, s = _cos_sin(degrees)
        one = np.eye(3)
        j, k = (axis + 1) % 3, (axis + 2) % 3
        one[j, j], one[j, k], one[k, j], one[k, k] = c, -s, s, c
        matrix = one @ matrix
    turned_points: FloatArray = vertices @ matrix.T
    return turned_points


def _cos_sin(degrees: float) -> tuple[float, float]:
    # quarter turns are exact, so that level planes stay level
    quarter = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}
    known = quarter.get(degrees % 360.0)
    return known or (math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))


def place(mesh: SourceMesh, spec: Relief, ground: Ground) -> tuple[FloatArray, IntArray]:
    """Bring a model into face coordinates, facets as they are.

    The middle of its box, seen from above, comes to ``at``; depth is scaled with width.

    Parameters
    ----------
    mesh : SourceMesh
    spec : Relief
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
    points, triangles = _cut(_looked_at(mesh, spec), mesh.triangles, spec)
    return _fit(points, mesh.name, spec, ground).placed(points), triangles


def _looked_at(mesh: SourceMesh, spec: Relief) -> FloatArray:
    points = turned(mesh.vertices, spec.turn)
    return points * np.array([-1.0, 1.0, 1.0]) if spec.mirror else points


def _cut(
    points: FloatArray, triangles: IntArray, spec: Relief, size: FloatArray | None = None
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


def _fit(points: FloatArray, name: str, spec: Relief, ground: Ground) -> _Fit:
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
        scale = room(spec, ground) / reach
    return _Fit(middle, float(scale), np.array([*spec.at, 0.0]))


def model_frame(mesh: SourceMesh, spec: Relief, ground: Ground) -> FloatArray:
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
        As `place`.
    """
    whole = turned(mesh.vertices, (spec.turn[0], spec.turn[1], 0.0))[:, :2]
    low, high = whole.min(axis=0), whole.max(axis=0)
    left = _cut(_looked_at(mesh, spec), mesh.triangles, spec)[0]
    fit = _fit(left, mesh.name, spec, ground)
    flat = turned(np.eye(3), (0.0, 0.0, spec.turn[2])).T[:2, :2]
    if spec.mirror:
        flat = np.diag([-1.0, 1.0]) @ flat
    larger, middle = float((high - low).max()), (low + high) / 2
    moved = fit.scale * (flat @ middle - fit.middle[:2]) + fit.at[:2]
    return np.column_stack([fit.scale * larger * flat, moved])


USUAL_HEIGHT = 0.5
"""mm, of a relief whose height is not given and that no rim protects (common practice, no
source)."""

_BELOW_RIM = 0.9
"""Share of the rim's height that a relief may take which is to stay below it."""

_LEAST_HEIGHT = 0.1


def with_height(spec: Relief, ground: Ground) -> Relief:
    """Return a relief with a height: the given one, or what stays below the rim, 0.5 at most."""
    if spec.height > 0.0:
        return spec
    if not ground.rim:
        return replace(spec, height=USUAL_HEIGHT)
    below = _BELOW_RIM * ground.rim + min(ground.dish, 0.0)  # a dome takes some of it
    return replace(spec, height=min(max(round(below, 3), _LEAST_HEIGHT), USUAL_HEIGHT))


_AIR = 0.4
"""mm between a relief that fills the field and the words or borders round it: twice the
narrowest gap that is cast (common practice, no source)."""


def room(spec: Relief, ground: Ground) -> float:
    """Return how far a relief that fills the field may reach from its middle, mm.

    Raises
    ------
    SpecError
        If its middle is not on the field.
    """
    radius = min(ground.radius, ground.free - _AIR) if ground.free else ground.radius
    left = radius * (1.0 - CLEARANCE) - math.hypot(*spec.at)
    if left <= 0:
        raise SpecError(
            f"{spec.at[0]:g}, {spec.at[1]:g} is off the field, or what words and borders leave of "
            f"it, {radius:.3g} mm in radius; a relief that fills it (fit = 0) needs its middle on "
            "it: move it, or give a fit",
            key="at",
        )
    return left


def grid_round(low: FloatArray, high: FloatArray, pixels: int) -> Grid:
    """Return a grid round a box, with `MARGIN_PIXELS` empty pixels on every side.

    Parameters
    ----------
    low, high : (2,) float64
        Corners of the box, mm.
    pixels : int
        Along the larger side, margins included.
    """
    span = high - low
    pixel = float(max(span)) / max(pixels - 2 * MARGIN_PIXELS, 8)
    cols, rows = (math.ceil(side / pixel - 1e-9) + 2 * MARGIN_PIXELS for side in span)
    middle = (low + high) / 2
    return Grid(
        left=float(middle[0] - pixel * (cols - 1) / 2),
        top=float(middle[1] + pixel * (rows - 1) / 2),
        pixel=pixel,
        rows=rows,
        cols=cols,
    )


def box_of(low: FloatArray, high: FloatArray, spec: Relief) -> tuple[FloatArray, FloatArray]:
    """Return the part of a box that the crop leaves.

    Raises
    ------
    SpecError
        If it leaves nothing.
    """
    if spec.crop.shape == "none":
        return low, high
    half = np.array([spec.crop.width, spec.crop.height]) / 2
    low, high = np.maximum(low, spec.at - half), np.minimum(high, spec.at + half)
    if (high <= low).any():
        raise SpecError("nothing of the relief lies inside it; enlarge it", key="crop")
    return low, high


def cropped(grid: Grid, mask: BoolArray, spec: Relief) -> BoolArray:
    """Return the mask inside the crop."""
    if spec.crop.shape == "none":
        return mask
    u = 2 * (grid.u() - spec.at[0])[None, :] / spec.crop.width
    v = 2 * (grid.v() - spec.at[1])[:, None] / spec.crop.height
    inside = np.hypot(u, v) <= 1 if spec.crop.shape == "oval" else (abs(u) <= 1) & (abs(v) <= 1)
    return mask & inside


def raw_field(
    mesh: SourceMesh, spec: Relief, ground: Ground, pixels: int, *, exact: bool = False
) -> HeightField:
    """Return the depth of a placed model, facets smoothed, uncompressed.

    Parameters
    ----------
    mesh : SourceMesh
    spec : Relief
    ground : Ground
    pixels : int
        Along the larger side of the grid.
    exact : bool
        Whether to leave every pixel as it is sampled, and the silhouette as the facets have
        it, instead of finishing the fringe (see `fringe`) and bridging `hairlines`.

    Returns
    -------
    HeightField
        Depth of the model at its placed size, mm; the lowest point seen is at 0, which may
        lie between the last pixels and the outline.

    Raises
    ------
    SpecError
        As `place`; or if nothing is left of the model.
    """
    whole = _looked_at(mesh, spec)
    facets, triangles = _cut(whole, mesh.triangles, spec)
    fit = _fit(facets, mesh.name, spec, ground)
    facets = fit.placed(facets)
    low, high = box_of(facets[:, :2].min(axis=0), facets[:, :2].max(axis=0), spec)
    grid = grid_round(low, high, pixels)
    heights, index = top_surface(facets, triangles, grid, with_index=True)
    assert index is not None
    surface = heights
    if spec.crease > 0:
        width = FACET_PIXELS * grid.pixel, float((high - low).max()) / FACETS
        smooth, split = smoothed(
            whole, mesh.triangles, max(width) / fit.scale, math.radians(spec.crease)
        )
        if split is not mesh.triangles:
            smooth, split = _cut(smooth, split, spec, whole)
            surface, _ = top_surface(fit.placed(smooth), split, grid)
    if exact:
        heights = np.where(np.isfinite(surface) & np.isfinite(heights), surface, heights)
    else:
        heights = bridged(finished(surface, heights, grid.pixel), grid.pixel)
    mask = cropped(grid, np.isfinite(heights), spec)
    if not mask.any():
        key, what = ("crop", "enlarge it") if spec.crop.shape != "none" else ("turn", "turn it")
        raise SpecError(f"{mesh.name} shows no surface from above; {what}", key=key)
    ends = float(heights[mask].min()), float(heights[mask].max())
    heights -= lowest_seen(facets, triangles, grid, mask, index, ends)
    heights[~mask] = 0.0
    return HeightField(grid, heights.astype(np.float32), mask)
