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
    clean = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "PYTHONHOME")}
    return subprocess.call(command, cwd=str(ROOT / "scripts"), env=clean)


if __name__ == "__main__":
    sys.exit(main())
