"""TIFF pictures of more than eight bits a sample, whatever their colours.

The picture library halves 16-bit colours, reads no colours of floating-point numbers, and
takes 16-bit grey for black-is-zero whatever the file says. Here it only undoes the compression,
strip by strip or tile by tile. Adobe, *TIFF Revision 6.0*, 1992; predictor of floating-point
numbers: Adobe, *Photoshop TIFF Technical Note 3*, 2005.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .....geometry.types import ByteArray
from .samples import LARGEST, Samples

Array = NDArray[Any]

_KINDS = {(1, 16): "u2", (1, 32): "u4", (2, 16): "i2", (2, 32): "i4",
          (3, 16): "f2", (3, 32): "f4", (3, 64): "f8"}  # fmt: skip
_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB = 0, 1, 2
_UNDO_TURN: dict[int, tuple[slice, ...]] = {
    2: np.s_[:, ::-1], 3: np.s_[::-1, ::-1], 4: np.s_[::-1, :], 5: np.s_[:, :],
    6: np.s_[:, ::-1], 7: np.s_[::-1, ::-1], 8: np.s_[::-1, :],
}  # fmt: skip
"""How rows and columns are turned round; from 5 on they have changed places before."""


def deep_tiff(path: str) -> Samples | None:
    """Return the samples of a TIFF of 16 bits and more; None for any other picture.

    Raises
    ------
    ValueError
        If the file is damaged or larger than can be read; other errors come from the decoder.
    """
    with open(path, "rb") as handle:
        if handle.read(4) not in (b"II*\0", b"MM\0*", b"II+\0"):
            return None
        handle.seek(0)
        layout = _layout(handle.read())
    return None if layout is None else _told(layout)


@dataclass(frozen=True)
class _Layout:
    """Where the samples lie in a file, in the words of the specification."""

    data: bytes
    tags: Any
    rows: int
    cols: int
    per_pixel: int
    kind: np.dtype[Any]

    def one(self, tag: int, otherwise: int) -> int:
        """Return a tag's only or first value."""
        return int(_several(self.tags.get(tag, otherwise))[0])


def _several(value: Any) -> tuple[Any, ...]:
    return value if isinstance(value, tuple) else (value,)


def _layout(data: bytes) -> _Layout | None:
    from PIL.TiffImagePlugin import ImageFileDirectory_v2

    handle = io.BytesIO(data)
    head = handle.read(16 if data[:4] == b"II+\0" else 8)
    tags = ImageFileDirectory_v2(head)
    handle.seek(tags.next)
    tags.load(handle)
    per_pixel = int(tags.get(277, 1))
    bits = set(_several(tags.get(258, 1)))
    formats = set(_several(tags.get(339, 1)))
    name = _KINDS.get((formats.pop(), bits.pop())) if len(bits) == len(formats) == 1 else None
    if name is None or tags.get(262) not in (_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB):
        return None
    if tags.get(266, 1) != 1:  # bits in the opposite order: no program of today writes them
        return None
    rows, cols = int(tags[257]), int(tags[256])
    if not 0 < rows * cols * per_pixel <= LARGEST:
        raise ValueError(f"it is {cols} x {rows} pixels, more than can be read")
    kind = np.dtype(name).newbyteorder("<" if data[:2] == b"II" else ">")
    return _Layout(data, tags, rows, cols, per_pixel, kind)


def _told(layout: _Layout) -> Samples:
    """Split what was stored into colours and cover."""
    samples = _unpacked(layout)
    turn = layout.one(274, 1)
    if turn in _UNDO_TURN:
        samples = (samples.swapaxes(0, 1) if turn > 4 else samples)[_UNDO_TURN[turn]]
    meaning = layout.one(262, _BLACK_IS_ZERO)
    count = 3 if meaning == _RGB else 1
    if layout.per_pixel < count:
        raise ValueError(f"it has {layout.per_pixel} samples a pixel for three colours")
    colours = samples[..., :count]
    if meaning == _WHITE_IS_ZERO and colours.dtype.kind == "u":
        colours = np.iinfo(colours.dtype).max - colours
    extra = _several(layout.tags.get(338, (2,) * (layout.per_pixel - count)))
    for place, what in enumerate(extra[: layout.per_pixel - count]):
        if what in (1, 2):  # transparency, multiplied into the colours or not
            cover = samples[..., count + place].astype(np.float32)
            if samples.dtype.kind in "ui":
                cover /= np.float32(np.iinfo(samples.dtype).max)
            return Samples(colours, cover, what == 1)
    return Samples(colours)


