# SPDX-License-Identifier: GPL-3.0-or-later
"""Builds in the worker process, one after the other, and in this one where it must be.

`Builder.submit` queues a job; `Builder.poll`, called from a timer, moves things on. There
is no thread of ours that touches Blender: one thread only reads lines into a queue.
"""

from __future__ import annotations

import hashlib
import importlib.util
import json
import os
import queue
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from .medalcore.model import GROUP
from .meshes import Result
from .sources import Arrays

PATIENCE = 1.0
"""Seconds a build may take to stop by itself before its process is ended."""

START = 60.0
"""Seconds the process may take to be ready; a cold disk is slow."""

KEPT_MODELS = 8
"""Files of models that are kept for the next build."""

# Loads exactly the core that travels with the extension, without touching any search path.
_BOOT = """
import importlib.util, sys
from pathlib import Path
home = Path({home!r})
spec = importlib.util.spec_from_file_location(
    "medalcore", home / "__init__.py", submodule_search_locations=[str(home)])
sys.modules["medalcore"] = module = importlib.util.module_from_spec(spec)
spec.loader.exec_module(module)
from medalcore.worker import main
sys.exit(main())
"""


@dataclass(eq=False)
class Job:
    """One build somebody waits for.

    Attributes
    ----------
    owner : int
        `session_uid` of the object it is for.
    state : str
        waiting, running, done, failed, cancelled.
    """

    owner: int
    spec: Mapping[str, Any]
    quality: str
    models: Mapping[str, Arrays] = field(default_factory=dict)
    deliver: Mapping[str, Any] | None = None
    digest: str = ""
    number: int = 0
    state: str = "waiting"
    fraction: float = 0.0
    label: str = ""
    message: str = ""
    result: Result | None = None
    files: tuple[str, ...] = ()
    give_up: float = 0.0

    @property
    def is_over(self) -> bool:
        """Tell whether nothing more will happen to it."""
        return self.state in ("done", "failed", "cancelled")


class Worker:
    """The process and the lines that go to and come from it."""

    def __init__(self, folder: Path) -> None:
        self.ready = False
        self._lines: queue.Queue[dict[str, Any]] = queue.Queue()
        self._log = (folder / "worker.log").open("wb")
        home = Path(__file__).resolve().parent / "medalcore"
        options = {"creationflags": subprocess.CREATE_NO_WINDOW} if os.name == "nt" else {}
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-c", _BOOT.format(home=str(home))],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._log,
            cwd=folder,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(_libraries())},
            **options,
        )
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            try:
                self._lines.put(json.loads(line))
            except ValueError:
                continue

    def send(self, message: Mapping[str, Any]) -> bool:
        """Send a request; False if the process is gone."""
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(json.dumps(message).encode() + b"\n")
            self._process.stdin.flush()
        except (OSError, ValueError):
            return False
        return True

    def answers(self) -> list[dict[str, Any]]:
        """Return what has come since the last call."""
        found = []
        while not self._lines.empty():
            found.append(self._lines.get())
        return found

    def is_alive(self) -> bool:
        """Tell whether the process runs."""
        return self._process.poll() is None

    def stop(self, wait: float = 0.3) -> None:
        """End the process: ask, then insist. Every pipe is closed."""
        self.send({"do": "quit"})
        for end in (lambda: None, self._process.terminate, self._process.kill):
            end()
            try:
                self._process.wait(wait)
                break
            except subprocess.TimeoutExpired:
                continue
        for pipe in (self._process.stdin, self._process.stdout, self._log):
            try:
                pipe.close()  # type: ignore[union-attr]
            except OSError:
                pass


def _libraries() -> list[str]:
    """Return the folders our libraries were imported from, for the process to find them."""
    found: list[str] = []
    for name in ("msgspec", "manifold3d", "numpy"):
        spec = importlib.util.find_spec(name)
        if spec is None or spec.origin is None:
            raise ImportError(f"{name} is missing")
        path = Path(spec.origin).resolve()
        folder = path.parent.parent if path.stem == "__init__" else path.parent
        if str(folder) not in found:
            found.append(str(folder))
    return found


