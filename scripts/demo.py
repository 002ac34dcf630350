"""Build the demo medal from a fresh clone: ``python scripts/demo.py [--quality draft]``."""

import os
import subprocess
import sys

from environment import ROOT, ensure


def main():
    """Make the environment, then model and build in it; return the exit status."""
    python = ensure()
    folder = ROOT / "build" / "fennick"
    command = [str(python), "-m", "fennick", str(folder), *sys.argv[1:]]
    # Windows consoles are not UTF-8 by themselves, and the summary writes mm² and °
    clean = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "PYTHONHOME")}
    clean["PYTHONUTF8"] = "1"
    return subprocess.call(command, cwd=str(ROOT / "scripts"), env=clean)


if __name__ == "__main__":
    sys.exit(main())
