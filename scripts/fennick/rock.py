"""The rock: tilted strata broken into blocks, a shelf for the cottage, steps to the landing."""

from __future__ import annotations

import manifold3d as m3
import numpy as np

from .forms import FloatArray, box, hull, noise, post, slab, union

DIP = 12.0  # of the strata, degrees, falling to the viewer's right

# Crags from the back to the front: x, y, half-width, height of the top.
CRAGS = (
    (-1.3, 0.0, 4.1, -0.25), (5.0, 0.6, 3.4, -1.1), (2.2, 0.8, 2.6, -0.7),
    (-4.7, -1.4, 2.1, -0.7), (-1.8, -2.9, 2.9, -0.45), (1.6, -2.9, 1.9, -1.3),
    (-6.7, -2.0, 1.8, -4.2), (-4.2, -4.3, 1.9, -3.0), (-1.2, -5.2, 2.1, -3.4),
    (1.9, -5.0, 1.7, -4.2), (5.4, -2.2, 2.0, -2.6), (8.0, -1.2, 1.7, -4.4),
    (4.4, -4.6, 1.8, -5.4), (7.4, -3.6, 1.8, -6.2), (-8.8, -3.0, 1.5, -6.6),
    (-6.2, -5.4, 1.9, -6.2), (-3.0, -7.2, 1.8, -6.6), (0.4, -7.4, 1.9, -7.0),
    (3.2, -7.0, 1.5, -7.8), (9.8, -3.4, 1.2, -7.4), (6.0, -6.0, 1.4, -8.9),
    (-5.0, -8.6, 1.3, -9.4), (-10.9, -4.4, 0.9, -8.6), (-1.2, -9.2, 1.3, -9.6),
)  # fmt: skip


def rock() -> m3.Manifold:
    """Return the rock: its top near z = 0 about the origin, its foot below the sea."""
    random = np.random.default_rng(1876)
    whole = union(_crag(*place, random) for place in CRAGS)
    return whole.refine_to_length(0.3).warp_batch(_weathered)


def _crag(x: float, y: float, half: float, top: float, random: np.random.Generator) -> m3.Manifold:
    """Return an upright block of five to seven faces with a top that follows the strata."""
    sides = int(random.integers(5, 8))
    turn = random.uniform(0, 2 * np.pi)
    angles = turn + 2 * np.pi * (np.arange(sides) + random.uniform(-0.28, 0.28, sides)) / sides
    reach = half * random.uniform(0.86, 1.16, sides)
    rim = np.column_stack([reach * np.cos(angles), 0.85 * reach * np.sin(angles)])
    foot = np.column_stack([rim * 1.3 + (0, -0.5), np.full(sides, -7.5)])
    slope = np.tan(np.radians(DIP))
    lip = np.column_stack([rim, -slope * rim[:, 0] + 0.12 * rim[:, 1] - 0.25])
    crown = np.column_stack([rim * 0.8, -slope * rim[:, 0] * 0.8 + 0.1 * rim[:, 1]])
    return hull(np.vstack([foot, lip, crown])).translate((x, y, top))


def _weathered(points: FloatArray) -> FloatArray:
    """Return the points pushed out and in by the beds of the rock, and roughened."""
    p = np.asarray(points)
    bed = p[:, 2] + np.tan(np.radians(DIP)) * p[:, 0] + 0.35 * noise(p, 2.5, 3)
    # a saw: each bed stands proud at its upper lip and is eaten back to its foot
    saw = (bed / 1.25) % 1.0
    proud = 0.34 * (saw - 0.5) * np.clip((1.0 - saw) / 0.12, 0, 1)
    away = p[:, :2] - (0.5, 3.0)
    away /= np.linalg.norm(away, axis=1, keepdims=True)
    fade = np.clip((-0.9 - p[:, 2]) / 0.8, 0, 1)
    shift = np.column_stack([noise(p, 0.7, 20 + k) for k in range(3)]) * 0.11
    shift[:, :2] += away * (proud * fade)[:, None]
    return p + shift


def cottage() -> m3.Manifold:
    """Return the keeper's cottage with its yard wall, on z = 0, its door to the viewer."""
    width, depth, eaves, ridge = 3.5, 2.3, 1.35, 2.55
    gable = [
        (-depth / 2, -1.0),
        (depth / 2, -1.0),
        (depth / 2, eaves),
        (0, ridge),
        (-depth / 2, eaves),
    ]
    walls = slab(gable, width).rotate((0, 0, 90))
    pitch = (ridge - eaves) / (depth / 2)
    over = depth / 2 + 0.3
    low = ridge - pitch * over
    roof = [
        (-over, low),
        (0, ridge),
        (over, low),
        (over, low + 0.28),
        (0, ridge + 0.3),
        (-over, low + 0.28),
    ]
    cover = slab(roof, width + 0.35).rotate((0, 0, 90))
    courses = [
        box((width + 0.35, 0.16, 0.1)).rotate((np.degrees(np.arctan(pitch)), 0, 0)).translate(
            (0, -over * f, ridge + 0.3 - pitch * over * f)
        )
        for f in (0.28, 0.52, 0.76)
    ]  # fmt: skip
    stacks = [
        box((0.55, 0.6, 1.5), (sx, 0, ridge + 0.25)) + box((0.75, 0.8, 0.22), (sx, 0, ridge + 0.85))
        for sx in (-width / 2 + 0.3, width / 2 - 0.3)
    ]
    front = -depth / 2
    door = box((0.62, 0.8, 1.1), (0.05, front, 0.5))
    panes = [box((0.5, 0.8, 0.5), (sx, front, 0.72)) for sx in (-1.05, 1.1)]
    bars = [box((0.12, 0.3, 0.5), (sx, front + 0.2, 0.72)) for sx in (-1.05, 1.1)]
    frames = [box((0.75, 0.3, 0.74), (sx, front, 0.72)) for sx in (-1.05, 1.1)]
    body = union(
        [walls, cover, *courses, *stacks, *frames, box((0.9, 0.3, 1.3), (0.05, front, 0.55))]
    )
    return (body - union([door, *panes])) + union(bars)


def stair(start: FloatArray, stop: FloatArray, count: int, width: float) -> m3.Manifold:
    """Return a flight cut in the rock, with posts and a rope, from one point to another."""
    ways = np.linspace(start, stop, count)
    treads = [box((width, 1.2, 0.5), (x, y + 0.3, z - 0.25)) for x, y, z in ways]
    posts = [post((x, y - 0.2, z - 0.4), (x, y - 0.2, z + 0.75), 0.11) for x, y, z in ways[::3]]
    ropes = [
        post((a[0], a[1] - 0.2, a[2] + 0.6), (b[0], b[1] - 0.2, b[2] + 0.6), 0.08, sides=8)
        for a, b in zip(ways[::3], ways[3::3], strict=False)
    ]
    return union([*treads, *posts, *ropes])
