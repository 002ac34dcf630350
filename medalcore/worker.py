"""A process that builds pieces for an interface: JSON lines in, JSON lines out.

The boolean library holds the interpreter's lock while it works, so an interface that
builds in itself stands still. This process is started once (``python -m
medalcore.worker``), keeps finished stages between requests, and dies with its caller.

Requests, one JSON object a line on standard input:

``{"do": "build", "id": 7, "spec": {...}, "quality": "draft", "models": {name: npz},
"out": npz, "deliver": {"folder": dir, "overwrite": false, "size": 1400,
"also": []}}``
    `models` (meshes in memory by the text of their ``source``: ``vertices`` (n, 3),
    ``triangles`` (m, 3) and ``group:NAME`` (n,) for every vertex group), `out` (where the
    mesh goes) and `deliver` (files to write, see `deliver.deliver`) may be left out.
``{"do": "cancel", "id": 7}``
    Stop that build between two steps; finished stages are kept.
``{"do": "quit"}``
    End; the end of the input means the same.

Answers, on what was standard output (anything printed goes to standard error instead):
``ready`` once; then for every build any number of ``progress`` (``fraction``, ``label``)
and one of ``done`` (``report``, ``zone_names``, ``files``), ``cancelled``, ``error``
(``kind``, ``message`` on one line).
"""

from __future__ import annotations

import contextlib
import json
import os
import queue
import sys
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from .context.element import Model
from .context.medal import Medal
from .context.model import GROUP
from .context.stages import StageCache
from .deliver import check_free, deliver
from .errors import Cancelled, MedalError, one_line
from .piece.build import build
from .spec import spec_from_dict
from .system.file_access import remove, rename

_GRACE = 3.0
"""Seconds a build may go on after its caller has gone."""

_BEAT = 0.05
"""Least time between two progress lines, s."""

Answer = Callable[[Mapping[str, Any]], None]


class _Inbox:
    """Requests in the order they came, read by a thread so that a cancel is seen in time."""

    def __init__(self, stream: BinaryIO) -> None:
        self._waiting: queue.Queue[dict[str, Any] | None] = queue.Queue()
        self._cancelled: set[int] = set()
        self._closed = False
        self._stream = stream
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        for line in self._stream:
            try:
                request = json.loads(line)
            except ValueError:
                continue
            if request.get("do") == "cancel":
                self._cancelled.add(int(request.get("id", -1)))
            elif request.get("do") == "quit":
                break
            else:
                self._waiting.put(request)
        self._closed = True
        self._waiting.put(None)
        time.sleep(_GRACE)
        os._exit(0)  # a boolean cannot be interrupted; nobody waits for it any more

    def next(self) -> dict[str, Any] | None:
        """Return the next request, or None at the end."""
        return self._waiting.get()

    def is_cancelled(self, number: int) -> bool:
        """Tell whether a request is no longer wanted."""
        return self._closed or number in self._cancelled


def main() -> int:
    """Serve requests until the input ends."""
    answer = _answers(_take_stdout())
    load_all()
    inbox = _Inbox(sys.stdin.buffer)
    cache = StageCache()
    models: dict[str, Model] = {}
    answer({"event": "ready"})
    while (request := inbox.next()) is not None:
        number = int(request.get("id", 0))
        try:
            answer({"id": number, **_serve(request, number, inbox, answer, cache, models)})
        except Cancelled:
            answer({"id": number, "event": "cancelled"})
        except MedalError as error:
            answer(_failure(number, type(error).__name__, str(error)))
        except OSError as error:
            named = f"{error.filename}: {error.strerror}" if error.filename else str(error)
            answer(_failure(number, "OSError", named))
        except Exception as error:
            import traceback

            traceback.print_exc()  # to standard error, which the caller keeps in a log
            text = f"unexpected {type(error).__name__}: {error}"
            answer(_failure(number, type(error).__name__, text))
    return 0


