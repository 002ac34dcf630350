"""A textured surface as a closed cutter: the surface below, a lid above the field.

Even the highest places of the surface lie a trace below the field, so that the cutter takes
the whole field away inside its border and no two faces are coplanar.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ...context.ground import Ground
from ...geometry.arrays import cross2
from ...geometry.solid import Solid, solid_from_arrays
from ...geometry.types import BoolArray, FloatArray, IntArray

ZONE = "texture"

_LID = 0.05  # mm above the field
_STEEP = 0.2  # rise over run of a step of the field, not of a panel that slopes
_CLEAR = 0.02  # mm left beside such a step


@dataclass(frozen=True, eq=False)
class Sheet:
    """A surface over the field.

    Attributes
    ----------
    uv : (n, 2) float64
        mm.
    drop : (n,) float64
        How far it lies below the field, mm, above 0.
    triangles : (m, 3) int64
        Counter-clockwise.
    """

    uv: FloatArray
    drop: FloatArray
    triangles: IntArray


@dataclass(frozen=True, eq=False)
class Worked:
    """Lines or grain as a sheet.

    Attributes
    ----------
    sheet : Sheet
    keep : (n,) bool
        Which vertices of it lie in the zone.
    count : int
        Lines, dots or grains.
    """

    sheet: Sheet
    keep: BoolArray
    count: int


def grid_triangles(rows: int, cols: int, *, closed: bool) -> IntArray:
    """Return triangles of a grid of vertices numbered row by row.

    Parameters
    ----------
    rows, cols : int
    closed : bool
        Whether the last row joins the first.
    """
    index = np.arange(rows * cols).reshape(rows, cols)
    here, there = (index, np.roll(index, -1, axis=0)) if closed else (index[:-1], index[1:])
    a, b = here[:, :-1].ravel(), here[:, 1:].ravel()
    c, d = there[:, :-1].ravel(), there[:, 1:].ravel()
    return np.concatenate([np.column_stack([a, b, d]), np.column_stack([a, d, c])])


def whole(sheet: Sheet, keep: BoolArray, ground: Ground) -> Sheet:
    """Return the triangles all of whose corners are kept, off steps of the field.

    Triangles that hang together by a corner only go as well: a solid cannot.
    """
    triangles = sheet.triangles[keep[sheet.triangles].all(axis=1)]
    triangles = triangles[~_on_steps(sheet.uv[triangles], ground)]
    while len(triangles):
        pinched = _pinched(triangles, len(sheet.uv))
        if not pinched.any():
            break
        triangles = triangles[~pinched[triangles].any(axis=1)]
    used, numbered = np.unique(triangles, return_inverse=True)
    return Sheet(sheet.uv[used], sheet.drop[used], numbered.reshape(-1, 3).astype(np.int64))


def _on_steps(corners: FloatArray, ground: Ground) -> BoolArray:
    """Tell which triangles (m, 3, 2) reach over a steep place between two levels of the field."""
    radius = np.hypot(corners[..., 0], corners[..., 1])
    low, high = radius.min(axis=1) - _CLEAR, radius.max(axis=1) + _CLEAR
    found = np.zeros(len(corners), dtype=bool)
    for (start, under), (end, over) in pairwise(ground.steps):
        if abs(over - under) > _STEEP * (end - start):
            found |= (high > start) & (low < end)
    for terrace in ground.terraces:
        found |= terrace.on_wall(corners, _CLEAR, _STEEP)
    return found


def _border(triangles: IntArray, count: int) -> IntArray:
    """Return the directed edges (k, 2) that only one triangle has."""
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    there = edges[:, 0] * count + edges[:, 1]
    back = edges[:, 1] * count + edges[:, 0]
    ordered = np.sort(there)
    place = np.minimum(np.searchsorted(ordered, back), len(ordered) - 1)
    alone: IntArray = edges[ordered[place] != back]
    return alone


def _pinched(triangles: IntArray, count: int) -> BoolArray:
    """Tell which vertices have more than one stretch of border through them."""
    return np.bincount(_border(triangles, count)[:, 0], minlength=count) > 1


def cutter(sheet: Sheet, ground: Ground) -> Solid:
    """Return the solid that is taken from the blank.

    Raises
    ------
    SolidError
        If the sheet folds over.
    """
    triangles, count = sheet.triangles, len(sheet.uv)
    corner = sheet.uv[triangles]
    one, two = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    if float(np.sum(cross2(one, two))) < 0.0:
        triangles = triangles[:, ::-1]
    field = ground.height(sheet.uv)
    low = np.column_stack([sheet.uv, field - sheet.drop])
    lid = np.column_stack([sheet.uv, field + _LID])
    a, b = _border(triangles, count).T
    wall = np.concatenate(
        [np.column_stack([a, b, b + count]), np.column_stack([a, b + count, a + count])]
    )
    return solid_from_arrays(
        np.concatenate([low, lid]),
        np.concatenate([triangles[:, ::-1], triangles + count, wall]),
        ZONE,
    )
