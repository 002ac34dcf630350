"""The ground rules of every spec table: frozen, closed to unknown keys, self-describing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Literal

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
    folds : mapping
        Where inherited keys are folded away, by their names, see `doc`.
    """

    only_with: ClassVar[Condition | None] = None
    further: ClassVar[Mapping[str, Condition]] = {}
    folds: ClassVar[Mapping[str, str]] = {}


@dataclass(frozen=True)
class Auto:
    """What a number is while it is 0, which no such number can be when it is given.

    Attributes
    ----------
    fact : str
        Fact of the report, beside those of its table, that tells what was chosen; empty if none.
    start : float
        What it begins at when it is to be given and no fact is known.
    word : str
        What stands in place of a number.
    """

    fact: str = ""
    start: float = 1.0
    word: str = "Auto"


def chosen(fact: str = "", start: float = 1.0, word: str = "Auto") -> Auto:
    """Declare that a number is chosen by the build while it is 0, see `Auto`."""
    return Auto(fact, start, word)


def left_away(start: float) -> Auto:
    """Declare that what a number asks for is left away while it is 0, see `Auto`."""
    return Auto("", start, "None")


Role = Literal["", "angle", "file", "font", "group", "lines", "metal", "model", "strokes"]
"""What a text or a number stands for, where its type does not say so: an angle beside words, a
file, a typeface, a vertex group, lines, a metal of the table, what a relief is made from,
sculpted strokes."""


def doc(
    text: str = "",
    *,
    unit: str = "",
    label: str = "",
    role: Role = "",
    words: Mapping[str, str] | None = None,
    auto: Auto | None = None,
    fold: str = "",
    first: int = 0,
    when: Condition | None = None,
    is_note: bool = False,
    **limits: Any,
) -> Meta:
    """Describe a key once, for errors, schema, template and panel.

    Parameters
    ----------
    text : str
        One sentence for editors, the commented spec and Blender's tooltips.
    unit : str
        ``mm``, ``deg``, ``g`` or empty.
    label : str
        Title in a panel, where the key's own name would not tell an artist what it does.
    role : str
        See `Role`.
    words : mapping, optional
        Titles of words to choose from that are not plain as they are.
    auto : Auto, optional
        What the number is while it is 0.
    fold : str
        Title under which a panel folds it away, as looked for less often.
    first : int
        Its place among the keys that stand first in a panel, from 1; 0 for none of them.
    when : Condition, optional
        Where this key counts. Given elsewhere it is refused, and interfaces hide it.
    is_note : bool
        Whether it is only told, not refused, that the key has no effect: where what it waits
        for stands in another table, or another key only goes before it.
    **limits
        `msgspec.Meta` limits: gt, ge, lt, le, min_length, max_length, pattern.
    """
    said = {
        "unit": unit, "when": when, "is_note": is_note, "label": label, "role": role,
        "words": words, "auto": auto, "fold": fold, "first": first,
    }  # fmt: skip
    extra = {name: value for name, value in said.items() if value}
    schema = {"x-unit": unit} if unit else {}
    if when is not None:
        schema["x-counts-with"] = when.words()
    return Meta(description=text or None, extra=extra, extra_json_schema=schema or None, **limits)


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
