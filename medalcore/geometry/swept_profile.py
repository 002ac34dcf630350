"""Solids whose wall follows a profile: in or out from an outline, step by step.

Sunk letters, chisel-cut (vee) and rounded letters, bevelled emblems: the outline is given
at one height, and from there the front moves up and down in straight steps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import groupby

import numpy as np

from ..errors import SolidError
from .contour import Contours, distinct, drawn_in, unpinched
from .front import Sweep
from .loft import cap_triangles, wall_triangles, welded, without_needles
from .solid import Solid, solid_from_arrays
from .straight_skeleton import sweep
from .types import FloatArray, IntArray

Step = tuple[float, float]
"""How far the outline moves (above 0 outwards, below 0 inwards) and how far up or down, mm."""


def profiled(
    contours: Contours,
    z: float,
    zone: str,
    *,
    up: Sequence[Step] = (),
    down: Sequence[Step] = (),
    limit: float = 3.0,
) -> Solid:
    """Return the solid that is `contours` at height `z` and follows steps from there.

    Where an outline that moves inwards closes, the walls meet in a ridge or valley and the
    solid ends there.

    Parameters
    ----------
    contours : tuple of (n, 2) float64
        Clean outlines, mm.
    z : float
        mm.
    zone : str
    up, down : sequence of (distance, rise)
        From the outline, in order; rise above 0, mm.
    limit : float
        As `loft.drafted`, for corners that open outwards.

    Raises
    ------
    SolidError
        If the walls cannot be followed, or there are none.
    """
    contours = distinct(contours)
    if not contours or not (up or down):
        raise SolidError("an outline and at least one step are needed for a solid")
    contours = unpinched(contours)
    try:
        return _profiled(contours, z, zone, up, down, limit)
    except SolidError:  # a corner may touch a side
        apart = distinct(drawn_in(contours))
        if not apart:
            raise
        return _profiled(apart, z, zone, up, down, limit)


def _profiled(
    contours: Contours,
    z: float,
    zone: str,
    up: Sequence[Step],
    down: Sequence[Step],
    limit: float,
) -> Solid:
    mesh = _Mesh()
    start = mesh.outline(contours, z)
    for steps, sign in ((up, 1), (down, -1)):
        rings, level = start, z
        for _, group in groupby(steps, lambda step: _way(step[0])):
            run = tuple(group)
            rings = mesh.wall(rings, level, run, sign, limit)
            level += sign * sum(rise for _, rise in run)
        mesh.cap(rings, sign)
    vertices, triangles = mesh.arrays()
    return solid_from_arrays(vertices, without_needles(vertices, triangles), zone)


def deepest(contours: Contours) -> float:
    """Return the largest distance of any inside point from the outline, mm.

    It is the distance at which the outline moving inwards has closed altogether.
    """
    size = max(float(np.ptp(c, axis=0).max()) for c in contours)
    closed = sweep(tuple(c[::-1] for c in contours), 0.51 * size, limit=math.inf)
    return float(closed.reached.max() if not closed.end else 0.51 * size)


def _way(distance: float) -> int:
    """Tell whether a step goes outwards (1), inwards (−1) or neither (0)."""
    return 0 if abs(distance) < 1e-9 else 1 if distance > 0.0 else -1


@dataclass
class _Mesh:
    """Vertices and triangles as they are put together."""

    points: list[FloatArray] = field(default_factory=list)
    triangles: list[IntArray] = field(default_factory=list)
    count: int = 0

    def add(self, points: FloatArray) -> IntArray:
        """Add vertices; return their numbers."""
        self.points.append(points)
        first, self.count = self.count, self.count + len(points)
        return np.arange(first, self.count)

    def outline(self, contours: Contours, z: float) -> list[IntArray]:
        return [self.add(np.column_stack([c, np.full(len(c), z)])) for c in contours]

    def wall(
        self, rings: list[IntArray], z: float, steps: Sequence[Step], sign: int, limit: float
    ) -> list[IntArray]:
        """Add steps of wall that all move one way, above (1) or below (−1) rings.

        They are followed in one go: an outline that was taken up again at every step would
        carry its rounding along, and thin strokes would come to cross themselves.

        Returns
        -------
        rings : list of (n,) int64
            What the wall ends in.
        """
        if not rings:
            return []
        distances, rises = np.cumsum(steps, axis=0).T * np.array([[1.0], [sign]])
        xyz = np.concatenate(self.points)
        turn = _way(steps[0][0])
        if not turn:
            return self._upright(rings, xyz, float(rises[-1]))
        order = [r[::turn] for r in rings]
        reach = np.abs(distances)
        swept = sweep(
            tuple(xyz[r, :2] for r in order),
            float(reach[-1]),
            stops=reach[:-1].tolist(),
            limit=math.inf if turn < 0 else limit,
        )
        if not swept.is_simple:
            raise SolidError(
                "the walls of an outline meet where they cannot be told apart; change its size or "
                "its draft a little"
            )
        depth = np.interp(swept.reached, np.append(0.0, reach), np.append(0.0, rises))
        return self._swept(swept, order, z, depth, turn, sign)

    def _upright(self, rings: list[IntArray], xyz: FloatArray, rise: float) -> list[IntArray]:
        ends = [self.add(xyz[r] + np.array([0.0, 0.0, rise])) for r in rings]
        for a, c in zip(rings, ends, strict=True):
            b, d = np.roll(a, -1), np.roll(c, -1)
            quads = np.concatenate([np.column_stack([a, b, d]), np.column_stack([a, d, c])])
            self.triangles.append(quads if rise > 0 else quads[:, ::-1])
        return ends

    def _swept(
        self,
        swept: Sweep,
        order: list[IntArray],
        z: float,
        depth: FloatArray,
        turn: int,
        sign: int,
    ) -> list[IntArray]:
        local = np.column_stack([swept.places, depth])
        begin = np.concatenate([np.array(r, dtype=np.int64) for r in swept.begin])
        node = welded(local, swept, begin)
        number = np.full(len(local), -1)
        number[begin] = np.concatenate(order)
        fresh = np.unique(node)
        fresh = fresh[number[fresh] < 0]
        last = np.array([i for r in swept.end for i in r], dtype=np.int64)
        local[node[last], 2] = depth[np.argmax(swept.reached)]
        number[fresh] = self.add(local[fresh] + np.array([0.0, 0.0, z]))
        faces = number[wall_triangles(local, node, swept)]
        self.triangles.append(faces[:, :: -turn * sign])
        rings = []
        for ring in swept.end:
            nodes = number[node[np.array(ring)]]
            nodes = nodes[nodes != np.roll(nodes, 1)]
            if len(nodes) >= 3:
                rings.append(nodes[::turn])
        return rings

    def cap(self, rings: list[IntArray], sign: int) -> None:
        """Close the solid above (1) or below (−1)."""
        xyz = np.concatenate(self.points)
        self.triangles.append(cap_triangles(xyz[:, :2], rings)[:, ::sign])

    def arrays(self) -> tuple[FloatArray, IntArray]:
        triangles = np.concatenate(self.triangles)
        a, b, c = triangles.T
        triangles = triangles[(a != b) & (b != c) & (c != a)]
        used, renumbered = np.unique(triangles, return_inverse=True)
        return np.concatenate(self.points)[used], renumbered.reshape(-1, 3).astype(np.int64)
