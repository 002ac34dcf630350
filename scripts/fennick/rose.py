"""The reverse: a compass rose of faceted points over a disc, and a scroll of running waves."""

from __future__ import annotations

import manifold3d as m3
import numpy as np

from .forms import hull, strand, turned, union


def rose() -> m3.Manifold:
    """Return the rose lying on z = 0, north along +y, one unit a millimetre on the piece."""
    points = []
    for length, width, lift, first in ((3.4, 0.62, 0.55, 45.0), (5.0, 0.85, 0.9, 0.0)):
        points += [_point(length, width, lift).rotate((0, 0, first + 90.0 * k)) for k in range(4)]
    hoop = turned([(2.35, -0.3), (2.35, 0.2), (2.45, 0.3), (2.65, 0.3), (2.75, 0.2), (2.75, -0.3)])
    boss = turned([(0, -0.3), (0.55, -0.3), (0.55, 0.8), (0.38, 1.05), (0, 1.15)], 48)
    disc = turned([(0, -0.3), (2.5, -0.3), (2.5, 0.04), (0, 0.04)])
    return union([*points, hoop, boss, disc])


def _point(length: float, width: float, lift: float) -> m3.Manifold:
    """Return one point of the star: two facets that meet in a ridge."""
    outline = np.array([(0.0, -0.3), (width, width), (0.0, length), (-width, width)])
    floor = np.column_stack([outline, np.full(4, -0.3)])
    edge = np.column_stack([outline, np.full(4, 0.1)])
    ridge = np.array([(0.0, 0.0, lift), (0.0, width, lift * 0.95), (0.0, length, 0.12)])
    return hull(np.vstack([floor, edge, ridge]))


def scroll(waves: int = 5) -> m3.Manifold:
    """Return running waves in a row along x, each curling over to the right."""
    pitch, size = 2.0, 0.8
    turn = np.linspace(0.15, 0.15 + 2.5 * np.pi, 44)
    reach = size * (1.0 - 0.78 * np.linspace(0, 1, 44) ** 0.8)
    curl = np.column_stack([-reach * np.cos(turn), reach * np.sin(turn), 0.0 * turn])
    t = np.linspace(0.0, 1.0, 16)[:, None]
    # a long flank rises from the foot of the wave before into the curl
    foot, pull = curl[0] + (-0.85, -0.98, 0.0), curl[0] + (-0.06, -0.9, 0.0)
    flank = (1 - t) ** 2 * foot + 2 * t * (1 - t) * pull + t**2 * curl[0]
    path = np.vstack([flank[:-1], curl])
    thick = np.concatenate([np.linspace(0.1, 0.16, 15), np.linspace(0.16, 0.08, 43), [0.13]])
    one = strand(path, thick, 12)
    return union(one.translate((pitch * (k - (waves - 1) / 2), 0, 0)) for k in range(waves))
