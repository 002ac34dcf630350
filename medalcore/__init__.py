r"""Medalwright's core: from a spec to a two-sided piece as one closed solid.

>>> import medalcore
>>> spec = medalcore.parse_spec('[blank]\ndiameter = 20.0')
>>> medal = medalcore.build(spec, "draft")
>>> medal.is_closed
True
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from .context.element import Finding
    from .context.medal import Medal
    from .context.model import Model
    from .context.stages import StageCache
    from .errors import Cancelled, MedalError, SolidError, SourceError, SpecError
    from .geometry.grid import HeightField, height_field
    from .piece.build import build
    from .spec import MedalSpec, parse_spec, read_spec, write_spec

_HOMES = {
    "Cancelled": "errors",
    "Finding": "context.element",
    "HeightField": "geometry.grid",
    "Medal": "context.medal",
    "MedalError": "errors",
    "MedalSpec": "spec",
    "Model": "context.model",
    "SolidError": "errors",
    "SourceError": "errors",
    "SpecError": "errors",
    "StageCache": "context.stages",
    "build": "piece.build",
    "height_field": "geometry.grid",
    "parse_spec": "spec",
    "read_spec": "spec",
    "write_spec": "spec",
}
"""Where each public name lives. It is loaded when it is asked for: help on the command line comes
at once, and a loading that is stopped is stopped in the command's own hands."""


def __getattr__(name: str) -> Any:
    """Load a public name from where it lives (PEP 562)."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f".{_HOMES[name]}", __name__), name)
    globals()[name] = value
    return value


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
