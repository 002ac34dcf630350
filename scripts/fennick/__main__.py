"""Model the Fennick Light and build its medal: ``python -m fennick FOLDER``."""

from __future__ import annotations

import argparse
import shutil
import sys
import time
from pathlib import Path

from PIL import Image

from medalcore.cli import main as medalcore

from .models import write_models

SPEC = Path(__file__).with_name("fennick-light.toml")


def write_poster(folder: Path, file: Path, height: int = 640) -> None:
    """Write both sides of the piece beside each other, as the README shows them."""
    sides = [Image.open(folder / f"{name}.png").convert("RGB") for name in ("obverse", "reverse")]
    poster = Image.new("RGB", (2 * height, height))
    for k, side in enumerate(sides):
        poster.paste(side.resize((height, height), Image.Resampling.LANCZOS), (k * height, 0))
    poster.save(file, optimize=True)
    print(f"  {file}", flush=True)


def main() -> int:
    """Write models, spec and piece; return the build's exit status."""
    parser = argparse.ArgumentParser(prog="fennick", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--quality", choices=("draft", "fine"), default="fine")
    parser.add_argument("--poster", type=Path, help="picture of both sides to write as well")
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
    if status == 0 and given.poster:
        write_poster(given.folder, given.poster)
    if status == 0:
        print(f"Modelled in {made - start:.1f} s, built and written in {done - made:.1f} s.")
        print(f"Look at {given.folder / 'obverse.png'}; change {spec} and build again.")
    return status


if __name__ == "__main__":
    sys.exit(main())
