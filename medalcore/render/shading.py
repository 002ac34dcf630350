"""From what is seen at every sample to colours on the screen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PIL import Image

from ..geometry.types import ByteArray, Float32Array
from .lights import LAMPS, Lamp, look_up, tables
from .metals import Look


@dataclass(frozen=True, eq=False)
class Surface:
    """What is known of a row of samples, all (n,) float32.

    Attributes
    ----------
    nx, ny, nz : (n,) float32
        Unit normals towards the viewer's side; nz ≥ 0.
    sky : (n,) float32
        Share of the sky that is not hidden.
    ridge : (n,) float32
        −1 hollow to 1 ridge.
    lit : sequence of (n,) float32
        Share seen of each lamp.
    grain : (n,) float32
        Uneven toning, about 0.
    """

    nx: Float32Array
    ny: Float32Array
    nz: Float32Array
    sky: Float32Array
    ridge: Float32Array
    lit: tuple[Float32Array, ...]
    grain: Float32Array


def shaded(surface: Surface, look: Look, lamps: tuple[Lamp, ...] = LAMPS) -> Float32Array:
    """Return the linear light that samples send to the viewer, (3, n) float32."""
    one = np.float32(1.0)
    light = look_up(tables(look.roughness, lamps), surface.nx, surface.ny, surface.nz)
    shine, matt = np.split(light, 2)
    for i, lit in enumerate((*surface.lit, surface.sky, surface.sky)):
        shine[i] *= lit
        matt[i] *= lit
    toned = _toning(surface, look)
    closed = one - surface.sky
    grazing = np.float32(_GRAZING) * (one - np.minimum(surface.nz, one)) ** 5  # Schlick 1994
    polish = one + np.float32(_POLISH) * np.maximum(surface.ridge, np.float32(0.0))
    out = np.empty((3, len(toned)), dtype=np.float32)
    for k in range(3):
        metal = np.float32(look.reflectance[k])
        oxide = np.float32(look.tone[k])
        body = np.float32(look.body[k])
        # the floor is the piece itself: a wall mirrors the field before it
        floor = np.float32(_FLOOR) * (np.float32(0.7) * metal + np.float32(0.3) * oxide + body)
        weights = [*(np.float32(lamp.colour[k]) for lamp in lamps), np.float32(_AMBIENT), floor]
        reflectance = metal + (oxide - metal) * toned
        # light that bounced about in a hollow took on the colour of the metal twice
        reflectance *= one - closed * (one - metal)
        reflectance += (one - reflectance) * grazing
        reflectance *= polish
        reflectance *= _weighted(shine, weights)
        scattered = body + (np.float32(_MATT_OXIDE) * oxide - body) * toned
        scattered *= _weighted(matt, weights)
        np.add(reflectance, scattered, out=out[k])
    return out


_AMBIENT = 0.06
"""Radiance of the room between the lamps."""

_FLOOR = 0.38
"""Radiance of a lit field, over its reflectance, as a wall sees it."""

_GRAZING = 0.35
"""How much of Schlick's rise towards grazing a struck, slightly uneven surface keeps."""

_POLISH = 0.3
"""How much brighter ridges are that hands and cloth have polished."""

_MATT_OXIDE = 0.7
"""Share of an oxide's colour that it scatters."""


def _weighted(rows: Float32Array, weights: list[np.float32]) -> Float32Array:
    """Return the weighted sum of rows; no matrix product, whose threads fight for the cores."""
    total = rows[0] * weights[0]
    for row, weight in zip(rows[1:], weights[1:], strict=True):
        total += row * weight
    return np.asarray(total)


def _toning(surface: Surface, look: Look) -> Float32Array:
    """Return how much oxide lies at samples, 0 to 1: in hollows, rubbed off on ridges."""
    hollow = np.float32(1.1) * (np.float32(1.0) - surface.sky)
    amount = np.float32(0.43) + hollow - np.float32(0.5) * surface.ridge + surface.grain
    np.clip(amount, 0.0, 1.0, out=amount)
    amount = amount * amount * (np.float32(3.0) - np.float32(2.0) * amount)
    return np.asarray(np.float32(look.toning) * amount)


def toned_down(light: Float32Array, exposure: float = 1.0) -> Float32Array:
    """Return display-linear values of scene light: a toe, a soft shoulder, nothing clipped.

    Rational fit of a film curve, Narkowicz, "ACES filmic tone mapping curve" (2015).
    """
    x = light * np.float32(exposure)
    top = x * (np.float32(2.51) * x + np.float32(0.03))
    top /= x * (np.float32(2.43) * x + np.float32(0.59)) + np.float32(0.14)
    return np.asarray(top)


def encoded(display: Float32Array) -> ByteArray:
    """Return 8-bit sRGB (IEC 61966-2-1) of display-linear values, dithered against bands.

    Parameters
    ----------
    display : (3, rows, cols) float32

    Returns
    -------
    pixels : (rows, cols, 3) uint8
    """
    _, rows, cols = display.shape
    out = np.empty((rows, cols, 3), dtype=np.uint8)
    dither = noise(rows, cols) + np.float32(0.5)
    curve = _srgb_curve()
    for k, plane in enumerate(display):
        place = np.sqrt(np.clip(plane, 0.0, 1.0)) * np.float32(len(curve) - 1)
        out[..., k] = (curve.take(place.astype(np.int32)) + dither).astype(np.uint8)
    return out


def _srgb_curve() -> Float32Array:
    """Return 254.99 times sRGB of (i / last)², fine enough that no step is left out."""
    x = np.square(np.linspace(0.0, 1.0, 1 << 14))
    curve = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(x, 1.0 / 2.4) - 0.055)
    return np.asarray(254.99 * curve, dtype=np.float32)


def mottled(rows: int, cols: int, pixel: float) -> Float32Array:
    """Return slow, uneven variation about 0 of a surface, for toning that is not even."""
    total = np.zeros((rows, cols), dtype=np.float32)
    for salt, (width_mm, strength) in enumerate(((0.35, 0.05), (1.6, 0.07), (6.0, 0.08))):
        size = tuple(max(2, round(n * pixel / width_mm)) for n in (cols, rows))
        cells = Image.fromarray(noise(size[1], size[0], salt + 2))
        total += np.float32(strength) * np.asarray(
            cells.resize((cols, rows), Image.Resampling.BICUBIC)
        )
    return total


def noise(rows: int, cols: int, salt: int = 1) -> Float32Array:
    """Return noise from −0.5 to 0.5 that is the same on every run and machine.

    An integer hash of row and column (multiply and xor-shift), not a random generator:
    generators may change between versions of numpy.
    """
    y, x = np.meshgrid(np.arange(rows, dtype=np.uint32), np.arange(cols, dtype=np.uint32),
                       indexing="ij")  # fmt: skip
    h = x * np.uint32(0x9E3779B1) ^ y * np.uint32(0x85EBCA77) ^ np.uint32(salt * 0xC2B2AE3D % 2**32)
    for shift, factor in ((15, 0x2C1B3C6D), (12, 0x297A2D39)):
        h ^= h >> np.uint32(shift)
        h *= np.uint32(factor)
    h ^= h >> np.uint32(15)
    return h.astype(np.float32) * np.float32(2.0**-32) - np.float32(0.5)
