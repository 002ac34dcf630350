"""Where a key counts: a condition on other keys, declared once and asked by everyone.

Errors, notes, the template, the schema and Blender's panel all ask the same condition. It
looks at the spec through a `View`, so that frozen tables and Blender's properties answer alike.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any, NamedTuple, Protocol


class View(Protocol):
    """A table as a condition sees it."""

    def find(self, path: str) -> tuple[View, str]:
        """Return the view and the name of a key.

        Paths are ``key``, ``table.key``, ``^key`` of the table round this one, or ``/table.key``
        from the whole spec.
        """

    def value(self, name: str) -> Any:
        """Return the value of a key, as a spec has it."""

    def hindrance(self, name: str) -> Hindrance | None:
        """Return what keeps a key from counting."""


class Hindrance(NamedTuple):
    """What keeps a key from counting: a condition, what it looks at, and how that is told."""

    condition: Condition
    view: View
    is_note: bool


class Condition:
    """What has to hold for a key to count; joined by ``&``, ``|`` and ``~``."""

    def holds(self, view: View) -> bool:
        """Tell whether it holds for a table."""
        raise NotImplementedError

    def words(self) -> str:
        """Say it: ``shape = oval or rectangle``."""
        raise NotImplementedError

    def because(self, view: View) -> str:
        """Say what keeps it from holding: ``shape = round``."""
        raise NotImplementedError

    def switches(self) -> frozenset[str]:
        """Return the keys whose 0 leaves something away, by the paths it asks them by."""
        return frozenset(c.path for c in self.checks() if c.is_switch)

    def checks(self) -> tuple[Check, ...]:
        """Return the conditions on single keys that it is made of."""
        raise NotImplementedError

    def __and__(self, other: Condition) -> Condition:
        return All((self, other))

    def __or__(self, other: Condition) -> Condition:
        return Any_((self, other))

    def __invert__(self) -> Condition:
        return Not(self)


@dataclass(frozen=True)
class Check(Condition):
    """A condition on one key, which has to count itself.

    Attributes
    ----------
    path : str
        See `View.find`.
    passes : callable
        Tells whether a value will do.
    asks : str
        ``= oval or rectangle``.
    allowed : tuple
        The values that will do, where they can be told.
    is_switch : bool
        Whether only 0 or nothing fails.
    is_plain : bool
        Whether the value alone is asked, so that two keys can ask each other.
    """

    path: str
    passes: Callable[[Any], bool]
    asks: str
    allowed: tuple[Any, ...] = ()
    is_switch: bool = False
    is_plain: bool = False

    @property
    def name(self) -> str:
        """Return the path as people write it."""
        return self.path.lstrip("^/")

    def holds(self, view: View) -> bool:
        """Tell whether the key counts and has a value that will do."""
        owner, name = view.find(self.path)
        counts = self.is_plain or owner.hindrance(name) is None
        return counts and self.passes(owner.value(name))

    def words(self) -> str:
        """Say what the key is to be."""
        return f"{self.name} {self.asks}"

    def because(self, view: View) -> str:
        """Say what the key is, or why it does not count."""
        owner, name = view.find(self.path)
        value = owner.value(name)
        hindrance = None if self.is_plain else owner.hindrance(name)
        if hindrance is not None and self.passes(value):
            return hindrance.condition.because(hindrance.view)
        return f"no {self.name}" if value in ("", None, ()) else f"{self.name} = {_shown(value)}"

    def checks(self) -> tuple[Check, ...]:
        """Return itself."""
        return (self,)


@dataclass(frozen=True)
class All(Condition):
    """Several conditions, every one of which has to hold."""

    parts: tuple[Condition, ...]

    def holds(self, view: View) -> bool:
        """Tell whether all hold."""
        return all(part.holds(view) for part in self.parts)

    def words(self) -> str:
        """Say all of them."""
        return " and ".join(_grouped(part) for part in self.parts)

    def because(self, view: View) -> str:
        """Say why the first that fails does."""
        return next((p.because(view) for p in self.parts if not p.holds(view)), self.words())

    def checks(self) -> tuple[Check, ...]:
        """Return those of all parts."""
        return tuple(check for part in self.parts for check in part.checks())


@dataclass(frozen=True)
class Any_(Condition):
    """Several conditions, one of which has to hold."""

    parts: tuple[Condition, ...]

    def holds(self, view: View) -> bool:
        """Tell whether one holds."""
        return any(part.holds(view) for part in self.parts)

    def words(self) -> str:
        """Say all of them."""
        return " or ".join(_grouped(part) for part in self.parts)

    def because(self, view: View) -> str:
        """Say why none holds."""
        return " and ".join(dict.fromkeys(part.because(view) for part in self.parts))

    def checks(self) -> tuple[Check, ...]:
        """Return those of all parts."""
        return tuple(check for part in self.parts for check in part.checks())


@dataclass(frozen=True)
class Not(Condition):
    """A condition that must not hold."""

    part: Condition

    def holds(self, view: View) -> bool:
        """Tell whether the other fails."""
        return not self.part.holds(view)

    def words(self) -> str:
        """Say what must not be."""
        if isinstance(self.part, Check) and self.part.is_switch:
            return f"no {self.part.name}"
        return f"not {_grouped(self.part)}"

    def because(self, view: View) -> str:
        """Say what is."""
        if isinstance(self.part, Check):
            return self.part.because(view)
        return self.part.words()

    def checks(self) -> tuple[Check, ...]:
        """Return those of the part."""
        return self.part.checks()


def _grouped(part: Condition) -> str:
    return f"({part.words()})" if isinstance(part, (All, Any_)) else part.words()


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return PurePath(value).name if "/" in value or "\\" in value else value
    return f"{value:g}" if isinstance(value, float) else str(value)


def one_of(path: str, *values: Any) -> Condition:
    """Hold where a key has one of these values."""
    *most, last = (_shown(value) for value in values)
    asks = f"= {', '.join(most)} or {last}" if most else f"= {last}"
    return Check(path, lambda value: value in values, asks, values)


def given(path: str, *, plain: bool = False) -> Condition:
    """Hold where a key is neither 0 nor empty; `plain` asks no more of it than that."""
    return Check(path, _is_given, "given", is_switch=True, is_plain=plain)


def _is_given(value: Any) -> bool:
    return bool(value.strip()) if isinstance(value, str) else bool(value)


def above(path: str, limit: float) -> Condition:
    """Hold where a number is above a limit."""
    return Check(path, lambda value: value > limit, f"above {limit:g}")


def below(path: str, limit: float) -> Condition:
    """Hold where a number is below a limit."""
    return Check(path, lambda value: value < limit, f"below {limit:g}")


def in_lines(path: str) -> Condition:
    """Hold where a text has more than one line."""
    return Check(path, lambda text: len(text.strip().splitlines()) > 1, "of several lines")


def differs(path: str, other: str) -> Condition:
    """Hold where a key has a value of its own: neither nothing nor that of another one."""
    return _Differs(path, other)


@dataclass(frozen=True)
class _Differs(Condition):
    path: str
    other: str

    def holds(self, view: View) -> bool:
        (here, name), (there, other) = view.find(self.path), view.find(self.other)
        value = here.value(name)
        counts = here.hindrance(name) is None
        return counts and bool(value) and bool(value != there.value(other))

    def words(self) -> str:
        return f"{self.path} other than {self.other.lstrip('/')}"

    def because(self, view: View) -> str:
        here, name = view.find(self.path)
        value = here.value(name)
        return f"{name} = {value}" if value else f"no {name}"

    def checks(self) -> tuple[Check, ...]:
        return (Check(self.path, lambda value: False, "of its own"),)
