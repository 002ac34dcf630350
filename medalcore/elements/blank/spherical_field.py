"""Hollow and domed fields of pieces that are not round: one sphere over the whole field."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ...context.ground import Ground
from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.contour import Contours
from .field_rings import ring_step
from .offsets import refined
from .profile import FaceShape, Step


def spread_sphere(ground: Ground, foot: Contours, key: str) -> Ground:
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


def free_edge_break(
    face: FaceShape, outline: Contours, tolerance: Tolerance, key: str
) -> FaceShape:
    """Return a face without a rim, whose field runs out to an edge break that goes along.

    Parameters
    ----------
    outline : contours
        Of the piece, mm.

    Raises
    ------
    SpecError
        At `key`, if the field leaves no upright edge.
    """
    points = np.concatenate(refined(outline, ring_step(face.ground, tolerance)))
    sink = float(face.ground.height(points).min()) - face.outer[-1].z
    steps = tuple(Step(s.inset, s.z + sink, s.zone) for s in face.outer)
    if steps[0].z <= 0.0:
        raise SpecError(
            f"the field falls {-sink:.3g} mm along the edge and leaves no upright edge; "
            "make the dish less or the piece thicker",
            key=key,
        )
    return replace(face, outer=steps, is_free=True)
