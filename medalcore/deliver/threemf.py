"""3MF, core specification 1.4.0: millimetres, an object per body, a base material per zone."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from ..context.medal import Medal
from ..geometry.types import BoolArray
from ..render.parts import by_body
from .text import exact_rows, integer_rows

_CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" '
    'ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>\n'
)
_RELATIONS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>\n'
)
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest time ZIP knows: the same bytes every day

ZONE_COLOURS = {
    "field": "#B08D57", "rim": "#8C6A3A", "edge": "#6E5530", "relief": "#E0C38C",
    "legend": "#F2E3BF", "inscription": "#F2E3BF", "border": "#C9A467", "emblem": "#D9B777",
    "loop": "#7A6A55", "texture": "#A07F4E",
}  # fmt: skip
"""Display colour of each zone, so that zones can be told apart in any viewer."""


def threemf_bytes(medal: Medal) -> bytes:
    """Return the piece as a 3MF package.

    Coordinates are printed with the fewest digits that give the same float32 back, so that
    different points stay different in any reader.

    Returns
    -------
    data : bytes
        The same piece gives the same bytes.
    """
    package = io.BytesIO()
    with zipfile.ZipFile(package, "w", zipfile.ZIP_DEFLATED, compresslevel=3) as archive:
        for name, text in (("[Content_Types].xml", _TYPES), ("_rels/.rels", _RELATIONS)):
            archive.writestr(_entry(name), text, compresslevel=3)
        with archive.open(_entry("3D/3dmodel.model"), "w", force_zip64=True) as stream:
            for text in _model(medal):
                stream.write(text.encode("utf-8"))
    return package.getvalue()


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, _EPOCH)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.create_system = 3  # the same on every system
    entry.external_attr = 0o644 << 16
    return entry


def _model(medal: Medal) -> Iterator[str]:
    """Yield the model part piece by piece."""
    name = "".join(c if c.isprintable() else " " for c in medal.name)  # XML allows no controls
    yield (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<model unit="millimeter" xml:lang="en" xmlns="{_CORE}">\n'
        f'<metadata name="Title">{escape(name)}</metadata>\n'
        '<metadata name="Application">Medalwright</metadata>\n'
        '<resources>\n<basematerials id="1">\n'
    )
    for zone in medal.zone_names:
        colour = ZONE_COLOURS.get(zone, "#B08D57")
        yield f'<base name={quoteattr(zone)} displaycolor="{colour}"/>\n'
    yield "</basematerials>\n"
    bodies = by_body(medal)
    for number, (part, triangles) in enumerate(bodies):
        called = f"{name}, {part}" if part else name
        yield from _object(medal, number + 2, called, triangles)
    items = "".join(f'<item objectid="{n + 2}"/>' for n in range(len(bodies)))
    yield f"</resources>\n<build>{items}</build>\n</model>\n"


def _object(medal: Medal, number: int, name: str, of: BoolArray) -> Iterator[str]:
    """Yield one object of some of the triangles, with the vertices they use."""
    used, corners = np.unique(medal.triangles[of], return_inverse=True)
    yield (
        f'<object id="{number}" type="model" name={quoteattr(name)} '
        'pid="1" pindex="0"><mesh>\n<vertices>\n'
    )
    yield from exact_rows('<vertex x="%s" y="%s" z="%s"/>\n', medal.vertices[used])
    yield "</vertices>\n<triangles>\n"
    faces = np.column_stack([corners.reshape(-1, 3), medal.zone[of].astype(np.int64)])
    yield from integer_rows('<triangle v1="%d" v2="%d" v3="%d" pid="1" p1="%d"/>\n', faces)
    yield "</triangles>\n</mesh></object>\n"
