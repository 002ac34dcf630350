# SPDX-License-Identifier: GPL-3.0-or-later
"""Builds in the worker process, one after the other, and in this one where it must be.

`Builder.submit` queues a job; `Builder.poll`, called from a timer, moves things on, and
`Builder.wait` does for a moment what the timer would. No thread of ours touches Blender.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
import time
import weakref
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from .medalcore.model import GROUP
from .meshes import Result
from .process import Worker
from .sources import Arrays

PATIENCE = 1.0
"""Seconds a build may take to stop by itself before its process is ended."""

START = 60.0
"""Seconds the process may take to be ready; a cold disk is slow."""

KEPT_MODELS = 8
"""Files of models that are kept for the next build."""


@dataclass(eq=False)
class Job:
    """One build somebody waits for.

    Attributes
    ----------
    owner : int
        `session_uid` of the object it is for.
    why : str
        What was changed, in a word of the caller's.
    state : str
        waiting, running, done, failed, cancelled.
    replaces, replaced : bool
        Whether it took, or lost, the place of a running draft of the same object.
    """

    owner: int
    spec: Mapping[str, Any]
    quality: str
    models: Mapping[str, Arrays] = field(default_factory=dict)
    deliver: Mapping[str, Any] | None = None
    digest: str = ""
    why: str = ""
    number: int = 0
    state: str = "waiting"
    fraction: float = 0.0
    label: str = ""
    message: str = ""
    result: Result | None = None
    files: tuple[str, ...] = ()
    give_up: float = 0.0
    replaces: bool = False
    replaced: bool = False

    @property
    def is_draft(self) -> bool:
        """Tell whether it is only to be seen."""
        return self.quality == "draft" and self.deliver is None

    @property
    def is_over(self) -> bool:
        """Tell whether nothing more will happen to it."""
        return self.state in ("done", "failed", "cancelled")


class Builder:
    """The queue of jobs, and the process that is started when the first one comes."""

    def __init__(self) -> None:
        self._jobs: deque[Job] = deque()
        self._worker: Worker | None = None
        self._started = 0.0
        self._here = bool(bpy.app.background)  # timers do not fire there
        self._folder: Path | None = None
        self._count = 0
        self._digests: list[tuple[weakref.ref[Any], str]] = []

    @property
    def is_apart(self) -> bool:
        """Tell whether a process builds, so that Blender goes on meanwhile."""
        return not self._here

    @property
    def is_idle(self) -> bool:
        """Tell whether nothing waits or runs."""
        return not self._jobs

    def job_of(self, owner: int) -> Job | None:
        """Return the job of an object that is waiting or running, the newest first."""
        return next((j for j in reversed(self._jobs) if j.owner == owner), None)

    def submit(self, job: Job) -> Job:
        """Queue a job, to which drafts of the same object give way.

        One that has not begun always does. One that runs is stopped, unless it is half done
        or took the place of another already: else nothing would be seen while a slider is
        dragged.
        """
        drafts = [j for j in self._jobs if j.owner == job.owner and j.is_draft]
        for old in drafts if job.is_draft else []:
            settled = old.replaces or old.replaced or old.fraction > 0.5
            if old.state == "running" and not settled:
                old.replaced = job.replaces = True
                if self._worker:
                    self._worker.send({"do": "cancel", "id": old.number})
        for old in drafts:
            if old.state == "waiting":
                old.state = "cancelled"
                job.replaces |= old.replaces
                self._jobs.remove(old)
        self._count += 1
        job.number = self._count
        self._jobs.append(job)
        return job

    def run_here(self, job: Job) -> Job:
        """Do a job in this process and return when it is over."""
        self._count += 1
        job.number = self._count
        _run_here(job)
        return job

    def cancel(self, job: Job) -> None:
        """Stop a job; what is being computed is given a moment, then its process is ended."""
        if job.state == "waiting":
            job.state = "cancelled"
        elif job.state == "running" and not job.give_up:
            job.give_up = time.monotonic() + PATIENCE
            if self._worker:
                self._worker.send({"do": "cancel", "id": job.number})

    def poll(self, wait: float = 0.0) -> list[Job]:
        """Move on and return the jobs that are over since the last call.

        `wait` says for how many seconds at most the next answer may be waited for.
        """
        if self._jobs and not self._here:
            self._listen(wait)
        self.advance()
        over = [j for j in self._jobs if j.is_over]
        for job in over:
            self._jobs.remove(job)
        return over

    def wait(self, job: Job, seconds: float) -> list[Job]:
        """Wait for a job where a process is ready to do it; return the jobs that are over."""
        over: list[Job] = []
        end = time.monotonic() + seconds
        while not job.is_over and self._worker and self._worker.ready:
            left = end - time.monotonic()
            if left <= 0.0:
                break
            over += self.poll(left)
        return over

    def advance(self) -> None:
        """Begin the next job if nothing is in its way."""
        while self._jobs and self._jobs[0].state == "waiting":
            if not self._begin(self._jobs[0]):
                break

    def news(self) -> list[tuple[int, str, float, str]]:
        """Return what an interface shows of the jobs, to see whether it has changed."""
        return [(j.number, j.state, j.fraction, j.label) for j in self._jobs]

    def close(self) -> None:
        """End the process, drop every job and remove our temporary files."""
        for job in self._jobs:
            job.state = "cancelled"
        self._jobs.clear()
        self._digests.clear()
        self._drop_worker()
        if self._folder:
            shutil.rmtree(self._folder, ignore_errors=True)
            self._folder = None

    def _start(self) -> None:
        try:
            self._worker = Worker(self.folder())
            self._started = time.monotonic()
        except (OSError, ImportError):
            self._here = True  # from now on the window stands still while building

    def _drop_worker(self) -> None:
        if self._worker:
            self._worker.stop()
            self._worker = None

    def folder(self) -> Path:
        """Return our folder in Blender's temporary folder, which goes with the session."""
        if self._folder is None or not self._folder.is_dir():
            self._folder = Path(tempfile.mkdtemp(prefix="medalwright_", dir=bpy.app.tempdir))
        return self._folder

    def _begin(self, job: Job) -> bool:
        """Start the next job; False while the process is not ready for it."""
        if self._worker is None and not self._here:
            self._start()
        if self._here:
            _run_here(job)
            return True
        worker = self._worker
        assert worker is not None
        if not worker.ready:
            if not worker.is_alive() or time.monotonic() - self._started > START:
                self._drop_worker()
                self._here = True
                return self._begin(job)
            job.label = "Starting"
            return False
        try:
            request = self._request(job)
        except OSError as error:  # no room, or the temporary folder was taken away
            job.state = "failed"
            job.message = f"a model cannot be written for the building process: {error}"
            return True
        job.state = "running"
        if not worker.send(request):
            self._lost(job)
        return True

    def _request(self, job: Job) -> dict[str, Any]:
        """Return what is sent to the process, its models written to files."""
        models = {name: str(self._model_file(a)) for name, a in job.models.items()}
        self._forget_models(len(models))
        out = str(self.folder() / f"piece-{job.number}.npz")
        request = {"do": "build", "id": job.number, "spec": job.spec, "quality": job.quality,
                   "models": models, "out": out}  # fmt: skip
        return request if job.deliver is None else {**request, "deliver": dict(job.deliver)}

    def _model_file(self, arrays: Arrays) -> Path:
        """Write a model where the process finds it, named by its content."""
        vertices, triangles, *groups = arrays
        held = {"vertices": vertices, "triangles": triangles}
        held |= {f"{GROUP}{name}": values for group in groups for name, values in group.items()}
        self._digests = [(ref, known) for ref, known in self._digests if ref() is not None]
        digest = next((known for ref, known in self._digests if ref() is vertices), "")
        if not digest:
            digest = _digest_of(held)
            self._digests.append((weakref.ref(vertices), digest))
        path = self.folder() / f"model-{digest}.npz"
        if path.exists():
            path.touch()
        else:
            spare = path.with_name(f"{path.name}.part")
            with spare.open("wb") as handle:
                np.savez(handle, **held)
            spare.replace(path)
        return path

    def _forget_models(self, used: int) -> None:
        """Remove the files of models not used lately: a source may change with every stroke."""
        files = sorted(self.folder().glob("model-*.npz"), key=lambda p: p.stat().st_mtime_ns)
        for path in files[: -max(KEPT_MODELS, used)]:
            path.unlink()

    def _listen(self, wait: float = 0.0) -> None:
        worker = self._worker
        if worker is None:
            return
        alive = worker.is_alive()  # asked first: lines written before the end still count
        for answer in worker.answers(wait):
            if answer.get("event") == "ready":
                worker.ready = True
            for job in self._jobs:
                if job.number == answer.get("id") and job.state == "running":
                    self._take(job, answer)
        running = next((j for j in self._jobs if j.state == "running"), None)
        if running is None:
            return
        if not alive:
            self._lost(running)
        elif running.give_up and time.monotonic() > running.give_up:
            running.state = "cancelled"
            self._drop_worker()

    def _lost(self, job: Job) -> None:
        job.state = "cancelled" if job.give_up or job.replaced else "failed"
        job.message = "The building process ended unexpectedly; try again"
        self._drop_worker()

    def _take(self, job: Job, answer: Mapping[str, Any]) -> None:
        event = answer.get("event")
        path = self.folder() / f"piece-{job.number}.npz"
        if event == "progress":
            job.fraction, job.label = float(answer["fraction"]), str(answer["label"])
        elif event == "cancelled" or job.give_up or job.replaced:
            job.state = "cancelled"
            path.unlink(missing_ok=True)
        elif event == "error":
            job.state, job.message = "failed", str(answer["message"])
        elif event == "done":
            try:
                with np.load(path) as data:
                    job.result = Result(
                        data["vertices"], data["triangles"], data["zone"], data["side"],
                        tuple(answer["zone_names"]), answer["report"],
                    )  # fmt: skip
            except OSError as error:  # temporary folders are swept now and then
                job.state, job.message = "failed", f"the built piece cannot be read: {error}"
                return
            path.unlink()
            job.files = tuple(answer["files"])
            job.state, job.fraction = "done", 1.0


