"""The tower: plinth, coursed shaft, corbelled gallery, lantern with its lens, cupola, vane."""

from __future__ import annotations

import math
from itertools import pairwise

import manifold3d as m3
import numpy as np

from .forms import arched, around, ball, box, post, ring, slab, turned, union

SHAFT_FOOT, SHAFT_TOP = 0.7, 9.3
GALLERY = 10.35
COURSE = 0.86


def shaft_radius(z: float) -> float:
    """Return the radius of the shaft, flared at the foot like a tree's."""
    return 1.72 + 1.05 * math.exp(-z / 2.6)


def tower() -> m3.Manifold:
    """Return the whole lighthouse on z = 0, its axis on the z axis."""
    return union([_masonry(), _gallery(), _lantern(), _cupola()])


def _masonry() -> m3.Manifold:
    levels = np.linspace(SHAFT_FOOT, SHAFT_TOP, 60)
    side = [(shaft_radius(z), z) for z in levels]
    foot = shaft_radius(SHAFT_FOOT)
    body = turned([
        (0, -2.5), (foot + 0.62, -2.5), (foot + 0.62, 0.1), (foot + 0.32, 0.32),
        (foot + 0.32, SHAFT_FOOT),
        *side, (0, SHAFT_TOP),
    ])  # fmt: skip
    body -= union(_joints())
    bands = [_string_course(z) for z in (SHAFT_FOOT + 0.1, 8.55)]
    openings, frames = _openings()
    return union([body, *bands, *frames]) - union(openings)


def _joints() -> list[m3.Manifold]:
    """Return what is cut away between the stones: level beds and staggered uprights."""
    cuts = []
    count = 11
    beds = np.arange(SHAFT_FOOT + COURSE, 8.4, COURSE)
    for i, z in enumerate(beds):
        r = shaft_radius(z)
        cuts.append(turned([(r - 0.13, z), (r + 0.4, z + 0.2), (r + 0.4, z - 0.2)]))
        low = z - COURSE
        r = shaft_radius(low + COURSE / 2)
        lean = math.degrees(math.atan((shaft_radius(z) - shaft_radius(low)) / COURSE))
        wedge = m3.CrossSection([[(0.13, 0.0), (-0.4, 0.14), (-0.4, -0.14)]]).extrude(COURSE)
        wedge = wedge.translate((0, 0, -COURSE / 2)).rotate((0, lean, 180))
        wedge = wedge.translate((r, 0, low + COURSE / 2))
        cuts += around(wedge, count, -90 + (180 / count) * (i % 2))
    return cuts


def _string_course(z: float) -> m3.Manifold:
    r = shaft_radius(z)
    return turned([
        (r - 0.4, z - 0.2), (r + 0.02, z - 0.2), (r + 0.26, z - 0.08),
        (r + 0.26, z + 0.1), (r - 0.05, z + 0.24), (r - 0.4, z + 0.24),
    ])  # fmt: skip


def _openings() -> tuple[list[m3.Manifold], list[m3.Manifold]]:
    """Return the holes and the frames of the door and of the windows up the stair."""
    holes, frames = [], []
    places = ((6.55, -8.0, 0.62, 1.2), (3.75, 14.0, 0.66, 1.3))
    for z, turn, width, height in places:
        r = shaft_radius(z + height / 2)
        frame = slab(arched(width + 0.5, height + 0.28), 1.1).translate((0, 0, -0.14))
        sill = box((width + 0.85, 1.3, 0.24), (0, 0, -0.1))
        frames.append((frame + sill).translate((0, -r + 0.25, z)).rotate((0, 0, turn)))
        hole = slab(arched(width, height), 2.4)
        bar = box((0.13, 0.25, height), (0, -0.4, height / 2)) + box(
            (width, 0.25, 0.13), (0, -0.4, height * 0.5)
        )
        holes.append((hole - bar).translate((0, -r - 0.2, z)).rotate((0, 0, turn)))
    r = shaft_radius(1.2)
    door = slab(arched(1.5, 2.25), 1.6).translate((0, -r + 0.1, 0.2))
    steps = union(
        box((1.9 + 0.4 * i, 0.55 * (i + 1), 0.3), (0, -r - 0.55 - 0.25 * i, 0.28 - 0.3 * i))
        for i in range(4)
    )
    turn = -14.0
    frames.append((door + steps).rotate((0, 0, turn)))
    hole = slab(arched(0.95, 1.85), 2.0).translate((0, -r - 0.9, 0.42))
    plank = box((0.09, 0.3, 1.8), (0, -r + 0.1, 1.3))
    holes.append((hole - plank).rotate((0, 0, turn)))
    return holes, frames


