"""Keys that were given and can have no effect where they stand."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from ..errors import SpecError
from .base import Table
from .condition import Condition, Hindrance, View
from .describe import Key, keys_of


@cache
def keys_by_name(table: type[Table]) -> Mapping[str, Key]:
    """Return the keys of a table class, read once."""
    return {key.name: key for key in keys_of(table)}


@cache
def switches_of(table: type[Table]) -> frozenset[str]:
    """Return the keys of a table whose 0 leaves something else of it away."""
    asked = (key.when.switches() for key in keys_by_name(table).values() if key.when)
    return frozenset().union(*asked)


class TreeView:
    """A table as conditions see it, whatever holds its values."""

    @property
    def of(self) -> type[Table]:
        """The class of the table."""
        raise NotImplementedError

    @property
    def place(self) -> tuple[TreeView, str] | None:
        """The table round this one, and the name it has there."""
        raise NotImplementedError

    def inner(self, name: str) -> TreeView:
        """Return a table inside this one."""
        raise NotImplementedError

    def value(self, name: str) -> Any:
        """Return the value of a key, as a spec has it."""
        raise NotImplementedError

    def find(self, path: str) -> tuple[TreeView, str]:
        """Return the view and the name of a key; see `View`."""
        view: TreeView = self
        while path.startswith("/") and view.place is not None:
            view = view.place[0]
        for _ in range(len(path) - len(path.lstrip("^"))):
            assert view.place is not None, path
            view = view.place[0]
        *inner, name = path.lstrip("/^").split(".")
        for step in inner:
            view = view.inner(step)
        return view, name

    def hindrance(self, name: str) -> Hindrance | None:
        """Return what keeps a key from counting; see `View`."""
        if self.place is not None:
            around, field = self.place
            outer = around.hindrance(field)
            if outer is not None:
                return outer
        key = keys_by_name(self.of)[name]
        if key.when is None or key.when.holds(self):
            return None
        return Hindrance(key.when, self, key.is_note)


@dataclass(frozen=True)
class TableView(TreeView):
    """A table of a spec as conditions see it.

    Attributes
    ----------
    table : Table
    around : (TableView, str) or None
        The table round it, and its name there.
    """

    table: Table
    around: tuple[TableView, str] | None = None

    @property
    def of(self) -> type[Table]:
        """The class of the table."""
        return type(self.table)

    @property
    def place(self) -> tuple[TreeView, str] | None:
        """The table round this one, and the name it has there."""
        return self.around

    def inner(self, name: str) -> TableView:
        """Return a table inside this one."""
        return TableView(getattr(self.table, name), (self, name))

    def value(self, name: str) -> Any:
        """Return the value of a key."""
        return getattr(self.table, name)


@dataclass(frozen=True)
class Unused:
    """A key that was given and has no effect.

    Attributes
    ----------
    key : str
        Its path.
    message : str
        Why, and where it would have one.
    is_note : bool
        Whether that is only to be told: it stands at its default, or what it waits for lies in
        another table.
    """

    key: str
    message: str
    is_note: bool


def unused(spec: Table, data: Mapping[str, Any] | None = None) -> tuple[Unused, ...]:
    """Return the keys that were given and have no effect.

    Parameters
    ----------
    spec : Table
        The whole spec.
    data : mapping, optional
        What it was read from, which says what was given; without it that is whatever differs
        from its default. A 0 that leaves something away asks for nothing, and is no mistake.
    """
    return tuple(_unused(TableView(spec), data, ""))


def _unused(view: TableView, data: Any, path: str) -> Iterator[Unused]:
    for name, key in keys_by_name(type(view.table)).items():
        value, here = view.value(name), f"{path}.{name}" if path else name
        given = data.get(name) if data is not None else None
        if isinstance(value, Table):
            if data is None or given is not None:
                yield from _unused(view.inner(name), given, here)
        elif key.kind == "tables":
            for i, item in enumerate(value):
                inner = TableView(item, (view, name))
                yield from _unused(inner, given[i] if given is not None else None, f"{here}[{i}]")
        elif _is_asked(view, key, value, name in data if data is not None else None):
            found = view.hindrance(name)
            if found is not None:
                is_note = found.is_note or bool(value == key.default)
                yield Unused(here, _sentence(found.condition, found.view), is_note)


def _is_asked(view: TableView, key: Key, value: Any, in_data: bool | None) -> bool:
    is_default = bool(value == key.default)
    if in_data is False or (in_data is None and is_default):
        return False
    leaves_away = is_default or key.name in switches_of(type(view.table))
    return not (leaves_away and not value)


def _sentence(condition: Condition, view: View) -> str:
    return (
        f"has no effect with {condition.because(view)}; it counts with {condition.words()}: "
        "leave it out, or change that"
    )


def refuse_unused(found: tuple[Unused, ...], file: str = "") -> None:
    """Refuse keys without effect that are more than to be told.

    Raises
    ------
    SpecError
        About the first; it names the others.
    """
    wrong = [one for one in found if not one.is_note]
    if not wrong:
        return
    others = ", ".join(one.key for one in wrong[1:6]) + (", ..." if len(wrong) > 6 else "")
    more = f" (nor has {others})" if others else ""
    raise SpecError(wrong[0].message + more, key=wrong[0].key, file=file)
