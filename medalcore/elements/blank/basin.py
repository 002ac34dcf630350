"""Hollow and domed fields of pieces that are not round: one sphere over the whole field."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ...context.ground import Ground
from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.bodies import extruded
from ...geometry.boolean import cut, joined_to
from ...geometry.contour import Contours
from ...geometry.solid import Label, Side, Solid, shared, solid_from_manifold
from .circular import ring_step
from .fillet import fillet_solid
from .general import Offsets
from .profile import FaceShape, Step
from .tower import Beyond, Storey, below_field, refined, tower

_CROSS = 0.02
"""mm; how far an edge break is cut beyond its own ends, so that it crosses what it ends on."""


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


def bedded(face: FaceShape, space: float, fillet: float) -> FaceShape:
    """Return a face whose wall runs on to a flat bed below all of its field.

    Parameters
    ----------
    space : float
        Metal between the two fields, mm.
    fillet : float
        Radius at the foot of the wall, mm.
    """
    before, foot = face.outer[-2:]
    bed = face.ground.lowest - 0.1 * min(0.2, space)
    lean = (foot.inset - before.inset) / (before.z - foot.z)
    deep = Step(round(foot.inset + lean * (foot.z - bed), 6), bed, foot.zone)
    return replace(face, outer=(*face.outer[:-1], deep), foot=foot, fillet=fillet)


def freed(face: FaceShape, outline: Contours, tolerance: Tolerance, key: str) -> FaceShape:
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


def raised_high(face: FaceShape, high: float) -> FaceShape:
    """Return what a free face is cut from: an upright wall up to a level `high` mm up."""
    if not face.is_free:
        return face
    return replace(face, outer=(Step(0.0, high, "edge"),))


def laid(
    solid: Solid, outline: Offsets, faces: tuple[FaceShape, FaceShape], tolerance: Tolerance
) -> Solid:
    """Return a piece with the hollow or domed fields that its outline could not be meshed with.

    Those with a rim are laid into it; without one, what stands above the field is cut away.
    """
    space = faces[0].ground.lowest + faces[1].ground.lowest
    sides: tuple[tuple[FaceShape, Side], ...] = ((faces[0], 1), (faces[1], -1))
    for face, side in sides:
        if face.is_free:
            solid = _cut_free(solid, outline, face, side, tolerance)
    fields = [
        _basin(outline, face, face.foot, side, space, tolerance)
        for face, side in sides
        if face.foot is not None
    ]
    fields += [
        _flipped(fillet_solid(outline, face, side, tolerance), side)
        for face, side in sides
        if face.foot is not None and face.fillet
    ]
    return joined_to(solid, fields) if fields else solid


def _cut_free(
    solid: Solid, outline: Offsets, face: FaceShape, side: Side, tolerance: Tolerance
) -> Solid:
    """Cut a face down to its field, and break its edge along it."""
    ground = replace(face.ground, terraces=())
    out = 1.05 * float(np.hypot(*np.concatenate(outline.at(0.0)).T).max()) + 1.0
    field = below_field(ground, out, -4.0 * ground.highest - 10.0, tolerance)
    body = shared(solid, _placed(solid_from_manifold(field, "field", "the field"), side))
    broken = [(s.inset, s.z - face.outer[-1].z) for s in face.outer]
    if len(broken) < 2:
        return body
    high = ground.highest + 1.0
    last = _beyond(broken[-2], broken[-1])
    if len(broken) > 2:  # an arc ends along the field: where they meet is told by a tiny step
        last = broken[-1][0], broken[-1][1] - 0.25 * tolerance.curve
    steps = [_beyond(broken[1], broken[0]), *broken[1:-1], last]
    storeys: list[Storey] = [(-inset, ground.lifted(rise)) for inset, rise in steps]
    storeys.append((storeys[-1][0], high))
    chamfer = tower(Beyond(outline, 2.0), storeys, Label("edge"), ring_step(ground, tolerance))
    return cut(body, [_flipped(chamfer, side)])


def _beyond(before: tuple[float, float], last: tuple[float, float]) -> tuple[float, float]:
    """Return a point a little beyond the last of two, on their line."""
    way = np.array(last) - np.array(before)
    inset, rise = np.array(last) + way * (_CROSS / np.hypot(*way))
    return round(float(inset), 9), float(rise)


def _flipped(solid: Solid, side: Side) -> Solid:
    """Return a solid on a face: the reverse is the obverse seen in a mirror below."""
    if side > 0:
        return solid
    return Solid(solid.manifold.mirror((0.0, 0.0, 1.0)), solid.labels)


def _placed(solid: Solid, side: Side) -> Solid:
    return _flipped(solid, side).on_side(side)


def _basin(
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
    prism = extruded(region, high - low + 2.0).translate((0, 0, low - 1.0))
    body = below_field(replace(ground, terraces=()), out, low, tolerance) ^ prism
    return _placed(solid_from_manifold(body, "field", "the field"), side)
