"""The studio: soft lights about the piece, and what a metal facing any way shows of them.

The piece is seen straight on and the lights are far away, so all that decides how bright a
point is, apart from what stands in its light, is which way its surface looks. What each
light adds is worked out once for all directions and looked up for every pixel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..geometry.types import Float32Array, FloatArray

_COARSE = 65
"""Directions along each axis that are worked out."""

_FINER = 4
"""Steps put between them by cubic interpolation, so that linear look-up shows no bands."""

_SAMPLES = 192


@dataclass(frozen=True)
class Lamp:
    """A soft light at a great distance, round, fading out towards its border.

    Attributes
    ----------
    azimuth_deg, elevation_deg : float
        Where it stands: counter-clockwise from the right, and above the picture plane.
    spread_deg : float
        Half its width: the radiance falls to half here.
    soft_deg : float
        Width of the border over which it fades.
    radiance : float
        In the middle.
    colour : tuple of float
        Linear red, green, blue.
    """

    azimuth_deg: float
    elevation_deg: float
    spread_deg: float
    soft_deg: float
    radiance: float
    colour: tuple[float, float, float] = (1.0, 1.0, 1.0)

    @property
    def direction(self) -> FloatArray:
        """Return the unit vector towards the lamp, (3,)."""
        a, e = math.radians(self.azimuth_deg), math.radians(self.elevation_deg)
        return np.array([math.cos(a) * math.cos(e), math.sin(a) * math.cos(e), math.sin(e)])

    def seen(self, directions: FloatArray) -> FloatArray:
        """Return its radiance in directions, (..., 3) unit vectors -> (...)."""
        cosine = np.clip(directions @ self.direction, -1.0, 1.0)
        beyond = (np.degrees(np.arccos(cosine)) - self.spread_deg) / max(self.soft_deg, 1e-9)
        t = np.clip(0.5 - 0.5 * beyond, 0.0, 1.0)
        return np.asarray(self.radiance * t * t * (3.0 - 2.0 * t))


LAMPS = (
    Lamp(128.0, 38.0, 18.0, 20.0, 8.5, (1.00, 0.95, 0.875)),  # key: raking, upper left
    Lamp(118.0, 66.0, 18.0, 36.0, 1.00, (0.96, 0.98, 1.00)),  # canopy: what the field mirrors
    Lamp(5.0, 26.0, 20.0, 26.0, 0.55, (0.82, 0.91, 1.00)),  # fill: cool, from the right
    Lamp(-58.0, 20.0, 12.0, 16.0, 2.6, (0.86, 0.93, 1.00)),  # rim: outlines the dark flanks
)


@lru_cache(maxsize=8)
def tables(roughness: float, lamps: tuple[Lamp, ...] = LAMPS) -> Float32Array:
    """Return what surfaces facing every way reflect of each lamp towards the viewer.

    Rows and columns run over the plane on which the sphere of normals is drawn by
    n.xy / (1 + n.z), from −1 to 1 (stereographic; the viewer looks along −z).

    Parameters
    ----------
    roughness : float
        GGX alpha.
    lamps : tuple of Lamp

    Returns
    -------
    table : (size, size, 2 (lamps + 2)) float32
        First the specular reflection of a surface that reflects everything (F = 1): of each
        lamp, of a room of radiance 1 above the picture plane, and of a floor of radiance 1
        below. Then irradiance / π of the same: what a white matt surface shows (Lambert).
    """
    axis = np.linspace(-1.0, 1.0, _COARSE)
    x, y = np.meshgrid(axis, axis)
    square = x * x + y * y
    scale = np.where(square > 1.0, 1.0 / np.sqrt(np.maximum(square, 1e-30)), 1.0)
    x, y = x * scale, y * scale  # beyond the horizon: as on the horizon
    square = x * x + y * y
    normals = np.stack([2.0 * x, 2.0 * y, 1.0 - square], axis=-1) / (1.0 + square)[..., None]
    normals = normals.reshape(-1, 3)
    return _finer(np.hstack([mirrored(normals, roughness, lamps), irradiance(normals, lamps)]))


def _finer(values: FloatArray) -> Float32Array:
    """Return a coarse table with Catmull-Rom steps between its points (1974)."""
    size = (_COARSE - 1) * _FINER + 1
    place = np.arange(size) / _FINER
    left = np.minimum(place.astype(np.int64), _COARSE - 2)
    t = place - left
    weights = np.zeros((size, _COARSE))
    kernel = (
        -0.5 * t + t**2 - 0.5 * t**3, 1.0 - 2.5 * t**2 + 1.5 * t**3,
        0.5 * t + 2.0 * t**2 - 1.5 * t**3, -0.5 * t**2 + 0.5 * t**3,
    )  # fmt: skip
    for step, weight in zip((-1, 0, 1, 2), kernel, strict=True):
        np.add.at(weights, (np.arange(size), np.clip(left + step, 0, _COARSE - 1)), weight)
    grid = values.reshape(_COARSE, _COARSE, -1)
    fine = np.einsum("ai,ijc,bj->abc", weights, grid, weights, optimize=True)
    return np.ascontiguousarray(np.maximum(fine, 0.0), dtype=np.float32)


def mirrored(
    normals: FloatArray, roughness: float, lamps: tuple[Lamp, ...], samples: int = _SAMPLES
) -> FloatArray:
    """Return the specular reflection of each lamp, of room and of floor, to a viewer at +z.

    GGX micro-facets with Smith's height-correlated shadowing, importance-sampled by visible
    normals (Heitz, "Sampling the GGX distribution of visible normals", Journal of Computer
    Graphics Techniques 7(4), 2018): the estimate is L · G2 / G1, with F = 1.

    Parameters
    ----------
    normals : (n, 3) float64
        Unit vectors, z ≥ 0.
    roughness : float
        GGX alpha, above 0.
    lamps : tuple of Lamp
    samples : int

    Returns
    -------
    radiance : (n, lamps + 2) float64
    """
    alpha = max(roughness, 1e-3)
    nz = np.maximum(normals[:, 2], 0.04)
    sine = np.sqrt(1.0 - nz * nz)
    across = normals[:, :2]
    length = np.linalg.norm(across, axis=1, keepdims=True)
    axis = np.where(length > 1e-9, across / np.maximum(length, 1e-9), np.array([1.0, 0.0]))
    u1, u2 = _hammersley(samples)
    # the view in the frame of the surface lies in the plane of normal and axis
    view = np.stack([-sine, np.zeros_like(nz), nz], axis=-1)
    stretched = view * np.array([alpha, alpha, 1.0])
    stretched /= np.linalg.norm(stretched, axis=1, keepdims=True)
    t1 = np.stack([np.zeros_like(nz), np.full_like(nz, -1.0), np.zeros_like(nz)], -1)
    t2 = np.cross(stretched, t1)
    r, phi = np.sqrt(u1), 2.0 * np.pi * u2
    a = r * np.cos(phi)
    s = 0.5 * (1.0 + stretched[:, 2:3])
    b = (1.0 - s) * np.sqrt(1.0 - a * a) + s * (r * np.sin(phi))
    c = np.sqrt(np.maximum(0.0, 1.0 - a * a - b * b))
    half = a[None, :, None] * t1[:, None] + b[..., None] * t2[:, None]
    half += c[..., None] * stretched[:, None]
    half *= np.array([alpha, alpha, 1.0])
    half[..., 2] = np.maximum(half[..., 2], 1e-9)
    half /= np.linalg.norm(half, axis=-1, keepdims=True)
    light = 2.0 * np.einsum("nsk,nk->ns", half, view)[..., None] * half - view[:, None]
    up = light[..., 2]
    weight = np.where(up > 0.0, _smith(nz, np.maximum(up, 1e-9), alpha), 0.0)
    # back to the viewer's frame: the surface's x leans along `axis`, its z is the normal
    out = light[..., 0] * nz[:, None] + up * sine[:, None]
    world = np.stack(
        [
            out * axis[:, :1] - light[..., 1] * axis[:, 1:],
            out * axis[:, 1:] + light[..., 1] * axis[:, :1],
            up * nz[:, None] - light[..., 0] * sine[:, None],
        ],
        axis=-1,
    )
    above = world[..., 2] > 0.0
    seen = [lamp.seen(world) for lamp in lamps] + [above, ~above]
    return np.stack([np.mean(each * weight, axis=1) for each in seen], axis=-1)


def irradiance(normals: FloatArray, lamps: tuple[Lamp, ...]) -> FloatArray:
    """Return irradiance / π from each lamp, from room and from floor, (n, lamps + 2).

    Midpoint quadrature for the lamps; the rest is the share of a half-space that a tilted
    surface sees, (1 ± n.z) / 2.
    """
    rings, spokes = 24, 48
    elevation = (np.arange(rings) + 0.5) / rings  # equal steps of sin: equal solid angles
    azimuth = 2.0 * np.pi * (np.arange(spokes) + 0.5) / spokes
    z, a = (g.ravel() for g in np.meshgrid(elevation, azimuth, indexing="ij"))
    flat = np.sqrt(1.0 - z * z)
    toward = np.stack([flat * np.cos(a), flat * np.sin(a), z], axis=-1)
    solid_angle = 2.0 * np.pi / len(toward)
    radiance = np.stack([lamp.seen(toward) for lamp in lamps], axis=-1)
    cosine = np.maximum(normals @ toward.T, 0.0)
    lit = cosine @ radiance * (solid_angle / np.pi)
    return np.column_stack([lit, (1.0 + normals[:, 2]) / 2.0, (1.0 - normals[:, 2]) / 2.0])


def look_up(
    table: Float32Array, nx: Float32Array, ny: Float32Array,
    nz: Float32Array,
) -> Float32Array:  # fmt: skip
    """Return the table's value for normals, linear between its points.

    Parameters
    ----------
    table : (size, size, channels) float32
    nx, ny, nz : (n,) float32
        Unit normals, nz ≥ 0.

    Returns
    -------
    values : (channels, n) float32
    """
    size = table.shape[0]
    half = np.float32((size - 1) / 2.0)
    scale = half / (np.float32(1.0) + nz)
    top = np.float32(size - 1.001)
    fx = np.clip(nx * scale + half, np.float32(0.0), top)
    fy = np.clip(ny * scale + half, np.float32(0.0), top)
    ix, iy = fx.astype(np.int32), fy.astype(np.int32)
    fx -= ix
    fy -= iy
    flat = table.reshape(size * size, -1)
    at = iy * size + ix
    fx, fy = fx[:, None], fy[:, None]
    low = flat.take(at, axis=0)
    low += fx * (flat.take(at + 1, axis=0) - low)
    high = flat.take(at + size, axis=0)
    high += fx * (flat.take(at + (size + 1), axis=0) - high)
    high -= low
    high *= fy
    low += high
    return np.ascontiguousarray(low.T)


def _smith(nv: FloatArray, nl: FloatArray, alpha: float) -> FloatArray:
    """Return G2 / G1 of height-correlated Smith shadowing for GGX."""

    def lambda_of(cosine: FloatArray) -> FloatArray:
        tan2 = np.maximum(1.0 / (cosine * cosine) - 1.0, 0.0)
        return np.asarray(0.5 * (np.sqrt(1.0 + alpha * alpha * tan2) - 1.0))

    view = lambda_of(nv)[:, None]
    return np.asarray((1.0 + view) / (1.0 + view + lambda_of(nl)))


def _hammersley(count: int) -> tuple[FloatArray, FloatArray]:
    """Return an even set of points in the unit square (radical inverse, base 2)."""
    index = np.arange(count)
    bits = np.zeros(count)
    scale, rest = 0.5, index.copy()
    while np.any(rest):
        bits += scale * (rest & 1)
        rest >>= 1
        scale *= 0.5
    return (index + 0.5) / count, bits
