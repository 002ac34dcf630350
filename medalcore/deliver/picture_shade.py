"""From what is seen at every sample to colours on the screen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from .picture_metals import Look
from .picture_studio import LAMPS, Lamp, look_up, tables

Row = NDArray[np.float32]


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

    nx: Row
    ny: Row
    nz: Row
    sky: Row
    ridge: Row
    lit: tuple[Row, ...]
    grain: Row


def shaded(surface: Surface, look: Look, lamps: tuple[Lamp, ...] = LAMPS) -> NDArray[np.float32]:
    """Return the linear light that samples send to the viewer, (n, 3) float32."""
    one = np.float32(1.0)
    mirror, diffuse = tables(look.roughness, lamps)
    metal, oxide, body = (
        np.array(c, dtype=np.float32) for c in (look.reflectance, look.tone, look.body)
    )
    floor = np.float32(_FLOOR) * (np.float32(0.7) * metal + np.float32(0.3) * oxide + body)
    shine = _lit(look_up(mirror, surface.nx, surface.ny, surface.nz), surface, lamps, floor)
    matt = _lit(look_up(diffuse, surface.nx, surface.ny, surface.nz), surface, lamps, floor)
    toned = _toning(surface, look)[:, None]
    reflectance = metal + (oxide - metal) * toned
    # light that bounced about in a hollow took on the colour of the metal twice
    reflectance *= one - (one - surface.sky)[:, None] * (one - metal)
    grazing = (one - np.minimum(surface.nz, one)) ** 5  # Schlick 1994
    reflectance += (one - reflectance) * (np.float32(_GRAZING) * grazing)[:, None]
    shine *= reflectance
    matt *= body + (np.float32(_MATT_OXIDE) * oxide - body) * toned
    shine += matt
    return shine


_AMBIENT = 0.06
"""Radiance of the room between the lamps."""

_FLOOR = 0.38
"""Radiance of a lit field, over its reflectance, as a wall sees it."""

_GRAZING = 0.6
"""How much of Schlick's rise towards grazing a struck, slightly uneven surface keeps."""

_MATT_OXIDE = 0.7
"""Share of an oxide's colour that it scatters."""


def _lit(
    light: NDArray[np.float32],
    surface: Surface,
    lamps: tuple[Lamp, ...],
    floor: NDArray[np.float32],
) -> NDArray[np.float32]:
    """Return all light together, less what stands in the way, (n, 3).

    The floor is the piece itself: a wall mirrors the field before it.
    """
    for i, lit in enumerate((*surface.lit, surface.sky, surface.sky)):
        light[:, i] *= lit
    room = (_AMBIENT, _AMBIENT, _AMBIENT)
    colours = np.array([*(lamp.colour for lamp in lamps), room, floor], dtype=np.float32)
    return np.asarray(light @ colours)


def _toning(surface: Surface, look: Look) -> Row:
    """Return how much oxide lies at samples, 0 to 1: in hollows, rubbed off on ridges."""
    hollow = np.float32(1.1) * (np.float32(1.0) - surface.sky)
    amount = np.float32(0.46) + hollow - np.float32(0.5) * surface.ridge + surface.grain
    np.clip(amount, 0.0, 1.0, out=amount)
    amount = amount * amount * (np.float32(3.0) - np.float32(2.0) * amount)
    return np.asarray(np.float32(look.toning) * amount)


def toned_down(light: NDArray[np.float32], exposure: float = 1.0) -> NDArray[np.float32]:
    """Return display-linear values of scene light: a toe, a soft shoulder, nothing clipped.

    Rational fit of a film curve, Narkowicz, "ACES filmic tone mapping curve" (2015).
    """
    x = light * np.float32(exposure)
    top = x * (np.float32(2.51) * x + np.float32(0.03))
    top /= x * (np.float32(2.43) * x + np.float32(0.59)) + np.float32(0.14)
    return np.asarray(top)


def encoded(display: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Return 8-bit sRGB (IEC 61966-2-1) of display-linear values, dithered against bands."""
    x = np.clip(display, 0.0, 1.0)
    low = x * np.float32(12.92)
    high = np.float32(1.055) * np.power(x, np.float32(1.0 / 2.4)) - np.float32(0.055)
    value = np.where(x <= np.float32(0.0031308), low, high) * np.float32(255.0)
    rows, cols = value.shape[:2]
    value += noise(rows, cols)[..., None]
    return np.clip(np.rint(value), 0, 255).astype(np.uint8)


def mottled(rows: int, cols: int, pixel: float) -> NDArray[np.float32]:
    """Return slow, uneven variation about 0 of a surface, for toning that is not even."""
    total = np.zeros((rows, cols), dtype=np.float32)
    for salt, (width_mm, strength) in enumerate(((0.35, 0.05), (1.6, 0.07), (6.0, 0.08))):
        size = tuple(max(2, round(n * pixel / width_mm)) for n in (cols, rows))
        cells = Image.fromarray(noise(size[1], size[0], salt + 2))
        total += np.float32(strength) * np.asarray(
            cells.resize((cols, rows), Image.Resampling.BICUBIC)
        )
    return total


def noise(rows: int, cols: int, salt: int = 1) -> NDArray[np.float32]:
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
