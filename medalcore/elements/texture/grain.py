"""Stipple and matt grounds: dots and grain on a loosened lattice of triangles.

Where each dot lies and how deep each grain is comes from a hash of its place in the lattice:
the same on every machine, and another zone does not move the dots.
"""

from __future__ import annotations

import math

import numpy as np

from ...geometry.types import FloatArray, IntArray
from ...spec import Texture
from .sheet import Sheet, Worked
from .zone import Zone

_LOOSE = 0.22  # of the pitch: how far dots lie off the lattice at most
_SIX = ((1, 0), (0, 1), (-1, 1), (-1, 0), (0, -1), (1, -1))
"""The neighbours of a lattice point, counter-clockwise."""


class _Lattice:
    """Points of a loosened triangular lattice over a zone, one ring more than the zone needs."""

    def __init__(self, spec: Texture, zone: Zone) -> None:
        self.pitch, self.arrangement = spec.pitch, spec.arrangement
        reach = zone.outer + 3.0 * spec.pitch
        rows = math.ceil(reach / (spec.pitch * math.sqrt(0.75)))
        j = np.arange(-rows, rows + 1)
        cols = math.ceil(reach / spec.pitch + rows / 2.0)
        i = np.arange(-cols, cols + 1)
        self.i, self.j = np.meshgrid(i, j)
        x = spec.pitch * (self.i + 0.5 * self.j)
        y = spec.pitch * math.sqrt(0.75) * self.j
        way = 2.0 * math.pi * self.noise(1)
        off = _LOOSE * spec.pitch * np.sqrt(self.noise(2))
        self.uv = zone.middle + np.stack([x + off * np.cos(way), y + off * np.sin(way)], axis=-1)
        self.index = np.arange(self.i.size).reshape(self.i.shape)

    def noise(self, which: int) -> FloatArray:
        """Return even numbers from 0 to 1, one for each point (the SplitMix64 mixer)."""
        x = (
            self.i.astype(np.uint64) * np.uint64(0x9E3779B97F4A7C15)
            ^ self.j.astype(np.uint64) * np.uint64(0xC2B2AE3D27D4EB4F)
            ^ np.uint64(
                (which * 0x165667B19E3779F9 + self.arrangement * 0xD6E8FEB86659FD93) % 2**64
            )
        )
        for shift, factor in ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB)):
            x = (x ^ (x >> np.uint64(shift))) * np.uint64(factor)
        x = x ^ (x >> np.uint64(31))
        return np.asarray((x >> np.uint64(11)) * 2.0**-53)

    def beside(self, way: tuple[int, int]) -> IntArray:
        """Return the index of every point's neighbour; wrong along the border of the lattice."""
        return np.roll(self.index, (-way[1], -way[0]), axis=(0, 1))


def matt(spec: Texture, zone: Zone, top: float) -> Worked:
    """Return an even grain: every lattice point at a depth of its own.

    Parameters
    ----------
    spec : Texture
    zone : Zone
    top : float
        How far the highest grains lie below the field, mm.
    """
    lattice = _Lattice(spec, zone)
    edge = zone.depth_in(lattice.uv)
    depth = lattice.noise(3) * zone.window(edge)
    inner = np.zeros(lattice.i.shape, dtype=bool)
    inner[1:-1, 1:-1] = True
    a, b, c = lattice.index, lattice.beside((1, 0)), lattice.beside((0, 1))
    d = lattice.beside((1, -1))
    triangles = np.concatenate(
        [
            np.column_stack([a[inner], b[inner], c[inner]]),
            np.column_stack([a[inner], d[inner], b[inner]]),
        ]
    )
    keep = edge.ravel() >= 0.0
    sheet = Sheet(lattice.uv.reshape(-1, 2), (top + (spec.depth - top) * depth).ravel(), triangles)
    return Worked(sheet, keep, int(np.count_nonzero(keep)))


def stipple(spec: Texture, zone: Zone, top: float) -> Worked:
    """Return round dots, punched side by side.

    Every lattice point has a dot in its own cell: a bottom, a ring half-way, a rim, and bare
    field from there to the corners of the cell, which lie in the middle of the triangles.
    """
    lattice = _Lattice(spec, zone)
    inner = np.zeros(lattice.i.shape, dtype=bool)
    inner[1:-1, 1:-1] = True
    flat = lattice.uv.reshape(-1, 2)
    near = np.stack([lattice.beside(w)[inner] for w in _SIX], axis=1)  # (cells, 6)
    own = lattice.index[inner]
    # corner k lies between neighbours k and k + 1; three cells share it
    corner = (flat[own][:, None] + flat[near] + flat[np.roll(near, -1, axis=1)]) / 3.0
    edge = np.minimum(zone.depth_in(corner).min(axis=1), zone.depth_in(flat[own]))
    some = edge >= 0.0
    own, near, corner, edge = own[some], near[some], corner[some], edge[some]
    n = len(own)
    if n == 0:
        nothing = np.zeros((0, 3), dtype=np.int64)
        return Worked(Sheet(np.zeros((0, 2)), np.zeros(0), nothing), np.zeros(0, dtype=bool), 0)
    centre = flat[own][:, None]
    away = corner - centre
    reach = np.hypot(away[..., 0], away[..., 1])
    # the rim is round, as large as the nearest side of the cell allows
    side = away + 0.5 * (np.roll(away, -1, axis=1) - away)
    room = np.hypot(side[..., 0], side[..., 1]).min(axis=1)
    size = room * (0.72 + 0.24 * lattice.noise(4).ravel()[own])
    rim = centre + away / reach[..., None] * size[:, None, None]
    ring = centre + away / reach[..., None] * (0.55 * size)[:, None, None]
    deep = zone.window(edge) * (0.8 + 0.2 * lattice.noise(5).ravel()[own]) * (size / size.max())
    triples = np.sort(
        np.stack([np.repeat(own, 6), near.ravel(), np.roll(near, -1, axis=1).ravel()], axis=1),
        axis=1,
    )
    wide = lattice.index.size
    key = (triples[:, 0] * wide + triples[:, 1]) * wide + triples[:, 2]
    _, first, shared = np.unique(key, return_index=True, return_inverse=True)
    corners = np.ravel(shared).reshape(n, 6)
    uv = np.concatenate(
        [corner.reshape(-1, 2)[first], flat[own], ring.reshape(-1, 2), rim.reshape(-1, 2)]
    )
    depth = np.concatenate([np.zeros(len(first)), deep, np.repeat(0.7 * deep, 6), np.zeros(6 * n)])
    base = len(first)
    bottom = base + np.arange(n)[:, None] + np.zeros((1, 6), dtype=np.int64)
    rings = base + n + np.arange(6 * n).reshape(n, 6)
    rims = rings + 6 * n
    parts = []
    for low, high in ((rings, rims), (rims, corners)):
        after, beyond = np.roll(low, -1, axis=1), np.roll(high, -1, axis=1)
        parts += [np.stack([low, high, beyond], -1), np.stack([low, beyond, after], -1)]
    parts.append(np.stack([bottom, rings, np.roll(rings, -1, axis=1)], -1))
    triangles = np.concatenate([p.reshape(-1, 3) for p in parts])
    drop = top + (spec.depth - top) * depth
    return Worked(Sheet(uv, drop, triangles), np.ones(len(uv), dtype=bool), n)
