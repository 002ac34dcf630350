"""Edges turned so that a surface bends as little as it can.

Delaunay triangles know nothing of heights: across a ridge or along a steep ring they alternate
light and dark. Turning the edges of pairs of triangles so that the total bend, angle times
length, becomes least (total absolute mean curvature: Alboul and van Damme 1997; data
dependent triangulation: Dyn, Levin and Rippa 1990) lays them along ridges and level lines.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from .arrays import cross2
from .deviation import Heights, deviation_of
from .triangulation import Triangulation
from .types import BoolArray, FloatArray, IntArray

_ROUNDS = 12
_FLAT = 0.02  # radians: edges that bend less are not seen
_GAIN = 0.02  # of the bend, at least, that a turn takes away
_THIN = 0.15  # pixels: no triangle becomes lower than this


def minimise_curvature(
    mesh: Triangulation, heights: Heights, tolerance: float, pixel: float
) -> None:
    """Turn edges while that lessens the bend and keeps the surface to its field.

    Parameters
    ----------
    mesh : Triangulation
        Changed in place.
    heights : Heights
    tolerance : float
        Largest distance from the field at pixels, mm.
    pixel : float
        mm.
    """
    points = np.column_stack([mesh.points * pixel, heights.z])
    _flip_while(mesh, heights, tolerance, mesh.inner_edges(), partial(_less_bent, mesh, points))


def reduce_steepness(mesh: Triangulation, heights: Heights, tolerance: float, slope: float) -> None:
    """Turn edges while that makes less of the surface steeper than a slope.

    Parameters
    ----------
    mesh : Triangulation
        Changed in place.
    heights : Heights
    tolerance : float
        Largest distance from the field at pixels, mm.
    slope : float
        mm in a pixel.
    """
    edges = mesh.inner_edges()
    a, b, c = mesh.triangles.T
    steep = _excess(mesh.points, heights.z, (a, b, c), slope) > 0
    first, second = mesh.owners(edges)
    edges = edges[steep[first] | steep[second]]
    _flip_while(mesh, heights, tolerance, edges, partial(_less_steep, mesh, heights.z, slope))


def _flip_while(
    mesh: Triangulation,
    heights: Heights,
    tolerance: float,
    edges: IntArray,
    worthy: Callable[[IntArray], tuple[IntArray, FloatArray]],
) -> None:
    """Turn those of some edges that are worth it, then those about them, as long as there are any.

    `worthy` returns which of some edges are better turned, and by how much.
    """
    for _ in range(_ROUNDS):
        edges, gain = worthy(edges)
        edges = edges[_best(mesh, edges, gain)]
        edges = edges[_true(mesh, heights, edges, tolerance)]
        if not len(edges):
            return
        edges = mesh.turn(edges)


def _less_steep(
    mesh: Triangulation, z: FloatArray, slope: float, edges: IntArray
) -> tuple[IntArray, FloatArray]:
    """Return those of some edges that are better turned for what is too steep, and by how much."""
    a, b, c, d = mesh.quad(edges)
    good = _convex(mesh.points, a, b, c, d)
    edges, a, b, c, d = edges[good], a[good], b[good], c[good], d[good]
    before = _excess(mesh.points, z, (a, b, c), slope)
    before += _excess(mesh.points, z, (b, a, d), slope)
    gain = before - _excess(mesh.points, z, (c, a, d), slope)
    gain -= _excess(mesh.points, z, (d, b, c), slope)
    worth = gain > _GAIN * before
    return edges[worth], gain[worth]


def _excess(
    xy: FloatArray, z: FloatArray, corners: tuple[IntArray, IntArray, IntArray], slope: float
) -> FloatArray:
    """Return by how much triangles are steeper than a slope, times their area."""
    a, b, c = corners
    e1, e2 = xy[b] - xy[a], xy[c] - xy[a]
    d1, d2 = z[b] - z[a], z[c] - z[a]
    area = np.abs(cross2(e1, e2))
    fall = np.hypot(d1 * e2[:, 1] - d2 * e1[:, 1], d2 * e1[:, 0] - d1 * e2[:, 0])
    return np.asarray(np.maximum(fall - slope * (1.0 + 1e-4) * area, 0.0))


def _less_bent(
    mesh: Triangulation, points: FloatArray, edges: IntArray
) -> tuple[IntArray, FloatArray]:
    """Return those of some edges that are better turned for the bend, and by how much."""
    a, b, c, d = mesh.quad(edges)
    bend = _bend(points, a, b, _normal(points, a, b, c), _normal(points, b, a, d))
    seen = bend > _FLAT * np.linalg.norm(points[a] - points[b], axis=1)
    edges, a, b, c, d = edges[seen], a[seen], b[seen], c[seen], d[seen]
    good = _convex(mesh.points, a, b, c, d)
    edges, a, b, c, d = edges[good], a[good], b[good], c[good], d[good]
    first, second = _normal(points, a, b, c), _normal(points, b, a, d)
    one, two = _normal(points, c, a, d), _normal(points, d, b, c)
    before = _bend(points, a, b, first, second)
    after = _bend(points, c, d, one, two)
    own = mesh.sides(edges)  # b–c, c–a, a–d, d–b: the four edges round the pair
    ring = ((b, c, first, two), (c, a, first, one), (a, d, second, one), (d, b, second, two))
    for side, (p, q, old, new) in zip(own, ring, strict=True):
        far = mesh.opposite(side)
        has = far >= 0
        other = _normal(points, q, p, np.where(has, far, p))
        before += np.where(has, _bend(points, p, q, old, other), 0.0)
        after += np.where(has, _bend(points, p, q, new, other), 0.0)
    gain = before - after
    worth = gain > _GAIN * before
    return edges[worth], gain[worth]


def _normal(points: FloatArray, a: IntArray, b: IntArray, c: IntArray) -> FloatArray:
    n = np.cross(points[b] - points[a], points[c] - points[a])
    return np.asarray(n / np.maximum(np.linalg.norm(n, axis=1), 1e-30)[:, None])


def _bend(
    points: FloatArray, a: IntArray, b: IntArray, one: FloatArray, two: FloatArray
) -> FloatArray:
    """Return length times angle at edges."""
    angle = 2.0 * np.arcsin(np.minimum(0.5 * np.linalg.norm(one - two, axis=1), 1.0))
    return np.asarray(angle * np.linalg.norm(points[a] - points[b], axis=1))


def _convex(xy: FloatArray, a: IntArray, b: IntArray, c: IntArray, d: IntArray) -> BoolArray:
    """Tell which pairs of triangles may be turned without making a sliver."""
    good = np.ones(len(a), dtype=bool)
    for corners in ((c, a, d), (d, b, c)):
        p, q, r = (xy[k] for k in corners)
        area = (q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0])
        longest = np.maximum(
            np.hypot(*(q - p).T), np.maximum(np.hypot(*(r - q).T), np.hypot(*(p - r).T))
        )
        good &= area > _THIN * longest
    return good


def _best(mesh: Triangulation, edges: IntArray, gain: FloatArray) -> BoolArray:
    """Mark edges that gain most of all about them, so that no two share a triangle."""
    first, second = mesh.owners(edges)
    rank = np.empty(len(edges), dtype=np.int64)
    rank[np.lexsort((edges, gain))] = np.arange(len(edges))
    most = np.full(len(mesh.triangles), -1)
    np.maximum.at(most, first, rank)
    np.maximum.at(most, second, rank)
    return np.asarray((most[first] == rank) & (most[second] == rank))


def _true(mesh: Triangulation, heights: Heights, edges: IntArray, tolerance: float) -> BoolArray:
    """Tell which pairs keep to the field when turned."""
    a, b, c, d = mesh.quad(edges)
    corners = np.concatenate([np.stack([c, a, d], axis=1), np.stack([d, b, c], axis=1)])
    worst, _ = deviation_of(heights.field, mesh.points[corners], heights.z[corners], 1)
    return np.asarray(worst.reshape(2, -1).max(axis=0) <= tolerance)
