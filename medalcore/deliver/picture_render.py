"""From pieces before the camera to pixels, a few rows at a time."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..grid import Grid
from .picture_cast import Cast
from .picture_ground import Backdrop
from .picture_shade import Surface, encoded, shaded, toned_down
from .picture_view import Sight, look

Row = NDArray[np.float32]

_SAMPLES = 2  # along each side of a pixel
_BAND = 16  # rows of pixels shaded at once: what they need stays in the processor's cache
_NEAR = 0.115  # how much nearer than infinity the lamps are: tilt of normals at the rim
_WORN_MM = 0.025  # an edge that gives way this much is taken as eased altogether
_FACET_MM = 0.006  # less than this is no edge
_FILLET = -0.25  # how much less an inner corner is filled than an outer edge is eased


def rendered(casts: Sequence[Cast], grid: Grid, backdrop: Backdrop) -> NDArray[np.uint8]:
    """Return the picture of pieces before a backdrop, (rows, cols, 3) uint8 sRGB.

    Parameters
    ----------
    casts : sequence of Cast
    grid : Grid
        Pixels of the picture, mm before the camera.
    backdrop : callable
        See `Backdrop`.
    """
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
    sheet = backdrop(_pooled((sight.index >= 0).astype(np.float32)), grid)
    bounds = np.cumsum([0, *(len(c.triangles) for c in casts)])
    out = np.empty((3, grid.rows, grid.cols), dtype=np.float32)
    for start in range(0, grid.rows, _BAND):
        stop = min(grid.rows, start + _BAND)
        band = np.repeat(np.repeat(sheet[:, start:stop], n, axis=1), n, axis=2)
        index = sight.index[start * n : stop * n].ravel()
        for cast, first, last in zip(casts, bounds[:-1], bounds[1:], strict=True):
            seen = np.flatnonzero((index >= first) & (index < last))
            if len(seen):
                light = _seen_light(cast, sight, index.take(seen), seen + start * n * fine.cols)
                for plane, values in zip(band, light, strict=True):
                    plane.ravel()[seen] = values
        for plane, values in zip(out, band, strict=True):
            plane[start:stop] = _pooled(values)
    return encoded(out)


def _pooled(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the mean of the samples of every pixel."""
    n = _SAMPLES
    shape = (values.shape[0] // n, values.shape[1] // n)
    total = np.zeros(shape, dtype=np.float32)
    for i in range(n):
        for j in range(n):
            total += values[i::n, j::n]
    return total * np.float32(1.0 / n**2)


def _seen_light(
    cast: Cast, sight: Sight, index: NDArray[np.int32], sample: NDArray[np.intp]
) -> NDArray[np.float32]:
    """Return display-linear colours of samples that see a piece, (3, n) float32."""
    grid = sight.grid
    row, col = (part.astype(np.float32) for part in np.divmod(sample, grid.cols))
    normal = _unit(*sight.normals(index, row, col))
    x = col * np.float32(grid.pixel) + np.float32(grid.left)
    y = np.float32(grid.top) - row * np.float32(grid.pixel)
    map_row, map_col, z = cast.on_face(x, y, sight.heights.ravel().take(sample))
    eased, slope_u, slope_v = cast.eased(map_row, map_col)
    taken = z - eased  # above 0 on an outer edge, below 0 in an inner corner
    edge = np.maximum(taken, np.float32(_FILLET) * taken)
    edge = np.clip((edge - np.float32(_FACET_MM)) / np.float32(_WORN_MM), 0.0, 1.0)
    nx, ny, nz = _eased(normal, slope_u, slope_v, edge, cast.rotation)
    nx += (map_col / np.float32(cast.grid.cols) - np.float32(0.5)) * np.float32(2.0 * _NEAR)
    ny -= (map_row / np.float32(cast.grid.rows) - np.float32(0.5)) * np.float32(2.0 * _NEAR)
    at, relief = cast.nearest(map_row, map_col), cast.relief
    sky, ridge, uneven, *lit = (
        m.ravel().take(at) for m in (relief.open_sky, relief.ridge, cast.uneven, *relief.lit)
    )
    if np.any(cast.studio != np.eye(3)):
        nx, ny, nz = (
            np.float32(a) * nx + np.float32(b) * ny + np.float32(c) * nz for a, b, c in cast.studio
        )
    normal = _unit(nx, ny, np.maximum(nz, np.float32(0.02)))
    return toned_down(
        shaded(Surface(*normal, sky, ridge, tuple(lit), uneven), cast.look), cast.look.exposure
    )


def _unit(nx: Row, ny: Row, nz: Row) -> tuple[Row, Row, Row]:
    length = np.float32(1.0) / np.sqrt(nx * nx + ny * ny + nz * nz)
    return nx * length, ny * length, nz * length


def _eased(
    normal: tuple[Row, Row, Row],
    slope_u: Row,
    slope_v: Row,
    edge: Row,
    rotation: NDArray[np.float64],
) -> tuple[Row, Row, Row]:
    """Return normals that lean towards those of eased edges, on all but steep walls.

    What makes letters readable on a real piece is the light that their slightly rounded
    edges catch.
    """
    r = rotation.astype(np.float32)
    upright = r[0, 2] * normal[0] + r[1, 2] * normal[1] + r[2, 2] * normal[2]
    weight = edge * np.clip(upright * np.float32(2.0) - np.float32(0.4), 0.0, 1.0)
    soft = _unit(-slope_u, -slope_v, np.ones_like(slope_u))
    out = []
    for axis in range(3):
        lean = r[axis, 0] * soft[0] + r[axis, 1] * soft[1] + r[axis, 2] * soft[2]
        lean -= normal[axis]
        lean *= weight
        lean += normal[axis]
        out.append(lean)
    return out[0], out[1], out[2]
