"""The proof that a mesh is closed as the file will say it: in float32 coordinates.

Independent of the boolean library, whose 'no error' is not proof: a file holds float32
numbers, and what was two points in float64 may be one there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Closure:
    """What welding by float32 coordinates shows.

    Attributes
    ----------
    collapsed : int
        Triangles with two equal corners.
    flat : int
        Triangles with three different corners but no area.
    bad_edges : int
        Edges not shared by exactly two triangles running in opposite directions.
    bodies : int
        Parts connected by shared edges.
    volume_mm3 : float
        Signed volume (divergence theorem).
    genus : int
        Handles of the surface, from the Euler characteristic, summed over the bodies.
    """

    collapsed: int
    flat: int
    bad_edges: int
    bodies: int
    volume_mm3: float
    genus: int

    @property
    def is_closed(self) -> bool:
        """Tell whether it is a closed surface round a positive volume."""
        return (
            self.collapsed == 0 and self.flat == 0 and self.bad_edges == 0 and self.volume_mm3 > 0
        )


def weld(vertices: FloatArray, triangles: IntArray) -> tuple[FloatArray, IntArray]:
    """Merge vertices that are equal as float32; collapsed triangles stay in.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    triangles : (m, 3) int64

    Returns
    -------
    vertices : (k, 3) float64
        Exactly representable as float32.
    triangles : (m, 3) int64
    """
    single = np.ascontiguousarray(vertices, dtype=np.float32) + np.float32(0.0)  # −0 becomes 0
    packed = single.view(np.dtype((np.void, 12))).ravel()
    _, first, inverse = np.unique(packed, return_index=True, return_inverse=True)
    order = np.argsort(first, kind="stable")  # keep the order of first appearance
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return single[first[order]].astype(np.float64), rank[np.ravel(inverse)[triangles]]


def closure(vertices: FloatArray, triangles: IntArray) -> Closure:
    """Weld by float32 coordinates and count what a printer's software would find.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    triangles : (m, 3) int64
    """
    points, tri = weld(vertices, triangles)
    same = (tri[:, 0] == tri[:, 1]) | (tri[:, 1] == tri[:, 2]) | (tri[:, 2] == tri[:, 0])
    corner = points[tri]
    cross = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    flat = int(np.count_nonzero(~np.any(cross, axis=1) & ~same))
    volume = float(np.einsum("ij,ij->", corner[:, 0], cross) / 6.0)
    start = tri.ravel()
    stop = np.roll(tri, -1, axis=1).ravel()
    n = len(points)
    directed, times = np.unique(start * n + stop, return_counts=True)
    opposite = (directed % n) * n + directed // n
    position = np.minimum(np.searchsorted(directed, opposite), len(directed) - 1)
    paired = (directed[position] == opposite) & (times == 1) & (times[position] == 1)
    bad = int(np.count_nonzero(~paired))
    bodies = _bodies(start, stop, n)
    euler = n - len(directed) // 2 + len(tri)
    return Closure(int(np.count_nonzero(same)), flat, bad, bodies, volume, bodies - euler // 2)


def _bodies(start: IntArray, stop: IntArray, count: int) -> int:
    """Count connected parts by hooking each vertex to the lowest neighbour it can see."""
    parent = np.arange(count)
    while True:
        low = np.minimum(parent[start], parent[stop])
        new = parent.copy()
        np.minimum.at(new, parent[start], low)
        np.minimum.at(new, parent[stop], low)
        while True:  # shorten the chains
            short = new[new]
            if np.array_equal(short, new):
                break
            new = short
        if np.array_equal(new, parent):
            return len(np.unique(parent[start]))
        parent = new
