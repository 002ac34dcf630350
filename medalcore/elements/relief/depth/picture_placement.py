"""Placing a depth picture, or a height field from Python, on a face."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ....context.ground import Ground
from ....errors import SpecError
from ....geometry.grid import Grid, HeightField
from ....geometry.masks import away_from, grown
from ....geometry.scanlines import covered
from ....geometry.types import BoolArray, Float32Array, FloatArray
from ..keys import SourceKeys
from ..sources.fit import crop_box, crop_mask, free_reach, grid_around
from ..sources.pictures.depth_picture import Picture
from ..sources.pictures.mixed_pixels import settle
from ..sources.pictures.resample import resample

_ROWS = 64
"""Rows sampled at a time."""

_MOST_BLOCKS = 1600
"""Blocks along a side for which lines are found between those of half a pixel of the grid."""

_CLIFF = 0.02
"""Share of a picture's depth by which pixels differ across a cliff at least."""

_FUZZ = 6.0
"""So many times a difference that means nothing, they differ by at least as well."""


def picture_field(
    picture: Picture, spec: SourceKeys, ground: Ground, pixels: int, name: str
) -> tuple[HeightField, float | None]:
    """Return the depths a placed picture stands for.

    Parameters
    ----------
    picture : Picture
    spec : SourceKeys
        ``picture.black`` and ``picture.white`` are its depths, mm, at the placed size.
    ground : Ground
    pixels : int
        Along the larger side of the grid.
    name : str
        For errors.

    Returns
    -------
    field : HeightField
        mm; the lowest point of the relief is at 0.
    lowest : float or None
        The depth that stands at 0, mm; None where the spec does not say what depths there are.

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
    picture = _settle(picture)
    values, mask = picture.values, _told(picture, spec)
    low, high = _span(picture)
    placing = _Placing(mask, spec, ground, name)
    if black == white:
        depth = placing.larger * placing.scale / 4
        gain, base = depth / (high - low or 1.0), 0.0
    else:
        gain, base = white - black, black
    values = values * np.float32(gain) + np.float32(base)
    fuzz = picture.step * abs(gain)
    field, lowest = _placed(values, mask, placing, spec, pixels, name, fuzz)
    return field, None if black == white else lowest


def _settle(picture: Picture) -> Picture:
    """Return a picture without pixels that a cliff, or the outline, runs through."""
    low, high = _span(picture)
    least = max(_CLIFF * (high - low), _FUZZ * picture.step)
    if least <= 0.0:
        return picture
    return replace(picture, values=settle(picture.values, picture.mask, least))


def _span(picture: Picture) -> tuple[float, float]:
    seen = picture.values[picture.mask]
    return float(seen.min()), float(seen.max())


def _told(picture: Picture, spec: SourceKeys) -> BoolArray:
    """Return which pixels of a picture are part of the relief."""
    black, white = spec.picture.black, spec.picture.white
    values, mask = picture.values, picture.mask
    low, high = _span(picture)
    if spec.picture.empty == "lowest" and high > low:
        floor = low if white >= black else -high
        height = values if white >= black else -values
        mask = mask & (height - floor > max(1.001 * picture.step, 1e-6 * (high - low)))
    return mask


def picture_frame(picture: Picture, spec: SourceKeys, ground: Ground, name: str) -> FloatArray:
    """Return the map from the relief's own frame to the face, as `placement.model_frame`.

    Raises
    ------
    SpecError
        As `picture_field`.
    """
    return _Placing(_told(_settle(picture), spec), spec, ground, name).frame()


def picture_outline(picture: Picture, spec: SourceKeys, ground: Ground, name: str) -> FloatArray:
    """Return where the outermost pixels of a picture lie on the face, (k, 2) mm.

    Raises
    ------
    SpecError
        As `picture_field`.
    """
    return _outermost(_told(_settle(picture), spec), spec, ground, name)


def given_outline(given: HeightField, spec: SourceKeys, ground: Ground, name: str) -> FloatArray:
    """Return where the outermost pixels of a height field from Python lie on the face.

    Raises
    ------
    SpecError
        As `picture_field`.
    """
    return _outermost(given.mask & np.isfinite(given.heights), spec, ground, name)


def _outermost(mask: BoolArray, spec: SourceKeys, ground: Ground, name: str) -> FloatArray:
    placing = _Placing(mask, spec, ground, name)
    row, col = np.nonzero(mask & ~away_from(mask))
    middle = np.column_stack([col, -row]).astype(np.float64)
    # half a pixel to its edge, and one by which a smooth outline may pass a corner
    sides = [middle + side for side in ((1.5, 0), (-1.5, 0), (0, 1.5), (0, -1.5))]
    return placing.on_face(np.concatenate(sides))


def given_frame(given: HeightField, spec: SourceKeys, ground: Ground, name: str) -> FloatArray:
    """Return the map from the relief's own frame to the face, as `placement.model_frame`.

    Raises
    ------
    SpecError
        As `picture_field`.
    """
    return _Placing(given.mask & np.isfinite(given.heights), spec, ground, name).frame()


def given_field(
    given: HeightField, spec: SourceKeys, ground: Ground, pixels: int, name: str
) -> HeightField:
    """Return a height field from Python, placed like a model: depth scaled with width.

    Parameters
    ----------
    given : HeightField
        Heights in the unit of its pixels.
    spec, ground, pixels, name
        As `picture_field`.

    Returns
    -------
    HeightField
        mm; the lowest point of the relief is at 0.

    Raises
    ------
    SpecError
        As `picture_field`.
    """
    mask = given.mask & np.isfinite(given.heights)
    placing = _Placing(mask, spec, ground, name)
    gain = np.float32(placing.scale / given.grid.pixel)
    heights = np.where(mask, given.heights, np.float32(0)) * gain
    return _placed(heights, mask, placing, spec, pixels, name)[0]


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

    def __init__(self, mask: BoolArray, spec: SourceKeys, ground: Ground, name: str) -> None:
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
            self.scale = free_reach(spec, ground) / (float(np.hypot(*away).max()) + 0.5)
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

    def on_face(self, points: FloatArray, shrink: int = 1) -> FloatArray:
        """Return where points (..., 2) of a picture lie on the face, mm.

        x = column, y = −row, counted in blocks of `shrink` pixels.
        """
        half = np.array([0.5, -0.5])
        flat = (points + half) * shrink - half
        placed: FloatArray = (flat @ self.matrix.T - self.middle) * self.scale + self.at
        return placed

    def source(self, u: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return row and column of the picture that lie at points of the face."""
        x = (u - self.at[0]) / self.scale + self.middle[0]
        y = (v - self.at[1]) / self.scale + self.middle[1]
        back = self.matrix.T  # orthogonal
        return -(back[1, 0] * x + back[1, 1] * y), back[0, 0] * x + back[0, 1] * y


