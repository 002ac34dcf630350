"""What stands in the light: horizons, hollows and ridges of a face, from its height map."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..geometry.types import Float32Array, FloatArray, Int32Array

WAYS = (
    (1, 0), (2, 1), (1, 1), (1, 2), (0, 1), (-1, 2), (-1, 1), (-2, 1),
    (-1, 0), (-2, -1), (-1, -1), (-1, -2), (0, -1), (1, -2), (1, -1), (2, -1),
)  # fmt: skip
"""Directions (right, up) in which horizons are looked for, counter-clockwise from the right."""

_REACH_MM = 4.0

RIDGE_MM = 0.12
"""What stands this far above its surroundings has its toning rubbed off (by eye)."""

EASED_MM = 0.04
"""Radius of the sharpest edge that leaves a press or a mould (common practice, no source)."""


@dataclass(frozen=True)
class Bearing:
    """Where a lamp stands over a face, and half its apparent width, all in degrees."""

    azimuth: float
    elevation: float
    half: float

    def weights(self) -> FloatArray:
        """Return what share of its light comes from each of `WAYS`; they sum to 1."""
        off = (np.degrees([np.arctan2(v, u) for u, v in WAYS]) - self.azimuth + 180.0) % 360.0
        share = np.maximum(0.0, 1.0 - np.abs(off - 180.0) / max(self.half, 400.0 / len(WAYS)))
        return np.asarray(share / share.sum())

    def over(self, skyline: Float32Array) -> Float32Array:
        """Return how much of it stands above a skyline given as tangents, 0 to 1."""
        t = np.degrees(np.arctan(skyline))
        t *= np.float32(-0.5 / self.half)
        t += np.float32((self.elevation + self.half) / (2.0 * self.half))
        np.clip(t, 0.0, 1.0, out=t)
        return np.asarray(t * t * (np.float32(3.0) - np.float32(2.0) * t))


@dataclass(frozen=True, eq=False)
class Relief:
    """Maps of a face, all (rows, cols) float32 on the grid of its height map.

    Attributes
    ----------
    open_sky : Float32Array
        Share of the sky above a level spot that is not hidden, 0 to 1.
    ridge : Float32Array
        How far a spot stands above its surroundings, −1 deep hollow to 1 sharp ridge.
    lit : tuple of Float32Array
        How much of each lamp a spot sees, 0 to 1.
    eased : (rows, cols, 3) float32
        Heights after edges were eased by `EASED_MM`, mm, and their rise to the right and
        upwards.
    """

    open_sky: Float32Array
    ridge: Float32Array
    lit: tuple[Float32Array, ...]
    eased: Float32Array

    def nearest(self, row: Float32Array, col: Float32Array) -> Int32Array:
        """Return which pixels places on the maps lie in, as flat indices."""
        cols = np.int32(self.open_sky.shape[1])
        return row.astype(np.int32) * cols + col.astype(np.int32)

    def eased_at(
        self, row: Float32Array, col: Float32Array
    ) -> tuple[Float32Array, Float32Array, Float32Array]:
        """Return eased height, rise to the right and upwards, linear between pixel centres.

        Rows and columns count from the border of the maps, three (n,) float32.
        """
        flat = self.eased.reshape(-1, 3)
        row, col = row - np.float32(0.5), col - np.float32(0.5)
        at = self.nearest(row, col)
        right = (col - np.floor(col))[:, None]
        low = flat.take(at, axis=0)
        low += right * (flat.take(at + 1, axis=0) - low)
        at += np.int32(self.open_sky.shape[1])
        high = flat.take(at, axis=0)
        high += right * (flat.take(at + 1, axis=0) - high)
        high -= low
        high *= (row - np.floor(row))[:, None]
        high += low
        height, rise_u, rise_v = np.ascontiguousarray(high.T)
        return height, rise_u, rise_v


def relief_of(
    heights: Float32Array, pixel: float, scale_mm: float, lamps: Sequence[Bearing]
) -> Relief:
    """Return the maps of a height map.

    The skyline is looked for at growing distances on a pyramid of ever coarser copies, so
    that a far wall costs as little as a near one (horizon-based occlusion).

    Parameters
    ----------
    heights : (rows, cols) float32
        mm, finite.
    pixel : float
        Pitch, mm.
    scale_mm : float
        How high a spot stands that counts as a full ridge.
    lamps : sequence of Bearing
    """
    levels = [np.ascontiguousarray(heights, dtype=np.float32)]
    while pixel * 2 ** len(levels) < _REACH_MM / 2.0 and min(levels[-1].shape) > 8:
        levels.append(_halved(levels[-1]))
    hidden = np.zeros(heights.shape, dtype=np.float32)
    lit = [np.zeros(heights.shape, dtype=np.float32) for _ in lamps]
    weights = [lamp.weights() for lamp in lamps]
    for way in range(len(WAYS)):
        skyline = _skyline(levels, pixel, WAYS[way])
        for lamp, weight, total in zip(lamps, weights, lit, strict=True):
            if weight[way]:
                total += np.float32(weight[way]) * lamp.over(skyline)
        skyline *= skyline
        skyline /= np.float32(1.0) + skyline  # sin²: what a cosine-weighted sky loses below it
        hidden += skyline
    sky = np.float32(1.0) - hidden / np.float32(len(WAYS))
    return Relief(sky, _ridge(levels, pixel, scale_mm), tuple(lit), _eased(levels[0], pixel))


def _eased(heights: Float32Array, pixel: float) -> Float32Array:
    """Return heights with eased edges, and their rise to the right and upwards."""
    eased = heights
    for _ in range(max(1, min(6, round(2.0 * (EASED_MM / pixel) ** 2)))):  # variance 1/2 each
        eased = _blurred(eased)
    wide = np.pad(eased, 1, mode="edge")
    half = np.float32(0.5 / pixel)
    right = (wide[1:-1, 2:] - wide[1:-1, :-2]) * half
    up = (wide[:-2, 1:-1] - wide[2:, 1:-1]) * half
    return np.stack([eased, right, up], axis=-1)


def _skyline(levels: list[Float32Array], pixel: float, way: tuple[int, int]) -> Float32Array:
    """Return the tangent of the skyline's elevation towards (right, up), from coarse to fine."""
    result: Float32Array | None = None
    for step in reversed(range(len(levels))):
        found = _climb(levels[step], pixel * 2**step, way, near=step == 0)
        if result is not None:
            np.maximum(found, _doubled(result, found.shape), out=found)
        result = found
    assert result is not None
    return result


