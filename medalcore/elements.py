"""The registry: which function builds which table of a face.

A new kind of element is one new module and one line here (and its table in `spec`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from .border import build_border
from .element import Built, Context
from .emblem import build_emblem
from .lettering import build_exergue, build_inscription, build_legend
from .relief import build_relief
from .texture import build_texture

Builder = Callable[[Any, Context], Built]

ELEMENTS: Mapping[str, Builder] = {
    "relief": build_relief,
    "legend": build_legend,
    "inscription": build_inscription,
    "exergue": build_exergue,
    "border": build_border,
    "emblem": build_emblem,
    "texture": build_texture,
}