def _digest_of(held: Mapping[str, Any]) -> str:
    digest = hashlib.sha256(repr(list(held)).encode())
    for values in held.values():
        digest.update(np.ascontiguousarray(values).data)
    return digest.hexdigest()[:32]


def _run_here(job: Job) -> None:
    """Do what the process would, in this one."""
    try:
        from .medalcore.build import build
        from .medalcore.deliver import check_free, deliver
        from .medalcore.element import Model
        from .medalcore.errors import MedalError
        from .medalcore.spec import spec_from_dict
    except ImportError as error:
        job.state, job.message = "failed", f"a library is missing or does not fit: {error}"
        return
    try:
        spec = spec_from_dict(dict(job.spec))
        files = job.deliver
        if files:
            folder, over = Path(files["folder"]), bool(files.get("overwrite"))
            also = tuple(files.get("also", ()))
            check_free(spec.medal.slug, folder, overwrite=over, also=also)
        models = {name: Model(*arrays) for name, arrays in job.models.items()}
        medal = build(spec, job.quality, models=models)  # type: ignore[arg-type]
        if files:
            size = int(files.get("size", 1400))
            written = deliver(medal, folder, overwrite=over, size=size, also=also)
            job.files = tuple(str(path) for path in written)
        job.result = Result(
            medal.vertices.astype(np.float32), medal.triangles.astype(np.int32),
            medal.zone, medal.side, medal.zone_names, medal.report,
        )  # fmt: skip
        job.state, job.fraction = "done", 1.0
    except MedalError as error:
        job.state, job.message = "failed", str(error)
    except Exception as error:  # a bug of ours is still one line, not a traceback
        job.state, job.message = "failed", f"unexpected {type(error).__name__}: {error}"