def _placed(
    heights: Float32Array,
    mask: BoolArray,
    placing: _Placing,
    spec: SourceKeys,
    pixels: int,
    name: str,
    fuzz: float = 0.0,
) -> tuple[HeightField, float]:
    """Return a relief's depths on its grid, lowest 0, and where that lies.

    `fuzz` is a difference of heights that means nothing.
    """
    low, high = crop_box(*placing.box(), spec)
    grid = grid_around(low, high, pixels)
    shrink = _shrink(grid.pixel / placing.scale, max(heights.shape))
    last = np.array(heights.shape) - 0.5
    heights, mask = _shrunk(heights, mask, shrink)
    least = _cliff(heights, mask, fuzz)
    heights = settle(heights, mask, least)
    surface = resample(heights, mask, placing.scale * shrink, least)
    edges = placing.on_face(surface.outline.edges, shrink)
    inside = covered((edges - (grid.left, grid.top)) / grid.pixel, grid.shape)
    out = np.zeros(grid.shape, dtype=np.float32)
    for start in range(0, grid.rows, _ROWS):
        some = slice(start, start + _ROWS)
        u, v = np.meshgrid(grid.u(), grid.v()[some])
        row, col = placing.source(u, v)
        inside[some] &= (np.minimum(row, col) >= -0.5) & (row <= last[0]) & (col <= last[1])
        out[some] = surface.at((row + 0.5) / shrink - 0.5, (col + 0.5) / shrink - 0.5)
    inside = _cut(grid, crop_mask(grid, inside, spec), out, placing, spec)
    if not inside.any():
        raise SpecError(f"nothing of {name} is left inside it", key="crop")
    # of a form that turns away at its outline the picture may know lower places than the grid
    outer = np.nonzero(mask & ~away_from(mask))
    at = placing.on_face(np.column_stack([outer[1], -outer[0]]).astype(np.float64), shrink)
    near = np.rint((at - (grid.left, grid.top)) / grid.pixel).astype(np.int64)
    beside = grown(inside)[
        np.clip(-near[:, 1], 0, grid.rows - 1), np.clip(near[:, 0], 0, grid.cols - 1)
    ]
    lowest = float(min(out[inside].min(), heights[outer][beside].min(initial=np.inf)))
    out -= np.float32(lowest)
    out[~inside] = 0.0
    return HeightField(grid, out, inside), lowest


def _shrink(finer: float, larger: int) -> int:
    """Return how many pixels each way of a picture are taken together for a grid.

    Where a line runs is known to a fraction of these blocks, not of the picture's pixels. Of
    blocks about as large as the grid's pixels, both fractions add up to teeth that the grid
    cannot tell from the line; so they are at most half as large, if that is not slow.

    Parameters
    ----------
    finer : float
        Pixels of the picture in one of the grid.
    larger : int
        Pixels along the larger side of the picture.
    """
    half = max(1, int(0.5 * finer))
    return half if larger <= half * _MOST_BLOCKS else max(1, int(finer))


def _cliff(heights: Float32Array, mask: BoolArray, fuzz: float) -> float:
    """Return the jump from pixel to pixel that is taken for a cliff, in the unit of heights."""
    return max(_CLIFF * float(np.ptp(heights[mask])), _FUZZ * fuzz) or 1.0


def _cut(
    grid: Grid, mask: BoolArray, heights: Float32Array, placing: _Placing, spec: SourceKeys
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


def _shrunk(values: Float32Array, mask: BoolArray, times: int) -> tuple[Float32Array, BoolArray]:
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
