# SPDX-License-Identifier: GPL-3.0-or-later
"""Sheets that reliefs are sculpted on.

While a relief is sculpted, it points to its sheet, and drafts leave it out, so that nothing
shows through a hollow. A sheet that is deleted by hand brings the relief back.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from .. import arrays
from ..medalcore.geometry.grid import Grid, HeightField
from ..medalcore.piece.sculpt import ReliefSheet
from ..medalcore.spec import Relief
from ..props import convert, strokes

BEFORE = "medalwright_before"
"""Custom property of a sheet: the mesh of the relief before it was sculpted."""

FACES = ("obverse", "reverse")


def reliefs(piece: bpy.types.Object) -> Iterator[tuple[str, Any]]:
    """Yield every relief of a piece with its path below the spec's properties."""
    for face in FACES:
        for i, item in enumerate(getattr(piece.medalwright.spec, face).relief):
            yield f"{face}.relief[{i}]", item


def is_sheet(item: bpy.types.Object | None) -> bool:
    """Tell whether an object is a sheet to sculpt a relief on."""
    return item is not None and item.get(BEFORE) is not None and item.parent is not None


def sheet_on(relief: Any) -> bpy.types.Object | None:
    """Return the sheet a relief is being sculpted on, if it still stands in a scene."""
    sheet = relief.strokes_sheet
    if sheet is None or not sheet.users_scene or sheet.parent != relief.id_data:
        return None
    return sheet


def place_of(piece: bpy.types.Object, path: str) -> tuple[str, int] | None:
    """Return face and number of a relief among those that are built, or None if it is not."""
    face = path.partition(".")[0]
    wanted = piece.medalwright.spec.path_resolve(path)
    built = [i for i in getattr(piece.medalwright.spec, face).relief if _is_built(i)]
    return (face, built.index(wanted)) if wanted in built else None


def _is_built(relief: Any) -> bool:
    return relief.shown and not convert.missing(relief, Relief)


def open_places(piece: bpy.types.Object) -> list[tuple[str, int]]:
    """Return face and number of the reliefs that are being sculpted, among those built."""
    found = (place_of(piece, path) for path, item in reliefs(piece) if sheet_on(item))
    return [place for place in found if place is not None]


def without_open(piece: bpy.types.Object, asked: dict[str, Any]) -> dict[str, Any]:
    """Return what is asked for without the reliefs that are being sculpted."""
    places = open_places(piece)
    out = dict(asked)
    for face in {face for face, _ in places}:
        kept = [r for i, r in enumerate(asked[face]["relief"]) if (face, i) not in places]
        out[face] = {**asked[face], "relief": kept}
    return out


def models_of(piece: bpy.types.Object) -> dict[str, strokes.Arrays]:
    """Return the strokes of a piece by their names in its spec."""
    found = (item.strokes for _, item in reliefs(piece) if item.shown)
    return {
        strokes.text_of(mesh): strokes.arrays_of(mesh) for mesh in found if strokes.text_of(mesh)
    }


def remember(before: bpy.types.Mesh, made: ReliefSheet, pixel: NDArray[np.int64]) -> None:
    """Write on a mesh what `kept_strokes` will need; its vertices hold the surface itself."""
    own = pixel >= 0
    for name, values in (("medal_old", made.old), ("medal_filled", made.filled)):
        at = np.zeros(len(pixel), dtype=np.float32)
        at[own] = values.ravel()[pixel[own]]
        before.attributes.new(name, "FLOAT", "POINT").data.foreach_set("value", at)
    before.attributes.new("medal_pixel", "INT", "POINT").data.foreach_set(
        "value", pixel.astype(np.int32)
    )
    grid = made.surface.grid
    before["medal_sheet"] = json.dumps(
        {
            "grid": [grid.left, grid.top, grid.pixel, grid.rows, grid.cols],
            "frame": made.frame.tolist(),
            "placement": made.placement.tolist(),
        }
    )


def recalled(before: bpy.types.Mesh, unit: float) -> ReliefSheet:
    """Return the relief as it was given to sculpt.

    Parameters
    ----------
    before : Mesh
    unit : float
        Blender units per mm when it was made.
    """
    told = json.loads(before["medal_sheet"])
    left, top, pitch, rows, cols = told["grid"]
    grid = Grid(left, top, pitch, rows, cols)
    count = len(before.vertices)
    pixel = np.empty(count, dtype=np.int32)
    before.attributes["medal_pixel"].data.foreach_get("value", pixel)
    own = pixel >= 0
    turn = np.array(told["placement"])
    face = (arrays.points_of(before) / unit - turn[:, 3]) @ turn[:, :3]

    def on_grid(values: NDArray[Any]) -> NDArray[np.float32]:
        out = np.zeros(rows * cols, dtype=np.float32)
        out[pixel[own]] = values[own]
        return out.reshape(rows, cols)

    def attribute(name: str) -> NDArray[np.float32]:
        values = np.empty(count, dtype=np.float32)
        before.attributes[name].data.foreach_get("value", values)
        return on_grid(values)

    mask = np.zeros(rows * cols, dtype=bool)
    mask[pixel[own]] = True
    return ReliefSheet(
        HeightField(grid, on_grid(face[:, 2]), mask.reshape(rows, cols)),
        attribute("medal_old"),
        attribute("medal_filled"),
        np.array(told["frame"]),
        turn,
    )
