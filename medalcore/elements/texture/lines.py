"""Rays and rings: fine lines as a tool cuts them, from a middle or round it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...context.tolerance import Tolerance
from ...geometry.types import FloatArray
from ...spec import Texture
from .sheet import Sheet, Worked, grid_triangles
from .zone import Zone

NARROWEST = 0.1
"""mm: lines narrower than this are hardly made by any process; common practice, no source."""

_ALONG = 24
"""Places along a ray, for a dished field."""


@dataclass(frozen=True, eq=False)
class Lined(Worked):
    """Lines as a sheet, and what they came out as; of rays counted at their outer end.

    Attributes
    ----------
    pitch : float
        mm, of rays at their outer end.
    narrowest : float
        Least width of a line, mm.
    """

    pitch: float
    narrowest: float


def breaks(spec: Texture, tolerance: Tolerance) -> FloatArray:
    """Return where across a line, as shares of the pitch, its section has corners.

    n chords miss a parabola of depth d by d/n² at most (plane geometry).
    """
    facets = 2 * max(2, math.ceil(math.sqrt(spec.depth / tolerance.curve) / 2.0))
    part = np.linspace(0.0, 1.0, 3 if spec.section == "vee" else facets + 1)
    found = spec.land / 2.0 + (1.0 - spec.land) * part
    return found if spec.land > 0.0 else found[:-1]


def section(spec: Texture, share: FloatArray) -> FloatArray:
    """Return the depth of a line across it, 0 at its borders, 1 in the middle.

    ``vee`` is a tool with a straight edge, ``round`` a parabola, which is a round tool's arc
    as long as it is much wider than deep.
    """
    across = (np.mod(share, 1.0) - spec.land / 2.0) / (1.0 - spec.land)
    off = np.clip(np.abs(2.0 * across - 1.0), 0.0, 1.0)
    return 1.0 - off if spec.section == "vee" else 1.0 - off**2


def rays(spec: Texture, zone: Zone, tolerance: Tolerance, top: float) -> Lined:
    """Return lines from the middle outwards.

    They are as much shallower as they are narrower, so that their flanks lean alike from end
    to end and light runs along them in one flash.

    Parameters
    ----------
    spec : Texture
    zone : Zone
    tolerance : Tolerance
    top : float
        How far the bare field between lines lies below the field, mm.
    """
    outer = zone.outer
    count = max(3 if zone.is_whole else 1, round(zone.sweep * outer / spec.pitch))
    pitch = zone.sweep * outer / count
    least = zone.inner or max(outer * NARROWEST / (pitch * (1.0 - spec.land)), 0.02 * outer)
    place = (np.arange(count)[:, None] + breaks(spec, tolerance)).ravel()
    if not zone.is_whole:
        place = np.concatenate([[0.0] if spec.land else [], place, [float(count)]])
    angle = zone.start + zone.sweep * place / count
    limit = zone.limit(angle)
    inner = np.minimum(least, 0.7 * limit)
    fade = np.minimum(zone.fade, (limit - inner) / 2.1)
    part = np.linspace(0.0, 1.0, _ALONG)
    middle = (inner + fade)[:, None] + part * (limit - inner - 2.0 * fade)[:, None]
    radius = np.column_stack([inner, middle, limit])
    deepest = float((limit - fade).max())
    depth = section(spec, place)[:, None] * np.minimum(radius / deepest, 1.0)
    depth[:, [0, -1]] = 0.0
    uv = zone.points(np.broadcast_to(angle[:, None], radius.shape), radius)
    drop = top + (spec.depth - top) * depth
    sheet = Sheet(
        uv.reshape(-1, 2),
        drop.ravel(),
        grid_triangles(len(place), radius.shape[1], closed=zone.is_whole),
    )
    narrowest = float(inner.min()) / outer * pitch * (1.0 - spec.land)
    return Lined(sheet, np.ones(drop.size, dtype=bool), count, pitch, narrowest)


def rings(spec: Texture, zone: Zone, tolerance: Tolerance, top: float) -> Lined:
    """Return lines round the middle.

    Parameters
    ----------
    spec : Texture
    zone : Zone
    tolerance : Tolerance
    top : float
        As `rays`.
    """
    outer = zone.outer
    inner = max(zone.inner, spec.pitch)
    count = max(1, round((outer - inner) / spec.pitch))
    pitch = (outer - inner) / count
    place = np.append((np.arange(count)[:, None] + breaks(spec, tolerance)).ravel(), float(count))
    if spec.land > 0.0:
        place = np.insert(place, 0, 0.0)
    radius = inner + pitch * place
    around = max(8, math.ceil(tolerance.segments(outer) * zone.sweep / (2.0 * math.pi)))
    angle = zone.start + zone.sweep * np.arange(around + (not zone.is_whole)) / around
    shape = (len(angle), len(radius))
    radii, angles = np.broadcast_to(radius, shape), np.broadcast_to(angle[:, None], shape)
    left = zone.limit(angle)[:, None] - radii
    edge = np.minimum(zone.sideways(angles, radii), left)
    if zone.inner > 0.0:
        edge = np.minimum(edge, radii - inner)
    depth = section(spec, place) * zone.window(edge)
    drop = top + (spec.depth - top) * depth
    sheet = Sheet(
        zone.points(angles, radii).reshape(-1, 2),
        drop.ravel(),
        grid_triangles(*shape, closed=zone.is_whole),
    )
    return Lined(sheet, (left > -1e-9).ravel(), count, pitch, pitch * (1.0 - spec.land))
