"""The process beside Blender: how it is started, and that its death is not ours. No Blender needed.

Blender's embedded Python leaves SIGPIPE at the system's default action, which ends the program;
a plain Python ignores it. So what must survive is run in a Python that is set up alike.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

ADDON = Path(__file__).resolve().parents[2] / "addon"

HEAD = f"""
import importlib.util, os, signal, sys, time
from pathlib import Path
spec = importlib.util.spec_from_file_location("process", {str(ADDON / "work" / "worker.py")!r})
process = importlib.util.module_from_spec(spec)
spec.loader.exec_module(process)
folder = Path(sys.argv[1])
"""


def play(code: str, folder: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", HEAD + code, str(folder)],
        env={**os.environ, **environment},
        capture_output=True,
        encoding="utf-8",
        check=False,
        timeout=60,
    )


@pytest.mark.skipif(not hasattr(signal, "SIGPIPE"), reason="this system has no SIGPIPE")
def test_writing_to_a_process_that_has_died_does_not_end_this_one(tmp_path: Path) -> None:
    done = play(
        """
process._BOOT = "import time; time.sleep(60)  # {home}"
signal.signal(signal.SIGPIPE, signal.SIG_DFL)
worker = process.Worker(folder)
os.kill(worker.pid, signal.SIGKILL)
while worker.is_alive():
    time.sleep(0.01)
print(worker.send({"do": "cancel"}), "known to be dead")
worker.is_alive = lambda: True  # it dies between the look and the write
print(worker.send({"do": "build", "spec": "long" * 100_000}), "not known")
worker.stop()
print(signal.SIGPIPE in signal.sigpending(), signal.SIGPIPE in signal.pthread_sigmask(0, []))
""",
        tmp_path,
    )
    assert done.returncode == 0, done  # -13 is the signal
    assert done.stdout.splitlines() == ["False known to be dead", "False not known", "False False"]


def test_what_is_said_to_the_persons_python_is_not_said_to_the_process(tmp_path: Path) -> None:
    """A PYTHONHOME of another Python alone keeps a Python from starting (its documentation)."""
    told = (
        "import os, site, sys; print([n for n in os.environ if n.startswith(('PYTHON', '__PY'))], "
    )
    told += "site.ENABLE_USER_SITE, sys.flags.safe_path, file=sys.stderr)  # {home}"
    done = play(
        f"""
os.environ |= dict(PYTHONHOME="/nowhere", PYTHONSTARTUP="/nowhere.py", __PYVENV_LAUNCHER__="x")
process._BOOT = {told!r}
worker = process.Worker(folder)
while worker.is_alive():
    time.sleep(0.01)
print(worker.last_words())
worker.stop()
""",
        tmp_path,
    )
    assert done.stdout == "['PYTHONPATH'] False True\n", done


@pytest.mark.parametrize("program", [None, "", "no\\0name"])
def test_no_python_to_start_is_an_error_that_is_caught(tmp_path: Path, program: str | None) -> None:
    """Blender sets `sys.executable` to None where it finds no Python beside itself."""
    code = f"""
sys.executable = {program!r}
try:
    process.Worker(folder)
except (OSError, ImportError, TypeError, ValueError) as error:
    print("caught")
"""
    assert play(code, tmp_path).stdout == "caught\n"
