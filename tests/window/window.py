"""A real Blender: found, given the extension, and photographed in a window without a screen.

``MEDALWRIGHT_BLENDER`` names a Blender program, or the folder of a system root that has one
(see ``setup_blender.sh``), which is then entered by chroot. Blender draws with Mesa's
software driver on a virtual screen of its own (Xvfb); the picture is taken from outside,
because Blender's own screenshot of such a window came out black.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
COLOURS = 200
"""A picture with fewer colours shows no window; a black one has 1."""


@dataclass(frozen=True)
class Blender:
    """A Blender to test in, with a home folder of its own.

    Attributes
    ----------
    program : str
        As it is called inside `root`.
    root : str
        Folder of a system root, or empty.
    home : Path
        As seen from outside.
    """

    program: str
    root: str
    home: Path

    def inside(self, path: Path) -> str:
        """Return a path as Blender sees it."""
        return str(path)[len(self.root) :]

    def outside(self, path: str) -> Path:
        """Return where a file that Blender names lies."""
        return Path(self.root + path)

    def command(self, *arguments: str) -> list[str]:
        """Return the command line of a call."""
        return [*(["chroot", self.root] if self.root else []), self.program, *arguments]

    def environment(self, **more: str) -> dict[str, str]:
        """Return the environment of a call: our home, no user's settings.

        Windows and macOS ask the system where a person's settings lie, not HOME; a folder
        named to Blender itself counts everywhere.
        """
        kept = {k: v for k, v in os.environ.items() if not k.startswith(("BLENDER_", "WAYLAND"))}
        home = self.inside(self.home)
        (self.home / "tmp").mkdir(exist_ok=True)
        kept.update(HOME=home, XDG_CONFIG_HOME=f"{home}/.config", XDG_CACHE_HOME=f"{home}/.cache")
        kept.update(BLENDER_USER_RESOURCES=home)
        kept.update({name: f"{home}/tmp" for name in ("TMPDIR", "TEMP", "TMP")})
        return {**kept, **more}

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run Blender to its end, without a window."""
        return subprocess.run(
            self.command("--background", *arguments),
            env=self.environment(),
            capture_output=True,
            encoding="utf-8",  # as Blender prints everywhere
            errors="replace",
            timeout=300,
            check=False,
        )

    def photograph(
        self, scene: Path, picture: Path, *, size: tuple[int, int] = (1500, 1000), wait: float = 120
    ) -> dict[str, Any]:
        """Play a scene in a window, take its picture, and return what the scene told.

        Raises
        ------
        RuntimeError
            With the scene's traceback or Blender's last words.
        """
        work = Path(tempfile.mkdtemp(prefix="shot_", dir=self.home))
        for name in (scene, HERE / "inside.py"):
            shutil.copy(name, work / name.name)
        ready = work / "ready.json"
        screen, display = start_screen(size)
        blender = None
        try:
            arguments = [
                "--enable-event-simulate",
                "--window-geometry",
                "0",
                "0",
                str(size[0]),
                str(size[1]),
            ]
            arguments += ["--python", self.inside(work / "inside.py"), "--"]
            arguments += [self.inside(work / scene.name), self.inside(ready), str(wait + 30)]
            with (work / "blender.log").open("wb") as log:
                blender = subprocess.Popen(
                    self.command(*arguments),
                    env=self.environment(DISPLAY=display, LIBGL_ALWAYS_SOFTWARE="1"),
                    stdout=log,
                    stderr=subprocess.STDOUT,
                )
            end = time.monotonic() + wait
            while not ready.exists() and blender.poll() is None and time.monotonic() < end:
                time.sleep(0.2)
            if not ready.exists():
                raise RuntimeError(f"no answer, status {blender.poll()}: {said(work)[-3000:]}")
            told: dict[str, Any] = json.loads(ready.read_text(encoding="utf-8"))
            told["log"] = said(work)
            if told["status"] != "ok":
                raise RuntimeError(told["status"])
            take_picture(display, picture)
            return told
        finally:
            for process in (blender, screen):
                if process is not None:
                    stop(process)
            shutil.rmtree(work, ignore_errors=True)


def said(work: Path) -> str:
    """Return what Blender printed."""
    return (work / "blender.log").read_text(encoding="utf-8", errors="replace")


def start_screen(size: tuple[int, int]) -> tuple[subprocess.Popen[bytes], str]:
    """Start a virtual screen and return it with its display name."""
    read, write = os.pipe()
    screen = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", f"{size[0]}x{size[1]}x24",
         "-nolisten", "tcp"],
        pass_fds=(write,),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(write)
    with os.fdopen(read) as answer:
        number = answer.readline().strip()
    if not number:
        stop(screen)
        raise RuntimeError("Xvfb did not start")
    return screen, f":{number}"


def take_picture(display: str, picture: Path) -> None:
    """Photograph a screen; the drawing can lag behind, so try until there is something."""
    for _ in range(10):
        call = ["import", "-display", display, "-window", "root", str(picture)]
        subprocess.run(call, check=True)
        told = subprocess.run(
            ["identify", "-format", "%k", str(picture)], check=True, capture_output=True, text=True
        )
        if int(told.stdout) > COLOURS:
            return
        time.sleep(0.7)
    raise RuntimeError("the window stayed black")


def stop(process: subprocess.Popen[bytes]) -> None:
    """End a process of ours."""
    if process.poll() is None:
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def find_blender(folder: Path) -> tuple[Blender | None, str]:
    """Return a Blender with an empty home, or None and why there is none.

    Parameters
    ----------
    folder : Path
        Where a home may be made; in a system root, its own /tmp is used.
    """
    named = os.environ.get("MEDALWRIGHT_BLENDER", "")
    if named and Path(named).is_dir():
        if not hasattr(os, "chroot") or os.geteuid() != 0:
            return None, f"{named} is a system root, which only root can enter"
        home = Path(tempfile.mkdtemp(prefix="medalwright_", dir=Path(named) / "tmp"))
        return Blender("/usr/bin/blender", named.rstrip("/"), home), ""
    program = named or shutil.which("blender") or ""
    if not program or not Path(program).exists():
        return None, (
            "no Blender here: MEDALWRIGHT_BLENDER names none and none is on the path; "
            "tests/window/setup_blender.sh sets one up on Debian"
        )
    return Blender(program, "", Path(tempfile.mkdtemp(prefix="medalwright_", dir=folder))), ""


def missing_tools(names: Sequence[str] = ("Xvfb", "import", "identify")) -> list[str]:
    """Return the programs a picture needs that are not here."""
    return [name for name in names if shutil.which(name) is None]