def _gallery() -> m3.Manifold:
    top = shaft_radius(SHAFT_TOP)
    bell = [
        (top + 0.95 * (1 - math.cos(a)), SHAFT_TOP - 0.1 + 1.0 * math.sin(a))
        for a in np.linspace(0, math.pi / 2, 10)
    ]
    throat = turned([(0, SHAFT_TOP - 0.5), (top, SHAFT_TOP - 0.5), *bell, (0, SHAFT_TOP + 0.9)])
    deck = turned([
        (0, GALLERY - 0.45), (2.75, GALLERY - 0.45), (3.05, GALLERY - 0.3),
        (3.05, GALLERY), (0, GALLERY),
    ])  # fmt: skip
    outline = [
        (1.2, GALLERY - 0.3),
        (2.85, GALLERY - 0.3),
        (2.85, GALLERY - 0.6),
        (1.9, GALLERY - 1.45),
        (1.2, GALLERY - 1.6),
    ]
    corbel = slab(outline, 0.34)
    rail = [ring(2.8, GALLERY + 1.15, 0.19), ring(2.8, GALLERY + 0.58, 0.12)]
    baluster = post((2.8, 0, GALLERY - 0.1), (2.8, 0, GALLERY + 1.15), 0.15)
    knob = ball(0.27, (2.8, 0, GALLERY + 1.3), 16)
    return union([
        throat, deck, *rail, *around(corbel, 18, 10), *around(baluster, 18), *around(knob, 6, 30),
    ])  # fmt: skip


def _lantern() -> m3.Manifold:
    z = GALLERY
    wall = turned([
        (0, z - 0.2), (1.62, z - 0.2), (1.62, z + 0.75), (1.8, z + 0.85),
        (1.8, z + 1.02), (0, z + 1.02),
    ])  # fmt: skip
    low, high = z + 1.0, z + 3.3
    bars = around(box((0.2, 0.3, high - low + 0.2), (0, -1.55, (low + high) / 2)), 10, 0)
    hoops = [ring(1.55, low + (high - low) * f, 0.1, 64) for f in (1 / 3, 2 / 3)]
    return union([wall, *bars, *hoops, _lens(low - 0.1, high + 0.1)])


def _lens(low: float, high: float) -> m3.Manifold:
    """Return the stepped barrel of glass: prisms above and below a bull's-eye belt."""
    middle, half = (low + high) / 2, (high - low) / 2
    steps = np.linspace(-1, 1, 10)
    profile = [(0.0, low)]
    for a, b in pairwise(steps):
        ra, rb = (1.12 * math.sqrt(1 - 0.72 * s * s) for s in (a, b))
        profile += [
            (min(ra, rb) - 0.1, middle + half * a),
            (max(ra, rb) + 0.04, middle + half * (a + b) / 2),
        ]
    profile += [(0.5, high), (0.0, high)]
    return turned(profile, 64)


def _cupola() -> m3.Manifold:
    z = GALLERY + 3.3
    dome = [
        (1.78 * math.cos(a) ** 0.8, z + 0.42 + 1.42 * math.sin(a)) for a in np.linspace(0, 1.38, 16)
    ]
    roof = turned([
        (0, z - 0.05), (1.75, z - 0.05), (2.08, z + 0.08), (2.08, z + 0.3),
        (1.78, z + 0.42), *dome, (0, z + 1.9),
    ])  # fmt: skip
    ribs = [
        union(
            post((r0, 0, z0), (r1, 0, z1), 0.1, sides=8)
            for (r0, z0), (r1, z1) in zip(dome[:-1:3], dome[3::3], strict=False)
        ).rotate((0, 0, a))
        for a in np.arange(10) * 36.0 + 16.9
    ]
    finial = turned(
        [(0, z + 1.5), (0.5, z + 1.65), (0.3, z + 2.0), (0.2, z + 2.2), (0, z + 2.2)], 32
    )
    globe = ball(0.36, (0, 0, z + 2.4))
    rod = post((0, 0, z + 2.4), (0, 0, z + 3.75), 0.12)
    arrow = slab([
        (-1.15, z + 3.22), (-0.5, z + 2.92), (-0.5, z + 3.12), (0.55, z + 3.12), (0.95, z + 2.88),
        (1.1, z + 3.22), (0.95, z + 3.56), (0.55, z + 3.32), (-0.5, z + 3.32), (-0.5, z + 3.52),
    ], 0.24)  # fmt: skip
    return union([roof, *ribs, finial, globe, rod, arrow.rotate((0, 0, -12))])
