"""PNG pictures of 16-bit samples with colours or transparency.

The picture library reads 16 bits of grey only, and halves the rest; modelling programs
write depth as 16-bit RGB as a rule. W3C, *Portable Network Graphics*, third edition, 2025:
chunks (5), filters (9), samples (7).
"""

from __future__ import annotations

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

from .....errors import SourceError
from .....geometry.types import ByteArray

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_CHANNELS = {2: 3, 4: 2, 6: 4}  # of the colour types that are read here
_LARGEST = 1 << 28  # samples


def deep_png(path: str) -> NDArray[np.uint16] | None:
    """Return the samples of a PNG, (rows, cols, 2 to 4) uint16; None for any other picture.

    Two channels are grey and transparency, three are colours, four are both. Interlaced
    pictures are left to the picture library.

    Raises
    ------
    SourceError
        If the file is damaged.
    """
    with open(path, "rb") as handle:
        head = handle.read(33)
        if head[:8] != _SIGNATURE or head[12:16] != b"IHDR" or len(head) < 33:
            return None
        cols, rows, depth, colour, _, _, interlaced = struct.unpack(">IIBBBBB", head[16:29])
        if depth != 16 or colour not in _CHANNELS or interlaced:
            return None
        channels = _CHANNELS[colour]
        if not 0 < rows * cols * channels <= _LARGEST:
            raise SourceError(f"{path}: is {cols} x {rows} pixels, more than can be read")
        lines = _lines(handle.read(), rows, 2 * cols * channels)
    if lines is None:
        raise SourceError(f"{path}: cannot be read as a picture (it is cut short or damaged)")
    plain = _unfiltered(lines[:, 0], lines[:, 1:].reshape(rows, cols, 2 * channels))
    return np.ascontiguousarray(plain).view(">u2").astype(np.uint16)


def _lines(chunks: bytes, rows: int, wide: int) -> ByteArray | None:
    """Return the filtered lines, each with its filter first, (rows, 1 + wide)."""
    unpack, out, at = zlib.decompressobj(), [], 0
    while at + 8 <= len(chunks):
        (size,) = struct.unpack(">I", chunks[at : at + 4])
        if chunks[at + 4 : at + 8] == b"IDAT":
            try:
                out.append(unpack.decompress(chunks[at + 8 : at + 8 + size]))
            except zlib.error:
                return None
        at += 12 + size
    told = b"".join(out)
    if len(told) < rows * (1 + wide):
        return None
    return np.frombuffer(told, np.uint8, rows * (1 + wide)).reshape(rows, 1 + wide)


def _unfiltered(kind: ByteArray, lines: ByteArray) -> ByteArray:
    """Undo the filters of all lines, (rows, cols, bytes of a pixel).

    A byte hangs on those of the pixels to its left, above, and above to the left. So all
    pixels of a diagonal can be done at once, whatever the filters of their lines are.
    """
    rows, cols, wide = lines.shape
    skew = np.zeros((cols + rows + 1, rows + 1, wide), dtype=np.int16)  # [diagonal, row + 1]
    row = np.arange(rows)
    filters = kind[:, None]
    for diagonal in range(rows + cols - 1):
        r = row[max(0, diagonal - cols + 1) : min(rows, diagonal + 1)]
        c = diagonal - r
        left, above, corner = (
            skew[diagonal, r + 1], skew[diagonal, r], skew[diagonal - 1, r] if diagonal else 0,
        )  # fmt: skip
        left = np.where((c > 0)[:, None], left, 0)
        corner = np.where((c > 0)[:, None], corner, 0)
        guess = np.select(
            [filters[r] == k for k in (1, 2, 3, 4)],
            [left, above, (left + above) // 2, _paeth(left, above, corner)],
            0,
        )
        skew[diagonal + 1, r + 1] = (lines[r, c] + guess) & 255
    r, c = np.meshgrid(row, np.arange(cols), indexing="ij")
    return np.asarray(skew[r + c + 1, r + 1], dtype=np.uint8)


def _paeth(
    left: NDArray[np.int16], above: NDArray[np.int16], corner: NDArray[np.int16]
) -> NDArray[np.int16]:
    guess = left + above - corner
    away = [np.abs(guess - k) for k in (left, above, corner)]
    first = (away[0] <= away[1]) & (away[0] <= away[2])
    return np.where(first, left, np.where(away[1] <= away[2], above, corner))
