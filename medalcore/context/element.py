"""What an element is: a pure function from its part of the spec to parts of a solid."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from ..errors import Cancelled
from ..geometry.grid import HeightField
from ..geometry.solid import Solid
from ..geometry.types import FloatArray
from .ground import Ground
from .model import Model
from .stages import Stages
from .tolerance import Tolerance

Progress = Callable[[float, str], None]
"""Called with a fraction from 0 to 1 and what is being done; may raise `Cancelled`."""

Severity = Literal["remark", "note", "warning", "error"]


LOST = 0.05
"""Share of a letter, a cell or an emblem that may be lost to other elements, steps or holes."""


@dataclass(frozen=True)
class Finding:
    """Something about the piece a person should know.

    Attributes
    ----------
    rule : str
        Short name of what was looked at, such as ``undercut``.
    severity : str
        note, warning or error; or remark: what was done, with nothing to be done about it, which
        stands in the report only.
    message : str
        One line: what was found, against what, and what would be right.
    where : str
        Spec path or zone it is about.
    measured, limit : float or None
        The numbers behind it, in mm, degrees or grams as the message says.
    """

    rule: str
    severity: Severity
    message: str
    where: str = ""
    measured: float | None = None
    limit: float | None = None


@dataclass(frozen=True)
class Unit:
    """What of an element is looked at by itself: a letter, a cell, a whole emblem.

    Attributes
    ----------
    name : str
        Such as ``letter 'F'``; empty for an element that is one unit.
    keeps : bool
        Whether it may not lose more than a twentieth of itself to other elements.
    """

    name: str = ""
    keeps: bool = False


@dataclass(frozen=True, eq=False)
class Part:
    """One solid an element contributes, in face coordinates.

    Attributes
    ----------
    solid : Solid
        Crosses the field: reaches below it where it is added, above it where it cuts.
    action : str
        ``add`` or ``cut``; ``clear`` takes away from what elements that clear nothing
        themselves add, and leaves the blank and the element's own parts alone; ``ground`` is
        cut from the blank before anything stands on it.
    units : tuple of Unit
        Its units, by the labels of its solid.
    """

    solid: Solid
    action: Literal["add", "cut", "clear", "ground"] = "add"
    units: tuple[Unit, ...] = (Unit(),)


@dataclass(frozen=True, eq=False)
class Built:
    """What an element made: its parts, measured facts for the report, and findings.

    Where what it is made from says how far it reaches, however finely it is worked,
    `footprint` holds such points on the face, (k, 2) mm, and `keep` how far they have to stay
    away from the edge of the piece, mm, for its walls and what the coarsest grid may add.
    """

    parts: tuple[Part, ...]
    facts: Mapping[str, Any] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    footprint: FloatArray | None = None
    keep: float = 0.0


def _silent(fraction: float, label: str) -> None:
    return None


@dataclass(frozen=True, eq=False)
class Context:
    """What every element may look at besides its own part of the spec.

    Attributes
    ----------
    ground : Ground
        The field of the face the element is on.
    tolerance : Tolerance
        How finely to work.
    models : mapping of str to Model or HeightField
        In-memory relief sources by the text of their ``source`` key.
    progress : callable
        See `Progress`.
    stages : Stages
        Finished stages of earlier builds, for an element that is worked in several; keeps
        nothing unless a store is handed in.
    """

    ground: Ground
    tolerance: Tolerance
    models: Mapping[str, Model | HeightField] = field(default_factory=dict)
    progress: Progress = _silent
    stages: Stages = field(default_factory=Stages)


__all__ = [
    "Built", "Cancelled", "Context", "Finding", "Model", "Part", "Progress", "Severity", "Unit",
]  # fmt: skip
