"""Depth pictures: grey values that stand for heights, read as what they mean.

Samples are taken as linear from black to white, whatever gamma or profile the file names
(a PNG sample is an integer from 0 to 2^depth − 1: W3C, *Portable Network Graphics*, third
edition, 2025). Eight bits hold 256 steps; they are smoothed within half a step, which is all
a sample leaves open.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .....errors import SourceError
from .....geometry.types import BoolArray, Float32Array
from .....system.file_access import IS_FOLDER, why_unreadable
from .exr import exr_samples
from .png import deep_png
from .samples import Samples
from .tiff import deep_tiff

_SMOOTHED = ((6, 3), (3, 1))
"""Radii, pixels, over which steps of eight bits are smoothed, and how often."""

_COLOURED = "{name}: has colours; their brightness is taken for the height"
_BRIGHTNESS = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)  # ITU-R BT.709
_NOTHING = 1e-30
"""Share of white that is black: float32 has no reciprocal of numbers below 3e-39."""

_MOST = 4096
"""Pixels a side that are kept of a picture: twice those of the finest relief."""

_FAR = 1e9
"""Distance from which a depth pass means that nothing was hit."""


@dataclass(frozen=True, eq=False)
class Picture:
    """A depth picture.

    Attributes
    ----------
    values : (rows, cols) float32
        0 is black, 1 is white; pictures of floating-point numbers may go beyond.
    mask : (rows, cols) bool
        Where it is defined: not transparent, not infinitely far.
    step : float
        Difference of values that means nothing yet: half a step of its bits.
    notes : tuple of str
        What a person should know, one line each.
    """

    values: Float32Array
    mask: BoolArray
    step: float
    notes: tuple[str, ...] = ()


def read_picture(name: str) -> Picture:
    """Read a depth picture.

    Parameters
    ----------
    name : str
        Path of a PNG, TIFF, JPEG or BMP file, or of an EXR file where a library reads it.

    Raises
    ------
    SourceError
        One line: which file, what is wrong, what would be right.
    """
    path = Path(name)
    if reason := why_unreadable(path):
        hint = "; give a picture in it" if reason == IS_FOLDER else ""
        raise SourceError(f"{name}: {reason}{hint}")
    if path.suffix.lower() == ".exr":
        picture = _exr(name)
    else:
        deep = deep_png(name)
        picture = _other(name) if deep is None else _from_samples(_of_png(deep), name)
    if not picture.mask.any():
        raise SourceError(f"{name}: is transparent everywhere; a relief needs grey values")
    seen = picture.values[picture.mask]
    if picture.mask.all() and float(np.ptp(seen)) == 0.0:
        note = f"{name}: is of one grey all over, and stands as a slab; darker is lower, white high"
        return replace(picture, notes=(note,))
    return picture


def _other(name: str) -> Picture:
    from PIL import Image, ImageOps

    try:
        deep = deep_tiff(name)
        if deep is not None:
            return _from_samples(deep, name)
        with Image.open(name) as image:
            image.load()
            kind = image.format
            step, notes = _thinning((image.height, image.width), name)
            if step > 1:  # nearest takes the middle of each square
                size = image.width // step, image.height // step
                image = image.resize(size, Image.Resampling.NEAREST)
            picture = _from_image(ImageOps.exif_transpose(image), name, kind == "JPEG")
            return replace(picture, notes=notes + picture.notes)
    except Exception as error:  # a decoder may raise anything at all on a damaged file
        reason = " ".join(str(error).split()) or type(error).__name__
        raise SourceError(f"{name}: cannot be read as a picture ({reason[:120]})") from None


def _thinning(shape: tuple[int, ...], name: str) -> tuple[int, tuple[str, ...]]:
    """Return how many pixels to go on by where a picture has more than a relief, and say so."""
    step = -(-max(shape[:2]) // _MOST)
    if step == 1:
        return 1, ()
    rows, cols = shape[:2]
    return step, (
        f"{name}: has {cols} x {rows} pixels; one in {step} each way is used, more than a relief "
        "holds",
    )


def _of_png(samples: NDArray[np.uint16]) -> Samples:
    colours = samples[..., : 3 if samples.shape[2] > 2 else 1]
    if samples.shape[2] not in (2, 4):
        return Samples(colours)
    return Samples(colours, samples[..., -1].astype(np.float32) / np.float32(65535))


def _from_samples(samples: Samples, name: str) -> Picture:
    """Return a picture of more than 8 bits, with colours, transparency or both."""
    step, notes = _thinning(samples.colours.shape, name)
    every = slice(step // 2, None, step)
    colours = samples.colours[every, every]
    cover = samples.cover if samples.cover is None else samples.cover[every, every]
    whole = colours.dtype.kind in "ui"
    grey = colours[..., 0].astype(np.float32)
    known = np.isfinite(grey) if not whole else np.ones(grey.shape, dtype=bool)
    if np.any((colours != colours[..., :1])[known]):
        notes += (_COLOURED.format(name=name),)
        grey = colours.astype(np.float32) @ _BRIGHTNESS
    mask = np.isfinite(grey) & (np.abs(grey) < _FAR) if not whole else known
    if cover is not None:
        mask = mask & (cover >= 0.5)
        if samples.multiplied:
            grey = np.where(mask, grey / np.where(mask, cover, np.float32(1)), grey)
    if not whole:
        return Picture(np.where(mask, _unless_nothing(grey), np.float32(0)), mask, 0.0, notes)
    top = _top(colours)
    return Picture(grey / np.float32(top), mask, 0.5 / top, notes)


def _top(samples: NDArray[Any]) -> int:
    """Return what white is: of 16 bits, or the largest where whole numbers go beyond."""
    low, high = int(samples.min()), int(samples.max())
    return 65535 if low >= 0 and high <= 65535 else max(abs(low), abs(high))


def _from_image(image: Any, name: str, lossy: bool) -> Picture:
    notes: list[str] = []
    mask = np.ones((image.height, image.width), dtype=bool)
    if "transparency" in image.info or image.mode in ("LA", "PA", "RGBA"):
        image = image.convert("RGBA" if image.mode in ("P", "PA", "RGB", "RGBA") else "LA")
        mask = np.asarray(image.getchannel("A")) >= 128
    mode = image.mode
    if mode == "F":
        return _floats(np.asarray(image, dtype=np.float32))
    if mode.startswith("I"):
        raw = np.asarray(image, dtype=np.int64)
        top = _top(raw)
        return Picture((raw / top).astype(np.float32), mask, 0.5 / top)
    if mode in ("1", "L", "LA"):
        grey = np.asarray(image.convert("L"), dtype=np.float32)
    else:
        rgb = np.asarray(image.convert("RGB"))
        grey = rgb[..., 0].astype(np.float32)
        if np.ptp(rgb, axis=2).max(initial=0) > (8 if lossy else 0):
            notes.append(_COLOURED.format(name=name))
            grey = rgb @ _BRIGHTNESS
    notes.append(f"{name}: has 8 bits, 256 heights, whose steps are smoothed; 16 hold more")
    smooth = _smooth_steps(grey, mask) / np.float32(255)
    return Picture(smooth, mask, (4.0 if lossy else 0.5) / 255, tuple(notes))


def _floats(values: Float32Array) -> Picture:
    mask = np.isfinite(values) & (np.abs(values) < _FAR)
    return Picture(np.where(mask, _unless_nothing(values), np.float32(0)), mask, 0.0)


def _unless_nothing(values: Float32Array) -> Float32Array:
    """Return values with 0 for those that are so little that arithmetic loses them."""
    return np.where(np.abs(values) < _NOTHING, np.float32(0), values)


def _exr(name: str) -> Picture:
    try:
        samples, notes = exr_samples(name)
        picture = _from_samples(samples, name)
        return replace(picture, notes=notes + picture.notes)
    except ImportError:
        raise SourceError(
            f"{name}: EXR needs the library OpenEXR (pip install openexr); or save it as 16-bit "
            "PNG or TIFF"
        ) from None
    except SourceError:
        raise
    except Exception as error:  # as in read_picture
        reason = " ".join(str(error).split()) or type(error).__name__
        raise SourceError(f"{name}: cannot be read as EXR ({reason[:120]})") from None


def _smooth_steps(values: Float32Array, mask: BoolArray) -> Float32Array:
    """Smooth steps of 1 without leaving the half step either way that a sample allows.

    What a mean takes away is smoothed once more and given back (twicing: J. W. Tukey,
    *Exploratory Data Analysis*, 1977), so that round forms keep their curvature and the steps
    do not come back where a mean would flatten them.
    """
    if not mask.any():
        return values
    lowest = values[mask].min()
    mask = mask & (values > lowest)  # the lowest is as a rule what lies round the relief
    smooth = values.copy()
    low, high = np.maximum(values - np.float32(0.5), lowest), values + np.float32(0.5)
    for radius, times in _SMOOTHED:
        weight = np.maximum(_blurred(mask.astype(np.float32), radius), np.float32(1e-6))
        for _ in range(times):
            once = _blurred(np.where(mask, smooth, np.float32(0)), radius) / weight
            twice = _blurred(np.where(mask, once, np.float32(0)), radius) / weight
            np.clip(2 * once - twice, low, high, out=smooth)
    return np.where(mask, smooth, values)


def _blurred(values: Float32Array, radius: int) -> Float32Array:
    return _mean(_mean(values, radius), radius)


def _mean(values: Float32Array, radius: int) -> Float32Array:
    """Return means over squares of 2·radius + 1 pixels, smaller ones at the borders."""
    for axis in range(2):
        count = values.shape[axis]
        total = np.cumsum(values, axis=axis, dtype=np.float64)
        total = np.concatenate([np.zeros_like(total.take([0], axis=axis)), total], axis=axis)
        place = np.arange(count)
        start, stop = np.maximum(place - radius, 0), np.minimum(place + radius + 1, count)
        size = (stop - start).reshape((-1, 1) if axis == 0 else (1, -1))
        values = ((total.take(stop, axis=axis) - total.take(start, axis=axis)) / size).astype(
            np.float32
        )
    return values