def load_all() -> None:
    """Load every library that the core loads late.

    Under Windows a library that asks for the standard streams as it is loaded waits for the
    thread that reads from one of them: until the next request, or for ever.
    """
    import traceback  # noqa: F401

    import svgelements  # noqa: F401
    import trimesh  # noqa: F401
    from PIL import Image, ImageOps  # noqa: F401
    from PIL.TiffImagePlugin import ImageFileDirectory_v2  # noqa: F401

    with contextlib.suppress(ImportError):
        import OpenEXR  # type: ignore[import-not-found,import-untyped,unused-ignore]  # noqa: F401
    Image.init()  # its readers


def _take_stdout() -> BinaryIO:
    """Keep standard output for answers and send whatever else is printed to standard error."""
    own = os.fdopen(os.dup(1), "wb", buffering=0)
    os.dup2(2, 1)
    sys.stdout = sys.stderr
    return own


def _answers(stream: BinaryIO) -> Answer:
    def answer(message: Mapping[str, Any]) -> None:
        stream.write(json.dumps(message, allow_nan=False).encode() + b"\n")

    return answer


def _failure(number: int, kind: str, message: str) -> dict[str, Any]:
    return {"id": number, "event": "error", "kind": kind, "message": one_line(message)}


def _serve(
    request: Mapping[str, Any],
    number: int,
    inbox: _Inbox,
    answer: Answer,
    cache: StageCache,
    models: dict[str, Model],
) -> dict[str, Any]:
    if request.get("do") != "build":
        raise MedalError(f"'{request.get('do')}' is no request; it is one of: build, cancel, quit")
    last = 0.0

    def tell(fraction: float, label: str) -> None:
        nonlocal last
        if inbox.is_cancelled(number):
            raise Cancelled("the build was stopped")
        now = time.monotonic()
        if now - last >= _BEAT:
            last = now
            answer({"id": number, "event": "progress", "fraction": fraction, "label": label})

    files = request.get("deliver")
    share = 0.8 if files else 1.0
    tell(0.0, "starting")
    spec = spec_from_dict(request.get("spec", {}))
    if files:
        folder, over = Path(files["folder"]), bool(files.get("overwrite"))
        also = tuple(files.get("also", ()))
        check_free(spec.medal.slug, folder, overwrite=over, also=also)
    medal = build(
        spec,
        request.get("quality", "fine"),
        lambda fraction, label: tell(share * fraction, label),
        models=_models(request.get("models", {}), models),
        cache=cache,
    )
    written: tuple[Path, ...] = ()
    if files:
        written = deliver(
            medal,
            folder,
            overwrite=over,
            size=int(files.get("size", 1400)),
            also=also,
            progress=lambda fraction, label: tell(share + (1.0 - share) * fraction, label),
        )
    if request.get("out"):
        _save(medal, Path(request["out"]))
    return {
        "event": "done",
        "report": medal.report,
        "zone_names": medal.zone_names,
        "files": [str(path) for path in written],
    }


def _models(wanted: Mapping[str, str], kept: dict[str, Model]) -> dict[str, Model]:
    """Return the models of a request, reading each file once; `kept` forgets the others."""
    for path in set(kept) - set(wanted.values()):
        del kept[path]
    for path in wanted.values():
        if path not in kept:
            with np.load(path) as data:
                kept[path] = Model(
                    data["vertices"].astype(np.float64),
                    data["triangles"].astype(np.int64),
                    {k.removeprefix(GROUP): data[k] for k in data.files if k.startswith(GROUP)},
                )
    return {name: kept[path] for name, path in wanted.items()}


def _save(medal: Medal, path: Path) -> None:
    """Write the mesh for the caller; coordinates are float32 already in value."""
    spare = path.with_name(f"{path.name}.part")
    try:
        with spare.open("wb") as handle:
            np.savez(
                handle,
                vertices=medal.vertices.astype(np.float32),
                triangles=medal.triangles.astype(np.int32),
                zone=medal.zone,
                side=medal.side,
            )
        rename(spare, path)
    except BaseException:
        remove(spare)
        raise


if __name__ == "__main__":
    sys.exit(main())
