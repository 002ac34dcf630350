# SPDX-License-Identifier: GPL-3.0-or-later
"""Builds in the worker process, one after the other, and in this one where it must be.

`Builder.submit` queues a job; `Builder.poll`, called from a timer, moves things on, and
`Builder.wait` does for a moment what the timer would. No thread of ours touches Blender.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ..medalcore.errors import MedalError
from ..scene.result import Result
from ..scene.sources import Arrays
from .exchange import Exchange
from .worker import Worker

PATIENCE = 1.0
"""Seconds a build may take to stop by itself before its process is ended."""

START = 60.0
"""Seconds the process may take to be ready; a cold disk is slow."""

LOST = "The building process ended unexpectedly; try again"
"""What is told of a job whose process has gone."""

ANEW = "The building process had ended; another one was started"
"""What is told of a job that found its process gone and was given another."""


@dataclass(eq=False)
class Job:
    """One build somebody waits for.

    Attributes
    ----------
    owner : int
        `session_uid` of the object it is for.
    digest, sources : str
        What is asked for, and the content of the models it is made from.
    why : str
        What was changed, in a word of the caller's.
    state : str
        waiting, running, done, failed, cancelled.
    message : str
        What a person should know of it: why it failed, or what happened on the way.
    stale : bool
        Whether its piece asks for something else by now, or is gone.
    replaces, replaced : bool
        Whether it took, or lost, the place of a running draft of the same object.
    """

    owner: int
    spec: Mapping[str, Any]
    quality: str
    models: Mapping[str, Arrays] = field(default_factory=dict)
    deliver: Mapping[str, Any] | None = None
    digest: str = ""
    sources: str = ""
    why: str = ""
    number: int = 0
    state: str = "waiting"
    fraction: float = 0.0
    label: str = ""
    message: str = ""
    result: Result | None = None
    files: tuple[str, ...] = ()
    give_up: float = 0.0
    stale: bool = False
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

    @property
    def written(self) -> str:
        """Say which files it wrote, if any."""
        return f"{len(self.files)} files in {Path(self.files[0]).parent}" if self.files else ""


class Builder:
    """The queue of jobs, and the process that is started when the first one comes.

    Parameters
    ----------
    apart : bool, optional
        Whether a process builds; if not said, where there is a window: timers, which ask how
        far the process is, do not fire without one.

    Attributes
    ----------
    worker : Worker or None
        The process, once one was started.
    files : Exchange
    trouble : str
        Why jobs are done in Blender itself though they should not be; empty if they are not.
    """

    def __init__(self, *, apart: bool | None = None) -> None:
        self.worker: Worker | None = None
        self.files = Exchange()
        self.trouble = ""
        self._jobs: deque[Job] = deque()
        self._started = 0.0
        self._here = bool(bpy.app.background) if apart is None else not apart
        self._count = 0

    @property
    def is_apart(self) -> bool:
        """Tell whether a process builds, so that Blender goes on meanwhile."""
        return not self._here

    @property
    def jobs(self) -> tuple[Job, ...]:
        """Return what waits or runs, the oldest first."""
        return tuple(self._jobs)

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
                job.replaces = True
                self._replace(old)
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
            if self.worker:
                self.worker.send({"do": "cancel", "id": job.number})

    def drop(self, job: Job) -> None:
        """Stop a job that nobody wants any more; a draft is short and is let come to a stop."""
        job.stale = True
        if job.is_draft and job.state == "running":
            self._replace(job)
        else:
            self.cancel(job)

    def _replace(self, job: Job) -> None:
        job.replaced = True
        if self.worker:
            self.worker.send({"do": "cancel", "id": job.number})

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
        while not job.is_over and self.worker and self.worker.ready:
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
        self._drop_worker()
        self.files.close()

    def _start(self) -> None:
        try:
            self.worker = Worker(self.files.folder())
            self._started = time.monotonic()
        except (OSError, ImportError, TypeError, ValueError) as error:
            self._fall_back(str(error))

    def _fall_back(self, why: str) -> None:
        """Build in Blender from now on, which stands still meanwhile."""
        self._drop_worker()
        self._here = True
        self.trouble = (
            "Medals are built in Blender itself, which stands still meanwhile: "
            f"the building process does not start ({why})"
        )

    def _drop_worker(self) -> None:
        if self.worker:
            self.worker.stop()
            self.worker = None

    def _begin(self, job: Job) -> bool:
        """Start the next job; False while the process is not ready for it."""
        if self.worker is None and not self._here:
            self._start()
        if self._here:
            _run_here(job)
            return True
        worker = self.worker
        assert worker is not None
        if not worker.ready:
            if worker.is_alive() and time.monotonic() - self._started < START:
                job.label = "Starting"
                return False
            late = f"it is not ready after {START:.0f} s"
            self._fall_back(late if worker.is_alive() else worker.last_words())
            return self._begin(job)
        if not worker.is_alive():
            return self._begin_anew(job)
        try:
            request = self._request(job)
        except OSError as error:  # no room, or the temporary folder was taken away
            job.state = "failed"
            job.message = f"a model cannot be written for the building process: {error}"
            return True
        if not worker.send(request):
            return self._begin_anew(job)
        job.state = "running"
        return True

    def _begin_anew(self, job: Job) -> bool:
        """Start a job with another process, as the one there was has gone; once for each job."""
        self._drop_worker()
        if job.message == ANEW:
            job.state, job.message = "failed", LOST
            return True
        job.message = ANEW
        return self._begin(job)

    def _request(self, job: Job) -> dict[str, Any]:
        """Return what is sent to the process, its models written to files."""
        models, out = self.files.models(job.models), str(self.files.piece(job.number))
        request = {"do": "build", "id": job.number, "spec": job.spec, "quality": job.quality,
                   "models": models, "out": out}  # fmt: skip
        return request if job.deliver is None else {**request, "deliver": dict(job.deliver)}

    def _listen(self, wait: float = 0.0) -> None:
        worker = self.worker
        if worker is None:
            return
        alive = worker.is_alive()  # asked first: lines written before the end still count
        for answer in worker.answers(wait):
            if answer.get("event") == "ready":
                worker.ready = True
            for job in self._jobs:
                if job.number == answer.get("id") and job.state == "running":
                    self._hear(job, answer)
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
        job.message = LOST
        self._drop_worker()

    def _hear(self, job: Job, answer: Mapping[str, Any]) -> None:
        """Take an answer; whatever it is, the job does not go on for ever."""
        try:
            self._take(job, answer)
        except MedalError as error:
            job.state, job.message = "failed", str(error)
        except Exception as error:
            job.state, job.message = "failed", f"unexpected {type(error).__name__}: {error}"

    def _take(self, job: Job, answer: Mapping[str, Any]) -> None:
        event = answer.get("event")
        if event == "progress":
            job.fraction, job.label = float(answer["fraction"]), str(answer["label"])
        elif event == "cancelled" or job.give_up or job.replaced:
            job.state = "cancelled"
            self.files.forget_piece(job.number)
        elif event == "error":
            job.state, job.message = "failed", str(answer["message"])
        elif event == "done":
            job.result = self.files.take_piece(job.number, answer)
            job.files = tuple(answer["files"])
            job.state, job.fraction = "done", 1.0


def _run_here(job: Job) -> None:
    """Do what the process would, in this one."""
    try:
        from ..medalcore.context.element import Model
        from ..medalcore.deliver import check_free, deliver
        from ..medalcore.piece.build import build
        from ..medalcore.spec import spec_from_dict
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
