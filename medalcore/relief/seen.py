"""What a relief is made from: any source, as its depth seen on the face."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..cache import Stages
from ..element import Model
from ..grid import HeightField
from ..ground import Ground
from ..spec import Relief
from ..spec.kinds import kind_of
from .flat_height import flat_field
from .flat_source import Flat, read_flat
from .groups import asks_for_groups, group_weight, no_groups
from .picture_place import given_field, given_frame, picture_field, picture_frame
from .picture_source import read_picture
from .place import model_frame, raw_field
from .source import SourceMesh, read_model


@dataclass(frozen=True, eq=False)
class Seen:
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
        Returns the map from the relief's own frame to the face, see `place.model_frame`.
    weight : (rows, cols) float32 or None
        How strongly each pixel is to be modelled by the model's vertex groups; None: evenly.
    flat : Flat or None
        The outlines of a flat drawing.
    lowest : float or None
        Height above the field of what is at 0, mm, if depths are taken as heights: 0 for
        models; None where a source does not say its depths.
    """

    field: HeightField
    triangles: int
    notes: tuple[str, ...]
    frame: Callable[[], NDArray[np.float64]]
    weight: NDArray[np.float32] | None = None
    flat: Flat | None = None
    lowest: float | None = 0.0


def seen(
    spec: Relief,
    ground: Ground,
    pixels: int,
    models: Mapping[str, Model | HeightField],
    stages: Stages | None = None,
    curve: float = 0.002,
) -> Seen:
    """Look at the source of a relief from above.

    Parameters
    ----------
    spec : Relief
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
        field = flat_field(flat, spec, pixels)
        return Seen(field, 0, flat.notes, lambda: flat.frame, flat=flat, lowest=None)
    if isinstance(given, HeightField):
        field = given_field(given, spec, ground, pixels, name)
        return Seen(field, 0, (), partial(given_frame, given, spec, ground, name))
    if pictured:
        picture = read_picture(name)
        field, lowest = picture_field(picture, spec, ground, pixels, name)
        frame = partial(picture_frame, picture, spec, ground, name)
        return Seen(field, 0, picture.notes, frame, lowest=lowest)
    plain = Relief(source=name)  # whatever is asked of it, a model is read alike
    mesh = (stages or Stages()).get("model", (), plain, lambda: _mesh(name, models))
    field = raw_field(mesh, spec, ground, pixels)
    frame = partial(model_frame, mesh, spec, ground)
    weight = group_weight(mesh, spec, frame, field) if asks_for_groups(spec) else None
    return Seen(field, mesh.topology.triangles, mesh.notes, frame, weight)


def _mesh(name: str, models: Mapping[str, Model | HeightField]) -> SourceMesh:
    return read_model(name, {k: v for k, v in models.items() if isinstance(v, Model)})
