"""Strokes: what a hand has added to a relief or taken from it, kept as a height difference.

Strokes are a sheet of triangles in the relief's own frame: its origin is the middle of the
whole model as it is seen, its unit the model's larger side, before cut, crop, mirror and the
turn about z. So strokes move, grow, mirror and turn with the relief. Their z is what they add,
in millimetres: a stroke of 0.05 mm stays one whatever the height of the relief. Outside the
sheet nothing is added. A turn about x or y shows another side of the model; strokes then lie
where they lay.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ...context.element import Finding, Model
from ...errors import SourceError
from ...geometry.grid import Grid, HeightField
from ...geometry.raster import top_surface
from ...geometry.types import Float32Array, FloatArray, IntArray
from ...spec.kinds import MODEL_FILES
from ...spec.relief import Relief
from .sources.model import read_model

STROKES_MARK = "strokes:"
"""Begins the name of strokes in memory."""

LEAST = 1e-4
"""mm: a smaller difference is the rounding of float32 coordinates, not a stroke."""

_WORTH_TELLING = 0.005  # mm above the asked height


@dataclass(frozen=True, eq=False)
class WithStrokes:
    """A relief with its strokes.

    Attributes
    ----------
    field : HeightField
    facts : mapping
        By how much strokes raise and lower the relief at most, mm; empty without strokes.
    findings : tuple of Finding
    """

    field: HeightField
    facts: Mapping[str, Any]
    findings: tuple[Finding, ...]


def apply_strokes(
    field: HeightField,
    spec: Relief,
    frame: Callable[[], FloatArray],
    models: Mapping[str, Model | HeightField],
    least: float,
) -> WithStrokes:
    """Add the strokes that a relief asks for.

    Parameters
    ----------
    field : HeightField
        The compressed relief, mm.
    spec : Relief
    frame : callable
        Returns the (2, 3) map from the relief's own frame to the face, mm.
    models : mapping of str to Model or HeightField
        Strokes in memory by the text of the ``strokes`` key.
    least : float
        Height that strokes do not take the relief below, mm.

    Raises
    ------
    SourceError
        If the strokes cannot be read.
    """
    if not spec.strokes:
        return WithStrokes(field, {}, ())
    difference = on_grid(sheet_of(spec.strokes, models), frame(), field.grid)
    done = with_strokes(field, difference, least)
    change = done.heights - field.heights
    facts = {
        "strokes": spec.strokes,
        "strokes_raised_mm": round(max(float(change.max()), 0.0), 4),
        "strokes_lowered_mm": round(max(float(-change.min()), 0.0), 4),
    }
    return WithStrokes(done, facts, tuple(_findings(done, spec, change)))


def _findings(done: HeightField, spec: Relief, change: Float32Array) -> Iterator[Finding]:
    highest = float(done.heights.max())
    if highest > spec.height + _WORTH_TELLING:
        yield Finding(
            "relief-strokes", "note",
            f"strokes raise the highest point to {highest:.3f} mm above the field, where the "
            f"relief is to be {spec.height:g} mm high; lower it or drop strokes if need be",
            measured=highest,
            limit=spec.height,
        )  # fmt: skip
    if not change.any():
        yield Finding(
            "relief-strokes", "warning",
            f"{spec.strokes}: none of the strokes lies on the relief; drop them, or bring the "
            "model back to where they were made",
        )  # fmt: skip


def sheet_of(name: str, models: Mapping[str, Model | HeightField]) -> Model:
    """Return strokes by their name: in memory, or a model file.

    Raises
    ------
    SourceError
        If there is nothing of that name.
    """
    given = models.get(name)
    if isinstance(given, HeightField):
        return sheet(given)
    if given is not None:
        return given
    if name.startswith(STROKES_MARK) or Path(name).suffix.lower() not in MODEL_FILES:
        raise SourceError(
            f"{name}: there are no such strokes; they are kept in Blender, or saved as a model file"
        )
    mesh = read_model(name, {})
    return Model(mesh.vertices, mesh.triangles)


def on_grid(strokes: Model, frame: FloatArray, grid: Grid) -> HeightField:
    """Return strokes at the pixels of a grid on the face.

    Parameters
    ----------
    strokes : Model
        In the relief's own frame; z in mm.
    frame : (2, 3) float64
        From that frame to the face, mm.
    grid : Grid

    Returns
    -------
    HeightField
        The difference, mm; the mask tells where the sheet is.
    """
    points = np.empty_like(strokes.vertices)
    points[:, :2] = strokes.vertices[:, :2] @ frame[:, :2].T + frame[:, 2]
    points[:, 2] = strokes.vertices[:, 2]
    heights, _ = top_surface(points, strokes.triangles, grid)
    mask = np.isfinite(heights)
    heights[~mask] = 0.0
    return HeightField(grid, heights.astype(np.float32), mask)


def with_strokes(field: HeightField, strokes: HeightField, least: float) -> HeightField:
    """Add a height difference to a relief.

    Parameters
    ----------
    field : HeightField
        Heights above the field of the piece, mm.
    strokes : HeightField
        On the same grid, mm.
    least : float
        Strokes take no place of the relief below this height; where it is lower already, as
        in a foot that flows out, they do not take it lower.

    Returns
    -------
    HeightField
        Changed inside the mask of both only.

    Raises
    ------
    ValueError
        If the grids differ.
    """
    if strokes.grid != field.grid:
        raise ValueError("strokes must lie on the grid of the relief; see on_grid")
    both = field.mask & strokes.mask
    floor = np.minimum(field.heights, np.float32(least))
    raised = np.maximum(field.heights + strokes.heights, floor)
    return HeightField(field.grid, np.where(both, raised, field.heights), field.mask)


def stroke_difference(
    before: HeightField, vertices: FloatArray, triangles: IntArray
) -> HeightField:
    """Return what has been sculpted.

    Parameters
    ----------
    before : HeightField
        z of the surface that was given to sculpt, mm.
    vertices : (n, 3) float64
        The surface as it is now, seen from +z, mm.
    triangles : (m, 3) int64

    Returns
    -------
    HeightField
        The difference, mm, at the pixels of `before`; the mask tells where there is one.
        Where the surface is gone, nothing has changed.
    """
    heights, _ = top_surface(vertices, triangles, before.grid)
    known = before.mask & np.isfinite(heights)
    change = np.where(known, heights, 0.0) - np.where(known, before.heights, 0.0)
    change[np.abs(change) < LEAST] = 0.0
    return HeightField(before.grid, change.astype(np.float32), change != 0.0)


def sheet(difference: HeightField, frame: FloatArray | None = None) -> Model:
    """Return a height difference as strokes: a sheet that falls to 0 all round.

    Parameters
    ----------
    difference : HeightField
        mm.
    frame : (2, 3) float64, optional
        From the relief's own frame to the coordinates of the grid; without it, they are
        the same.

    Returns
    -------
    Model
        Only where there is a difference; without any, it has no triangles.
    """
    grid = difference.grid
    wide_cols = grid.cols + 2
    wide = np.pad(np.where(difference.mask, difference.heights, np.float32(0)), 1)
    some = wide != 0.0
    cell = some[:-1, :-1] | some[1:, :-1] | some[:-1, 1:] | some[1:, 1:]
    row, col = np.nonzero(cell)
    first = row * wide_cols + col
    a, b, c, d = first, first + 1, first + wide_cols, first + wide_cols + 1
    corners = np.concatenate([np.stack([a, c, b], 1), np.stack([b, c, d], 1)])
    used, triangles = np.unique(corners, return_inverse=True)
    uv: FloatArray = np.stack(
        [
            grid.left + grid.pixel * (used % wide_cols - 1.0),
            grid.top - grid.pixel * (used // wide_cols - 1.0),
        ],
        axis=1,
    )
    if frame is not None:
        uv = (uv - frame[:, 2]) @ np.linalg.inv(frame[:, :2]).T
    z = wide.ravel()[used].astype(np.float64)
    return Model(np.column_stack([uv, z]), triangles.reshape(-1, 3).astype(np.int64))
