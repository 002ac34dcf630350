"""What kind of thing the source of a relief is, told by its name."""

from __future__ import annotations

from pathlib import PurePath
from typing import Literal

from .condition import Check, Condition

Kind = Literal["model", "picture", "drawing", "array"]

MODEL_FILES = (".stl", ".obj", ".ply", ".off", ".glb", ".gltf", ".3mf")
"""Endings of the files that models are read from."""

PICTURE_FILES = (".png", ".tif", ".tiff", ".jpg", ".jpeg", ".bmp", ".exr")
"""Endings of the files that depth pictures are read from."""

DRAWING_FILES = (".svg",)
"""Endings of the files that flat drawings are read from."""

_NAMES = {
    "model": "a model",
    "picture": "a depth picture",
    "drawing": "a drawing",
    "array": "an array",
}


def kind_of(source: str) -> Kind:
    """Return the kind of a relief's source; what has no ending known is read as a model."""
    if source.startswith("array:"):
        return "array"
    if source.startswith("object:"):
        return "model"
    ending = PurePath(source).suffix.lower()
    if ending in PICTURE_FILES:
        return "picture"
    return "drawing" if ending in DRAWING_FILES else "model"


def from_a(*kinds: Kind, path: str = "source") -> Condition:
    """Hold where a relief is made from one of these kinds of source."""
    names = " or ".join(_NAMES[kind] for kind in kinds)
    return Check(path, lambda name: kind_of(name) in kinds, f"= {names}", kinds)
