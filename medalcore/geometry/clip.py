"""Cutting a triangle mesh at a plane."""

from __future__ import annotations

import numpy as np

from .types import FloatArray, IntArray


def clipped(
    vertices: FloatArray, triangles: IntArray, normal: FloatArray, offset: float
) -> tuple[FloatArray, IntArray]:
    """Keep what lies on the side a plane's normal points to; the cut stays open.

    Parameters
    ----------
    vertices : (n, 3) float64
    triangles : (m, 3) int64
    normal : (3,) float64
    offset : float
        Points with normal · x ≥ offset are kept.

    Returns
    -------
    vertices : (k, 3) float64
        The old ones, and new ones on the plane.
    triangles : (l, 3) int64
        Facing as before.
    """
    above = vertices @ normal - offset
    inside = above >= 0.0
    kept = inside[triangles]
    number = np.count_nonzero(kept, axis=1)
    if (number == 3).all():
        return vertices, triangles
    out = [triangles[number == 3]]
    points = [vertices]
    count = len(vertices)
    for corners in (1, 2):
        some = triangles[number == corners]
        odd = kept[number == corners] == (corners == 1)  # the corner alone on its side
        lone = odd.argmax(axis=1)
        a, b, c = (some[np.arange(len(some)), (lone + k) % 3] for k in range(3))
        first = count + np.arange(len(some))
        second = first + len(some)
        points += [_crossing(vertices, above, a, b), _crossing(vertices, above, a, c)]
        count += 2 * len(some)
        if corners == 1:
            out.append(np.stack([a, first, second], axis=1))
        else:
            out += [np.stack([first, b, c], axis=1), np.stack([first, c, second], axis=1)]
    return np.concatenate(points), np.concatenate(out)


def _crossing(vertices: FloatArray, above: FloatArray, a: IntArray, b: IntArray) -> FloatArray:
    """Return where edges meet the plane: the same bits whichever triangle asks."""
    low, high = np.minimum(a, b), np.maximum(a, b)
    share = (above[low] / (above[low] - above[high]))[:, None]
    crossing: FloatArray = vertices[low] + share * (vertices[high] - vertices[low])
    return crossing
