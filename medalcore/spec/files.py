"""TOML in and out, with errors that name file, key and what would be right."""

from __future__ import annotations

import difflib
import math
import os
import re
import tomllib
import unicodedata
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import msgspec
import tomli_w

from ..errors import SpecError, shortened
from ..system.file_access import remove, rename
from .base import IN_MEMORY, Table
from .describe import Key, keys_of
from .medal import MedalSpec
from .unused import Unused, refuse_unused, unused

_FILE = re.compile(r"\.(ttf|otf|ttc|otc|svg)(#\d+)?$")
_LARGEST = 1 << 24
"""Bytes of a spec; what is larger is no spec, and a device may never end."""

_SLASHES = "write paths with / or \\\\, or put them in single quotes"
_AT = re.compile(r" - at `\$\.?(.*)`$")


Told = Callable[[Unused], object]
"""Is told of keys that were given, have no effect, and are no mistake."""


def read_spec(path: str | os.PathLike[str], *, told: Told | None = None) -> MedalSpec:
    """Read a spec from a TOML file.

    Relief sources and font files given relative to the spec's folder come back as absolute
    paths, so that the spec means the same from everywhere.

    Parameters
    ----------
    path : path
    told : callable, optional
        See `Told`.

    Raises
    ------
    SpecError
        One line: file, key, what is wrong, what is allowed. A key that has no effect beside the
        others is wrong too.
    """
    path = Path(path)
    try:
        with open(path, "rb") as handle:
            data = handle.read(_LARGEST + 1)
        text = data[:_LARGEST].decode("utf-8-sig")  # some editors put a byte-order mark in front
    except FileNotFoundError:
        raise SpecError("there is no such file", file=str(path)) from None
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise SpecError(f"cannot be read ({reason})", file=str(path)) from None
    except UnicodeDecodeError as error:
        raise SpecError(f"cannot be read as UTF-8 text ({error})", file=str(path)) from None
    except ValueError:  # a NUL
        raise SpecError("no file can have this name", file=str(path)) from None
    if len(data) > _LARGEST:
        raise SpecError("is larger than any spec: no TOML text", file=str(path))
    return parse_spec(text, file=str(path), folder=path.absolute().parent, told=told)


