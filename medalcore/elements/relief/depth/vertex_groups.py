"""Where the modelling counts: vertex groups of the model, as they are seen from above."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ....errors import SourceError
from ....geometry.arrays import cross2
from ....geometry.grid import Grid, HeightField
from ....geometry.raster import top_surface
from ....geometry.types import BoolArray, Float32Array, FloatArray, Int32Array, IntArray
from ..keys import SourceKeys
from ..sources.fit import rotate
from ..sources.model import SourceMesh

_CHUNK = 1 << 18  # pixels at a time


def asks_for_groups(spec: SourceKeys) -> bool:
    """Tell whether a relief names vertex groups."""
    return bool(spec.more_on or spec.less_on)


def no_groups(spec: SourceKeys, name: str) -> SourceError:
    """Return what is told of a source that has no vertices."""
    group = spec.more_on or spec.less_on
    return SourceError(
        f"{name}: has no vertices, so no vertex group '{group}'; leave the group empty, or paint "
        "a picture for emphasis"
    )


def group_weight(
    mesh: SourceMesh, spec: SourceKeys, frame: Callable[[], FloatArray], field: HeightField
) -> Float32Array:
    """Return how strongly each pixel is to be modelled, from the groups a relief names.

    Cuts need no thought here: what they take away lay behind, below or beside what is seen.

    Parameters
    ----------
    mesh : SourceMesh
    spec : SourceKeys
        Its ``more_on`` and ``less_on``.
    frame : callable
        Returns the map from the relief's own frame to the face, see `placement.model_frame`.
    field : HeightField
        The model as it is seen.

    Returns
    -------
    weight : (rows, cols) float32
        1 where a pixel is in neither group, 2 where wholly in ``more_on``, 0 where wholly in
        ``less_on``; in between along the edges of a group.

    Raises
    ------
    SourceError
        If the model has no group of that name.
    """
    more, less = _group(mesh, spec.more_on), _group(mesh, spec.less_on)
    matrix = frame()
    points = rotate(mesh.vertices, (spec.turn[0], spec.turn[1], 0.0))
    low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
    own = (points[:, :2] - (low + high) / 2) / float((high - low).max())
    placed = np.column_stack([own @ matrix[:, :2].T + matrix[:, 2], points[:, 2]])
    _, index = top_surface(placed, mesh.triangles, field.grid, with_index=True)
    assert index is not None
    factor = (1.0 + more) * (1.0 - less)
    weight = np.ones(field.grid.shape, np.float32)
    known = index >= 0
    weight[known] = _interpolated(placed, mesh.triangles, factor, index, field.grid)
    _spread(weight, known, field.mask)
    return weight


def _group(mesh: SourceMesh, name: str) -> FloatArray:
    """Return the weights of a group, (n,) 0 to 1; 0 without a name."""
    if not name:
        return np.zeros(len(mesh.vertices))
    if name not in mesh.weights:
        known = ", ".join(f"'{k}'" for k in sorted(mesh.weights)) or "none"
        raise SourceError(
            f"{mesh.name}: has no vertex group '{name}'; known here: {known}. Groups come with "
            "objects, and with PLY files as a number for each vertex"
        )
    return mesh.weights[name]


def _interpolated(
    points: FloatArray,
    triangles: IntArray,
    values: FloatArray,
    index: Int32Array,
    grid: Grid,
) -> Float32Array:
    """Return values at the pixels that see a triangle, in the order of the grid."""
    row, col = np.nonzero(index >= 0)
    out = np.empty(len(row), np.float32)
    u, v = grid.u(), grid.v()
    for start in range(0, len(row), _CHUNK):
        at = slice(start, start + _CHUNK)
        corners = triangles[index[row[at], col[at]]]
        a, b, c = (points[corners[:, k], :2] for k in range(3))
        e1, e2, p = b - a, c - a, np.column_stack([u[col[at]], v[row[at]]]) - a
        area = cross2(e1, e2)
        area[area == 0.0] = np.inf  # seen edge-on: the first corner counts
        second = np.clip(cross2(p, e2) / area, 0.0, 1.0)
        third = np.clip(cross2(e1, p) / area, 0.0, 1.0 - second)
        held = values[corners]
        out[at] = (
            held[:, 0] + second * (held[:, 1] - held[:, 0]) + third * (held[:, 2] - held[:, 0])
        )
    return out


def _spread(weight: Float32Array, known: BoolArray, mask: BoolArray) -> None:
    """Carry weights on to pixels that only a smoothed surface reaches."""
    wide = weight.shape[1] + 2
    values, there = np.pad(weight, 1), np.pad(known, 1)
    flat, has = values.ravel(), there.ravel()
    lost = np.flatnonzero(np.pad(mask & ~known, 1).ravel())
    beside = np.array([-1, 1, -wide, wide])
    while len(lost):
        near = lost[:, None] + beside
        count = has[near].sum(axis=1)
        now = count > 0
        if not now.any():
            break
        total = np.where(has[near], flat[near], 0.0).sum(axis=1)
        flat[lost[now]] = total[now] / count[now]
        has[lost[now]] = True
        lost = lost[~now]
    weight[:] = values[1:-1, 1:-1]
