"""A store of finished stages, keyed by what went into them.

Handed along explicitly: a script builds without one, a long-lived worker keeps one, and a
changed letter height then costs the lettering and the assembly only.
"""

from __future__ import annotations

import hashlib
import os
from collections import OrderedDict
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import msgspec
import numpy as np
from numpy.typing import NDArray

from .element import Model
from .grid import HeightField

T = TypeVar("T")


class StageCache:
    """Keeps the results of the last `size` different stages."""

    def __init__(self, size: int = 64) -> None:
        self._size = size
        self._kept: OrderedDict[bytes, Any] = OrderedDict()

    def get(self, key: bytes, make: Callable[[], T]) -> T:
        """Return the kept result of `key`, or make and keep it."""
        if key in self._kept:
            self._kept.move_to_end(key)
        else:
            self._kept[key] = make()
            while len(self._kept) > self._size:
                self._kept.popitem(last=False)
        result: T = self._kept[key]
        return result


def key_of(*parts: Any) -> bytes:
    """Return a digest of plain frozen data (specs, dataclasses, text, numbers, bytes)."""
    encoded = msgspec.msgpack.encode([msgspec.to_builtins(p) for p in parts])
    return hashlib.sha256(encoded).digest()


def digest_of_files(table: Any, models: Mapping[str, Model | HeightField]) -> bytes:
    """Return a digest of the content of every file or model that a table names.

    Only the text values of the table itself are looked at; a name that is no file counts
    by its text, which the key of the table holds anyway.
    """
    digest = hashlib.sha256()
    for name in table.__struct_fields__:
        value = getattr(table, name)
        if not isinstance(value, str):
            continue
        if value in models:
            model = models[value]
            arrays: tuple[NDArray[Any], ...]
            if isinstance(model, HeightField):
                digest.update(repr(model.grid).encode())
                arrays = model.heights, model.mask
            else:
                arrays = model.vertices, model.triangles
            for array in arrays:
                digest.update(np.ascontiguousarray(array).tobytes())
        elif os.path.isfile(value):
            with open(value, "rb") as handle:
                digest.update(hashlib.file_digest(handle, "sha256").digest())
    return digest.digest()
