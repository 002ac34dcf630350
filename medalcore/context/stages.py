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

from ..geometry.grid import HeightField
from ..spec.files import files_named
from .model import Model

T = TypeVar("T")

_KEPT = {"model": 3, "seen": 6, "low": 4, "heights": 4, "shape": 8, "relief": 8}
"""How many results of the kinds that are large are kept: a model of a million triangles takes
50 MB, what follows from it at 1024 pixels 5 to 25 MB, and so does the solid of a rough one."""


class StageCache:
    """Keeps the results of the last different stages: `size` of each kind that is small."""

    def __init__(self, size: int = 64) -> None:
        self._size = size
        self._kept: dict[str, OrderedDict[bytes, Any]] = {}

    def get(self, key: bytes, make: Callable[[], T], kind: str = "") -> T:
        """Return the kept result of `key`, or make and keep it."""
        kept = self._kept.setdefault(kind, OrderedDict())
        if key in kept:
            kept.move_to_end(key)
        else:
            made = make()
            kept[key] = made
            while len(kept) > min(_KEPT.get(kind, self._size), self._size):
                kept.popitem(last=False)
            return made
        result: T = kept[key]
        return result


class Stages:
    """The way of one build to the store.

    Files and models are read once for their digests, however many stages depend on them.

    Parameters
    ----------
    cache : StageCache, optional
        Without one, every stage is made.
    models : mapping of str to Model or HeightField
        Sources in memory by their names; they come before files.
    """

    def __init__(
        self,
        cache: StageCache | None = None,
        models: Mapping[str, Model | HeightField] | None = None,
    ) -> None:
        self._cache = cache
        self._models = models or {}
        self._digests: dict[str, bytes] = {}

    def get(self, kind: str, parts: tuple[Any, ...], table: Any, make: Callable[[], T]) -> T:
        """Return a stage from the store, or make it.

        Parameters
        ----------
        kind : str
            What is made.
        parts : tuple
            Plain frozen data: all it is made from, besides `table`.
        table : Table
            Part of a spec; also the content of every file and model it names counts.
        make : callable
            Makes the stage; must not change what it returned before.
        """
        if self._cache is None:
            return make()
        return self._cache.get(key_of(kind, table, self.digest(table), *parts), make, kind)

    def digest(self, table: Any) -> bytes:
        """Return a digest of the content of every file or model that a table names.

        Only the keys of the table itself that name files are looked at: another text may look
        like a file too, on a machine far away even. A name that is no file counts by its text,
        which the table holds anyway.
        """
        digest = hashlib.sha256()
        for name in files_named(table):
            digest.update(self.content(name))
        return digest.digest()

    def content(self, name: str) -> bytes:
        """Return a digest of the model or file of a name; nothing if there is none."""
        if name not in self._digests:
            self._digests[name] = _content(name, self._models)
        return self._digests[name]


def key_of(*parts: Any) -> bytes:
    """Return a digest of plain frozen data (specs, dataclasses, text, numbers, bytes)."""
    encoded = msgspec.msgpack.encode([msgspec.to_builtins(p) for p in parts])
    return hashlib.sha256(encoded).digest()


def _content(name: str, models: Mapping[str, Model | HeightField]) -> bytes:
    """Return a digest of the model or file of a name; nothing if there is none."""
    if name in models:
        model, digest = models[name], hashlib.sha256()
        if isinstance(model, HeightField):
            digest.update(repr(model.grid).encode())
            arrays = [model.heights, model.mask]
        else:
            digest.update(repr(list(model.weights)).encode())
            arrays = [model.vertices, model.triangles, *model.weights.values()]
        for array in arrays:
            digest.update(repr((array.shape, array.dtype.str)).encode())
            digest.update(np.ascontiguousarray(array).data)
        return digest.digest()
    try:
        if os.path.isfile(name):
            with open(name, "rb") as handle:
                return hashlib.file_digest(handle, "sha256").digest()
    except OSError:
        pass  # whoever reads it says why it cannot be read
    return b""
