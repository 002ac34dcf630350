"""The ground rules of every spec table: frozen, closed to unknown keys, self-describing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

import msgspec
from msgspec import Meta


class Table(
    msgspec.Struct,
    frozen=True,
    kw_only=True,
    forbid_unknown_fields=True,
    omit_defaults=True,
):
    """A TOML table as plain frozen data."""


def doc(
    text: str,
    *,
    unit: str = "",
    when: Mapping[str, tuple[Any, ...]] | None = None,
    **limits: Any,
) -> Meta:
    """Describe a key: sentence, unit, where it applies, and its limits.

    Parameters
    ----------
    text : str
        One sentence for editors, the commented spec and Blender's tooltips.
    unit : str
        ``mm``, ``deg``, ``g`` or empty.
    when : mapping, optional
        Other keys of the same table and the values of theirs for which this key counts,
        for example ``{"outline": ("oval",)}``. Interfaces hide the key elsewhere.
    **limits
        `msgspec.Meta` limits: gt, ge, lt, le, min_length, max_length, pattern.
    """
    extra: dict[str, Any] = {"unit": unit, "when": dict(when or {})}
    schema = {"x-unit": unit} if unit else None
    return Meta(description=text, extra=extra, extra_json_schema=schema, **limits)


Overlap = Annotated[
    bool,
    doc(
        "Let other elements cover it or cut into it; otherwise it is an error if more than a "
        "twentieth of a letter, a cell or an emblem is lost to them"
    ),
]
Pair = Annotated[tuple[float, float], Meta(description="right and up, mm")]
Triple = Annotated[tuple[float, float, float], Meta(description="three numbers")]
