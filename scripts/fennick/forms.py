"""Small vocabulary of solid forms the scene is built from; z is up, −y faces the viewer."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def union(parts: Iterable[m3.Manifold]) -> m3.Manifold:
    """Return all parts as one body of matter."""
    return m3.Manifold.batch_boolean(list(parts), m3.OpType.Add)


def box(size: Sequence[float], centre: Sequence[float] = (0.0, 0.0, 0.0)) -> m3.Manifold:
    """Return a box by its three lengths and its middle."""
    return m3.Manifold.cube(tuple(size), True).translate(tuple(centre))


def ball(radius: float, centre: Sequence[float], segments: int = 24) -> m3.Manifold:
    """Return a sphere."""
    return m3.Manifold.sphere(radius, segments).translate(tuple(centre))


def post(
    foot: Sequence[float],
    top: Sequence[float],
    radius: float,
    end: float | None = None,
    sides: int = 12,
) -> m3.Manifold:
    """Return a round bar from one point to another, tapering to the radius `end`."""
    a, b = np.asarray(foot, float), np.asarray(top, float)
    along = b - a
    length = float(np.linalg.norm(along))
    pitch = math.degrees(math.acos(along[2] / length))
    turn = math.degrees(math.atan2(along[1], along[0]))
    bar = m3.Manifold.cylinder(length, radius, radius if end is None else end, sides)
    return bar.rotate((0.0, pitch, turn)).translate(tuple(a))


def turned(profile: Sequence[Sequence[float]], segments: int = 128) -> m3.Manifold:
    """Return the solid of revolution about z of a closed (radius, z) polygon."""
    return m3.CrossSection([list(map(tuple, profile))], m3.FillRule.NonZero).revolve(segments)


def ring(radius: float, z: float, thickness: float, segments: int = 96) -> m3.Manifold:
    """Return a round hoop lying level."""
    section = m3.CrossSection.circle(thickness, 16).translate((radius, z))
    return section.revolve(segments)


def slab(outline: Sequence[Sequence[float]], thickness: float) -> m3.Manifold:
    """Return an upright plate: an outline in x and z, `thickness` deep about y = 0."""
    section = m3.CrossSection([list(map(tuple, outline))], m3.FillRule.NonZero)
    return section.extrude(thickness).translate((0, 0, -thickness / 2)).rotate((90, 0, 0))


def arched(width: float, height: float, steps: int = 10) -> list[tuple[float, float]]:
    """Return the outline of a round-headed opening standing on z = 0."""
    r = width / 2
    bow = [(r * math.cos(a), height - r + r * math.sin(a)) for a in np.linspace(0, math.pi, steps)]
    return [(-r, 0.0), (r, 0.0), *bow]


def around(part: m3.Manifold, count: int, first: float = 0.0) -> list[m3.Manifold]:
    """Return `count` copies of a part evenly about the z axis."""
    return [part.rotate((0, 0, first + 360.0 * i / count)) for i in range(count)]


def strand(path: FloatArray, radii: FloatArray, segments: int = 12) -> m3.Manifold:
    """Return a smooth cord along (n, 3) points, `radii` (n,) thick."""
    starts = [ball(float(r), p, segments) for p, r in zip(path, radii, strict=True)]
    # a piece ends just inside the next one's start: equal balls would meet face to face
    ends = [ball(0.985 * float(r), p, segments) for p, r in zip(path, radii, strict=True)]
    return union(m3.Manifold.batch_hull([a, b]) for a, b in zip(starts[:-1], ends[1:], strict=True))


def hull(points: FloatArray) -> m3.Manifold:
    """Return the convex hull of (n, 3) points."""
    return m3.Manifold.hull_points([tuple(p) for p in points.tolist()])


def noise(points: FloatArray, scale: float, seed: int) -> FloatArray:
    """Return smooth value noise in −1 … 1 at (n, d) points, features about `scale` wide."""
    p = np.asarray(points, dtype=np.float64) / scale
    cell = np.floor(p).astype(np.int64)
    f = p - cell
    f = f * f * f * (f * (f * 6.0 - 15.0) + 10.0)
    total = np.zeros(len(p))
    for corner in np.ndindex(*(2,) * p.shape[1]):
        c = np.asarray(corner)
        weight = np.prod(np.where(c == 1, f, 1.0 - f), axis=1)
        total += weight * _hashed(cell + c, seed)
    return total


def _hashed(cell: NDArray[np.int64], seed: int) -> FloatArray:
    """Return a number in −1 … 1 for every lattice cell, the same on every machine."""
    h = np.full(len(cell), 0x9E3779B97F4A7C15 + seed, dtype=np.uint64)
    for column in cell.T:
        h ^= column.astype(np.uint64) * np.uint64(0xBF58476D1CE4E5B9)
        h ^= h >> np.uint64(29)
        h *= np.uint64(0x94D049BB133111EB)
        h ^= h >> np.uint64(32)
    return (h >> np.uint64(11)).astype(np.float64) * (2.0 / 2.0**53) - 1.0
