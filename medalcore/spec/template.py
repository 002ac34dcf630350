"""The commented spec that a new piece starts from, written from the tables themselves."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomli_w

from .base import Table
from .describe import Key, keys_of
from .medal import Face, MedalSpec
from .unused import TableView

_START: Mapping[str, Mapping[str, Any]] = {
    "medal": {"name": "My medal"},
    "obverse.legend": {"text": "WORDS ROUND THE TOP", "cap_height": 2.5},
    "obverse.relief": {"source": "model.stl"},
    "reverse.inscription": {"text": "FIRST LINE\nSECOND LINE", "cap_height": 2.5},
}
"""What the template says where a default alone would say nothing."""

_SHOWN = ("obverse.legend", "reverse.inscription")
"""Element tables that are live in the template; the others are commented out."""

_HEAD = """\
# A piece for Medalwright. Lengths in mm, angles in degrees.
# Each line says what it takes; a line that starts with # is off, or stands at its default.
# Build it:  {program} build {file} --out medal-files
"""


def template(file: str = "medal.toml", program: str = "medalcore") -> str:
    """Return the text of a commented spec that builds as it is."""
    lines = [_HEAD.format(program=program, file=file)]
    for key in keys_of(MedalSpec):
        assert key.table is not None
        if key.table is Face:
            lines += _face(key.name)
        else:
            lines += _table(TableView(MedalSpec()).inner(key.name), key.name, live=True)
    return "\n".join(lines) + "\n"


def _face(name: str) -> list[str]:
    title = "the side that looks up" if name == "obverse" else "the other side"
    lines = [f"# ---- {name}: {title} " + "-" * 40, ""]
    for key in keys_of(Face):
        if key.table is None:
            continue
        path = f"{name}.{key.name}"
        face = TableView(Face(), (TableView(MedalSpec()), name))
        if key.kind == "table":
            made = key.table() if key.default is None else key.default
            own = TableView(made, (face, key.name))
            lines += _table(own, path, live=key.default is not None)
        elif name == "obverse" or path in _START:
            inner = TableView(_one(key.table), (face, key.name))
            lines += _table(inner, path, live=path in _SHOWN, many=True)
    return lines


def _one(table: type[Table]) -> Table:
    """Return a table with something in the keys that it has to have."""
    needed = [key for key in keys_of(table) if key.required]
    return table(**{key.name: 1.0 if key.kind == "float" else "-" for key in needed})


def _table(view: TableView, path: str, *, live: bool, many: bool = False) -> list[str]:
    """Return the lines of one table and of the tables inside it."""
    table = view.of
    off = "" if live else "# "
    about = (table.__doc__ or "").splitlines()[0]
    lines = [f"# {about}", f"{off}[[{path}]]" if many else f"{off}[{path}]"]
    inner: list[str] = []
    for key in keys_of(table):
        if key.kind == "table":
            assert key.table is not None
            if key.default is not None:
                inner += _table(view.inner(key.name), f"{path}.{key.name}", live=live)
        elif key.kind != "tables":
            value = _START.get(path, {}).get(key.name, key.default)
            lines.append(_line(key, value, off or ("# " if view.hindrance(key.name) else "")))
    return [*lines, "", *inner]


def _line(key: Key, value: Any, off: str) -> str:
    if value is None:
        off, value = "# ", ""
    if isinstance(value, tuple):
        value = list(value)
    shown = tomli_w.dumps({key.name: value}, indent=1).replace("\n", " ").strip()
    only = f"; counts with {key.when.words()}" if key.when else ""
    return f"{off}{shown:<34} # {key.text}: {key.allowed()}{only}"
