"""A middle hole through hollow or domed fields: its rim put on, itself cut, edges broken along."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...context.tolerance import Tolerance
from ...geometry.boolean import cut, joined_to
from ...geometry.shell import Surface
from ...geometry.solid import Label, Side, Solid
from .circular import ring_step
from .general import Offsets
from .profile import FaceShape
from .tower import Outwards, Storey, Underside, tower

_CROSS = 0.02
"""mm; how far walls run on beyond what they end on, so that they cross it."""


def pierced(
    solid: Solid, hole: Offsets, faces: tuple[FaceShape, FaceShape], tolerance: Tolerance
) -> Solid:
    """Return a piece with its middle hole.

    Parameters
    ----------
    hole : Offsets
        Grows with its insets.
    faces : (FaceShape, FaceShape)
        With the sections of the hole's rim and edge.

    Raises
    ------
    SolidError
        If a boolean fails.
    """
    sides: tuple[tuple[FaceShape, Side], ...] = ((faces[0], 1), (faces[1], -1))
    rims = [_rim(hole, face, side, tolerance) for face, side in sides if _is_raised(face)]
    solid = joined_to(solid, rims) if rims else solid
    longest = min(ring_step(face.ground, tolerance) for face in faces)
    below = [(inset, _under(z)) for inset, z in reversed(_edge(faces[1]))]
    cutter = tower(Outwards(hole), [*below, *_edge(faces[0])], Label("edge"), longest)
    return cut(solid, [cutter])


def _edge(face: FaceShape) -> list[Storey]:
    """Return the storeys of the hole in one face, from its wall upwards into the open."""
    ground = replace(face.ground, terraces=())
    sky = max(ground.highest, face.hole[-1].z, face.hole[0].z) + 5.0
    broken = [s for s in face.hole if s.zone == "edge"]
    at = [(s.inset, s.z) for s in broken]
    if len(at) > 1:
        way = np.array(at[-1]) - np.array(at[-2])
        past = np.array(at[-1]) + way * (_CROSS / np.hypot(*way))
        at[-1] = round(float(past[0]), 9), float(past[1])
    level = broken[-1].z
    if _is_raised(face):
        storeys: list[Storey] = [(-inset, z) for inset, z in at]
    else:
        storeys = [(-inset, ground.lifted(z - level)) for inset, z in at]
    return [*storeys, (storeys[-1][0], sky)]


def _under(z: float | Surface) -> float | Surface:
    """Return a height of the other face, seen from above."""
    return -z if isinstance(z, float) else Underside(z)


def _is_raised(face: FaceShape) -> bool:
    return face.hole[-1].zone == "rim"


def _rim(hole: Offsets, face: FaceShape, side: Side, tolerance: Tolerance) -> Solid:
    """Return a plug with the outer wall of the hole's rim, which runs down into the field."""
    ground = replace(face.ground, terraces=())
    top, foot = face.hole[-2:]
    lean = (foot.inset - top.inset) / (top.z - foot.z)
    points = np.concatenate(hole.at(foot.inset))
    room = ground.lowest - ground.floor
    bottom = float(ground.height(points).min()) - min(0.1, 0.3 * room)
    deep = round(top.inset + lean * (top.z - bottom), 6)
    storeys: list[Storey] = [(-deep, bottom), (-top.inset, top.z)]
    plug = tower(Outwards(hole), storeys, Label("rim", side), ring_step(ground, tolerance))
    if side > 0:
        return plug
    return Solid(plug.manifold.mirror((0.0, 0.0, 1.0)), plug.labels)
