"""A relief as a sheet to sculpt on, and the strokes that were made on it.

For an interface: `relief_sheet` gives the surface as it is, dense and even; whatever hand or
tool changes it, `kept_strokes` reads the change back as strokes (`relief.strokes`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ..context.element import Context, Model
from ..context.ground import placement
from ..context.tolerance import TOLERANCES
from ..elements.blank import build_blank
from ..elements.relief import model_relief
from ..elements.relief.strokes import sheet, stroke_difference
from ..errors import SpecError
from ..geometry.grid import HeightField
from ..geometry.solid import Side
from ..geometry.types import BoolArray, Float32Array, FloatArray, IntArray
from ..spec import MedalSpec
from .free_field import AROUND, free_field
from .registry import ELEMENTS

_SINK = 0.08
"""mm that the rim of the sheet lies below the field, so that it stands on the piece."""


@dataclass(frozen=True, eq=False)
class ReliefSheet:
    """The surface of a relief before it is sculpted.

    Attributes
    ----------
    surface : HeightField
        z of the relief in face coordinates, mm.
    old : (rows, cols) float32
        What strokes did to it so far, mm.
    filled : (rows, cols) float32
        By how much draft has raised it, mm.
    frame : (2, 3) float64
        From the relief's own frame to the face, mm.
    placement : (3, 4) float64
        From the face to the piece.
    """

    surface: HeightField
    old: Float32Array
    filled: Float32Array
    frame: FloatArray
    placement: FloatArray


def relief_sheet(
    spec: MedalSpec,
    face: str,
    index: int,
    models: Mapping[str, Model | HeightField],
    *,
    pixels: int = 512,
) -> ReliefSheet:
    """Return the surface of one relief of a piece, strokes and draft included.

    Parameters
    ----------
    spec : MedalSpec
    face : {"obverse", "reverse"}
    index : int
        Of the relief on its face.
    models : mapping of str to Model or HeightField
        As for `build`.
    pixels : int
        Along the larger side of the sheet.

    Raises
    ------
    SpecError, SourceError
        As `build`; or if there is no such relief.
    """
    reliefs = getattr(spec, face).relief
    if not 0 <= index < len(reliefs):
        raise SpecError(f"has no relief {index}; it has {len(reliefs)}", key=face)
    tolerance = replace(TOLERANCES["draft"], pixels=pixels)
    blank = build_blank(spec, tolerance)
    ground = blank.obverse if face == "obverse" else blank.reverse
    context = Context(ground, tolerance, models)
    tables = [(kind, t) for kind in AROUND for t in getattr(getattr(spec, face), kind)]
    around = [ELEMENTS[kind](table, context) for kind, table in tables]
    ground = free_field(ground, spec.blank.thickness / 2.0, around)
    try:
        made = model_relief(reliefs[index], replace(context, ground=ground))
        frame = made.source.frame()
    except SpecError as error:
        raise error.at(f"{face}.relief[{index}]") from None
    grid, mask = made.field.grid, made.field.mask
    filled = np.maximum(made.field.heights - made.worked.heights, np.float32(0))
    if made.source.flat is not None:  # its walls are put up anew, from strokes on both sides
        filled = np.zeros_like(filled)
    field = ground.height(np.stack(np.meshgrid(grid.u(), grid.v()), axis=-1))
    side: Side = 1 if face == "obverse" else -1
    return ReliefSheet(
        surface=HeightField(grid, (field + made.field.heights).astype(np.float32), mask),
        old=made.worked.heights - made.bare.heights,
        filled=filled,
        frame=frame,
        placement=placement(spec.medal.alignment, side),
    )


def sheet_mesh(made: ReliefSheet) -> tuple[FloatArray, IntArray, IntArray]:
    """Return the sheet as a mesh of squares, in the coordinates of the piece.

    One ring of squares beyond the outline carries its height on, so that strokes reach the
    outline; the next goes down into the field.

    Returns
    -------
    vertices : (n, 3) float64, mm
    squares : (m, 4) int64
        Counter-clockwise seen from outside.
    pixel : (n,) int64
        Flat index of each vertex in the sheet's grid; −1 beyond the grid.
    """
    wide = 2
    z = np.pad(made.surface.heights.astype(np.float64), wide)
    inside = np.pad(made.surface.mask, wide)
    near = _grown(inside)
    level = np.where(inside, z, -np.inf)
    z = np.where(near & ~inside, _highest_beside(level), z)
    rim = _grown(near) & ~near
    grid = made.surface.grid
    u = grid.left + grid.pixel * (np.arange(grid.cols + 2 * wide) - wide)
    v = grid.top - grid.pixel * (np.arange(grid.rows + 2 * wide) - wide)
    lowest = float(made.surface.heights[made.surface.mask].min())
    z[rim] = lowest - _SINK
    sheet_of = near | rim
    cell = sheet_of[:-1, :-1] & sheet_of[1:, :-1] & sheet_of[:-1, 1:] & sheet_of[1:, 1:]
    row, col = np.nonzero(cell)
    first, cols = row * sheet_of.shape[1] + col, sheet_of.shape[1]
    corners = np.stack([first + cols, first + cols + 1, first + 1, first], axis=1)
    used, squares = np.unique(corners, return_inverse=True)
    at_row, at_col = used // cols, used % cols
    face = np.column_stack([u[at_col], v[at_row], z.ravel()[used]])
    turn = made.placement
    own = inside.ravel()[used]
    pixel = np.where(own, (at_row - wide) * grid.cols + at_col - wide, -1)
    return face @ turn[:, :3].T + turn[:, 3], squares.reshape(-1, 4), pixel


def _grown(mask: BoolArray) -> BoolArray:
    out = mask.copy()
    out[1:] |= mask[:-1]
    out[:-1] |= mask[1:]
    across = out.copy()
    across[:, 1:] |= out[:, :-1]
    across[:, :-1] |= out[:, 1:]
    return across


def _highest_beside(level: FloatArray) -> FloatArray:
    """Return the highest of each pixel and its eight neighbours."""
    out = level.copy()
    np.maximum(out[1:], level[:-1], out=out[1:])
    np.maximum(out[:-1], level[1:], out=out[:-1])
    across = out.copy()
    np.maximum(across[:, 1:], out[:, :-1], out=across[:, 1:])
    np.maximum(across[:, :-1], out[:, 1:], out=across[:, :-1])
    return across


def kept_strokes(made: ReliefSheet, vertices: FloatArray, triangles: IntArray) -> Model:
    """Return all strokes of a relief: those it had, and what has been sculpted since.

    Parameters
    ----------
    made : ReliefSheet
        As it was given to sculpt.
    vertices : (n, 3) float64
        The sheet as it is now, of whatever triangles, in the coordinates of the piece, mm.
    triangles : (m, 3) int64

    Returns
    -------
    Model
        In the relief's own frame, see `relief.strokes`; no triangles if there are none.
    """
    turn = made.placement
    face = (vertices - turn[:, 3]) @ turn[:, :3]  # its inverse: a rotation
    new = stroke_difference(made.surface, face, triangles)
    # where draft has filled a hollow, a stroke begins at the filling, not below it
    start = made.old + np.where(new.heights > 0.0, made.filled, np.float32(0))
    total = (start + new.heights).astype(np.float32)
    return sheet(HeightField(new.grid, total, total != 0.0), made.frame)
