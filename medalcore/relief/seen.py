"""What a relief is made from: any source, as its depth seen on the face."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from ..element import Model
from ..grid import HeightField
from ..ground import Ground
from ..spec import Relief
from .picture_place import given_field, picture_field
from .picture_source import PICTURE_FILES, read_picture
from .place import raw_field
from .source import read_model, source_mesh


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
    """

    field: HeightField
    triangles: int
    notes: tuple[str, ...]


def seen(
    spec: Relief, ground: Ground, pixels: int, models: Mapping[str, Model | HeightField]
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

    Raises
    ------
    SourceError
        If the source cannot be read.
    SpecError
        If it cannot be placed as asked.
    """
    name = spec.source
    given = models.get(name)
    if isinstance(given, HeightField):
        return Seen(given_field(given, spec, ground, pixels, name), 0, ())
    if (
        given is None
        and not name.startswith("object:")
        and Path(name).suffix.lower() in PICTURE_FILES
    ):
        picture = read_picture(name)
        return Seen(picture_field(picture, spec, ground, pixels, name), 0, picture.notes)
    if given is not None:
        mesh = source_mesh(given.vertices, given.triangles, name)
    else:
        mesh = read_model(name, {k: v for k, v in models.items() if isinstance(v, Model)})
    field = raw_field(mesh, spec, ground, pixels)
    return Seen(field, mesh.topology.triangles, mesh.notes)
