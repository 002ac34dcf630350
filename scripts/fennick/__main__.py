"""Model the Fennick Light and build its medal: ``python -m fennick FOLDER``."""

from __future__ import annotations

import argparse
import shutil
import sys
import time
from pathlib import Path

from medalcore.cli import main as medalcore

from .models import write_models

SPEC = Path(__file__).with_name("fennick-light.toml")


def main() -> int:
    """Write models, spec and piece; return the build's exit status."""
    parser = argparse.ArgumentParser(prog="fennick", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--quality", choices=("draft", "fine"), default="fine")
    given = parser.parse_args()
    start = time.perf_counter()
    print("Modelling the Fennick Light ...", flush=True)
    write_models(given.folder)
    spec = given.folder / SPEC.name
    shutil.copyfile(SPEC, spec)
    made = time.perf_counter()
    print("Building the medal ...", flush=True)
    status = medalcore(
        ["build", str(spec), "--out", str(given.folder), "--quality", given.quality, "--overwrite"]
    )
    done = time.perf_counter()
    if status == 0:
        print(f"Modelled in {made - start:.1f} s, built and written in {done - made:.1f} s.")
        print(f"Look at {given.folder / 'obverse.png'}; change {spec} and build again.")
    return status


if __name__ == "__main__":
    sys.exit(main())
