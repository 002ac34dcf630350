"""From pieces before the camera to pixels, a few rows at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..geometry.grid import Grid
from ..geometry.types import ByteArray, Float32Array, FloatArray, IndexArray, Int32Array
from .cast import Cast
from .edge_maps import EdgeMaps
from .lights import LAMPS
from .shading import Surface, encoded, shaded, toned_down
from .visibility import Sight, look

_SAMPLES = 2  # along each side of a pixel
_STRIP = 352  # rows of pixels looked at at once: bounds the memory
_BAND = 16  # rows of pixels shaded at once: what they need stays in the processor's cache
_NEAR = 0.115  # how much nearer than infinity the lamps are: tilt of normals at the rim
_WORN_MM = 0.025  # an edge that gives way this much is taken as eased altogether
_FACET_MM = 0.006  # less than this is no edge
_FILLET = -0.25  # how much less an inner corner is filled than an outer edge is eased


def rendered(casts: Sequence[Cast], grid: Grid, sheet: Float32Array) -> ByteArray:
    """Return the picture of pieces before a sheet, (rows, cols, 3) uint8 sRGB.

    Parameters
    ----------
    casts : sequence of Cast
    grid : Grid
        Pixels of the picture, mm before the camera.
    sheet : (3, rows, cols) float32
        Display-linear; used up.
    """
    casts = [part for cast in casts for part in cast.by_metal()]
    starts = np.cumsum([0, *(len(c.vertices) for c in casts)])
    vertices = np.concatenate([c.vertices for c in casts])
    triangles = np.concatenate([c.triangles + s for c, s in zip(casts, starts[:-1], strict=True)])
    normals = np.concatenate([c.normals for c in casts])
    for start in range(0, grid.rows, _STRIP):
        rows = min(_STRIP, grid.rows - start)
        fine = _samples_of(replace(grid, top=grid.top - start * grid.pixel, rows=rows))
        sight = look(vertices, triangles, normals, fine)
        for first in range(0, rows, _BAND):
            band = sheet[:, start + first : start + min(first + _BAND, rows)]
            band[:] = _band(casts, sight, first * _SAMPLES, band)
    return encoded(sheet)


def _samples_of(grid: Grid) -> Grid:
    """Return the grid of the samples of all pixels."""
    n = _SAMPLES
    inset = grid.pixel * (n - 1) / (2.0 * n)
    return Grid(grid.left - inset, grid.top + inset, grid.pixel / n, grid.rows * n, grid.cols * n)


def _band(
    casts: Sequence[Cast], sight: Sight, first_row: int, behind: Float32Array
) -> Float32Array:
    """Return some rows of pixels, (3, rows, cols), from the samples that begin at a row."""
    n = _SAMPLES
    samples = np.repeat(np.repeat(behind, n, axis=1), n, axis=2)
    index = sight.index[first_row : first_row + samples.shape[1]].ravel()
    last = 0
    for cast in casts:
        first, last = last, last + len(cast.triangles)
        seen = np.flatnonzero((index >= first) & (index < last))
        if len(seen):
            at = seen + first_row * sight.grid.cols
            light = _seen_light(cast, sight, first, index.take(seen), at)
            for plane, values in zip(samples, light, strict=True):
                plane.ravel()[seen] = values
    return np.stack([_pooled(plane) for plane in samples])


def _pooled(values: Float32Array) -> Float32Array:
    """Return the mean of the samples of every pixel."""
    n = _SAMPLES
    shape = (values.shape[0] // n, values.shape[1] // n)
    total = np.zeros(shape, dtype=np.float32)
    for i in range(n):
        for j in range(n):
            total += values[i::n, j::n]
    return total * np.float32(1.0 / n**2)


def _seen_light(
    cast: Cast, sight: Sight, first: int, index: Int32Array, sample: IndexArray
) -> Float32Array:
    """Return display-linear colours of samples that see a piece, (3, n) float32.

    `index` counts the triangles of all pieces; `first` of them come before this piece's.
    """
    grid = sight.grid
    row, col = (part.astype(np.float32) for part in np.divmod(sample, grid.cols))
    normal = _unit(*sight.normals(index, row, col))
    x = col * np.float32(grid.pixel) + np.float32(grid.left)
    y = np.float32(grid.top) - row * np.float32(grid.pixel)
    z = sight.heights.ravel().take(sample)
    map_row, map_col, level = cast.on_face(x, y, z)
    found = _on_face(cast, normal, map_row, map_col, level)
    edge = np.flatnonzero(cast.on_edge.take(index - first))
    if cast.edge is not None and len(edge):
        nx, ny, nz = (part.take(edge) for part in normal)
        point = cast.in_face(x.take(edge), y.take(edge), z.take(edge))
        for part, value in zip(
            found, _on_edge(cast.edge, cast.rotation, (nx, ny, nz), point), strict=True
        ):
            part[edge] = value
    nx, ny, nz, sky, ridge, uneven, *lit = found
    nx += (map_col / np.float32(cast.grid.cols) - np.float32(0.5)) * np.float32(2.0 * _NEAR)
    ny -= (map_row / np.float32(cast.grid.rows) - np.float32(0.5)) * np.float32(2.0 * _NEAR)
    if np.any(cast.studio != np.eye(3)):
        nx, ny, nz = (
            np.float32(a) * nx + np.float32(b) * ny + np.float32(c) * nz for a, b, c in cast.studio
        )
    normal = _unit(nx, ny, np.maximum(nz, np.float32(0.02)))
    exposure = cast.look.exposure if cast.exposure is None else cast.exposure
    return toned_down(shaded(Surface(*normal, sky, ridge, tuple(lit), uneven), cast.look), exposure)


def _on_face(
    cast: Cast,
    normal: tuple[Float32Array, Float32Array, Float32Array],
    row: Float32Array,
    col: Float32Array,
    level: Float32Array,
) -> tuple[Float32Array, ...]:
    """Return normal, sky, ridge, toning and each lamp's light of places on a face's maps."""
    relief = cast.relief
    eased, slope_u, slope_v = relief.eased_at(row, col)
    r = cast.rotation.astype(np.float32)
    upright = r[0, 2] * normal[0] + r[1, 2] * normal[1] + r[2, 2] * normal[2]
    soft = _unit(-slope_u, -slope_v, np.ones_like(slope_u))
    leant = tuple(
        r[axis, 0] * soft[0] + r[axis, 1] * soft[1] + r[axis, 2] * soft[2] for axis in range(3)
    )
    normals = _eased(normal, leant, _rounded(level - eased), upright)
    at = relief.nearest(row, col)
    maps = (relief.open_sky, relief.ridge, cast.uneven, *relief.lit)
    return (*normals, *(m.ravel().take(at) for m in maps))


def _on_edge(
    edge: EdgeMaps,
    rotation: FloatArray,
    normal: tuple[Float32Array, Float32Array, Float32Array],
    point: tuple[Float32Array, Float32Array, Float32Array],
) -> tuple[Float32Array, ...]:
    """Return the same of places on the edge; a lamp shines in as far as the sky does."""
    row, col, level = edge.places(*point)
    relief = edge.relief
    eased, slope_u, slope_v = relief.eased_at(row, col)
    x, y = point[0], point[1]
    length = np.float32(1.0) / np.maximum(np.hypot(x, y), np.float32(1e-6))
    x, y = np.asarray(x * length), np.asarray(y * length)
    r = rotation.astype(np.float32)
    outward = tuple(r[axis, 0] * x + r[axis, 1] * y for axis in range(3))
    upright = outward[0] * normal[0] + outward[1] * normal[1] + outward[2] * normal[2]
    nx, ny, nz = (
        normal[axis] - slope_u * (r[axis, 1] * x - r[axis, 0] * y) - slope_v * r[axis, 2]
        for axis in range(3)
    )
    normals = _eased(normal, _unit(nx, ny, nz), _rounded(level - eased), upright)
    at = relief.nearest(row, col)
    sky = relief.open_sky.ravel().take(at)
    rest = (relief.ridge.ravel().take(at), edge.uneven.ravel().take(at))
    return (*normals, sky, *rest, *(sky for _ in LAMPS))


def _rounded(taken: Float32Array) -> Float32Array:
    """Return how far an edge is eased, 0 to 1, of what easing takes away there, mm.

    Above 0 on an outer edge, below 0 in an inner corner.
    """
    edge = np.maximum(taken, np.float32(_FILLET) * taken)
    return np.asarray(np.clip((edge - np.float32(_FACET_MM)) / np.float32(_WORN_MM), 0.0, 1.0))


def _unit(
    nx: Float32Array, ny: Float32Array, nz: Float32Array
) -> tuple[Float32Array, Float32Array, Float32Array]:
    length = np.float32(1.0) / np.sqrt(nx * nx + ny * ny + nz * nz)
    return nx * length, ny * length, nz * length


def _eased(
    normal: tuple[Float32Array, ...],
    soft: tuple[Float32Array, ...],
    edge: Float32Array,
    upright: Float32Array,
) -> tuple[Float32Array, ...]:
    """Return normals that lean towards those of eased edges, on all but steep walls.

    What makes letters readable on a real piece is the light that their slightly rounded
    edges catch.
    """
    weight = edge * np.clip(upright * np.float32(2.0) - np.float32(0.4), 0.0, 1.0)
    return tuple(n + weight * (lean - n) for n, lean in zip(normal, soft, strict=True))
