"""Where the modelling counts: a painted picture that covers the relief, and soft transitions."""

from __future__ import annotations

import numpy as np

from ....geometry.grid import HeightField
from ....geometry.types import BoolArray, Float32Array, FloatArray
from ..sources.pictures.depth_picture import read_picture

EVEN = 0.5
"""Brightness at which the modelling is left as it is; white doubles it, black levels it."""

SOFT = 0.01
"""Half width of the transition at a hard edge of a weight, as a share of the larger side."""


def read_emphasis(name: str, raw: HeightField) -> Float32Array:
    """Return how strongly each pixel of a relief is to be modelled.

    Parameters
    ----------
    name : str
        Picture file. It is stretched over the box of the silhouette; transparent places count
        as mid-grey.
    raw : HeightField
        The relief it is for.

    Returns
    -------
    weight : (rows, cols) float32
        1 where the picture is mid-grey, 2 where white, 0 where black; 1 outside the box.

    Raises
    ------
    SourceError
        If the picture cannot be read.
    """
    picture = read_picture(name)
    values = np.where(picture.mask, picture.values, np.float32(EVEN)) / np.float32(EVEN)
    rows, cols = np.flatnonzero(raw.mask.any(1)), np.flatnonzero(raw.mask.any(0))
    weight = np.ones(raw.mask.shape, np.float32)
    box = np.s_[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
    high, wide = weight[box].shape
    weight[box] = _sample(
        np.clip(values, 0.0, 4.0),
        _between(high, values.shape[0]),
        _between(wide, values.shape[1]),
    )
    return weight


def soften(weight: Float32Array, mask: BoolArray) -> Float32Array:
    """Let a weight change softly, so that the edge of a group or a patch leaves no crease.

    Parameters
    ----------
    weight : (rows, cols) float32
    mask : (rows, cols) bool
        The silhouette; what lies outside has no say.

    Returns
    -------
    weight : (rows, cols) float32
        Three running means, which come close to a Gaussian; 1 outside the silhouette.
    """
    larger = max(int(np.ptp(np.flatnonzero(mask.any(axis)))) + 1 for axis in (0, 1))
    reach = max(1, round(SOFT * larger))
    total, count = np.where(mask, weight, np.float32(0.0)), mask.astype(np.float32)
    for _ in range(3):
        total, count = _run(total, reach), _run(count, reach)
    out = np.ones(mask.shape, np.float32)
    np.divide(total, count, out=out, where=mask)
    return out


def _run(values: Float32Array, reach: int) -> Float32Array:
    """Return sums over squares of `reach` pixels to all sides, as means of a whole square."""
    for axis in (0, 1):
        wide = [(0, 0), (0, 0)]
        wide[axis] = (reach + 1, reach)
        along = np.cumsum(np.pad(values, wide), axis=axis, dtype=np.float64)
        size, step = values.shape[axis], 2 * reach + 1
        upper = along.take(np.arange(step, step + size), axis)
        values = ((upper - along.take(np.arange(size), axis)) / step).astype(np.float32)
    return values


def _between(count: int, size: int) -> FloatArray:
    """Return where the middles of `count` pixels lie among `size` samples of the same box."""
    return np.clip((np.arange(count) + 0.5) * size / count - 0.5, 0.0, size - 1.0)


def _sample(values: Float32Array, down: FloatArray, right: FloatArray) -> Float32Array:
    """Return bilinear samples at every pair of a place down and a place to the right."""
    for axis, at in ((0, down), (1, right)):
        first = np.minimum(at.astype(np.int64), values.shape[axis] - 1)
        second = np.minimum(first + 1, values.shape[axis] - 1)
        share = (at - first).astype(np.float32)
        share = share[:, None] if axis == 0 else share[None, :]
        values = values.take(first, axis) * (1.0 - share) + values.take(second, axis) * share
    return values.astype(np.float32)