class Builder:
    """The queue of jobs, and the process that is started when the first one comes."""

    def __init__(self) -> None:
        self._jobs: deque[Job] = deque()
        self._worker: Worker | None = None
        self._started = 0.0
        self._here = bool(bpy.app.background)  # timers do not fire there
        self._folder: Path | None = None
        self._count = 0

    @property
    def is_idle(self) -> bool:
        """Tell whether nothing waits or runs."""
        return not self._jobs

    def job_of(self, owner: int) -> Job | None:
        """Return the job of an object that is waiting or running, the newest first."""
        return next((j for j in reversed(self._jobs) if j.owner == owner), None)

    def submit(self, job: Job) -> Job:
        """Queue a job; a draft of the same object that has not begun gives way to it."""
        for old in [j for j in self._jobs if j.owner == job.owner and j.state == "waiting"]:
            if old.quality == "draft" and old.deliver is None:
                old.state = "cancelled"
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

    def poll(self) -> list[Job]:
        """Move on and return the jobs that are over since the last call."""
        if self._jobs and not self._here:
            self._listen()
        self.advance()
        over = [j for j in self._jobs if j.is_over]
        for job in over:
            self._jobs.remove(job)
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
        request = {
            "do": "build",
            "id": job.number,
            "spec": job.spec,
            "quality": job.quality,
            "models": {name: str(self._model_file(a)) for name, a in job.models.items()},
            "out": str(self.folder() / f"piece-{job.number}.npz"),
        }
        self._forget_models(len(job.models))
        if job.deliver is not None:
            request["deliver"] = dict(job.deliver)
        job.state = "running"
        if not worker.send(request):
            self._lost(job)
        return True

    def _model_file(self, arrays: Arrays) -> Path:
        """Write a model where the process finds it, named by its content."""
        vertices, triangles, *groups = arrays
        held = {"vertices": vertices, "triangles": triangles}
        held |= {f"{GROUP}{name}": values for group in groups for name, values in group.items()}
        digest = hashlib.sha256(repr(list(held)).encode())
        for values in held.values():
            digest.update(np.ascontiguousarray(values).data)
        path = self.folder() / f"model-{digest.hexdigest()[:32]}.npz"
        if path.exists():
            path.touch()
        else:
            np.savez(path, **held)
        return path

    def _forget_models(self, used: int) -> None:
        """Remove the files of models not used lately: a source may change with every stroke."""
        files = sorted(self.folder().glob("model-*.npz"), key=lambda p: p.stat().st_mtime_ns)
        for path in files[: -max(KEPT_MODELS, used)]:
            path.unlink()

    def _listen(self) -> None:
        worker = self._worker
        if worker is None:
            return
        alive = worker.is_alive()  # asked first: lines written before the end still count
        for answer in worker.answers():
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
        job.state = "cancelled" if job.give_up else "failed"
        job.message = "The building process ended unexpectedly; try again"
        self._drop_worker()

    def _take(self, job: Job, answer: Mapping[str, Any]) -> None:
        event = answer.get("event")
        path = self.folder() / f"piece-{job.number}.npz"
        if event == "progress":
            job.fraction, job.label = float(answer["fraction"]), str(answer["label"])
        elif event == "cancelled" or job.give_up:
            job.state = "cancelled"
            path.unlink(missing_ok=True)
        elif event == "error":
            job.state, job.message = "failed", str(answer["message"])
        elif event == "done":
            with np.load(path) as data:
                job.result = Result(
                    data["vertices"], data["triangles"], data["zone"], data["side"],
                    tuple(answer["zone_names"]), answer["report"],
                )  # fmt: skip
            path.unlink()
            job.files = tuple(answer["files"])
            job.state, job.fraction = "done", 1.0


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
