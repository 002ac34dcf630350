"""A face as a 16-bit depth picture, for engraving machines and other modellers."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from ..context.medal import Medal
from ..geometry.raster import top_surface
from ..render.cast import Side, grid_over, turned

_PIXELS = 2048  # along the larger side


def depth_bytes(medal: Medal, side: Side, *, pixels: int = _PIXELS) -> bytes:
    """Return the heights of a face as a grey 16-bit PNG.

    Samples are heights, not brightness: height = low + value / 65535 · span. What that is in
    mm, and the pitch of the pixels, stand in the file's text under ``Description``; the pitch
    also as its physical resolution. 0 is both the lowest height and what lies beside the
    piece.

    Parameters
    ----------
    medal : Medal
    side : {"obverse", "reverse"}
        As its viewer sees it.
    pixels : int
        Along the larger side of the piece.
    """
    face = medal.vertices @ turned(medal, side).T
    pixel = float(np.ptp(face[:, :2], axis=0).max()) / pixels
    grid = grid_over(face, pixel, spare=0)
    heights, _ = top_surface(face, medal.triangles, grid)
    on_piece = np.isfinite(heights)
    low, high = float(heights[on_piece].min()), float(heights[on_piece].max())
    span = max(high - low, 1e-9)
    value = np.where(on_piece, (heights - low) / span, 0.0) * 65535.0
    text = PngInfo()
    text.add_text(
        "Description",
        f"height_mm = {low:.7g} + value / 65535 * {span:.7g}; pixel_mm = {pixel:.7g}; "
        "z = 0 is the middle of the piece; 0 also beside the piece",
    )
    stream = io.BytesIO()
    picture = Image.fromarray(np.rint(value).astype(np.uint16))
    picture.save(stream, "PNG", pnginfo=text, dpi=(25.4 / pixel, 25.4 / pixel), compress_level=6)
    return stream.getvalue()
