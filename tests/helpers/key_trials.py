"""Trials of keys: every key set in every kind of its table, and the pieces compared.

Where a key is said to count, another value must give another piece; where it is said not to,
the same one. Keys outside their conditions must be refused or told.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest import mock

from key_values import BESIDE, FILES, LEFT_OUT, PLACES, TOLD_ONLY, VALUES, Data

from medalcore.errors import MedalError
from medalcore.piece.build import build
from medalcore.spec import Key, MedalSpec, Table, keys_of, spec_from_dict
from medalcore.spec.condition import All, Any_, Check, Condition, Not

Ways = list[dict[str, Any]]


@dataclass(frozen=True)
class Trial:
    """A key in a context, and two values of it.

    Attributes
    ----------
    path : str
        Of the table.
    key : Key
    context : mapping
        What else is set, by paths from the table.
    values : (a, b)
    """

    path: str
    table: type[Table]
    key: Key
    context: Mapping[str, Any]
    values: tuple[Any, Any]

    def data(self, value: Any) -> Data:
        """Return the spec with one of the values."""
        data = copy.deepcopy({**PLACES[self.path]})
        data.setdefault("blank", {}).setdefault("diameter", 20.0)
        context = {**BESIDE.get((self.table.__name__, self.key.name), {}), **self.context}
        for where, given in {**context, self.key.name: value}.items():
            put(data, self.path, where, given)
            if given in ("motif", "drawing") and "drawing" not in self.context:
                put(data, self.path, where.rpartition(".")[0] + "drawing", "crest.svg")
        for where, given in context.items():
            put(data, self.path, where, given)
        put(data, self.path, self.key.name, value)
        return data

    def __str__(self) -> str:
        told = ", ".join(f"{k} = {v!r}" for k, v in self.context.items())
        return f"{self.path}.{self.key.name} {self.values}{f' with {told}' if told else ''}"


def put(data: Data, path: str, where: str, value: Any) -> None:
    """Set a key in plain data, by its path from a table; see `View.find`."""
    steps = path.split(".")
    while where.startswith("^"):
        steps, where = steps[:-1], where[1:]
    if where.startswith("/"):
        steps, where = [], where[1:]
    *inner, name = where.split(".")
    place: Any = data
    for step in [*steps, *inner]:
        bare, _, number = step.partition("[")
        place = place.setdefault(bare, {} if not number else [{}])
        place = place[int(number[:-1])] if number else place
    place[name] = list(value) if isinstance(value, tuple) else value


def table_at(path: str) -> type[Table]:
    """Return the class of a table by its path."""
    table: type[Table] = MedalSpec
    for step in re.sub(r"\[\d+\]", "", path).split("."):
        key = next(k for k in keys_of(table) if k.name == step)
        assert key.table is not None
        table = key.table
    return table


def owner_of(path: str, where: str) -> tuple[str, str]:
    """Return the path of the table and the name that a condition's path leads to."""
    steps = path.split(".")
    while where.startswith("^"):
        steps, where = steps[:-1], where[1:]
    if where.startswith("/"):
        steps, where = [], where[1:]
    *inner, name = where.split(".")
    return ".".join([*steps, *inner]), name


def values_of(table: type[Table], key: Key) -> tuple[Any, Any] | None:
    """Return two values of a key, neither 0 nor empty where that may leave something away."""
    known = VALUES.get((table.__name__, key.name))
    if known or (table.__name__, key.name) in LEFT_OUT:
        return known if (table.__name__, key.name) not in LEFT_OUT else None
    if key.kind == "choice":
        return (key.default, next(word for word in key.choices if word != key.default))
    if key.kind == "bool":
        return (key.default, not key.default)
    if key.kind == "vector":
        return (key.default, tuple([0.4] * key.size))
    if key.kind == "float" and key.unit == "deg" and not key.default:
        return (0.0, 10.0)
    if key.kind in ("int", "float"):
        first = key.default or (key.low or 0) + 1
        more = first + 1 if key.kind == "int" else round(first * 1.15, 4)
        return (first, more) if key.high is None or more <= key.high else (first, first * 0.8)
    return ("AVA", "TO") if key.kind == "str" else None


def ways(condition: Condition | None, path: str, wanted: bool = True) -> Ways:
    """Return how a condition on a table at `path` comes to hold, or to fail, by paths from it."""
    if condition is None:
        return [{}] if wanted else []
    if isinstance(condition, Not):
        return ways(condition.part, path, not wanted)
    if isinstance(condition, (All, Any_)):
        parts = [ways(part, path, wanted) for part in condition.parts]
        if isinstance(condition, All) != wanted:
            return [way for part in parts for way in part]
        found: Ways = [{}]
        for part in parts:
            found = [{**a, **b} for a in found for b in part if not _clash(a, b)]
        return found
    return _of_check(condition, path, wanted) if isinstance(condition, Check) else []


def _clash(a: Mapping[str, Any], b: Mapping[str, Any]) -> bool:
    return any(a[name] != b[name] for name in a.keys() & b.keys())


