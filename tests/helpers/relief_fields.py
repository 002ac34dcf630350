"""Height fields whose answers are known, and pieces to stand them on."""

from __future__ import annotations

import manifold3d as m3
import numpy as np

from medalcore.context.ground import Ground
from medalcore.geometry.grid import Grid, HeightField
from medalcore.geometry.silhouette import simplify
from medalcore.geometry.solid import Solid, solid_from_manifold

GROUNDS = {
    "flat": Ground(level=1.1, radius=18.0, dish=0.0, floor=0.2),
    "dished": Ground(level=1.1, radius=18.0, dish=0.3, floor=0.2),
    "domed": Ground(level=1.1, radius=18.0, dish=-0.3, floor=0.2),
}


def grid(pixels: int, size: float = 26.0, middle: tuple[float, float] = (0.0, 1.5)) -> Grid:
    pitch = size / (pixels - 1)
    return Grid(middle[0] - size / 2, middle[1] + size / 2, pitch, pixels, pixels)


def over(g: Grid, height, inside) -> HeightField:
    """Sample functions of u and v (both measured from the middle of the grid)."""
    u, v = np.meshgrid(g.u(), g.v())
    u, v = u - 0.5 * (u.min() + u.max()), v - 0.5 * (v.min() + v.max())
    mask = inside(u, v)
    return HeightField(g, np.where(mask, height(u, v), 0.0).astype(np.float32), mask)


def cap(pixels: int, radius: float = 10.0, height: float = 0.6, foot: float = 0.05) -> HeightField:
    """Return a shallow spherical cap standing on a low disc."""
    rise = height - foot
    big = (radius**2 + rise**2) / (2 * rise)
    return over(
        grid(pixels),
        lambda u, v: foot + np.sqrt(np.maximum(big**2 - u**2 - v**2, 0)) - (big - rise),
        lambda u, v: np.hypot(u, v) < radius,
    )


def star(pixels: int, height: float = 0.6, foot: float = 0.06) -> HeightField:
    """Return a five-armed form with a hole and lively modelling, flat-footed at the outline."""
    rng = np.random.default_rng(5)
    bumps = [(*rng.uniform(-9, 9, 2), rng.uniform(0.4, 3.0), rng.uniform(-1, 1)) for _ in range(40)]

    def reach(u, v):
        return 9 + 3 * np.cos(5 * np.arctan2(v, u) + 0.3) - np.hypot(u, v)

    def rise(u, v):
        h = 1.0 + sum(
            0.3 * a * np.exp(-((u - x) ** 2 + (v - y) ** 2) / (2 * s * s)) for x, y, s, a in bumps
        )
        h = foot + (height - foot) * h / h.max() * np.clip(reach(u, v) / 2, 0, 1)
        return np.maximum(h, foot)

    field = over(
        grid(pixels), rise, lambda u, v: (reach(u, v) > 0) & (np.hypot(u - 2, v - 1) > 1.5)
    )
    scaled = field.heights * np.float32(height / field.heights.max())
    return HeightField(
        field.grid, np.where(field.mask, np.maximum(scaled, foot), 0).astype(np.float32), field.mask
    )


def two_bumps(pixels: int) -> HeightField:
    """Return two separate low forms."""
    return over(
        grid(pixels),
        lambda u, v: (
            0.08
            + 0.5 * np.exp(-((u - 4) ** 2 + v * v) / 4)
            + 0.4 * np.exp(-((u + 4) ** 2 + v * v) / 6)
        ),
        lambda u, v: (np.hypot(u - 4, v) < 3.7) | (np.hypot(u + 4, v) < 4.2),
    )


def plate(pixels: int, turn: float, height: float = 0.4) -> HeightField:
    """Return a flat rectangle of 12 by 8 mm, turned by an angle in radians."""
    c, s = np.cos(turn), np.sin(turn)
    return over(
        grid(pixels),
        lambda u, v: np.full(u.shape, height),
        lambda u, v: (np.abs(c * u + s * v) < 6.003) & (np.abs(c * v - s * u) < 4.002),
    )


def comb(pixels: int) -> HeightField:
    """Return a tall block cut by wedge-shaped gaps that become too narrow for any draft."""
    return over(
        grid(pixels),
        lambda u, v: np.full(u.shape, 0.6),
        lambda u, v: (
            (np.abs(u) < 10)
            & (np.abs(v) < 8)
            & ~((v > -4) & (np.abs((u * 1.3) % 1.0 - 0.5) < 0.05 + 0.02 * v))
        ),
    )


def blank(ground: Ground, radius: float = 18.0) -> Solid:
    """Return a round body whose upper face is the ground."""
    r = np.linspace(0.0, radius, 40 if ground.dish else 2)
    z = ground.height(np.column_stack([r, np.zeros_like(r)]))
    profile = np.vstack([[[0.0, -1.2], [radius, -1.2]], np.column_stack([r, z])[::-1]])
    body = m3.Manifold.revolve(m3.CrossSection([profile]), 359)
    return solid_from_manifold(body.rotate([0.0, 0.0, 0.237]), "field")


def lively(pixels: int, seed: int = 1) -> np.ndarray:
    """Return heights in mm, 0 to 0.6, with forms of all sizes."""
    y, x = np.mgrid[:pixels, :pixels] / (pixels - 1.0) * 2 - 1
    h = 0.5 * np.sqrt(np.maximum(0, 1 - 0.9 * (x * x + y * y)))
    rng = np.random.default_rng(seed)
    for _ in range(40):
        cx, cy = rng.uniform(-0.8, 0.8, 2)
        s = rng.uniform(0.04, 0.3)
        h += rng.uniform(-0.6, 0.6) * s * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * s * s))
    h -= h.min()
    return (h / h.max() * 0.6).astype(np.float32)


def square(h: np.ndarray, tolerance: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return border points of the whole square, thinned, their heights and first triangles."""
    m = len(h) - 1
    i, o = np.arange(m), np.zeros(m, dtype=int)
    sides = [(o, -i), (i, o - m), (o + m, i - m), (m - i, o)]
    xy = np.concatenate([np.column_stack(s) for s in sides]).astype(float)
    z = h[-xy[:, 1].astype(int), xy[:, 0].astype(int)].astype(float)
    kept = simplify(np.column_stack([xy, z]), np.array([0, len(xy)]), np.array([0.1, tolerance]))
    return xy[kept], z[kept], np.asarray(m3.triangulate([xy[kept]]), dtype=np.int64)
