"""The Python environment our own scripts run in: made once, kept up to date, found again.

Standard library only, and no newer syntax than the check in `ensure` can still be reached
with: a script calls `ensure` under whatever Python it was started with, then runs its real
work with the interpreter it gets back.
"""

import hashlib
import json
import os
import re
import subprocess
import sys
import sysconfig
import time
import urllib.parse
import urllib.request
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LEAST = (3, 11)

# Debian's python3 comes without ensurepip; then pip itself is fetched, this one and no other.
_INDEX = "https://pypi.org/simple"
_PIP_SHA256 = "9655943313a94722b7774661c21049070f6bbb0a1516bf02f7c8d5d9201514cd"


def ensure(extras: str = "") -> Path:
    """Return the Python of an environment with the project and `extras` installed.

    Parameters
    ----------
    extras : str
        Names of optional dependency groups from pyproject.toml, comma-separated.

    Raises
    ------
    SystemExit
        With one line for people: Python too old, environment or installation failed.
    """
    if sys.version_info < LEAST:
        needed, found = (".".join(map(str, v)) for v in (LEAST, sys.version_info[:3]))
        sys.exit(f"Python {needed} or newer is needed; this is Python {found} ({sys.executable})")
    folder = ROOT / f".venv-{sysconfig.get_platform()}-{sys.version_info[0]}.{sys.version_info[1]}"
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    wanted = {part.strip() for part in extras.split(",") if part.strip()}
    stamp = folder / "installed.json"
    state = {"project": _fingerprint(), "folder": str(folder), "python": sys.version}
    known = _read(stamp)
    have = set(known.get("extras", []))
    current = python.exists() and all(known.get(key) == value for key, value in state.items())
    if current and wanted <= have:
        return python
    print(f"Setting up {folder.name} (once, about a minute) ...", flush=True)
    start = time.perf_counter()
    if not (python.exists() and known.get("python") == sys.version):
        _create(folder, python)
    everything = sorted(wanted | have)
    what = str(ROOT) + (f"[{','.join(everything)}]" if everything else "")
    _run([python, "-m", "pip", "install", "--editable", what], folder / "install.log")
    stamp.write_text(json.dumps({**state, "extras": everything}), encoding="utf-8")
    print(f"... done in {time.perf_counter() - start:.0f} s", flush=True)
    return python


def _fingerprint() -> str:
    return hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()


def _read(stamp: Path) -> dict:
    try:
        return dict(json.loads(stamp.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        return {}


def _create(folder: Path, python: Path) -> None:
    """Make an empty environment with pip, in place of whatever half of one is there."""
    log = folder.with_name(folder.name + ".log")
    try:
        # copies on Windows, links elsewhere, as `python -m venv` does it
        builder = venv.EnvBuilder(clear=True, symlinks=os.name != "nt", with_pip=False)
        builder.create(folder)
    except (OSError, subprocess.CalledProcessError) as error:
        sys.exit(f"cannot make a Python environment in {folder}: {error}")
    try:
        import ensurepip  # noqa: F401
    except ImportError:
        wheel = _fetch_pip(folder)
        _run([python, f"{wheel}/pip", "install", "--no-index", wheel], log)
    else:
        _run([python, "-m", "ensurepip", "--default-pip"], log)
    log.unlink(missing_ok=True)


def _fetch_pip(folder: Path) -> Path:
    try:
        page = os.environ.get("PIP_INDEX_URL", _INDEX).rstrip("/") + "/pip/"
        with urllib.request.urlopen(page, timeout=60) as answer:
            text = answer.read().decode("utf-8")
        # the simple index writes each file as a link that ends in its hash (PEP 503)
        found = re.search(rf'href="([^"#]+)#sha256={_PIP_SHA256}"', text)
        if found is None:
            raise ValueError(f"{page} does not offer it")
        url = urllib.parse.urljoin(page, found.group(1))
        with urllib.request.urlopen(url, timeout=60) as answer:
            data = answer.read()
    except (OSError, ValueError) as error:
        sys.exit(
            f"this Python has no pip and it could not be fetched ({error}); "
            "install your system's python3-venv or python3-pip package and run this again"
        )
    if hashlib.sha256(data).hexdigest() != _PIP_SHA256:
        sys.exit("the pip that was fetched is not the one expected; nothing was installed")
    wheel = folder / url.rsplit("/", 1)[1]
    wheel.write_bytes(data)
    return wheel


def _run(command: list, log: Path) -> None:
    """Run a command with its output in a file; leave with its own last words if it fails."""
    # a PYTHONPATH or PYTHONHOME of the caller's would leak another installation into ours
    outside = ("PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV", "__PYVENV_LAUNCHER__")
    clean = {key: value for key, value in os.environ.items() if key not in outside}
    with log.open("wb") as out:
        code = subprocess.call(
            [str(part) for part in command], stdout=out, stderr=subprocess.STDOUT, env=clean
        )
    if code == 0:
        return
    lines = log.read_text(encoding="utf-8", errors="replace").splitlines()
    said = [line.strip() for line in lines if re.match(r"\s*error\b", line, re.IGNORECASE)]
    reason = (said or [line for line in lines if line.strip()] or ["no reason given"])[-1]
    sys.exit(f"installation failed: {reason} (all of it in {log})")


if __name__ == "__main__":
    print(ensure(",".join(sys.argv[1:])))
