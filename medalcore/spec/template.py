"""The commented spec that a new piece starts from, written from the tables themselves."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomli_w

from .base import Table
from .describe import Key, keys_of
from .medal import Face, MedalSpec

_START: Mapping[str, Mapping[str, Any]] = {
    "medal": {"name": "My medal"},
    "obverse.legend": {"text": "WORDS ROUND THE TOP", "cap_height": 2.4},
    "obverse.relief": {"source": "model.stl"},
    "reverse.inscription": {"text": "FIRST LINE\nSECOND LINE", "cap_height": 2.4},
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
            lines += _table(key.name, key.table, live=True)
    return "\n".join(lines) + "\n"


def _face(name: str) -> list[str]:
    title = "the side that looks up" if name == "obverse" else "the other side"
    lines = [f"# ---- {name}: {title} " + "-" * 40, ""]
    for key in keys_of(Face):
        if key.table is None:
            continue
        path = f"{name}.{key.name}"
        if key.kind == "table":
            lines += _table(path, key.table, live=True)
        elif name == "obverse" or path in _START:
            lines += _table(path, key.table, live=path in _SHOWN, many=True)
    return lines


def _table(path: str, table: type[Table], *, live: bool, many: bool = False) -> list[str]:
    """Return the lines of one table and of the tables inside it."""
    off = "" if live else "# "
    about = (table.__doc__ or "").splitlines()[0]
    lines = [f"# {about}", f"{off}[[{path}]]" if many else f"{off}[{path}]"]
    inner: list[str] = []
    keys = keys_of(table)
    for key in keys:
        if key.kind == "table":
            assert key.table is not None
            if key.default is not None:
                inner += _table(f"{path}.{key.name}", key.table, live=live)
        elif key.kind != "tables":
            value = _START.get(path, {}).get(key.name, key.default)
            lines.append(_line(key, value, off or ("" if _applies(key, keys) else "# ")))
    return [*lines, "", *inner]


def _applies(key: Key, keys: tuple[Key, ...]) -> bool:
    defaults = {k.name: k.default for k in keys}
    return all(defaults.get(name) in values for name, values in key.when.items())


def _line(key: Key, value: Any, off: str) -> str:
    if value is None:
        off, value = "# ", ""
    if isinstance(value, tuple):
        value = list(value)
    shown = tomli_w.dumps({key.name: value}, indent=1).replace("\n", " ").strip()
    only = "".join(f"; with {k} = {' or '.join(str(v) for v in vs)}" for k, vs in key.when.items())
    return f"{off}{shown:<34} # {key.text}: {key.allowed()}{only}"
