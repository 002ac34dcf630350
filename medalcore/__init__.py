r"""Medalwright's core: from a spec to a two-sided piece as one closed solid.

>>> import medalcore
>>> spec = medalcore.parse_spec('[blank]\ndiameter = 20.0')
>>> medal = medalcore.build(spec, "draft")
>>> medal.is_closed
True
"""

from .build import build
from .cache import StageCache
from .element import Finding, Model
from .errors import Cancelled, MedalError, SolidError, SourceError, SpecError
from .grid import HeightField, height_field
from .medal import Medal
from .spec import MedalSpec, parse_spec, read_spec, write_spec

__version__ = "0.1.0"

__all__ = [
    "Cancelled",
    "Finding",
    "HeightField",
    "Medal",
    "MedalError",
    "MedalSpec",
    "Model",
    "SolidError",
    "SourceError",
    "SpecError",
    "StageCache",
    "build",
    "height_field",
    "parse_spec",
    "read_spec",
    "write_spec",
]
