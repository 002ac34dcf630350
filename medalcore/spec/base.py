"""The ground rules of every spec table: frozen, closed to unknown keys, self-describing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, ClassVar

import msgspec
from msgspec import Meta

from .condition import Condition


class Table(
    msgspec.Struct,
    frozen=True,
    kw_only=True,
    forbid_unknown_fields=True,
    omit_defaults=True,
):
    """A TOML table as plain frozen data.

    Attributes
    ----------
    only_with : Condition or None
        Where the whole table counts, but for the keys that the condition asks.
    further : mapping
        What inherited keys wait for besides what they say themselves, by their names.
    """

    only_with: ClassVar[Condition | None] = None
    further: ClassVar[Mapping[str, Condition]] = {}


def doc(
    text: str,
    *,
    unit: str = "",
    when: Condition | None = None,
    is_note: bool = False,
    **limits: Any,
) -> Meta:
    """Describe a key: sentence, unit, where it applies, and its limits.

    Parameters
    ----------
    text : str
        One sentence for editors, the commented spec and Blender's tooltips.
    unit : str
        ``mm``, ``deg``, ``g`` or empty.
    when : Condition, optional
        Where this key counts. Given elsewhere it is refused, and interfaces hide it.
    is_note : bool
        Whether it is only told, not refused, that the key has no effect: where what it waits
        for stands in another table, or another key only goes before it.
    **limits
        `msgspec.Meta` limits: gt, ge, lt, le, min_length, max_length, pattern.
    """
    extra: dict[str, Any] = {"unit": unit, "when": when, "is_note": is_note}
    schema = {"x-unit": unit} if unit else {}
    if when is not None:
        schema["x-counts-with"] = when.words()
    return Meta(description=text, extra=extra, extra_json_schema=schema or None, **limits)


Overlap = Annotated[
    bool,
    doc(
        "Let other elements cover it or cut into it; otherwise it is an error if more than a "
        "twentieth of a letter, a cell or an emblem is lost to them"
    ),
]
Pair = Annotated[tuple[float, float], Meta(description="right and up, mm")]
Triple = Annotated[tuple[float, float, float], Meta(description="three numbers")]

IN_MEMORY = ("object:", "array:")
"""What names of sources begin with that are no files: of Blender, and of Python."""
