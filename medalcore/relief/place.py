"""Turning, scaling and placing a model on its face, and its depth map there."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..errors import SpecError
from ..grid import Grid, HeightField
from ..ground import Ground
from ..raster import top_surface
from ..spec import Relief
from .source import SourceMesh

FloatArray = NDArray[np.float64]

MARGIN_PIXELS = 8
"""Empty pixels round the silhouette, where a wall's foot and a smooth outline find room."""

CLEARANCE = 0.05
"""Share of the field's radius that a relief filling it keeps away from the rim."""


def turned(vertices: FloatArray, turn: tuple[float, float, float]) -> FloatArray:
    """Turn points about x, then y, then z.

    Parameters
    ----------
    vertices : (n, 3) float64
    turn : three floats
        Degrees, counter-clockwise seen from the axis' positive end.

    Returns
    -------
    vertices : (n, 3) float64
    """
    if not any(turn):
        return vertices
    matrix = np.eye(3)
    for axis, degrees in enumerate(turn):
        # whole quarter turns are exact, so that a turned model keeps its level planes level
        c, s = _cos_sin(degrees)
        one = np.eye(3)
        j, k = (axis + 1) % 3, (axis + 2) % 3
        one[j, j], one[j, k], one[k, j], one[k, k] = c, -s, s, c
        matrix = one @ matrix
    turned_points: FloatArray = vertices @ matrix.T
    return turned_points


def _cos_sin(degrees: float) -> tuple[float, float]:
    quarter = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}
    known = quarter.get(degrees % 360.0)
    return known or (math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))


def place(mesh: SourceMesh, spec: Relief, ground: Ground) -> FloatArray:
    """Bring a model into face coordinates.

    The middle of its box, seen from above, comes to ``at``; depth is scaled with width.

    Parameters
    ----------
    mesh : SourceMesh
    spec : Relief
        Its ``turn``, ``fit`` and ``at``.
    ground : Ground
        The field that ``fit = 0`` fills.

    Returns
    -------
    vertices : (n, 3) float64
        mm; the lowest point is at z = 0.

    Raises
    ------
    SpecError
        If the model is seen exactly edge-on, or is to fill a field that its middle is not on.
    """
    points = turned(mesh.vertices, spec.turn)
    low, high = points.min(axis=0), points.max(axis=0)
    span = high - low
    if min(span[0], span[1]) <= 1e-9 * max(span):
        raise SpecError(
            f"{mesh.name} is flat and seen edge-on; turn it so that its face looks up (+z)",
            key="turn",
        )
    points = points - np.array([(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, low[2]])
    if spec.fit > 0:
        scale = spec.fit / max(span[0], span[1])
    else:
        reach = float(np.sqrt(np.square(points[:, :2]).sum(axis=1).max()))
        scale = _room(spec, ground) / reach
    placed: FloatArray = points * scale
    placed[:, :2] += spec.at
    return placed


def _room(spec: Relief, ground: Ground) -> float:
    """Return how far a relief that fills the field may reach from its middle, mm."""
    room = ground.radius * (1.0 - CLEARANCE) - math.hypot(*spec.at)
    if room <= 0:
        raise SpecError(
            f"{spec.at[0]:g}, {spec.at[1]:g} is off the field of radius {ground.radius:g} mm; "
            "a relief that fills the field (fit = 0) needs its middle on it",
            key="at",
        )
    return room


def grid_round(low: FloatArray, high: FloatArray, pixels: int) -> Grid:
    """Return a grid round a box, with `MARGIN_PIXELS` empty pixels on every side.

    Parameters
    ----------
    low, high : (2,) float64
        Corners of the box, mm.
    pixels : int
        Along the larger side, margins included.
    """
    span = high - low
    pixel = float(max(span)) / max(pixels - 2 * MARGIN_PIXELS, 8)
    cols, rows = (math.ceil(side / pixel - 1e-9) + 2 * MARGIN_PIXELS for side in span)
    middle = (low + high) / 2
    return Grid(
        left=float(middle[0] - pixel * (cols - 1) / 2),
        top=float(middle[1] + pixel * (rows - 1) / 2),
        pixel=pixel,
        rows=rows,
        cols=cols,
    )


def raw_field(mesh: SourceMesh, spec: Relief, ground: Ground, pixels: int) -> HeightField:
    """Return the depth of a placed model, uncompressed.

    Parameters
    ----------
    mesh : SourceMesh
    spec : Relief
    ground : Ground
    pixels : int
        Along the larger side of the grid.

    Returns
    -------
    HeightField
        Depth of the model at its placed size, mm; the lowest point seen is at 0.

    Raises
    ------
    SpecError
        As `place`.
    """
    points = place(mesh, spec, ground)
    grid = grid_round(points[:, :2].min(axis=0), points[:, :2].max(axis=0), pixels)
    heights, _ = top_surface(points, mesh.triangles, grid)
    mask = np.isfinite(heights)
    if not mask.any():
        raise SpecError(
            f"{mesh.name} shows no surface from above; turn it so that its face looks up (+z)",
            key="turn",
        )
    heights -= heights[mask].min()
    heights[~mask] = 0.0
    return HeightField(grid, heights.astype(np.float32), mask)
