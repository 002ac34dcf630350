"""Measure the triangulation of height fields against greedy insertion, at equal error.

    python scripts/bench_triangulate.py [--sizes 1024 2048] [--tolerances 2 5 10]

The comparison needs pydelatin, one of the test libraries. Prints for each field and tolerance
(micrometres) how many triangles both need, the largest error of ours measured by the depth
map, and both times from the same run.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1] / "tests" / "helpers"))

from relief_fields import lively, square

from medalcore.elements.relief.surface.greedy_insertion import triangulate
from medalcore.geometry.grid import Grid
from medalcore.geometry.raster import top_surface

SIDE_MM = 25.4


def ours(h: np.ndarray, tolerance: float):
    """Triangulate the whole square, its border thinned to the same tolerance."""
    return triangulate(h, *square(h, tolerance), tolerance, SIDE_MM / (len(h) - 1))


def error_of(h: np.ndarray, surface) -> float:
    """Return the largest distance in z at any pixel centre, mm."""
    grid = Grid(0.0, 0.0, 1.0, *h.shape)
    seen, _ = top_surface(np.column_stack([surface.points, surface.z]), surface.triangles, grid)
    return float(np.abs(seen - h).max())


def timed(run, times: int = 3):
    """Return the result and the median of a few times, s."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        result = run()
        spent.append(time.perf_counter() - start)
    return result, sorted(spent)[times // 2]


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sizes", type=int, nargs="+", default=[1024, 2048])
    parser.add_argument("--tolerances", type=float, nargs="+", default=[2.0, 5.0, 10.0])
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2])
    options = parser.parse_args()
    try:
        from pydelatin import Delatin
    except ImportError:
        Delatin = None
        print("pydelatin is not installed: only our own numbers")
    print("size  field  tol um  ours  max um  time s  greedy  ratio  time ratio")
    for size in options.sizes:
        for seed in options.seeds:
            h = lively(size, seed)
            for micrometres in options.tolerances:
                tolerance = micrometres / 1000.0
                surface, spent = timed(lambda h=h, t=tolerance: ours(h, t))
                count = len(surface.triangles)
                error = 1000.0 * error_of(h, surface)
                line = f"{size:4d}  {seed:5d}  {micrometres:6.1f}  {count:5d}"
                line += f"  {error:6.3f}  {spent:6.3f}"
                if Delatin:
                    greedy, theirs = timed(lambda h=h, t=tolerance: Delatin(h, max_error=t))
                    other = len(greedy.triangles)
                    line += f"  {other:6d}  {count / other:5.2f}  {spent / theirs:10.2f}"
                print(line, flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
