"""Hollow and domed fields of pieces that are not round: one sphere over the whole field."""

from __future__ import annotations

import math
from dataclasses import replace

import manifold3d as m3
import numpy as np

from ..contour import Contours
from ..errors import SpecError
from ..ground import Ground
from ..solid import Side, Solid, solid_from_manifold
from ..tolerance import Tolerance
from .general import Offsets
from .profile import FaceShape, Step
from .tower import below_field


def spread(ground: Ground, foot: Contours, key: str) -> Ground:
    """Return a field whose sphere reaches over all of its outline, as a turned die's does.

    A hollow is as deep as stated below its farthest point, a dome as high above its nearest:
    the rim is nowhere lower than it should be.

    Parameters
    ----------
    ground : Ground
        Its dish is measured over the circle that the field holds.
    foot : contours
        Where the field meets the rim, mm.

    Raises
    ------
    SpecError
        At `key`, if a dome would pass the half sphere.
    """
    far = float(np.hypot(*np.concatenate(foot).T).max())
    if ground.dish > 0.0:
        return replace(ground, basin=far)
    rise = -ground.dish
    big = (ground.radius**2 + rise**2) / (2.0 * rise)
    if far >= 0.95 * big:
        raise SpecError(
            f"a dome {rise:g} mm high over {ground.radius:.3g} mm does not reach {far:.3g} mm "
            "far; make it lower",
            key=key,
        )
    fall = big - math.sqrt(big**2 - far**2) - rise
    return replace(ground, basin=far, level=ground.level - fall, dish=-(rise + fall))


def bedded(face: FaceShape, space: float) -> FaceShape:
    """Return a face whose wall runs on to a flat bed below all of its field.

    Parameters
    ----------
    space : float
        Metal between the two fields, mm.
    """
    before, foot = face.outer[-2:]
    bed = face.ground.lowest - 0.1 * min(0.2, space)
    lean = (foot.inset - before.inset) / (before.z - foot.z)
    deep = Step(round(foot.inset + lean * (foot.z - bed), 6), bed, foot.zone)
    return replace(face, outer=(*face.outer[:-1], deep), foot=foot)


def basin_solid(
    outline: Offsets, face: FaceShape, foot: Step, side: Side, space: float, tolerance: Tolerance
) -> Solid:
    """Return what fills a bedded face up to its field; it ends inside the rim.

    Parameters
    ----------
    foot : Step
        Where the wall would end on a flat field.
    """
    ground, bed = face.ground, face.outer[-1].z
    broken = max(s.inset for s in face.outer if s.zone == "edge")
    region = outline.at(round(max((broken + foot.inset) / 2.0, foot.inset - 0.3), 6))
    out = 1.05 * float(np.hypot(*np.concatenate(region).T).max())
    low, high = bed - 0.2 * space, ground.highest + 1.0
    prism = m3.CrossSection(list(region)).extrude(high - low + 2.0).translate((0, 0, low - 1.0))
    body = below_field(replace(ground, terraces=()), out, low, tolerance) ^ prism
    if side < 0:
        body = body.mirror((0.0, 0.0, 1.0))
    return solid_from_manifold(body, "field", "the field").on_side(side)

