"""Pictures of a finished piece, as a photographer of medals would light it."""

from __future__ import annotations

import io
import math

import numpy as np
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from ..context.medal import Medal
from ..geometry.types import ByteArray, FloatArray
from .cast import Side, cast_of, centred_grid, turned
from .paper import lying_on_paper, standing_on_paper
from .render import rendered

Picture = ByteArray

_MARGIN = 0.07  # of the picture, left free on every side


def picture(medal: Medal, side: Side, *, size: int = 1400, metal: str | None = None) -> Picture:
    """Return a picture of one face, seen straight on.

    Parameters
    ----------
    medal : Medal
    side : {"obverse", "reverse"}
        The reverse is shown as its viewer sees it after turning the piece over by the
        alignment named in the medal's report.
    size : int
        Width and height, pixels.
    metal : str, optional
        Look of another material than the report names.

    Returns
    -------
    pixels : (size, size, 3) uint8
        sRGB; the same piece gives the same pixels.
    """
    width, height = np.ptp(medal.vertices[:, :2], axis=0)
    pixel = float(max(width, height)) / (size * (1.0 - 2.0 * _MARGIN))
    cast = cast_of(medal, side, pixel, metal=metal)
    low, high = cast.vertices.min(axis=0), cast.vertices.max(axis=0)
    grid = centred_grid((low + high) / 2.0, pixel, size, size)
    return rendered([cast], grid, lying_on_paper(cast, grid))


def standing(
    medal: Medal, *, size: tuple[int, int] = (2000, 1200), metal: str | None = None
) -> Picture:
    """Return both faces in one picture: the piece standing twice, a little turned.

    Parameters
    ----------
    medal : Medal
    size : (int, int)
        Width and height, pixels.
    metal : str, optional
        Look of another material than the report names.

    Returns
    -------
    pixels : (height, width, 3) uint8
        sRGB.
    """
    camera = _about_x(_CAMERA_DEG)
    span = float(max(np.ptp(medal.vertices[:, :2], axis=0)))
    rolls = _rolls(medal.vertices[:, :2])
    placed = []
    for side, yaw, x, z in _STANDS:
        level = math.atan(math.tan(math.radians(yaw)) * math.sin(math.radians(_CAMERA_DEG)))
        roll = -_LEVEL * math.degrees(level) if rolls else 0.0
        rotation = _about_y(yaw) @ _about_x(-_LEAN_DEG) @ _about_z(roll)
        foot = float((medal.vertices @ turned(medal, side).T @ rotation.T)[:, 1].min())
        place = np.array([x * span, -foot, z * span])
        studio = (_about_x(_CAMERA_DEG - _LEAN_DEG) @ _about_y(_FOLLOW * yaw)).T
        placed.append((side, camera @ rotation, camera @ place, studio))
    width, height = size
    reach = np.concatenate(
        [medal.vertices @ (r @ turned(medal, s)).T + o for s, r, o, _ in placed]
    )[:, :2]
    low, high = reach.min(axis=0), reach.max(axis=0)
    pixel = float(max((high - low) / (np.array(size) * (1.0 - 2.0 * np.array(_FREE)))))
    casts = [
        cast_of(medal, s, pixel, rotation=r, offset=o, studio=t, metal=metal)
        for s, r, o, t in placed
    ]
    centre = (low + high) / 2.0 - pixel * np.array(size) * np.array(_SHIFT)
    grid = centred_grid(centre, pixel, height, width)
    return rendered(casts, grid, standing_on_paper(casts, camera[:, 1], grid))


_CAMERA_DEG = 14.0  # how far the camera looks down
_LEAN_DEG = 9.0  # how far the pieces lean back
_STANDS: tuple[tuple[Side, float, float, float], ...] = (
    ("obverse", 17.0, -0.51, 0.12),
    ("reverse", -22.0, 0.51, -0.14),
)
"""Side, turn about the upright in degrees, and place to the right and to the front in widths."""
_FOLLOW = 0.75  # how far the lamps are moved along with each piece, as a photographer would
_LEVEL = 0.8  # how far the pieces are rolled so that their lines stand level in the picture
_FREE = (0.09, 0.13)  # of the picture, left free at left and right, above and below
_SHIFT = (-0.012, -0.02)  # of the picture: shadows fall to the right and need some room


def _rolls(points: FloatArray) -> bool:
    """Tell whether a piece is round at its foot, so that it can stand a little rolled."""
    bearing = np.degrees(np.arctan2(points[:, 0], -points[:, 1]))  # from the foot
    foot = np.abs(bearing) < 20.0
    radius = np.zeros(10)
    part = np.floor(bearing[foot] / 4.0).astype(np.int64) + 5
    np.maximum.at(radius, part, np.hypot(points[foot, 0], points[foot, 1]))
    return bool(np.ptp(radius) < 0.02 * radius.max())


def _about_z(degrees: float) -> FloatArray:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _about_x(degrees: float) -> FloatArray:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


def _about_y(degrees: float) -> FloatArray:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def png_bytes(pixels: Picture, title: str = "") -> bytes:
    """Return pixels, (rows, cols, 3) uint8 sRGB, as a PNG file.

    A title stands in its text under ``Title``, a keyword of the PNG specification.
    """
    text = PngInfo()
    if title:
        text.add_itxt("Title", title)
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "PNG", pnginfo=text, compress_level=4)
    return stream.getvalue()