def _unpacked(layout: _Layout) -> Array:
    """Return all samples, (rows, cols, per pixel), in the machine's own byte order."""
    rows, cols = layout.rows, layout.cols
    tiled = 324 in layout.tags
    high = layout.one(323, 1) if tiled else min(layout.one(278, rows), rows)
    wide = layout.one(322, 1) if tiled else cols
    planes = layout.per_pixel if layout.one(284, 1) == 2 else 1
    depth = layout.per_pixel // planes
    segments = _segments(layout, tiled)
    out = np.empty((rows, cols, layout.per_pixel), layout.kind.newbyteorder("="))
    for first in range(0, planes * depth, depth):
        for top in range(0, rows, high):
            for left in range(0, cols, wide):
                tall = high if tiled else min(high, rows - top)
                raw = _raw(next(segments, b""), layout, tall, wide * depth * layout.kind.itemsize)
                block = _plain(raw, layout, wide, depth)[: rows - top, : cols - left]
                part = np.s_[top : top + high, left : left + wide, first : first + depth]
                out[part] = block
    return out


def _segments(layout: _Layout, tiled: bool) -> Iterator[bytes]:
    """Yield strips or tiles as they are stored."""
    starts = _several(layout.tags[324 if tiled else 273])
    sizes = _several(layout.tags[325 if tiled else 279])
    for start, size in zip(starts, sizes, strict=True):
        yield layout.data[start : start + size]


def _raw(stored: bytes, layout: _Layout, rows: int, wide: int) -> ByteArray:
    """Undo the compression of a strip or tile, (rows, wide) bytes."""
    packing = layout.one(259, 1)
    if packing == 1:
        if len(stored) < rows * wide:
            raise ValueError("it is cut short")
        return np.frombuffer(stored, np.uint8, rows * wide).reshape(rows, wide)
    from PIL import Image

    # a TIFF of eight-bit grey around the same bytes: no other way leads to its decoders
    tags = ((256, wide), (257, rows), (258, 8), (259, packing), (262, 1), (273, 122), (277, 1),
            (278, rows), (279, len(stored)))  # fmt: skip
    head = struct.pack("<2sHIH", b"II", 42, 8, len(tags))
    body = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in tags)
    with Image.open(io.BytesIO(head + body + b"\0\0\0\0" + stored)) as image:
        return np.asarray(image)


def _plain(raw: ByteArray, layout: _Layout, wide: int, depth: int) -> Array:
    """Undo the prediction from the pixel to the left, (rows, wide, depth)."""
    rows, predictor = len(raw), layout.one(317, 1)
    size = layout.kind.itemsize
    if predictor == 3:
        summed = np.cumsum(raw.reshape(rows, -1, depth), axis=1, dtype=np.uint8)
        split = summed.reshape(rows, size, wide * depth).swapaxes(1, 2)
        found: Array = np.ascontiguousarray(split).view(layout.kind.newbyteorder(">"))
        return found.reshape(rows, wide, depth)
    samples: Array = np.ascontiguousarray(raw).view(layout.kind).reshape(rows, wide, depth)
    if predictor == 2:
        whole = np.dtype(f"u{size}")
        steps = samples.view(whole.newbyteorder(layout.kind.byteorder)).astype(whole)
        native = layout.kind.newbyteorder("=")
        return np.cumsum(steps, axis=1, dtype=whole).view(native)
    return samples
