"""Models that no number of the compression was tuned on, made by script.

Open sheets, knots, shells grown along a spiral, lumps, crowds of bodies that run into each
other, thin branches, hulls: what people bring that is neither a scan nor a figure.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
import trimesh
from numpy.typing import NDArray
from trimesh.transformations import rotation_matrix

Points = NDArray[np.float64]


def other_models() -> Iterator[tuple[str, trimesh.Trimesh]]:
    """Yield the name and the mesh of each model, as it looks towards +z."""
    for make in (_terrain, _waves, _knot, _snail, _rock, _rings, _crowd, _branches, _boat, _torso):
        yield make.__name__[1:], make()


def _sheet(height: Callable[[Points, Points], Points], count: int = 260) -> trimesh.Trimesh:
    """Return an open sheet over the square from -1 to 1."""
    u, v = np.meshgrid(np.linspace(-1, 1, count), np.linspace(-1, 1, count))
    points = np.stack([u, v, height(u, v)], axis=-1).reshape(-1, 3)
    return trimesh.Trimesh(points, _quads(count, count), process=False)


def _quads(rows: int, cols: int) -> NDArray[np.int64]:
    i = (np.arange(rows - 1)[:, None] * cols + np.arange(cols - 1)).ravel()
    return np.concatenate(
        [np.stack([i, i + 1, i + cols], 1), np.stack([i + 1, i + cols + 1, i + cols], 1)]
    )


def _noise(seed: int, slope: float, least: float) -> Callable[[Points], Points]:
    """Return a smooth random function of points (n, d): waves whose size goes with their length."""
    rng = np.random.default_rng(seed)
    waves = least * 2.0 ** rng.uniform(0.0, 4.0, 120)

    def value(points: Points) -> Points:
        way = np.random.default_rng(seed + 1).normal(size=(120, points.shape[-1]))
        way *= (waves / np.linalg.norm(way, axis=1))[:, None]
        turn = np.random.default_rng(seed + 2).uniform(0, 2 * np.pi, 120)
        total: Points = np.sin(points @ way.T + turn) @ (waves**-slope)
        return total / 8.0

    return value


def _terrain() -> trimesh.Trimesh:
    hills = _noise(3, 1.1, 2.0)
    return _sheet(lambda u, v: 0.9 * np.abs(hills(np.stack([u, v], -1))) ** 1.3)


def _waves() -> trimesh.Trimesh:
    def height(u: Points, v: Points) -> Points:
        r = np.hypot(u - 0.3, v + 0.2)
        return 0.12 * np.cos(18 * r) * np.exp(-1.2 * r) + 0.25 * u + 0.05 * np.sin(9 * v)

    return _sheet(height)


def _tube(line: Points, radius: Points, sides: int = 40) -> trimesh.Trimesh:
    """Return a tube along a line (n, 3), open at its ends."""
    along = np.gradient(line, axis=0)
    along /= np.linalg.norm(along, axis=1)[:, None]
    across = np.empty_like(line)
    across[0] = np.cross(along[0], [0.31, 0.2, 0.93])
    for i in range(len(line)):
        last = across[max(i - 1, 0)]
        across[i] = last - (last @ along[i]) * along[i]
        across[i] /= np.linalg.norm(across[i])
    up = np.cross(along, across)
    a = np.linspace(0, 2 * np.pi, sides)
    ring = across[:, None] * np.cos(a)[:, None] + up[:, None] * np.sin(a)[:, None]
    points = line[:, None] + radius[:, None, None] * ring
    return trimesh.Trimesh(points.reshape(-1, 3), _quads(len(line), sides), process=False)


def _knot() -> trimesh.Trimesh:
    t = np.linspace(0, 2 * np.pi, 500)
    r = 1 + 0.42 * np.cos(3 * t)
    line = np.stack([r * np.cos(2 * t), r * np.sin(2 * t), 0.42 * np.sin(3 * t)], 1)
    return _tube(line, np.full(500, 0.17))


def _snail() -> trimesh.Trimesh:
    t = np.linspace(0, 7.5 * np.pi, 700)
    grow = np.exp(0.14 * t)
    line = grow[:, None] * np.stack([np.cos(t), np.sin(t), -1.1 * np.ones_like(t)], 1)
    shell = _tube(line, 0.62 * grow * (1 + 0.05 * np.cos(16 * t)))
    return shell.apply_transform(rotation_matrix(-1.0, (1, 0.3, 0)))


def _rock() -> trimesh.Trimesh:
    ball = trimesh.creation.icosphere(6)
    points = np.asarray(ball.vertices)
    size = 1 + 0.5 * _noise(11, 1.2, 2.5)(points)
    return trimesh.Trimesh(points * size[:, None] * (1.2, 0.9, 0.8), ball.faces, process=False)


def _rings() -> trimesh.Trimesh:
    parts = []
    for k in range(7):
        ring = trimesh.creation.torus(0.5, 0.11, 90, 36)
        ring.apply_transform(rotation_matrix(0.5 if k % 2 else -1.0, (1, 0, 0)))
        parts.append(ring.apply_translation((0.62 * (k - 3), 0.25 * math.sin(k), 0)))
    return trimesh.util.concatenate(parts)


def _crowd() -> trimesh.Trimesh:
    rng, parts = np.random.default_rng(5), []
    for _ in range(26):
        size = 0.12 + 0.25 * rng.random()
        part = (
            trimesh.creation.icosphere(4, radius=size),
            trimesh.creation.box(extents=size * (1 + rng.random(3))),
            trimesh.creation.cylinder(0.5 * size, 3 * size, sections=64),
            trimesh.creation.cone(size, 2 * size, sections=64),
        )[rng.integers(4)]
        part.apply_transform(trimesh.transformations.random_rotation_matrix(rng.random(3)))
        parts.append(part.apply_translation(rng.normal(size=3) * (0.6, 0.5, 0.3)))
    return trimesh.util.concatenate(parts)


def _branches() -> trimesh.Trimesh:
    rng, parts = np.random.default_rng(9), []

    def grow(start: Points, way: Points, thick: float, left: int) -> None:
        s = np.linspace(0, 1, 24)[:, None]
        bow = rng.normal(size=3) * 0.12
        line = start + s * way + s * (1 - s) * bow
        parts.append(_tube(line, thick * (1 - 0.4 * s[:, 0]), 20))
        if left:
            for _ in range(3):
                turned = 0.72 * way + rng.normal(size=3) * (0.45, 0.25, 0.35) * np.linalg.norm(way)
                grow(line[-3], turned, 0.6 * thick, left - 1)

    grow(np.zeros(3), np.array([0.0, 1.0, 0.0]), 0.14, 4)
    return trimesh.util.concatenate(parts)


def _boat() -> trimesh.Trimesh:
    s, a = np.linspace(-1, 1, 160), np.linspace(0, np.pi, 60)
    wide = 0.42 * (1 - np.abs(s) ** 2.5) + 0.004
    deep = 0.34 * (1 - 0.6 * s**4)
    x = np.broadcast_to(1.6 * s[:, None] + 0.1 * s[:, None] ** 3, (160, 60))
    y = -deep[:, None] * np.sin(a) ** 0.7 + 0.18 * s[:, None] ** 2
    hull = np.stack([x, y, wide[:, None] * np.cos(a)], -1)
    parts = [trimesh.Trimesh(hull.reshape(-1, 3), _quads(160, 60), process=False)]
    for at, high in ((-0.6, 1.3), (0.35, 1.7)):
        mast = trimesh.creation.cylinder(0.03, high, sections=32)
        mast.apply_transform(rotation_matrix(math.pi / 2, (1, 0, 0)))
        parts.append(mast.apply_translation((at, high / 2 - 0.1, 0)))
        u, v = np.meshgrid(np.linspace(-1, 1, 50), np.linspace(0, 1, 60))
        sail = np.stack(
            [
                at + 0.45 * u * (1.1 - 0.4 * v),
                0.12 + (high - 0.35) * v,
                0.05 + 0.3 * (1 - u**2) * np.sin(np.pi * v),
            ],
            -1,
        )
        parts.append(trimesh.Trimesh(sail.reshape(-1, 3), _quads(60, 50), process=False))
    boat = trimesh.util.concatenate(parts)
    return boat.apply_transform(rotation_matrix(0.35, (0, 1, 0)))


def _torso() -> trimesh.Trimesh:
    balls = (
        (0, 0, 0, 0.5, 0.62, 0.33), (0, 0.72, 0.02, 0.62, 0.3, 0.3), (0, 1.1, 0.05, 0.2, 0.3, 0.2),
        (0, 1.55, 0.12, 0.3, 0.4, 0.36), (-0.7, 0.6, 0, 0.24, 0.26, 0.24),
        (0.7, 0.6, 0, 0.24, 0.26, 0.24), (-0.85, 0.1, 0.06, 0.17, 0.5, 0.18),
        (0.78, 0.12, 0.2, 0.17, 0.48, 0.18), (-0.22, 0.55, 0.2, 0.26, 0.2, 0.18),
        (0.22, 0.55, 0.2, 0.26, 0.2, 0.18), (0, 1.5, 0.47, 0.07, 0.14, 0.1),
    )  # fmt: skip
    parts = []
    for x, y, z, *radii in balls:
        ball = trimesh.creation.icosphere(5).apply_scale(radii)
        parts.append(ball.apply_translation((x, y, z)))
    return trimesh.util.concatenate(parts).apply_transform(rotation_matrix(0.3, (0, 1, 0)))
