"""A picture as a PNG file."""

from __future__ import annotations

from pathlib import Path

from ..render.picture import Picture, png_bytes
from .files import write_files


def write_png(path: Path, pixels: Picture, *, overwrite: bool = False) -> None:
    """Write pixels as a PNG file, whole or not at all.

    Raises
    ------
    DeliveryError
        If the file is there already or cannot be written.
    """
    write_files({Path(path): png_bytes(pixels)}, overwrite=overwrite)
