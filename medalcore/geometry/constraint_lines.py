"""Points and lines put into the triangulation of a surface."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .arrays import cross2, ragged
from .deviation import Heights, spans
from .triangulation import Triangulation
from .types import BoolArray, FloatArray, IntArray

_NEAR = 0.05  # pixels from other points and the border within which no given point is put
_ON = 1e-6  # pixels within which a point lies on an edge
_HALVINGS = 6


@dataclass(frozen=True, eq=False)
class Lines:
    """Points of a surface, and edges between them.

    Those that would make slivers at the border or at one another are left out.

    Attributes
    ----------
    points : (n, 2) float64
        Pixels.
    z : (n,) float64
        mm.
    edges : (m, 2) int64
        Indices of points.
    fixed : (k,) int64
        Indices of points that keep their height, whatever is asked of the surface.
    """

    points: FloatArray
    z: FloatArray
    edges: IntArray
    fixed: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))

    def fixed_in(self, points: FloatArray) -> IntArray:
        """Return which of some points, (n, 2), keep their height."""
        found = [np.flatnonzero(np.all(points == p, axis=1)) for p in self.points[self.fixed]]
        return np.concatenate([np.zeros(0, dtype=np.int64), *found])


def joined(*lines: Lines) -> Lines:
    """Return several lines as one."""
    shift = np.cumsum([0, *(len(some.z) for some in lines)])
    return Lines(
        np.concatenate([some.points for some in lines]),
        np.concatenate([some.z for some in lines]),
        np.concatenate([some.edges + k for some, k in zip(lines, shift, strict=False)]),
        np.concatenate([some.fixed + k for some, k in zip(lines, shift, strict=False)]),
    )


def _insert_points(
    mesh: Triangulation, heights: Heights, xy: FloatArray, z: FloatArray, near: IntArray
) -> IntArray:
    """Insert given points, one in each triangle at a time, except where they make slivers.

    `near` are triangles to look for them from. Return the points' indices, −1 if left out.
    """
    name = np.full(len(xy), -1)
    at = mesh.locate(xy, near)
    left = np.flatnonzero(at >= 0)
    while len(left):
        left = left[np.argsort(at[left], kind="stable")]
        head = np.flatnonzero(np.diff(at[left], prepend=-1))
        middle = (head + np.append(head[1:], len(left))) // 2
        chosen = left[middle]
        gap, across = distances(mesh, at[chosen], xy[chosen])
        near_wall = np.any(mesh.walled(at[chosen]) & (across < _NEAR), axis=1)
        good = (gap > _NEAR) & ~near_wall
        first = _apart(mesh, at[chosen], across < _ON)
        left = np.delete(left, middle[first | ~good])
        chosen = chosen[first & good]
        name[chosen] = len(mesh.points) + np.arange(len(chosen))
        heights.add(mesh, at[chosen], xy[chosen], z[chosen])
        at[left] = mesh.locate(xy[left], at[left])
        left = left[at[left] >= 0]
    return name


def distances(
    mesh: Triangulation, triangles: IntArray, xy: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return how far points are from the corners (k,) and edges (k, 3) of triangles, pixels."""
    corner = mesh.points[mesh.triangles[triangles]]
    off = xy[:, None] - corner
    side = np.roll(corner, -1, axis=1) - corner
    across = np.abs(cross2(side, off))
    return np.linalg.norm(off, axis=2).min(axis=1), across / np.linalg.norm(side, axis=2)


def _apart(mesh: Triangulation, triangles: IntArray, on_edge: BoolArray) -> BoolArray:
    """Mark points of which no two lie on one edge, from both sides; the first is marked."""
    beside = np.where(on_edge, mesh.beside(triangles), -1)
    claims = np.column_stack([triangles, beside])
    rank = np.broadcast_to(np.arange(len(claims))[:, None], claims.shape)
    owner = np.full(len(mesh.triangles), len(claims))
    np.minimum.at(owner, claims[claims >= 0], rank[claims >= 0])
    return np.asarray(np.all((owner[claims] == rank) | (claims < 0), axis=1))


def insert_lines(mesh: Triangulation, heights: Heights, lines: Lines) -> None:
    """Insert points, then see to it that the edges between them are edges of the mesh.

    An edge that is none is halved until its parts are (conforming Delaunay triangulation).
    """
    name = _insert_points(
        mesh, heights, lines.points, lines.z, _labels(mesh, heights.field.shape, lines.points)
    )
    pairs = name[lines.edges]
    pairs = pairs[np.all(pairs >= 0, axis=1)]
    for _ in range(_HALVINGS):
        pairs = pairs[~mesh.fix(pairs)]
        if len(pairs) == 0:
            return
        middle = mesh.points[pairs].mean(axis=1)
        z = heights.z[pairs].mean(axis=1)
        name = _insert_points(mesh, heights, middle, z, mesh.around(pairs[:, 0]))
        some = name >= 0
        pairs = np.concatenate(
            [np.column_stack([pairs[:, 0], name])[some], np.column_stack([name, pairs[:, 1]])[some]]
        )


def _labels(mesh: Triangulation, shape: tuple[int, int], xy: FloatArray) -> IntArray:
    """Return a triangle near each point: the one that the pixel nearest to it lies in."""
    tri, row, first, count = spans(mesh.points[mesh.triangles], 1, shape)
    label = np.full(shape[0] * shape[1], -1, dtype=np.int32)
    run, place = ragged(count)
    label[(row * shape[1] + first)[run] + place] = tri[run]
    c = np.clip(np.rint(xy[:, 0]).astype(np.int64), 0, shape[1] - 1)
    r = np.clip(np.rint(-xy[:, 1]).astype(np.int64), 0, shape[0] - 1)
    return np.asarray(label[r * shape[1] + c], dtype=np.int64)