def _of_check(check: Check, path: str, wanted: bool) -> Ways:
    owner, name = owner_of(path, check.path)
    table = table_at(owner)
    key = next(k for k in keys_of(table) if k.name == name)
    found: Ways = []
    for value in _candidates(table, key):
        if check.passes(value) == wanted:
            found.append({check.path: value})
    if not wanted or check.is_plain:
        return found
    prefix = check.path[: len(check.path) - len(name)]
    outer = ways(key.when, owner)
    return [
        {**way, **{_joined(prefix, k): v for k, v in more.items()}}
        for way in found for more in outer[:1]
    ]  # fmt: skip


def _joined(prefix: str, where: str) -> str:
    return where if where.startswith("/") else prefix + where


def _candidates(table: type[Table], key: Key) -> list[Any]:
    if key.kind == "choice":
        return list(key.choices)
    if (table.__name__, key.name) == ("Relief", "source"):
        return list(FILES.values())
    if key.kind in ("table", "tables"):
        return [{}]
    if key.name == "text":
        return ["AVA", "AVA\nTO"]
    found = [*(values_of(table, key) or ())]
    if key.kind in ("int", "float"):
        return [*found, *([0] if (key.low or 0) <= 0 else []), key.default]
    return [*found, False if key.kind == "bool" else ""]


def trials(path: str, counting: bool) -> Iterator[Trial]:
    """Yield every key of a table where it counts, or where it does not.

    Counting keys are tried with each word of the table's choices and each switch of its own.
    """
    table = table_at(path)
    for key in keys_of(table):
        values = values_of(table, key)
        if values is None or key.kind in ("table", "tables"):
            continue
        own = ways(_with_outer(path, key), path, counting)
        if not counting:
            yield from (Trial(path, table, key, way, values) for way in own)
            continue
        seen = []
        for way in own[:1]:
            for more in _contexts(path, table, key):
                context = {**more, **way}
                if context not in seen and not _clash(more, way):
                    seen.append(context)
                    yield Trial(path, table, key, context, values)
        yield from (Trial(path, table, key, way, values) for way in own[1:])


def _with_outer(path: str, key: Key) -> Condition | None:
    """Return a key's condition with that of the table it stands in."""
    around, _, name = path.rpartition(".")
    if not around or "[" in name:
        return key.when
    outer = next(k for k in keys_of(table_at(around)) if k.name == name).when
    if outer is None:
        return key.when
    moved = _moved(outer)
    return moved if key.when is None else moved & key.when


def _moved(condition: Condition) -> Condition:
    """Return a condition of the outer table as the inner one has to ask it."""
    if isinstance(condition, Not):
        return Not(_moved(condition.part))
    if isinstance(condition, (All, Any_)):
        return type(condition)(tuple(_moved(part) for part in condition.parts))
    assert isinstance(condition, Check)
    path = condition.path if condition.path.startswith("/") else "^" + condition.path
    return Check(path, condition.passes, condition.asks, condition.allowed, condition.is_switch)


def _contexts(path: str, table: type[Table], about: Key) -> Iterator[dict[str, Any]]:
    yield {}
    for key in keys_of(table):
        if key.name == about.name or (table.__name__, key.name) in TOLD_ONLY:
            continue
        if key.kind == "choice":
            yield from ({key.name: word} for word in key.choices if word != key.default)
    if table.__name__ == "Relief" and about.name != "source":
        yield from ({"source": name} for name in FILES.values())
    if table.__name__ == "EdgeText":
        yield {"^finish": "reeded"}


def piece_of(data: Data, folder: Path, models: Mapping[str, Any]) -> tuple[bytes, str]:
    """Build a piece whatever has no effect; return its mesh and what its report says."""
    allow = mock.Mock()
    with (
        mock.patch("medalcore.piece.build.refuse_unused", allow),
        mock.patch("medalcore.spec.files.refuse_unused", allow),
    ):
        medal = build(spec_from_dict(data, folder=folder), "draft", models=models)
    report = {k: v for k, v in medal.report.items() if k not in ("seconds", "findings")}
    return medal.vertices.tobytes() + medal.triangles.tobytes(), repr(report)


def outcome(trial: Trial, folder: Path, models: Mapping[str, Any]) -> str:
    """Return ``same``, ``other``, or the refusal of one of the two specs."""
    try:
        one, two = (piece_of(trial.data(value), folder, models) for value in trial.values)
    except MedalError as error:
        return f"refused: {error}"
    by_report = (trial.table.__name__, trial.key.name) in TOLD_ONLY
    return "same" if (one[1:] == two[1:] if by_report else one[0] == two[0]) else "other"


def is_told(trial: Trial, folder: Path) -> bool:
    """Tell whether a key outside its condition is refused, or told as a note, by its path."""
    told: list[str] = []
    wanted = f"{trial.path}.{trial.key.name}"
    value = next((v for v in trial.values if v != trial.key.default and v), trial.values[1])
    try:
        spec_from_dict(trial.data(value), folder=folder, told=lambda one: told.append(one.key))
    except MedalError as error:
        return wanted in str(error) or "no effect" in str(error)
    return wanted in told
