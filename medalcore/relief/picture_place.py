"""Placing a depth picture, or a height field from Python, on a face."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..errors import SpecError
from ..grid import Grid, HeightField
from ..ground import Ground
from ..spec import Relief
from .picture_source import Picture
from .place import box_of, cropped, grid_round, room

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
Values = NDArray[np.float32]

_ROWS = 64
"""Rows sampled at a time."""


def picture_field(
    picture: Picture, spec: Relief, ground: Ground, pixels: int, name: str
) -> HeightField:
    """Return the depths a placed picture stands for.

    Parameters
    ----------
    picture : Picture
    spec : Relief
        ``picture.black`` and ``picture.white`` are its depths, mm, at the placed size.
    ground : Ground
    pixels : int
        Along the larger side of the grid.
    name : str
        For errors.

    Returns
    -------
    HeightField
        mm; the lowest point of the relief is at 0.

    Raises
    ------
    SpecError
        If it is turned about x or y, black and white stand for one depth, or nothing of it
        is left.
    """
    black, white = spec.picture.black, spec.picture.white
    if black == white != 0.0:
        raise SpecError(
            f"{white:g} is the depth of black too: nothing would stand up; give two depths, or "
            "leave both away",
            key="picture.white",
        )
    values, mask = picture.values, _told(picture, spec)
    low, high = _span(picture)
    placing = _Placing(mask, spec, ground, name)
    if black == white:
        depth = placing.larger * placing.scale / 4
        gain, base = depth / (high - low or 1.0), 0.0
    else:
        gain, base = white - black, black
    return _placed(values * np.float32(gain) + np.float32(base), mask, placing, spec, pixels, name)


def _span(picture: Picture) -> tuple[float, float]:
    seen = picture.values[picture.mask]
    return float(seen.min()), float(seen.max())


def _told(picture: Picture, spec: Relief) -> BoolArray:
    """Return which pixels of a picture are part of the relief."""
    black, white = spec.picture.black, spec.picture.white
    values, mask = picture.values, picture.mask
    low, high = _span(picture)
    if spec.picture.empty == "lowest" and high > low:
        floor = low if white >= black else -high
        height = values if white >= black else -values
        mask = mask & (height - floor > max(1.001 * picture.step, 1e-6 * (high - low)))
    return mask


def picture_frame(picture: Picture, spec: Relief, ground: Ground, name: str) -> FloatArray:
    """Return the map from the relief's own frame to the face, as `place.model_frame`.

    Raises
    ------
    SpecError
        As `picture_field`.
    """
    return _Placing(_told(picture, spec), spec, ground, name).frame()


def given_frame(given: HeightField, spec: Relief, ground: Ground, name: str) -> FloatArray:
    """Return the map from the relief's own frame to the face, as `place.model_frame`.

    Raises
    ------
    SpecError
        As `picture_field`.
    """
    return _Placing(given.mask & np.isfinite(given.heights), spec, ground, name).frame()


def given_field(
    given: HeightField, spec: Relief, ground: Ground, pixels: int, name: str
) -> HeightField:
    """Return a height field from Python, placed like a model: depth scaled with width.

    Parameters
    ----------
    given : HeightField
        Heights in the unit of its pixels.
    spec, ground, pixels, name
        As `picture_field`.

    Raises
    ------
    SpecError
        As `picture_field`.
    """
    mask = given.mask & np.isfinite(given.heights)
    placing = _Placing(mask, spec, ground, name)
    gain = np.float32(placing.scale / given.grid.pixel)
    heights = np.where(mask, given.heights, np.float32(0)) * gain
    return _placed(heights, mask, placing, spec, pixels, name)


class _Placing:
    """Where the pixels of a picture come to lie.

    Attributes
    ----------
    scale : float
        mm per pixel of the picture.
    larger : float
        Larger side of the relief in pixels of the picture.
    own : pair of (2,) float64
        Corners of its box in the picture itself, not turned: column and minus row.
    """

    def __init__(self, mask: BoolArray, spec: Relief, ground: Ground, name: str) -> None:
        if spec.turn[0] or spec.turn[1]:
            raise SpecError(
                f"{name} is a picture, it has no sides to look at; turn it about z only",
                key="turn",
            )
        if not mask.any():
            raise SpecError(f"nothing of {name} is left", key="picture.empty")
        angle = math.radians(spec.turn[2])
        flip = -1.0 if spec.mirror else 1.0
        self.matrix = np.array(
            [
                [flip * math.cos(angle), flip * -math.sin(angle)],
                [math.sin(angle), math.cos(angle)],
            ]
        )
        rows, cols = np.nonzero(mask)
        flat = np.stack([cols.astype(float), -rows.astype(float)])
        self.own = flat.min(axis=1) - 0.5, flat.max(axis=1) + 0.5
        seen = self.matrix @ flat
        self.low, self.high = seen.min(axis=1) - 0.5, seen.max(axis=1) + 0.5
        self.middle = (self.low + self.high) / 2
        self.larger = float((self.high - self.low).max())
        if spec.fit > 0:
            self.scale = spec.fit / self.larger
        else:
            away = seen - self.middle[:, None]
            self.scale = room(spec, ground) / (float(np.hypot(*away).max()) + 0.5)
        self.at = np.asarray(spec.at, dtype=np.float64)

    def box(self) -> tuple[FloatArray, FloatArray]:
        """Return the corners of its box on the face, mm."""
        half = (self.high - self.low) / 2 * self.scale
        return self.at - half, self.at + half

    def frame(self) -> FloatArray:
        """Return the map from the relief's own frame to the face, (2, 3)."""
        low, high = self.own
        flat = self.scale * self.matrix
        moved = flat @ ((low + high) / 2) - self.scale * self.middle + self.at
        return np.column_stack([flat * float((high - low).max()), moved])

    def source(self, u: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return row and column of the picture that lie at points of the face."""
        x = (u - self.at[0]) / self.scale + self.middle[0]
        y = (v - self.at[1]) / self.scale + self.middle[1]
        back = self.matrix.T  # orthogonal
        return -(back[1, 0] * x + back[1, 1] * y), back[0, 0] * x + back[0, 1] * y


def _placed(
    heights: Values, mask: BoolArray, placing: _Placing, spec: Relief, pixels: int, name: str
) -> HeightField:
    low, high = box_of(*placing.box(), spec)
    grid = grid_round(low, high, pixels)
    shrink = max(1, int(grid.pixel / placing.scale))
    heights, mask = _shrunk(heights, mask, shrink)
    out = np.zeros(grid.shape, dtype=np.float32)
    inside = np.zeros(grid.shape, dtype=bool)
    for start in range(0, grid.rows, _ROWS):
        some = slice(start, start + _ROWS)
        u, v = np.meshgrid(grid.u(), grid.v()[some])
        row, col = placing.source(u, v)
        row, col = (row + 0.5) / shrink - 0.5, (col + 0.5) / shrink - 0.5
        out[some], inside[some] = _sampled(heights, mask, row, col)
    inside = _cut(grid, cropped(grid, inside, spec), out, placing, spec)
    if not inside.any():
        raise SpecError(f"nothing of {name} is left inside it", key="crop")
    out -= out[inside].min()
    out[~inside] = 0.0
    return HeightField(grid, out, inside)


def _cut(
    grid: Grid, mask: BoolArray, heights: Values, placing: _Placing, spec: Relief
) -> BoolArray:
    """Return the mask without what is cut away at the foot and at the back."""
    if not mask.any():
        return mask
    if spec.cut.back:
        low, high = float(heights[mask].min()), float(heights[mask].max())
        mask = mask & (heights >= low + spec.cut.back * (high - low))
    if spec.cut.foot:
        low_v, high_v = placing.box()[0][1], placing.box()[1][1]
        line = low_v + spec.cut.foot * (high_v - low_v)
        rise = math.tan(math.radians(spec.cut.slant)) * (grid.u() - placing.at[0])
        mask = mask & (grid.v()[:, None] >= line + rise[None, :])
    return mask


def _shrunk(values: Values, mask: BoolArray, times: int) -> tuple[Values, BoolArray]:
    """Return means over blocks of times × times pixels, of those in the mask."""
    if times == 1:
        return values, mask
    rows, cols = (-(-n // times) for n in values.shape)
    pad = [(0, rows * times - values.shape[0]), (0, cols * times - values.shape[1])]
    blocks = (rows, times, cols, times)
    weight = np.pad(mask, pad).reshape(blocks).sum(axis=(1, 3), dtype=np.int64)
    total = np.pad(values * mask, pad).reshape(blocks).sum(axis=(1, 3), dtype=np.float64)
    mean = (total / np.maximum(weight, 1)).astype(np.float32)
    return mean, 2 * weight >= times * times


def _sampled(
    values: Values, mask: BoolArray, row: FloatArray, col: FloatArray
) -> tuple[Values, BoolArray]:
    """Sample by cubic convolution; by straight lines where pixels of the four by four miss.

    R. Keys, *Cubic convolution interpolation for digital image processing*, 1981 (a = −1/2).
    """
    rows, cols = values.shape
    r0, c0 = np.floor(row).astype(np.int64), np.floor(col).astype(np.int64)
    fr, fc = row - r0, col - c0
    cubic = np.zeros(row.shape)
    whole = np.ones(row.shape, dtype=bool)
    linear = np.zeros(row.shape)
    weight = np.zeros(row.shape)
    for i in range(-1, 3):
        for j in range(-1, 3):
            r, c = r0 + i, c0 + j
            there = (r >= 0) & (r < rows) & (c >= 0) & (c < cols)
            place = np.clip(r, 0, rows - 1) * cols + np.clip(c, 0, cols - 1)
            there &= mask.ravel().take(place)
            tap = values.ravel().take(place)
            cubic += _keys(fr - i) * _keys(fc - j) * tap
            whole &= there
            if i in (0, 1) and j in (0, 1):
                share = (fr if i else 1 - fr) * (fc if j else 1 - fc) * there
                linear += share * tap
                weight += share
    out = np.where(whole, cubic, linear / np.maximum(weight, 1e-12))
    return out.astype(np.float32), weight >= 0.5


def _keys(distance: FloatArray) -> FloatArray:
    x = np.abs(distance)
    near = (1.5 * x - 2.5) * x * x + 1
    far = ((-0.5 * x + 2.5) * x - 4) * x + 2
    return np.where(x <= 1, near, np.where(x < 2, far, 0.0))
