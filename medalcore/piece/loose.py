"""Name what stands off the piece: bodies that nothing joins to the blank."""

from __future__ import annotations

import numpy as np

from ..geometry.closure import bodies_of
from .assemble import Assembled

_NAMED = 3
"""Loose bodies told by name; the rest is counted."""


def loose_bodies(done: Assembled) -> str:
    """Say which elements the bodies are of that a piece has too many of, and where they lie."""
    body = bodies_of(done.triangles)
    corner = done.vertices[done.triangles]
    six = np.einsum("ij,ij->i", corner[:, 0], np.cross(corner[:, 1], corner[:, 2]))
    volume = np.bincount(body, six) / 6.0
    loose = np.argsort(-volume, kind="stable")[done.bodies :]
    if not len(loose):
        return "parts of it have grown together"
    told = []
    for number in loose[:_NAMED].tolist():
        of = body == number
        points = corner[of].reshape(-1, 3)
        middle = (points.min(axis=0) + points.max(axis=0)) / 2.0
        unit = np.array([label.unit for label in done.labels])[done.code[of]]
        own = unit[unit >= 0]
        zone = done.labels[int(np.argmax(np.bincount(done.code[of])))].zone
        name = f"a part of the blank ({zone})"
        if len(own):
            path, what = done.units[int(np.argmax(np.bincount(own)))]
            name = f"{path} {what.name}".strip()
        told.append(f"{name} near {middle[0]:.1f}, {middle[1]:.1f} mm ({volume[number]:.2g} mm3)")
    more = f" and {len(loose) - _NAMED} more" if len(loose) > _NAMED else ""
    return f"{', '.join(told)}{more} stand{'' if len(loose) > 1 else 's'} off the blank"
