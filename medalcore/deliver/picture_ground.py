"""The backdrop: a neutral sheet with the soft shadow of the piece."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from ..grid import Grid
from ..raster import top_surface
from .picture_cast import Cast
from .picture_studio import LAMPS

FloatArray = NDArray[np.float64]
Backdrop = Callable[[NDArray[np.float32], Grid], NDArray[np.float32]]
"""From the share of every pixel that is covered, (rows, cols) float32, and the grid, to the
sheet behind it, (3, rows, cols) float32, display-linear."""

_COARSE = 4  # pixels of the picture per pixel of the shadow: a shadow has no fine detail
_PAPER = (0.80, 0.795, 0.785)  # display-linear
_KEY_RAYS, _SKY_RAYS = 20, 44
_KEY_SHARE = 0.5
_SHADOWS = ((0.10, 0.22, 0.50), (0.55, 0.55, 0.34), (1.05, 1.5, 0.26), (0.9, 4.5, 0.16))
"""Offset and blur in thicknesses of the piece, and strength: contact to farthest penumbra."""


def lying_on_paper(thickness: float) -> Backdrop:
    """Return what draws the sheet behind a piece that lies on it.

    Parameters
    ----------
    thickness : float
        How high the piece stands above the sheet, mm.
    """

    def backdrop(covered: NDArray[np.float32], grid: Grid) -> NDArray[np.float32]:
        rows, cols = grid.shape
        small = (max(1, cols // _COARSE), max(1, rows // _COARSE))
        mask = np.asarray(Image.fromarray(covered).resize(small, Image.Resampling.BOX))
        step = grid.pixel * cols / small[0]
        light = np.ones(mask.shape)
        away = -LAMPS[0].direction[:2] / np.linalg.norm(LAMPS[0].direction[:2])
        for offset, blur, strength in _SHADOWS:
            moved = away * (offset * thickness / step)
            light *= 1.0 - strength * _blurred(mask, blur * thickness / step, moved)
        shade = Image.fromarray(light.astype(np.float32))
        return paper(np.asarray(shade.resize((cols, rows), Image.Resampling.BICUBIC)))

    return backdrop


def standing_on_paper(casts: Sequence[Cast], up: FloatArray) -> Backdrop:
    """Return what draws the sheet on which pieces stand, with the shadows they throw on it.

    The pieces are projected on the sheet along many directions to the key lamp and to the
    sky, and the shadows averaged: dark and sharp where they touch, soft further away.

    Parameters
    ----------
    casts : sequence of Cast
    up : (3,) float64
        Normal of the sheet before the camera, unit length; the pieces touch it.
    """
    points = np.concatenate([c.vertices for c in casts])
    starts = np.cumsum([0, *(len(c.vertices) for c in casts)])
    triangles = np.concatenate([c.triangles + s for c, s in zip(casts, starts[:-1], strict=True)])
    height = points @ up
    height -= height.min()

    def backdrop(covered: NDArray[np.float32], grid: Grid) -> NDArray[np.float32]:
        rows, cols = grid.shape
        coarse = Grid(
            grid.left + grid.pixel * (_COARSE - 1) / 2.0,
            grid.top - grid.pixel * (_COARSE - 1) / 2.0,
            grid.pixel * _COARSE,
            math.ceil(rows / _COARSE),
            math.ceil(cols / _COARSE),
        )
        light = np.zeros(coarse.shape)
        for toward, weight in _shadow_rays(up):
            thrown = points - (height / (toward @ up))[:, None] * toward
            seen, _ = top_surface(thrown, triangles, coarse)
            light += weight * np.isneginf(seen)
        soft = _blurred(light.astype(np.float32), 1.5, np.zeros(2))
        shade = Image.fromarray(soft.astype(np.float32))
        return paper(np.asarray(shade.resize((cols, rows), Image.Resampling.BICUBIC)))

    return backdrop


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


def paper(shade: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return a neutral sheet in even light that falls off, under a shade of (rows, cols)."""
    rows, cols = shade.shape
    y = np.linspace(1, -1, rows, dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, cols, dtype=np.float32)[None, :]
    fall = shade * (1.0 + 0.16 * (0.62 * y - 0.5 * x) - 0.13 * (x * x + y * y))
    return np.stack([fall * np.float32(c) for c in _PAPER]).astype(np.float32)


def _blurred(
    mask: NDArray[np.float32], sigma: float, moved: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return a mask blurred by a Gaussian and moved (right, up), in pixels."""
    pad = math.ceil(3.0 * sigma + float(np.abs(moved).max())) + 1
    wide = np.pad(mask.astype(np.float64), pad, mode="edge")
    fy = np.fft.fftfreq(wide.shape[0])[:, None]
    fx = np.fft.rfftfreq(wide.shape[1])[None, :]
    gain = np.exp(-2.0 * (math.pi * sigma) ** 2 * (fx * fx + fy * fy))
    phase = np.exp(-2j * math.pi * (fx * moved[0] - fy * moved[1]))
    blurred = np.fft.irfft2(np.fft.rfft2(wide) * gain * phase, wide.shape)
    return np.clip(blurred[pad:-pad, pad:-pad], 0.0, 1.0)
