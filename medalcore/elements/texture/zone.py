"""Where a texture is: between radii about a middle, in a sector, inside the field."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...context.ground import Ground
from ...errors import SpecError
from ...geometry.contour import Contours, inside, offset, signed_area
from ...geometry.types import BoolArray, FloatArray
from ...spec import Texture

_RAYS = 4096
"""Directions in which an outline is measured; between them its distance is interpolated."""


@dataclass(frozen=True, eq=False)
class Zone:
    """A star-shaped part of the field, seen from the middle of the texture.

    Angles run clockwise from the top, radians.

    Attributes
    ----------
    middle : (2,) float64
        mm.
    inner : float
        Radius, mm.
    limits : (n,) float64
        Outer radius in n even directions, mm.
    start, sweep : float
        The sector, radians; a sweep of 2π is all round.
    fade : float
        mm.
    holes : tuple of (n, 2) float64
        Outlines about holes of the field, mm.
    """

    middle: FloatArray
    inner: float
    limits: FloatArray
    start: float
    sweep: float
    fade: float
    holes: Contours = ()

    @property
    def is_whole(self) -> bool:
        """Tell whether it goes all round."""
        return self.sweep > 2.0 * math.pi - 1e-9

    @property
    def is_round(self) -> bool:
        """Tell whether it ends at one radius."""
        return float(np.ptp(self.limits)) < 1e-9

    @property
    def outer(self) -> float:
        """Return its largest radius, mm."""
        return float(self.limits.max())

    def limit(self, angle: FloatArray) -> FloatArray:
        """Return the outer radius in directions, mm."""
        place = np.mod(angle, 2.0 * math.pi) * (len(self.limits) / (2.0 * math.pi))
        found: FloatArray = np.interp(
            place, np.arange(len(self.limits) + 1), np.append(self.limits, self.limits[0])
        )
        return found

    def points(self, angle: FloatArray, radius: FloatArray) -> FloatArray:
        """Return points (..., 2) of the face at angles and radii about the middle."""
        ways: FloatArray = np.stack([np.sin(angle), np.cos(angle)], axis=-1)
        return np.asarray(self.middle + radius[..., None] * ways)

    def depth_in(self, uv: FloatArray) -> FloatArray:
        """Return how far points (..., 2) lie inside, below 0 outside, mm."""
        away = uv - self.middle
        radius = np.hypot(away[..., 0], away[..., 1])
        angle = np.arctan2(away[..., 0], away[..., 1])
        found = np.minimum(self.limit(angle) - radius, self.sideways(angle, radius))
        return np.minimum(found, radius - self.inner) if self.inner > 0.0 else found

    def sideways(self, angle: FloatArray, radius: FloatArray) -> FloatArray:
        """Return how far places lie from the sides of the sector, below 0 outside, mm."""
        if self.is_whole:
            return np.full(np.broadcast_shapes(np.shape(angle), np.shape(radius)), np.inf)
        half = self.sweep / 2.0
        off = np.mod(angle - self.start - half + math.pi, 2.0 * math.pi) - math.pi
        return np.asarray((half - np.abs(off)) * radius)

    def is_clear(self, uv: FloatArray) -> BoolArray:
        """Tell which points (n, 2) lie on the field, not at its holes."""
        found = np.ones(len(uv), dtype=bool)
        for hole in self.holes:
            near = ((uv >= hole.min(axis=0)) & (uv <= hole.max(axis=0))).all(axis=1)
            found[near] = ~inside((hole,), uv[near])
        return found

    def window(self, depth_in: FloatArray) -> FloatArray:
        """Return the share of its depth that a texture has, by how far inside a place is."""
        return np.clip(depth_in / self.fade, 0.0, 1.0)


def zone_of(spec: Texture, ground: Ground) -> Zone:
    """Return where a texture is.

    Raises
    ------
    SpecError
        If its middle is off the field, or nothing is left between its radii.
    """
    middle = np.asarray(spec.at, dtype=np.float64)
    angle = np.arange(_RAYS) * (2.0 * math.pi / _RAYS)
    ways = np.column_stack([np.sin(angle), np.cos(angle)])
    limits = _to_circle(middle, ways, ground.radius - spec.margin)
    inner, holes = spec.inner, _holes(ground, spec.margin)
    if ground.outline:
        limits = _to_outline(middle, ways, ground, spec.margin)
    for hole in holes:
        if inside((hole,), middle[None])[0]:
            inner = max(inner, float(np.hypot(*(hole - middle).T).max()))
    if not limits.min() > 0.0:
        raise SpecError(
            f"{spec.at[0]:g}, {spec.at[1]:g} is off the field; the middle of a texture lies on it",
            key="at",
        )
    if spec.outer > 0.0:
        limits = np.minimum(limits, spec.outer)
    if inner + 2.0 * min(spec.fade, spec.pitch) > limits.min():
        raise SpecError(
            f"texture from {inner:.4g} mm on leaves nothing before {limits.min():.3g} mm, where "
            "it ends; begin nearer to its middle",
            key="inner",
        )
    sweep = math.radians(spec.sweep)
    # all round, only rays have a place where they begin
    towards = spec.towards if spec.sweep < 360.0 or spec.kind == "rays" else 0.0
    start = math.radians(towards) - sweep / 2.0
    return Zone(middle, inner, limits, start, sweep, spec.fade, holes)


def _holes(ground: Ground, margin: float) -> Contours:
    """Return outlines about the holes of the field, a margin away from them."""
    holes = [np.array(c, dtype=np.float64) for c in ground.outline]
    return tuple(
        grown
        for c in holes
        if signed_area(c) < 0.0
        for grown in offset((c[::-1],), margin, "round")
    )


def _to_circle(middle: FloatArray, ways: FloatArray, radius: float) -> FloatArray:
    """Return how far it is along ways (n, 2) to a circle about the middle of the face."""
    along = ways @ middle
    left = radius**2 - float(middle @ middle)
    if radius <= 0.0 or left <= 0.0:
        return np.zeros(len(ways))
    return np.asarray(np.sqrt(along**2 + left) - along)


def _to_outline(middle: FloatArray, ways: FloatArray, ground: Ground, margin: float) -> FloatArray:
    """Return how far it is along ways to where the field ends, its holes left out of account."""
    field = tuple(np.array(c, dtype=np.float64) for c in ground.outline)
    outer = max(field, key=lambda c: float(np.ptp(c, axis=0).max()))
    inset = offset((outer,), -margin, "round")
    if not inset or not inside(inset, middle[None]).any():
        return np.zeros(len(ways))
    best = np.full(len(ways), np.inf)
    for contour in inset:
        p = contour - middle
        q = np.roll(p, -1, axis=0)
        side_p = ways[:, :1] * p[:, 1] - ways[:, 1:] * p[:, 0]
        side_q = ways[:, :1] * q[:, 1] - ways[:, 1:] * q[:, 0]
        crosses = (side_p > 0.0) != (side_q > 0.0)
        t = np.where(crosses, side_p / np.where(crosses, side_p - side_q, 1.0), 0.0)
        along = ways[:, :1] * (p[:, 0] + t * (q - p)[:, 0]) + ways[:, 1:] * (
            p[:, 1] + t * (q - p)[:, 1]
        )
        hit = np.where(crosses & (along > 0.0), along, np.inf)
        best = np.minimum(best, hit.min(axis=1))
    return np.where(np.isfinite(best), best, 0.0)
