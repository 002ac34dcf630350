"""What a relief is made from: any source, as its depth seen on the face."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np

from ....context.containment import farthest
from ....context.element import Model
from ....context.ground import Ground
from ....context.stages import Stages
from ....geometry.grid import HeightField
from ....geometry.types import Float32Array, FloatArray
from ....spec import Relief
from ....spec.kinds import kind_of
from ..keys import SourceKeys
from ..sources.drawing import Flat, read_flat
from ..sources.model import SourceMesh, read_model
from ..sources.pictures.depth_picture import read_picture
from .drawing_depth import drawing_depth
from .picture_placement import (
    given_field,
    given_frame,
    given_outline,
    picture_field,
    picture_frame,
    picture_outline,
)
from .placement import model_frame, place_mesh, raw_field
from .vertex_groups import asks_for_groups, group_weight, no_groups


@dataclass(frozen=True, eq=False)
class SourceDepth:
    """A source as it is seen from above at its place.

    Attributes
    ----------
    field : HeightField
        Uncompressed depth, mm; the lowest point seen is at 0.
    triangles : int
        Triangles of the model; 0 for pictures and height fields.
    notes : tuple of str
        What a person should know of the source, one line each.
    frame : callable
        Returns the map from the relief's own frame to the face, see `placement.model_frame`.
    weight : (rows, cols) float32 or None
        How strongly each pixel is to be modelled by the model's vertex groups; None: evenly.
    flat : Flat or None
        The outlines of a flat drawing.
    lowest : float or None
        Height above the field of what is at 0, mm, if depths are taken as heights: 0 for
        models; None where a source does not say its depths.
    footprint : (k, 2) float64 or None
        How far it reaches on the face in many directions, mm, whatever the pixels.
    """

    field: HeightField
    triangles: int
    notes: tuple[str, ...]
    frame: Callable[[], FloatArray]
    weight: Float32Array | None = None
    flat: Flat | None = None
    lowest: float | None = 0.0
    footprint: FloatArray | None = None


def see_source(
    spec: SourceKeys,
    ground: Ground,
    pixels: int,
    models: Mapping[str, Model | HeightField],
    stages: Stages | None = None,
    curve: float = 0.002,
) -> SourceDepth:
    """Look at the source of a relief from above.

    Parameters
    ----------
    spec : SourceKeys
    ground : Ground
    pixels : int
        Along the larger side of the grid.
    models : mapping of str to Model or HeightField
        Sources in memory by the text of their ``source`` key; they come before files.
    stages : Stages, optional
        Where models once read are kept.
    curve : float
        Largest distance between the curves of a flat drawing and its outlines, mm.

    Raises
    ------
    SourceError
        If the source cannot be read.
    SpecError
        If it cannot be placed as asked.
    """
    name = spec.source
    given = models.get(name)
    kind = kind_of(name) if given is None else ""
    pictured, drawn = kind == "picture", kind == "drawing"
    if asks_for_groups(spec) and (pictured or drawn or isinstance(given, HeightField)):
        raise no_groups(spec, name)
    if drawn:
        flat = read_flat(name, spec, ground, curve)
        field = drawing_depth(flat, spec, pixels)
        return SourceDepth(
            field,
            0,
            flat.notes,
            lambda: flat.frame,
            flat=flat,
            lowest=None,
            footprint=_reach(np.concatenate(flat.levels[0]), spec),
        )
    if isinstance(given, HeightField):
        field = given_field(given, spec, ground, pixels, name)
        reach = _reach(given_outline(given, spec, ground, name), spec)
        frame = partial(given_frame, given, spec, ground, name)
        return SourceDepth(field, 0, (), frame, footprint=reach)
    if pictured:
        picture = read_picture(name)
        field, lowest = picture_field(picture, spec, ground, pixels, name)
        frame = partial(picture_frame, picture, spec, ground, name)
        reach = _reach(picture_outline(picture, spec, ground, name), spec)
        return SourceDepth(field, 0, picture.notes, frame, lowest=lowest, footprint=reach)
    plain = Relief(source=name)  # whatever is asked of it, a model is read alike
    mesh = (stages or Stages()).get("model", (), plain, lambda: _mesh(name, models))
    field = raw_field(mesh, spec, ground, pixels)
    frame = partial(model_frame, mesh, spec, ground)
    weight = group_weight(mesh, spec, frame, field) if asks_for_groups(spec) else None
    reach = _reach(place_mesh(mesh, spec, ground)[0][:, :2], spec)
    return SourceDepth(field, mesh.topology.triangles, mesh.notes, frame, weight, footprint=reach)


def _reach(points: FloatArray, spec: SourceKeys) -> FloatArray:
    """Return the farthest of points (n, 2) on the face, mm, those outside a crop drawn into it."""
    away = farthest(points - spec.at)
    if spec.crop.shape != "none":
        shares = 2.0 * np.abs(away) / (spec.crop.width, spec.crop.height)
        far = shares.max(axis=1) if spec.crop.shape == "rectangle" else np.hypot(*shares.T)
        away = away / np.maximum(far, 1.0)[:, None]
    return away + spec.at


def _mesh(name: str, models: Mapping[str, Model | HeightField]) -> SourceMesh:
    return read_model(name, {k: v for k, v in models.items() if isinstance(v, Model)})
