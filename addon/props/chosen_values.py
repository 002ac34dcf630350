# SPDX-License-Identifier: GPL-3.0-or-later
"""What the last build chose for numbers that are not given."""

from __future__ import annotations

import json
import math
import re
from functools import lru_cache
from typing import Any

from ..medalcore.spec import Auto, Key, keys_of
from ..medalcore.spec.medal import Face
from . import convert


def told(group: Any, key: Key, auto: Auto) -> str:
    """Return what the panel says while the number of a key is not given."""
    number = taken(group, auto)
    if number is None:
        return auto.word
    value = f"{round(number, 2 if abs(number) >= 1.0 else 3):g}"
    unit = "°" if key.unit == "deg" else f" {key.unit}"
    return f"{auto.word}: {value}{unit}".rstrip()


def taken(group: Any, auto: Auto) -> float | None:
    """Return what was chosen in the last build, in the unit of the spec."""
    report = group.id_data.data.medalwright.report
    if not (auto.fact and report):
        return None
    found = _elements(report).get(_place(group), {}).get(auto.fact)
    if isinstance(found, list):
        found = max(found)
    return float(found) if isinstance(found, (int, float)) and math.isfinite(found) else None


@lru_cache(maxsize=16)
def _elements(report: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(report).get("elements", {})
    return found


def _place(group: Any) -> str:
    """Return where the report tells of a group: elements that are left out have no number."""
    path = group.path_from_id().removeprefix("medalwright.spec.")
    if re.match(r"(blank|edge)\b", path):
        return "blank"
    found = re.fullmatch(r"(\w+)\.(\w+)\[(\d+)\]", path)
    if not found:
        return str(path)
    face, name, number = found.groups()
    items = getattr(getattr(group.id_data.medalwright.spec, face), name)
    before = sum(_is_built(item, name) for item in items[: int(number)])
    return f"{face}.{name}[{before}]"


def _is_built(item: Any, name: str) -> bool:
    table = next(key.table for key in keys_of(Face) if key.name == name)
    return item.shown and table is not None and not convert.missing(item, table)
