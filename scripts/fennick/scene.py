"""The Fennick Light as the medal shows it: tower, cottage, rock and sea put together."""

from __future__ import annotations

import manifold3d as m3
import numpy as np

from .forms import FloatArray, post, slab, strand, union
from .rock import cottage, rock, stair
from .sea import BACK, FRONT, level, sea, surf
from .tower import tower

VIEW = (-90.0 + 8.0, 0.0, 0.0)
"""Turns about x, y, z that bring the scene before the viewer, who looks a little down on it."""
RADIUS = 17.0
"""The sea is cut off by a circle of this radius, concentric with the piece, mm."""
CENTRE = 4.8
"""Height of the piece's middle in the picture above the tower's foot, mm."""
SURF = 0.45
"""Height of the broken water at the rock above the mean level of the sea, mm."""
LAMP = np.array([-1.3, 8.4])
"""Where the lamp lies on the piece, mm."""
NEAR, SKY = 3.02, 13.8
"""How far from the lamp its beams begin, and the radius inside the legend they reach to, mm."""


def scene() -> m3.Manifold:
    """Return the whole scene, z up, one unit a millimetre on the piece."""
    light = tower().scale((1.06, 1.06, 1.06)).translate((-1.3, 0, 0))
    home = cottage().scale((1.15, 1.15, 1.15)).rotate((0, 0, -24)).translate((5.2, -0.2, -1.2))
    flight = stair(np.array((2.6, -3.6, -1.4)), np.array((7.0, -6.2, -7.2)), 13, 1.0)
    crags = rock()
    land = union([_cut_round(crags), home, light, flight])
    water = _cut_round(union([sea(), *map(surf, _shores(crags))]))
    sky = union([boat().scale((1.1, 1.1, 1.1)).translate((11.0, 4.0, -1.6)), *gulls()])
    return union([land, water, sky])


def _shores(land: m3.Manifold) -> list[FloatArray]:
    """Return the lines where the sea, a little above its mean level, meets the land."""
    slope = np.arctan2(float(np.ptp(level(np.array((FRONT, BACK))))), BACK - FRONT)
    foot = np.array((0.0, FRONT, float(level(np.array(FRONT)))))
    flat = land.translate(tuple(-foot)).rotate((-np.degrees(slope), 0, 0))
    c, s = np.cos(slope), np.sin(slope)
    shores = []
    for loop in flat.slice(SURF).simplify(0.05).to_polygons():
        if len(loop) < 12:  # the tip of a sunken stone
            continue
        x, y = np.vstack([loop, loop[:1]]).T
        shores.append(foot + np.column_stack([x, y * c - SURF * s, y * s + SURF * c]))
    return shores


def gulls() -> list[m3.Manifold]:
    """Return three gulls on the wind."""
    places = ((-9.2, 8.6, 1.0, 8), (-6.4, 5.6, 0.72, -6), (7.4, 7.2, 0.85, 14))
    return [
        gull().scale((s,) * 3).rotate((0, roll, 0)).translate((x, -1.0, z))
        for x, z, s, roll in places
    ]


def gull() -> m3.Manifold:
    """Return a gull seen from the front, a little turned."""
    t = np.linspace(0, 1, 9)
    wings = []
    for side in (-1, 1):
        path = np.column_stack(
            [side * 1.75 * t, 0.3 * t**2, 0.95 * np.sin(2.4 * t) * (1 - 0.35 * t) * 0.9]
        )
        wings.append(strand(path, 0.26 * (1 - t) ** 0.8 + 0.09))
    body = strand(
        np.array([(-0.1, 0.3, -0.1), (0.0, 0, 0.0), (0.25, -0.4, -0.02)]),
        np.array([0.16, 0.3, 0.2]),
    )
    return union([*wings, body])


def boat() -> m3.Manifold:
    """Return a two-masted lugger under full sail, coming towards the light."""
    sheer = [(-2.0, 0.8), (-1.6, -0.5), (1.4, -0.5), (2.2, 0.95), (1.0, 0.55), (-0.6, 0.45)]
    strake = slab(
        [
            (-2.05, 0.95),
            (-2.0, 0.65),
            (-0.6, 0.3),
            (1.0, 0.4),
            (2.2, 0.8),
            (2.3, 1.1),
            (1.0, 0.66),
            (-0.6, 0.56),
        ],
        1.3,
    )
    parts = [slab(sheer, 1.0), strake]
    for x, w, h in ((-0.85, 1.75, 2.9), (1.0, 1.4, 2.3)):
        corners = [
            (x - w / 2, 0.8),
            (x + w / 2, 1.0),
            (x + w * 0.46, h + 0.1),
            (x - w * 0.34, h + 0.7),
        ]
        sail = slab(corners, 0.35).refine_to_length(0.2)
        parts.append(sail.warp_batch(lambda p, x=x, w=w: _bellied(p, x, w)))
        parts.append(post((x - 0.1, 0.1, 0.3), (x - 0.1, 0.1, h + 1.0), 0.12))
        parts.append(post((x - w * 0.44, -0.5, h + 0.72), (x + w * 0.56, -0.5, h + 0.08), 0.11))
    return union(parts)


def _bellied(points: FloatArray, middle: float, width: float) -> FloatArray:
    """Return a flat sail's points filled by the wind."""
    p = np.array(points)
    p[:, 1] -= 0.75 * np.clip(1.0 - (2.0 * (p[:, 0] - middle) / width) ** 2, 0, 1)
    return p


def beams() -> list[FloatArray]:
    """Return the outlines of the light's beams on the piece: wedges that end on one arc, mm."""
    outlines = []
    for side in (-1.0, 1.0):
        for middle in (-7.4, 0.0, 7.4):
            angles = np.radians(middle + np.linspace(-2.3, 2.3, 9))
            way = np.column_stack([side * np.cos(angles), np.sin(angles)])
            # where rays from the lamp leave the circle: |lamp + t·way| = radius
            along = way @ LAMP
            far = -along + np.sqrt(along**2 - LAMP @ LAMP + SKY**2)
            ends = LAMP + far[:, None] * way
            outlines.append(np.vstack([LAMP + NEAR * way[[-1, 0]], ends]))
    return outlines


def _cut_round(body: m3.Manifold) -> m3.Manifold:
    """Cut what lies outside the circle, as seen."""
    window = m3.Manifold.cylinder(80, RADIUS, RADIUS, 360, True)
    back = np.linalg.inv(np.vstack([_view_matrix(), (0, 0, 0, 1)]))[:3]
    return body ^ window.translate((0, CENTRE, 0)).transform(back)


def _view_matrix() -> FloatArray:
    tilt = np.radians(VIEW[0])
    c, s = np.cos(tilt), np.sin(tilt)
    return np.array([(1, 0, 0, 0), (0, c, -s, 0), (0, s, c, 0)], dtype=float)
