"""Pictures of a finished piece, as a photographer of medals would light it."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from ..grid import Grid
from ..medal import Medal
from ..raster import top_surface
from .files import write_files
from .picture_ground import backdrop
from .picture_metals import Look, look_of
from .picture_normals import corner_normals
from .picture_relief import relief_of
from .picture_shade import Surface, encoded, mottled, shaded, toned_down
from .picture_studio import LAMPS, Lamp
from .picture_view import Sight, look
from .stl import unit_normals

Picture = NDArray[np.uint8]
FloatArray = NDArray[np.float64]
Row = NDArray[np.float32]

_SAMPLES = 2  # along each side of a pixel
_BAND = 16  # rows of pixels shaded at once: what they need stays in the processor's cache
_MARGIN = 0.07  # of the picture, left free on every side
_NEAR = 0.13  # how much lamps and camera are nearer than infinity: tilt of normals at the border

_EXPOSURE = 0.62


@dataclass(frozen=True, eq=False)
class Cast:
    """A piece placed before the camera.

    Attributes
    ----------
    vertices : (n, 3) float64
        Right, up, towards the viewer, mm.
    triangles : (m, 3) int64
        Those that face the viewer.
    normals : (m, 3, 3) float32
        By triangle and corner.
    look : Look
    to_face : (2, 3) and (2,) float64
        From there to the face's own right and up.
    rotation : (3, 3) float64
        From the face's axes to the camera's.
    maps : (rows, cols, 6 + lamps) float32
        Open sky, ridge, mottling, eased edges and share of each lamp, in the face's axes.
    grid : Grid
        Of the maps.
    """

    vertices: FloatArray
    triangles: NDArray[np.int64]
    normals: NDArray[np.float32]
    look: Look
    to_face: tuple[FloatArray, FloatArray]
    rotation: FloatArray
    maps: NDArray[np.float32]
    grid: Grid


def picture(
    medal: Medal,
    side: Literal["obverse", "reverse"],
    *,
    size: int = 1400,
    metal: str | None = None,
) -> Picture:
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
    points = medal.vertices @ turned(medal, side).T
    low, high = points.min(axis=0), points.max(axis=0)
    pixel = float(max((high - low)[:2])) / (size * (1.0 - 2.0 * _MARGIN))
    centre = (low + high) / 2.0
    grid = centred_grid(centre, pixel, size, size)
    cast = cast_of(medal, side, np.eye(3), np.zeros(3), pixel, metal)
    return _finished([cast], grid, float(high[2] - low[2]))


def png_bytes(pixels: Picture) -> bytes:
    """Return pixels, (rows, cols, 3) uint8 sRGB, as a PNG file."""
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "PNG", compress_level=6)
    return stream.getvalue()


def write_png(path: Path, pixels: Picture, *, overwrite: bool = False) -> None:
    """Write pixels as a PNG file, whole or not at all.

    Raises
    ------
    DeliveryError
        If the file is there already or cannot be written.
    """
    write_files({Path(path): png_bytes(pixels)}, overwrite=overwrite)


def turned(medal: Medal, side: Literal["obverse", "reverse"]) -> FloatArray:
    """Return the rotation from the piece's axes to those of a face's viewer, (3, 3)."""
    if side == "obverse":
        return np.eye(3)
    from ..assemble import placement  # here: pictures need no boolean library otherwise

    return placement(medal.report.get("alignment", "medal"), -1)[:, :3].T


def centred_grid(centre: FloatArray, pixel: float, rows: int, cols: int) -> Grid:
    """Return a grid of pixels about a centre, mm."""
    return Grid(
        float(centre[0]) - pixel * (cols - 1) / 2.0,
        float(centre[1]) + pixel * (rows - 1) / 2.0,
        pixel,
        rows,
        cols,
    )


def cast_of(
    medal: Medal,
    side: Literal["obverse", "reverse"],
    rotation: FloatArray,
    offset: FloatArray,
    pixel: float,
    metal: str | None,
) -> Cast:
    """Place a piece before the camera, one face towards it.

    Parameters
    ----------
    medal : Medal
    side : {"obverse", "reverse"}
    rotation, offset : (3, 3) and (3,) float64
        From the face's axes to the camera's.
    pixel : float
        Pitch of the maps of the face, mm.
    metal : str or None
    """
    face = medal.vertices @ turned(medal, side).T
    points = face @ rotation.T + offset
    flat = unit_normals(points, medal.triangles)
    towards = np.flatnonzero(flat[:, 2] > 1e-6)
    triangles = medal.triangles[towards]
    group = medal.zone[towards].astype(np.int64) * 3 + medal.side[towards]
    normals = corner_normals(points, triangles, group)
    maps, grid = _face_maps(face, medal.triangles, pixel, rotation)
    inverse = rotation.T
    return Cast(
        points,
        triangles,
        normals,
        look_of(metal or str(medal.report.get("metal", "bronze"))),
        (inverse[:2], -(inverse[:2] @ offset)),
        rotation,
        maps,
        grid,
    )


def _face_maps(
    face: FloatArray, triangles: NDArray[np.int64], pixel: float, rotation: FloatArray
) -> tuple[NDArray[np.float32], Grid]:
    """Return maps of what stands in the light on a face, and their grid."""
    low, high = face.min(axis=0), face.max(axis=0)
    cols, rows = (int(np.ceil(w / pixel)) + 9 for w in (high - low)[:2])
    grid = centred_grid((low + high) / 2.0, pixel, rows, cols)
    fine = Grid(grid.left - pixel / 4, grid.top + pixel / 4, pixel / 2, rows * 2, cols * 2)
    heights, _ = top_surface(face, triangles, fine)
    ground = np.float32(low[2])
    heights = np.where(np.isfinite(heights), heights, ground).astype(np.float32)
    mean = heights.reshape(rows, 2, cols, 2).mean(axis=(1, 3))
    relief = relief_of(mean, pixel, scale_mm=0.12)
    lit = [relief.lit(*_bearing(lamp, rotation), lamp.spread_deg) for lamp in LAMPS]
    uneven = mottled(rows, cols, pixel)
    channels = [
        relief.open_sky,
        relief.ridge,
        uneven,
        relief.slope_u,
        relief.slope_v,
        relief.edge,
        *lit,
    ]
    return np.stack(channels, axis=-1), grid


def _bearing(lamp: Lamp, rotation: FloatArray) -> tuple[float, float]:
    """Return azimuth and elevation of a lamp over a face that was turned, degrees."""
    x, y, z = rotation.T @ lamp.direction
    return float(np.degrees(np.arctan2(y, x))), float(np.degrees(np.arcsin(np.clip(z, -1, 1))))


def _finished(casts: list[Cast], grid: Grid, thickness: float) -> Picture:
    """Return the picture of pieces before a backdrop, band by band."""
    n = _SAMPLES
    inset = grid.pixel * (n - 1) / (2.0 * n)
    fine = Grid(grid.left - inset, grid.top + inset, grid.pixel / n, grid.rows * n, grid.cols * n)
    offsets = np.cumsum([0, *(len(c.vertices) for c in casts)])
    sight = look(
        np.concatenate([c.vertices for c in casts]),
        np.concatenate([c.triangles + o for c, o in zip(casts, offsets[:-1], strict=True)]),
        np.concatenate([c.normals for c in casts]),
        fine,
    )
    covered = (
        (sight.index >= 0).reshape(grid.rows, n, grid.cols, n).mean(axis=(1, 3), dtype=np.float32)
    )
    behind = backdrop(covered, grid, thickness)
    bounds = np.cumsum([0, *(len(c.triangles) for c in casts)])
    out = np.empty((grid.rows, grid.cols, 3), dtype=np.float32)
    for start in range(0, grid.rows, _BAND):
        stop = min(grid.rows, start + _BAND)
        band = np.repeat(np.repeat(behind[start:stop], n, axis=0), n, axis=1)
        flat = band.reshape(-1, 3)
        index = sight.index[start * n : stop * n].ravel()
        for cast, first, last in zip(casts, bounds[:-1], bounds[1:], strict=True):
            seen = np.flatnonzero((index >= first) & (index < last))
            if len(seen):
                flat[seen] = _cast_light(cast, sight, index.take(seen), seen, start * n)
        shape = (stop - start, n, grid.cols, n, 3)
        out[start:stop] = band.reshape(shape).mean(axis=(1, 3))
    return encoded(out)


def _cast_light(
    cast: Cast,
    sight: Sight,
    index: NDArray[np.int32],
    seen: NDArray[np.intp],
    first_row: int,
) -> NDArray[np.float32]:
    """Return display-linear colours of samples that see one piece, (n, 3) float32."""
    fine = sight.grid
    row, col = np.divmod(seen.astype(np.int32), np.int32(fine.cols))
    row += np.int32(first_row)
    nx, ny, nz = sight.normals(index, row, col)
    x = col.astype(np.float32) * np.float32(fine.pixel) + np.float32(fine.left)
    y = np.float32(fine.top) - row.astype(np.float32) * np.float32(fine.pixel)
    z = sight.heights.ravel().take(seen + first_row * fine.cols)
    at = _map_index(cast, x, y, z)
    channel = cast.maps.reshape(-1, cast.maps.shape[-1]).take(at, axis=0)
    half = np.float32(fine.pixel * max(fine.rows, fine.cols) / 2.0)
    middle = np.float32(fine.left + half), np.float32(fine.top - half)
    nx, ny, nz = _eased(
        _unit(nx, ny, nz), channel[:, 3], channel[:, 4], channel[:, 5], cast.rotation
    )
    nx += (x - middle[0]) * np.float32(_NEAR / half)
    ny += (y - middle[1]) * np.float32(_NEAR / half)
    normal = _unit(nx, ny, np.maximum(nz, np.float32(0.02)))
    lit = tuple(channel[:, 6 + i] for i in range(channel.shape[1] - 6))
    surface = Surface(*normal, channel[:, 0], channel[:, 1], lit, channel[:, 2])
    return toned_down(shaded(surface, cast.look), _EXPOSURE)


def _unit(nx: Row, ny: Row, nz: Row) -> tuple[Row, Row, Row]:
    length = np.float32(1.0) / np.sqrt(nx * nx + ny * ny + nz * nz)
    return nx * length, ny * length, nz * length


def _eased(
    normal: tuple[Row, Row, Row], slope_u: Row, slope_v: Row, edge: Row, rotation: FloatArray
) -> tuple[Row, Row, Row]:
    """Return normals leaning towards those of eased edges, on all but steep walls.

    What makes letters readable on a real piece is the light that their slightly rounded
    edges catch.
    """
    r = rotation.astype(np.float32)
    upright = r[0, 2] * normal[0] + r[1, 2] * normal[1] + r[2, 2] * normal[2]
    weight = edge * np.clip(upright * np.float32(2.0) - np.float32(0.4), 0.0, 1.0)
    soft = _unit(-slope_u, -slope_v, np.ones_like(slope_u))
    out = []
    for axis in range(3):
        turned_soft = r[axis, 0] * soft[0] + r[axis, 1] * soft[1] + r[axis, 2] * soft[2]
        out.append(normal[axis] + weight * (turned_soft - normal[axis]))
    return out[0], out[1], out[2]


def _map_index(
    cast: Cast, x: NDArray[np.float32], y: NDArray[np.float32], z: NDArray[np.float32]
) -> NDArray[np.int32]:
    """Return which pixel of a face's maps belongs to points before the camera."""
    matrix, shift = cast.to_face
    grid = cast.grid
    place = []
    for axis, origin, sign, count in ((0, grid.left, 1, grid.cols), (1, grid.top, -1, grid.rows)):
        a, b, c = (np.float32(sign * k / grid.pixel) for k in matrix[axis])
        d = np.float32(sign * (shift[axis] - origin) / grid.pixel + 0.5)
        value = a * x
        value += b * y
        if c:
            value += c * z
        value += d
        place.append(np.clip(value, 0, count - 1).astype(np.int32))
    return np.asarray(place[1] * np.int32(grid.cols) + place[0])
