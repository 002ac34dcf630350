"""The backdrop: a neutral sheet with the soft shadow of the piece."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from ..grid import Grid
from .picture_studio import LAMPS

_COARSE = 4  # pixels of the picture per pixel of the shadow: a shadow has no fine detail
_PAPER = (0.80, 0.795, 0.785)  # display-linear
_SHADOWS = ((0.10, 0.22, 0.50), (0.55, 0.55, 0.34), (1.05, 1.5, 0.26), (0.9, 4.5, 0.16))
"""Offset and blur in thicknesses of the piece, and strength: contact to farthest penumbra."""


def backdrop(covered: NDArray[np.float32], grid: Grid, thickness: float) -> NDArray[np.float32]:
    """Return the sheet behind a piece that lies on it, display-linear.

    Parameters
    ----------
    covered : (rows, cols) float32
        Share of every pixel that the piece covers.
    grid : Grid
    thickness : float
        How high the piece stands above the sheet, mm.

    Returns
    -------
    sheet : (rows, cols, 3) float32
    """
    rows, cols = grid.shape
    small = (max(1, cols // _COARSE), max(1, rows // _COARSE))
    mask = np.asarray(Image.fromarray(covered).resize(small, Image.Resampling.BOX))
    step = grid.pixel * cols / small[0]
    light = np.ones(mask.shape)
    away = -LAMPS[0].direction[:2] / np.linalg.norm(LAMPS[0].direction[:2])
    for offset, blur, strength in _SHADOWS:
        moved = away * (offset * thickness / step)
        light *= 1.0 - strength * _blurred(mask, blur * thickness / step, moved)
    shade = Image.fromarray(light.astype(np.float32)).resize((cols, rows), Image.Resampling.BICUBIC)
    y, x = np.meshgrid(np.linspace(1, -1, rows), np.linspace(-1, 1, cols), indexing="ij")
    fall = 1.0 + 0.16 * (0.62 * y - 0.5 * x) - 0.13 * (x * x + y * y)
    sheet = (np.asarray(shade) * fall)[..., None] * np.array(_PAPER)
    return np.asarray(sheet, dtype=np.float32)


def _blurred(
    mask: NDArray[np.float32], sigma: float, moved: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return a mask blurred by a Gaussian and moved (right, up), pixels; 0 beyond its border."""
    pad = math.ceil(3.0 * sigma + float(np.abs(moved).max())) + 1
    wide = np.pad(mask.astype(np.float64), ((0, pad), (0, pad)))
    fy = np.fft.fftfreq(wide.shape[0])[:, None]
    fx = np.fft.rfftfreq(wide.shape[1])[None, :]
    gain = np.exp(-2.0 * (math.pi * sigma) ** 2 * (fx * fx + fy * fy))
    phase = np.exp(-2j * math.pi * (fx * moved[0] - fy * moved[1]))
    blurred = np.fft.irfft2(np.fft.rfft2(wide) * gain * phase, wide.shape)
    return np.clip(blurred[: mask.shape[0], : mask.shape[1]], 0.0, 1.0)