def _climb(
    heights: Float32Array, pixel: float, way: tuple[int, int], *, near: bool
) -> Float32Array:
    """Return the steepest climb to a spot up to three pixels away, or three to six.

    What stands in a far pixel may begin anywhere in it, on the average before its middle.
    """
    rows, cols = heights.shape
    result = np.zeros((rows, cols), dtype=np.float32)
    length = math.hypot(*way)
    first, last, before = (1.0, 3.4, 0.0) if near else (2.8, 6.8, 0.4)
    for step in range(math.ceil(first / length), int(last / length) + 1):
        du, dv = way[0] * step, -way[1] * step
        if abs(du) >= cols or abs(dv) >= rows:
            break
        here = np.s_[max(0, -dv) : rows - max(0, dv), max(0, -du) : cols - max(0, du)]
        there = np.s_[max(0, dv) : rows - max(0, -dv), max(0, du) : cols - max(0, -du)]
        climb = heights[there] - heights[here]
        climb *= np.float32(1.0 / ((length * step - before) * pixel))
        if near and step == 1:
            climb *= np.float32(0.5)  # the next pixel is the same wall, half averaged away
        np.maximum(result[here], climb, out=result[here])
    return result


def _ridge(levels: list[Float32Array], pixel: float, scale_mm: float) -> Float32Array:
    """Return how far spots stand above their surroundings, over several widths."""
    shape = levels[0].shape
    result = np.zeros(shape, dtype=np.float32)
    total = 0.0
    for level in range(2, len(levels)):
        width = pixel * 2**level
        if not 0.1 <= width <= 1.6:
            continue
        around = _blurred(levels[level])
        for step in reversed(range(level)):
            around = _doubled(around, levels[step].shape)
        weight = 1.0 / (0.35 + width)  # narrow hollows hold more than wide ones
        result += np.float32(weight) * (levels[0] - around)
        total += weight
    return np.asarray(np.tanh(result / np.float32(max(total, 1e-9) * scale_mm)), dtype=np.float32)


def _halved(values: Float32Array) -> Float32Array:
    """Return a copy of half the size, each pixel the mean of four."""
    rows, cols = values.shape
    padded = np.pad(values, ((0, rows % 2), (0, cols % 2)), mode="edge")
    total = padded[0::2, 0::2] + padded[0::2, 1::2]
    total += padded[1::2, 0::2]
    total += padded[1::2, 1::2]
    total *= np.float32(0.25)
    return total


def _doubled(values: Float32Array, shape: tuple[int, int]) -> Float32Array:
    """Return a copy of twice the size, linear between pixel centres, cut to `shape`."""
    across = _stretched(np.pad(values, 1, mode="edge"))
    return np.ascontiguousarray(_stretched(across.T).T[: shape[0], : shape[1]])


def _stretched(values: Float32Array) -> Float32Array:
    result = np.empty((2 * (values.shape[0] - 2), values.shape[1]), dtype=np.float32)
    near = np.float32(0.75) * values[1:-1]
    np.add(near, np.float32(0.25) * values[:-2], out=result[0::2])
    np.add(near, np.float32(0.25) * values[2:], out=result[1::2])
    return result


def _blurred(values: Float32Array) -> Float32Array:
    """Return values averaged over their neighbours with binomial weights."""
    padded = np.pad(values, 1, mode="edge")
    across = padded[:, :-2] + np.float32(2.0) * padded[:, 1:-1] + padded[:, 2:]
    both = across[:-2] + np.float32(2.0) * across[1:-1] + across[2:]
    both *= np.float32(1.0 / 16.0)
    return both
