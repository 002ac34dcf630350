"""Say how much memory a relief takes at most, from its model to its closed solid.

A head of 1.3 million triangles is written as a file and worked in a fresh process, 2048 pixels
along its larger side; the peak is what the system has counted for that process, interpreter,
libraries and model included. The table tells the peak when each step began, and at the end.

    python scripts/bench_memory.py --pixels 2048
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

LIMIT_MB = 700


def peak_mb() -> float:
    """Return the most memory this process has held so far, MB; counted in bytes on macOS."""
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return held / 1e6 if sys.platform == "darwin" else held * 1024 / 1e6


def work(path: Path, pixels: int) -> None:
    """Build the relief and print the peaks."""
    from medalcore.context.element import Context, Model
    from medalcore.context.ground import Ground
    from medalcore.context.tolerance import Tolerance
    from medalcore.elements.relief import build_relief
    from medalcore.spec import Relief

    print(f"{peak_mb():7.0f} MB  libraries loaded")

    def tell(fraction: float, label: str) -> None:
        print(f"{peak_mb():7.0f} MB  {label}")

    models, name = {}, str(path)
    if path.suffix == ".npz":
        name = "object:head"
        with np.load(path) as data:
            models[name] = Model(data["vertices"], data["triangles"])
    context = Context(
        Ground(level=1.2, radius=18.0, dish=0.0, floor=-1.0),
        Tolerance(curve=0.002, surface=0.005, pixels=pixels),
        models,
        tell,
    )
    built = build_relief(Relief(source=name, fit=22.0, height=0.6), context)
    solid = built.parts[0].solid.manifold
    print(f"        {built.facts['triangles']} triangles, volume {solid.volume():.4f} mm3")


def write_model(path: Path) -> None:
    """Write the head, as a file or as arrays."""
    import trimesh
    from bench_rebuild import head

    made = head()
    if path.suffix == ".npz":
        np.savez(path, vertices=made.vertices, triangles=made.triangles)
    else:
        trimesh.Trimesh(made.vertices, made.triangles, process=False).export(path)


def main() -> int:
    """Write the model, work it, and tell whether the limit is kept."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--pixels", type=int, default=2048)
    parser.add_argument("--file", action="store_true", help="give the model as an STL file")
    parser.add_argument("--model", type=Path, help="another model, a file")
    parser.add_argument("--write", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--work", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.write:
        write_model(options.write)
        return 0
    if options.work:
        work(options.work, options.pixels)
        print(f"{peak_mb():7.0f} MB  closed solid")
        return int(peak_mb() > LIMIT_MB)
    again = [sys.executable, __file__, "--pixels", str(options.pixels)]
    if options.model:
        return subprocess.run([*again, "--work", str(options.model)], check=False).returncode
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / ("head.stl" if options.file else "head.npz")
        # a process begins with the peak of the one that started it, so this one stays small
        subprocess.run([*again, "--write", str(path)], check=True)
        return subprocess.run([*again, "--work", str(path)], check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
