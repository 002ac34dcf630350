"""What the spec's types say about themselves, for errors, schema, template and panels."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache, reduce
from operator import and_
from typing import Any

import msgspec
from msgspec import NODEFAULT, inspect

from .base import Auto, Role, Table
from .condition import Condition


@dataclass(frozen=True)
class Key:
    """One key of a table, as interfaces need it.

    Attributes
    ----------
    kind : str
        ``float``, ``int``, ``bool``, ``str``, ``choice``, ``vector``, ``table``, ``tables``.
    choices : tuple of str
        The allowed words of a choice, or the words allowed beside a number or a text.
    low, high : float or None
        Inclusive or exclusive limits; `open_low` tells that `low` itself is not allowed.
    size : int
        Length of a vector.
    table : type or None
        The table class of ``table`` and ``tables``.
    when : Condition or None
        Where this key counts; None is everywhere.
    is_note : bool
        Whether it is only told that it does not count.
    label, role, words, auto, fold, first
        What a panel knows of it, see `doc`.
    """

    name: str
    kind: str
    text: str = ""
    unit: str = ""
    default: Any = None
    required: bool = False
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    open_low: bool = False
    size: int = 0
    table: type[Table] | None = None
    when: Condition | None = None
    is_note: bool = False
    label: str = ""
    role: Role = ""
    words: Mapping[str, str] = field(default_factory=dict)
    auto: Auto | None = None
    fold: str = ""
    first: int = 0

    def allowed(self) -> str:
        """Say in words what the key takes."""
        unit = f" {self.unit}" if self.unit else ""
        if self.kind in ("float", "int"):
            noun = "a number" if self.kind == "float" else "a whole number"
            text = noun + _limits(self, unit)
            words = ", ".join(f'"{c}"' for c in self.choices)
            return f"{words} or {text}" if words else text
        if self.kind == "choice":
            return "one of " + ", ".join(f'"{c}"' for c in self.choices)
        if self.kind == "vector":
            return f"a list of {self.size} numbers{f' in{unit}' if unit else ''}"
        return {"bool": "true or false", "str": "text in quotes", "table": "a table [...]"}.get(
            self.kind, "a list of tables [[...]]"
        )


def _limits(key: Key, unit: str) -> str:
    if key.low is not None and key.high is not None:
        return f" {'above' if key.open_low else 'from'} {key.low:g} to {key.high:g}{unit}"
    if key.low is not None:
        return f" {'above' if key.open_low else 'of at least'} {key.low:g}{unit}"
    return unit and f" in{unit}"


@cache
def keys_of(table: type[Table]) -> tuple[Key, ...]:
    """Return the keys of a table class, in the order they are written."""
    info = inspect.type_info(table)
    assert isinstance(info, inspect.StructType)
    return tuple(_waiting(table, _key(f)) for f in info.fields)


def _waiting(table: type[Table], key: Key) -> Key:
    """Return a key with what its table makes it wait for."""
    found = [table.only_with, table.further.get(key.name), key.when]
    parts = [c for c in found if c and key.name not in {check.path for check in c.checks()}]
    when = None if not parts else reduce(and_, parts)
    return replace(key, when=when, fold=table.folds.get(key.name, key.fold))


_TOLD = ("unit", "when", "is_note", "label", "role", "words", "auto", "fold", "first")


def _key(f: inspect.Field) -> Key:
    meta: dict[str, Any] = {}
    node: Any = f.type
    text = ""
    while isinstance(node, inspect.Metadata):
        meta = {**(node.extra or {}), **meta}
        text = text or (node.extra_json_schema or {}).get("description", "")
        node = node.type
    default = f.default if f.default is not NODEFAULT else None
    if f.default_factory is not NODEFAULT:
        default = f.default_factory()
    common: dict[str, Any] = {
        "name": f.encode_name,
        "text": text,
        "default": default,
        "required": f.required,
        **{k: meta[k] for k in _TOLD if k in meta},
    }
    return Key(**common, **_shape(node))


def _shape(node: Any) -> dict[str, Any]:
    """Return kind, choices and limits of a type node."""
    while isinstance(node, inspect.Metadata):
        node = node.type
    if isinstance(node, inspect.StructType):
        return {"kind": "table", "table": node.cls}
    if isinstance(node, inspect.VarTupleType):
        inner = _shape(node.item_type)
        if inner["kind"] == "table":
            return {"kind": "tables", "table": inner["table"]}
        return {"kind": "list"}
    if isinstance(node, inspect.TupleType):
        return {"kind": "vector", "size": len(node.item_types)}
    if isinstance(node, inspect.LiteralType):
        return {"kind": "choice", "choices": tuple(str(v) for v in node.values)}
    if isinstance(node, inspect.UnionType):
        merged: dict[str, Any] = {}
        for part in sorted(map(_shape, node.types), key=lambda p: p["kind"] == "choice"):
            choices = merged.get("choices", ()) + part.get("choices", ())
            merged = {**part, **merged, "choices": choices}
        return merged
    if isinstance(node, inspect.BoolType):
        return {"kind": "bool"}
    if isinstance(node, inspect.IntType | inspect.FloatType):
        low = node.gt if node.gt is not None else node.ge
        high = node.lt if node.lt is not None else node.le
        kind = "int" if isinstance(node, inspect.IntType) else "float"
        return {"kind": kind, "low": low, "high": high, "open_low": node.gt is not None}
    return {"kind": "none" if isinstance(node, inspect.NoneType) else "str"}


def walk(table: Table, prefix: str = "") -> Iterator[tuple[str, Table]]:
    """Yield every table of a spec with its dotted path, outermost first."""
    yield prefix, table
    for name in table.__struct_fields__:
        value = getattr(table, name)
        path = f"{prefix}.{name}" if prefix else name
        if isinstance(value, Table):
            yield from walk(value, path)
        elif isinstance(value, tuple) and value and isinstance(value[0], Table):
            for i, item in enumerate(value):
                yield from walk(item, f"{path}[{i}]")


def json_schema(table: type[Table]) -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a spec, for editors that complete TOML."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **msgspec.json.schema(table),
    }