def parse_spec(
    text: str, *, file: str = "", folder: Path | None = None, told: Told | None = None
) -> MedalSpec:
    """Read a spec from TOML text; `folder` is what relative sources are relative to.

    Raises
    ------
    SpecError
        As `read_spec`.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SpecError(f"is not valid TOML: {_helped(error, text)}", file=file) from None
    except RecursionError:
        raise _too_deep(file) from None
    except ValueError:
        raise _too_long(text, file) from None
    return spec_from_dict(data, file=file, folder=folder, told=told)


def spec_from_dict(
    data: Any, *, file: str = "", folder: Path | None = None, told: Told | None = None
) -> MedalSpec:
    """Make a spec from plain dicts and lists, as TOML or JSON give them.

    Raises
    ------
    SpecError
        As `read_spec`.
    """
    try:
        _refuse_non_finite(data, "", file)
        spec = msgspec.convert(_in_64_bits(data), MedalSpec)
    except msgspec.ValidationError as error:
        raise _explain(str(error), data, file) from None
    except RecursionError:
        raise _too_deep(file) from None
    idle = unused(spec, data)
    refuse_unused(idle, file)
    for one in idle:
        if told is not None:
            told(one)

    def found(name: str, key: str) -> str:
        control = any(unicodedata.category(c) == "Cc" for c in name)
        if control and not name.startswith(IN_MEMORY):
            raise SpecError(
                f'"{shortened(name)}" has control characters in it; {_SLASHES}', key=key, file=file
            )
        return _absolute(name, folder)

    mapped: MedalSpec = _map_files(spec, found)
    return mapped


def _in_64_bits(data: Any) -> Any:
    """Return data with whole numbers beyond TOML's as the numbers they are near.

    The lowest msgspec ends in an error of its own on those.
    """
    if isinstance(data, Mapping):
        return {key: _in_64_bits(value) for key, value in data.items()}
    if isinstance(data, (list, tuple)):
        return [_in_64_bits(value) for value in data]
    if isinstance(data, int) and abs(data) >= 2**63:
        return float(data) if abs(data) < 2**1023 else math.inf if data > 0 else -math.inf
    return data


def spec_to_dict(spec: MedalSpec) -> dict[str, Any]:
    """Return a spec as plain dicts and lists; keys at their defaults are left out."""
    plain: dict[str, Any] = msgspec.to_builtins(spec)
    return plain


def write_spec(spec: MedalSpec, path: str | os.PathLike[str]) -> None:
    """Write a spec as TOML, whole or not at all; files below its folder become relative."""
    path = Path(path)
    folder = path.absolute().parent
    text = tomli_w.dumps(spec_to_dict(_map_files(spec, lambda name, _: _relative(name, folder))))
    spare = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        spare.write_text(text, encoding="utf-8", newline="\n")
        rename(spare, path)
    except BaseException:
        remove(spare)
        raise


def _helped(error: tomllib.TOMLDecodeError, text: str) -> str:
    r"""Return what is wrong with TOML text; a backslash of a path, as in "C:\Users", is likely."""
    told = re.search(r"\(at line (\d+)", str(error))
    lines = text.splitlines()
    line = lines[int(told.group(1)) - 1] if told and int(told.group(1)) <= len(lines) else ""
    return f"{error}; {_SLASHES}" if "\\" in line else str(error)


def _too_long(text: str, file: str) -> SpecError:
    """Say which line holds a whole number of thousands of digits; the reader does not."""
    long = re.search(r"(?<![\w.])[+-]?\d(?:_?\d){4000,}", text)
    at = f" (at line {text.count(chr(10), 0, long.start()) + 1})" if long else ""
    return SpecError(
        f"a whole number has thousands of digits{at}; no key takes more than a few", file=file
    )


def _too_deep(file: str) -> SpecError:
    return SpecError("is nested deeper than any spec: no list or table needs that", file=file)


def _is_file(key: str, value: str) -> bool:
    """Tell whether a key of this name and value is a file (fonts and separators may be names)."""
    if key in ("source", "drawing", "emphasis", "strokes"):
        return bool(value)
    return key in ("font", "separator") and bool(_FILE.search(value.lower()))


def files_named(table: Table) -> tuple[str, ...]:
    """Return the files and models in memory that a table itself names, in the order of its keys."""
    values = ((name, getattr(table, name)) for name in table.__struct_fields__)
    return tuple(value for name, value in values if _is_file(name, value))


def _absolute(name: str, folder: Path | None) -> str:
    """Return a file's whole path: `~` is the person's home, the rest is seen from the folder."""
    if name.startswith((*IN_MEMORY, "strokes:")):
        return name
    name = os.path.expanduser(name)
    return name if folder is None or os.path.isabs(name) else str(folder / name)


def _relative(name: str, folder: Path) -> str:
    path = Path(name)
    return path.relative_to(folder).as_posix() if path.is_relative_to(folder) else name


def _map_files(table: Any, change: Callable[[str, str], str], path: str = "") -> Any:
    """Return the spec with `change` applied to every file it names, and the file's key.

    Names of fonts are handed to it as well, for what it refuses; they stay as they are.
    """
    if isinstance(table, tuple):
        return tuple(_map_files(item, change, f"{path}[{i}]") for i, item in enumerate(table))
    if not isinstance(table, Table):
        return table
    new: dict[str, Any] = {}
    for name in table.__struct_fields__:
        value = getattr(table, name)
        key = f"{path}.{name}" if path else name
        if isinstance(value, str) and _is_file(name, value):
            new[name] = change(value, key)
        elif name == "font":
            change(value, key)
        elif isinstance(value, Table | tuple):
            new[name] = _map_files(value, change, key)
    return msgspec.structs.replace(table, **new)


def _refuse_non_finite(data: Any, path: str, file: str) -> None:
    """TOML knows nan and inf; no size on a piece is either."""
    if isinstance(data, dict):
        for name, value in data.items():
            _refuse_non_finite(value, f"{path}.{name}" if path else name, file)
    elif isinstance(data, list | tuple):
        for i, value in enumerate(data):
            _refuse_non_finite(value, f"{path}[{i}]", file)
    elif isinstance(data, float) and not math.isfinite(data):
        about = _key_at(path)
        right = f"; give {about.allowed()}" if about else ""
        raise SpecError(f"{data} is not allowed{right}", key=path, file=file)


def _explain(message: str, data: Any, file: str) -> SpecError:
    """Turn the validation library's sentence into ours."""
    found = _AT.search(message)
    path = found.group(1) if found else ""
    message = _AT.sub("", message)
    unknown = re.match(r"Object contains unknown field `(.*)`", message)
    if unknown:
        name = unknown.group(1)
        table = _table_at(path)
        names = [k.name for k in keys_of(table)] if table else []
        near = difflib.get_close_matches(name[:200], names, 1, 0.5)
        hint = f"did you mean '{near[0]}'? " if near else ""
        key = f"{path}.{shortened(name)}" if path else shortened(name)
        return SpecError(f"unknown key; {hint}allowed here: {', '.join(names)}", key=key, file=file)
    missing = re.match(r"Object missing required field `(.*)`", message)
    if missing:
        key = f"{path}.{missing.group(1)}" if path else missing.group(1)
        found_key = _key_at(key)
        return SpecError(
            f"is missing; give {found_key.allowed() if found_key else 'it'}", key=key, file=file
        )
    got = _value_at(data, path)
    about = _key_at(path)
    if about is None:
        return SpecError(message[:1].lower() + message[1:], key=path, file=file)
    hint = ""
    if isinstance(got, str) and about.choices:
        near = difflib.get_close_matches(got[:200], about.choices, 1, 0.5)
        hint = f"; did you mean '{near[0]}'?" if near else ""
    shown = f'"{shortened(got)}"' if isinstance(got, str) else _shown(got)
    return SpecError(f"{shown} is not allowed; give {about.allowed()}{hint}", key=path, file=file)


def _shown(value: Any) -> str:
    """Return a value that is not text as a person wrote it, or nearly so."""
    if isinstance(value, bool):
        return str(value).lower()
    try:
        return shortened(str(value))
    except (ValueError, RecursionError):  # a whole number of thousands of digits, a deep list
        return "this"


def _steps(path: str) -> list[str]:
    return [s for s in re.split(r"\.|(\[[^\]]*\])", path) if s]


def _table_at(path: str) -> type[Table] | None:
    table: type[Table] | None = MedalSpec
    for step in _steps(path):
        if step.startswith("["):
            continue
        key = next((k for k in keys_of(table) if k.name == step), None) if table else None
        table = key.table if key else None
    return table


def _key_at(path: str) -> Key | None:
    steps = [s for s in _steps(path) if not s.startswith("[")]
    if not steps:
        return None
    table = _table_at(".".join(steps[:-1]))
    return next((k for k in keys_of(table) if k.name == steps[-1]), None) if table else None


def _value_at(data: Any, path: str) -> Any:
    for step in _steps(path):
        try:
            data = data[int(step[1:-1])] if step.startswith("[") else data[step]
        except (KeyError, IndexError, TypeError, ValueError):
            return data
    return data
