"""The registry: which function builds which table of a face.

A new kind of element is one new module and one line here (and its table in `spec`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from ..context.element import Built, Context
from ..elements.border import build_border
from ..elements.emblem import build_emblem
from ..elements.lettering import build_exergue, build_inscription, build_legend
from ..elements.lettering.fonts import locate
from ..elements.lettering.shaping import read_axes
from ..elements.relief import build_relief
from ..elements.texture import build_texture
from ..errors import SourceError, SpecError
from ..spec import Table, walk

Builder = Callable[[Any, Context], Built]

ELEMENTS: Mapping[str, Builder] = {
    "border": build_border,
    "legend": build_legend,  # after the borders: it may stand inside them
    "inscription": build_inscription,
    "exergue": build_exergue,
    "relief": build_relief,  # after what runs round the field: it may fill what that leaves
    "emblem": build_emblem,
    "texture": build_texture,
}


def files_of(table: Table) -> tuple[str, ...]:
    """Return the files a table rests on without naming them itself: those of its typefaces.

    A font may be named by its family, or as one face of a collection.
    """
    found = []
    for _, part in walk(table):
        font = getattr(part, "font", "")
        try:
            found += [str(locate(font, read_axes(getattr(part, "axes", "")))[0])] if font else []
        except (SourceError, SpecError):  # for the element's own builder to tell
            continue
    return tuple(found)
