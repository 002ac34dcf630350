"""The backdrop: a neutral sheet with the soft shadow of the piece."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from ..geometry.grid import Grid
from ..geometry.raster import top_surface
from ..geometry.types import Float32Array, FloatArray
from .cast import Cast
from .lights import LAMPS

_COARSE = 4  # pixels of the picture per pixel of the shadow: a shadow has no fine detail
_PAPER = (0.80, 0.795, 0.785)  # display-linear
_KEY_RAYS, _SKY_RAYS = 20, 44
_KEY_SHARE = 0.5
_SHADOWS = ((0.10, 0.22, 0.50), (0.55, 0.55, 0.34), (1.05, 1.5, 0.26), (0.9, 4.5, 0.16))
"""Offset and blur in thicknesses of the piece, and strength: contact to farthest penumbra."""


def lying_on_paper(cast: Cast, grid: Grid) -> Float32Array:
    """Return the sheet on which a piece lies, with its soft shadow.

    Parameters
    ----------
    cast : Cast
    grid : Grid
        Pixels of the picture.

    Returns
    -------
    sheet : (3, rows, cols) float32
        Display-linear.
    """
    coarse = _coarser(grid)
    seen, _ = top_surface(cast.vertices, cast.triangles, coarse)
    covered = np.isfinite(seen).astype(np.float32)
    thickness = float(np.ptp(cast.vertices[:, 2])) / coarse.pixel
    away = -LAMPS[0].direction[:2] / np.linalg.norm(LAMPS[0].direction[:2])
    light = np.ones(covered.shape)
    for offset, blur, strength in _SHADOWS:
        light *= 1.0 - strength * _blurred(covered, blur * thickness, offset * thickness * away)
    return _paper(light, grid)


def standing_on_paper(casts: Sequence[Cast], up: FloatArray, grid: Grid) -> Float32Array:
    """Return the sheet on which pieces stand, with the shadows they throw on it.

    The pieces are projected on the sheet along many directions to the key lamp and to the
    sky, and the shadows averaged: dark and sharp where they touch, soft further away.

    Parameters
    ----------
    casts : sequence of Cast
    up : (3,) float64
        Normal of the sheet before the camera, unit length; the pieces touch it.
    grid : Grid
        Pixels of the picture.

    Returns
    -------
    sheet : (3, rows, cols) float32
        Display-linear.
    """
    points = np.concatenate([c.vertices for c in casts])
    starts = np.cumsum([0, *(len(c.vertices) for c in casts)])
    triangles = np.concatenate([c.triangles + s for c, s in zip(casts, starts[:-1], strict=True)])
    height = points @ up
    height -= height.min()
    coarse = _coarser(grid)
    light = np.zeros(coarse.shape)
    for toward, weight in _shadow_rays(up):
        thrown = points - (height / (toward @ up))[:, None] * toward
        seen, _ = top_surface(thrown, triangles, coarse)
        light += weight * np.isneginf(seen)
    return _paper(_blurred(light, 1.5, np.zeros(2)), grid)


def _coarser(grid: Grid) -> Grid:
    """Return a grid of `_COARSE` times the pitch over the same picture."""
    off = grid.pixel * (_COARSE - 1) / 2.0
    rows, cols = (math.ceil(n / _COARSE) for n in grid.shape)
    return Grid(grid.left + off, grid.top - off, grid.pixel * _COARSE, rows, cols)


def _shadow_rays(up: FloatArray) -> list[tuple[FloatArray, float]]:
    """Return directions to the light over a sheet and the share that comes from each."""
    key = LAMPS[0]
    side = np.cross(up, key.direction)
    side /= np.linalg.norm(side)
    over = np.cross(key.direction, side)
    rays = []
    golden = math.pi * (3.0 - math.sqrt(5.0))  # sunflower spacing fills a disc evenly
    for i in range(_KEY_RAYS):
        r = math.tan(math.radians(key.spread_deg * 0.6)) * math.sqrt((i + 0.5) / _KEY_RAYS)
        toward = key.direction + r * (math.cos(i * golden) * side + math.sin(i * golden) * over)
        rays.append((toward / np.linalg.norm(toward), _KEY_SHARE / _KEY_RAYS))
    front = np.cross(side, up)
    for i in range(_SKY_RAYS):
        r = 0.97 * math.sqrt((i + 0.5) / _SKY_RAYS)  # cosine-weighted hemisphere (Malley)
        toward = math.sqrt(1.0 - r * r) * up
        toward = toward + r * (math.cos(i * golden) * side + math.sin(i * golden) * front)
        rays.append((toward, (1.0 - _KEY_SHARE) / _SKY_RAYS))
    return rays


def _paper(light: FloatArray, grid: Grid) -> Float32Array:
    """Return a neutral sheet in even light that falls off, under a coarse map of shadows."""
    rows, cols = grid.shape
    whole = Image.fromarray(light.astype(np.float32)).resize(
        (cols, rows), Image.Resampling.BICUBIC, (0, 0, cols / _COARSE, rows / _COARSE)
    )
    y = np.linspace(1, -1, rows, dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, cols, dtype=np.float32)[None, :]
    fall = np.asarray(whole) * (1.0 + 0.16 * (0.62 * y - 0.5 * x) - 0.13 * (x * x + y * y))
    return np.stack([fall * np.float32(c) for c in _PAPER]).astype(np.float32)


def _blurred(mask: NDArray[np.floating], sigma: float, moved: FloatArray) -> FloatArray:
    """Return a mask blurred by a Gaussian and moved (right, up), in pixels."""
    pad = math.ceil(3.0 * sigma + float(np.abs(moved).max())) + 1
    wide = np.pad(mask.astype(np.float64), pad, mode="edge")
    fy = np.fft.fftfreq(wide.shape[0])[:, None]
    fx = np.fft.rfftfreq(wide.shape[1])[None, :]
    gain = np.exp(-2.0 * (math.pi * sigma) ** 2 * (fx * fx + fy * fy))
    phase = np.exp(-2j * math.pi * (fx * moved[0] - fy * moved[1]))
    blurred = np.fft.irfft2(np.fft.rfft2(wide) * gain * phase, wide.shape)
    return np.clip(blurred[pad:-pad, pad:-pad], 0.0, 1.0)
