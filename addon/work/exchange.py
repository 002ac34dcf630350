# SPDX-License-Identifier: GPL-3.0-or-later
"""Files that go to the building process and come from it, in Blender's temporary folder."""

from __future__ import annotations

import contextlib
import hashlib
import shutil
import tempfile
import weakref
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ..medalcore.context.model import GROUP
from ..medalcore.errors import MedalError
from ..scene.result import Result
from ..scene.sources import Arrays

KEPT_MODELS = 8
"""Files of models that are kept for the next build."""


class Exchange:
    """A folder of ours that goes with the session, and what is in it."""

    def __init__(self) -> None:
        self._folder: Path | None = None
        self._digests: list[tuple[weakref.ref[Any], str]] = []

    def folder(self) -> Path:
        """Return the folder, made anew where it was taken away."""
        if self._folder is None or not self._folder.is_dir():
            self._folder = Path(tempfile.mkdtemp(prefix="medalwright_", dir=bpy.app.tempdir))
        return self._folder

    def close(self) -> None:
        """Remove the folder."""
        self._digests.clear()
        if self._folder:
            shutil.rmtree(self._folder, ignore_errors=True)
            self._folder = None

    def models(self, models: Mapping[str, Arrays]) -> dict[str, str]:
        """Return the files of models by the models' names, written where they are not there yet.

        Raises
        ------
        OSError
            If one cannot be written.
        """
        found = {name: str(self._model(arrays)) for name, arrays in models.items()}
        self._forget_models(len(found))
        return found

    def digest(self, arrays: Arrays) -> str:
        """Return a digest of the content of a model, worked out once for each."""
        self._digests = [(ref, known) for ref, known in self._digests if ref() is not None]
        digest = next((known for ref, known in self._digests if ref() is arrays[0]), "")
        if not digest:
            digest = _digest_of(_held(arrays))
            self._digests.append((weakref.ref(arrays[0]), digest))
        return digest

    def _model(self, arrays: Arrays) -> Path:
        """Write a model where the process finds it, named by its content."""
        path = self.folder() / f"model-{self.digest(arrays)}.npz"
        if path.exists():
            with contextlib.suppress(OSError):  # it only counts as older then
                path.touch()
        else:
            spare = path.with_name(f"{path.name}.part")
            with spare.open("wb") as handle:
                np.savez(handle, **_held(arrays))
            spare.replace(path)
        return path

    def _forget_models(self, used: int) -> None:
        """Remove the files of models not used lately: a source may change with every stroke."""
        files = sorted(self.folder().glob("model-*.npz"), key=_age)
        for path in files[: -max(KEPT_MODELS, used)]:
            with contextlib.suppress(OSError):  # open in a scanner: the folder goes later
                path.unlink()

    def piece(self, number: int) -> Path:
        """Return where the process puts the piece of a job."""
        return self.folder() / f"piece-{number}.npz"

    def forget_piece(self, number: int) -> None:
        """Remove the piece of a job, if it is there and nothing holds it."""
        with contextlib.suppress(OSError):
            self.piece(number).unlink()

    def take_piece(self, number: int, answer: Mapping[str, Any]) -> Result:
        """Return the piece of a job; its file goes.

        Raises
        ------
        MedalError
            If it cannot be read: temporary folders are swept now and then, and disks fill up.
        """
        try:
            with np.load(self.piece(number)) as data:
                return Result(
                    data["vertices"], data["triangles"], data["zone"], data["side"],
                    tuple(answer["zone_names"]), answer["report"],
                )  # fmt: skip
        except Exception as error:  # a torn file fails in many ways
            raise MedalError(f"the built piece cannot be read: {error}") from None
        finally:
            self.forget_piece(number)


def _age(path: Path) -> int:
    """Return when a file was used last, ns; 0 where it has just gone."""
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0


def _held(arrays: Arrays) -> dict[str, Any]:
    """Return a model as it stands in a file."""
    vertices, triangles, *groups = arrays
    held = {f"{GROUP}{name}": values for group in groups for name, values in group.items()}
    return {"vertices": vertices, "triangles": triangles, **held}


def _digest_of(held: Mapping[str, Any]) -> str:
    digest = hashlib.sha256(repr(list(held)).encode())
    for values in held.values():
        digest.update(np.ascontiguousarray(values).data)
    return digest.hexdigest()[:32]
