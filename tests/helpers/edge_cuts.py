"""Level cuts through an edge, for the tests of edges."""

import numpy as np
import trimesh
from counting import counted

from medalcore.context.tolerance import tolerance_for
from medalcore.elements.blank import build_blank
from medalcore.geometry.closure import closure
from medalcore.geometry.solid import arrays_of


def made(spec, quality="fine"):
    """Return the blank, its vertices and triangles, proven closed and in one body."""
    blank = build_blank(counted(spec), tolerance_for(quality))
    v, f, _, _ = arrays_of(blank.solid)
    proof = closure(v, f)
    assert proof.is_closed, proof
    assert proof.bodies == 1
    return blank, v, f


def slice_at(v, f, z):
    """Return the outline of a level cut as one (n, 2) polygon (trimesh's own slicing)."""
    cut = trimesh.Trimesh(v, f, process=False).section(
        plane_origin=(0, 0, z), plane_normal=(0, 0, 1)
    )
    rings = [np.asarray(ring)[:-1, :2] for ring in cut.discrete]
    ring = max(rings, key=lambda ring: np.ptp(ring[:, 0]))
    # The cut also meets the diagonals of the walls: leave points on straight lines away.
    u, w = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    bend = np.abs(u[:, 0] * w[:, 1] - u[:, 1] * w[:, 0])
    return ring[bend > 1e-7 * np.hypot(*u.T) * np.hypot(*w.T) + 1e-12]


def notches_in(outline, level):
    """Count how often an outline dips below a radius."""
    low = np.hypot(outline[:, 0], outline[:, 1]) < level
    return int(np.count_nonzero(low & ~np.roll(low, 1)))
