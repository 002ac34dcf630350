"""Letters that stand across the edge of a panel: half of them on it, half on the field."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from ..context.element import Finding
from ..geometry.types import FloatArray
from .standing import Standing, is_level

_STEP_MM = 0.01
"""A step less high under a letter is not told."""

_PARTS = 6
"""Points looked at along every edge of a letter's level faces."""

_NAMED = 3
"""Letters told by name; the rest is counted."""


def across_panels(standing: Sequence[Standing], kinds: Sequence[str]) -> Iterator[Finding]:
    """Yield a finding for every element of some kinds with letters across a panel's edge.

    By the drawn letters, the level faces of raised or sunk ones, without their walls.
    """
    for s in standing:
        if s.kind not in kinds or s.may_overlap or not s.ground.terraces:
            continue
        found = []
        for n, unit in enumerate(s.units):
            step, where = _step(s, s.first + n) if unit.keeps else (0.0, (0.0, 0.0))
            if step > _STEP_MM:
                found.append((step, unit.name, where))
        if found:
            step, _, (u, v) = max(found, key=lambda f: f[0])
            names = list(dict.fromkeys(name for _, name, _ in found))
            what = ", ".join(names[:_NAMED])
            what += f" and {len(found) - _NAMED} more" if len(names) > _NAMED else ""
            one = len(names) == 1
            message = (
                f"{what} {'stands' if one else 'stand'} across the edge of a panel, a step of "
                f"{step:.2f} mm, near {u:.1f}, {v:.1f} mm; move the words or the panel, or set "
                "overlap if it is meant"
            )
            yield Finding("across-panel", "warning", message, s.path, step, _STEP_MM)


def _step(s: Standing, number: int) -> tuple[float, tuple[float, float]]:
    """Return the most that a panel's edge rises or falls under a letter, and where, mm."""
    points = _drawn(s, number)
    worst, where = 0.0, (0.0, 0.0)
    for terrace in s.ground.terraces if len(points) else ():
        depth, rise = terrace.depth(points), terrace.rise(points)
        step = float(np.ptp(rise))
        if step > worst:
            at = points[np.argmin(np.abs(depth))]
            worst, where = step, (float(at[0]), float(at[1]))
    return worst, where


def _drawn(s: Standing, number: int) -> FloatArray:
    """Return points (k, 2) along the edges of a unit's level faces, in face coordinates, mm."""
    vertices, triangles, unit = s.own
    triangles = triangles[unit == number]
    corner = vertices[triangles[is_level(vertices, triangles)], :2]
    share = np.arange(_PARTS)[:, None, None, None] / _PARTS
    along = corner + share * (np.roll(corner, -1, axis=1) - corner)
    return np.asarray(along.reshape(-1, 2))
