"""Time a legend of sixty-two different letters at fine, and say where the time goes.

Run ``python scripts/bench_lettering.py``. The goal is half a second on two cores. The
solids alone are set against the usual way, a wedge for every edge and a union of them all.
"""

from __future__ import annotations

import argparse
import cProfile
import math
import pstats
import statistics
import sys
import time

from medalcore.context.element import Context
from medalcore.context.ground import Ground
from medalcore.context.tolerance import TOLERANCES
from medalcore.elements.lettering import build_legend
from medalcore.elements.lettering.fonts import find_typeface
from medalcore.geometry.closure import closure
from medalcore.geometry.loft import drafted, wedged
from medalcore.geometry.solid import arrays_of
from medalcore.spec import Legend

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789"
GOAL = 0.5


def main() -> int:
    """Print medians of several runs; return 1 if the plain legend misses its goal."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--font", default="serif-bold")
    parser.add_argument("--profile", action="store_true", help="say which functions take longest")
    chosen = parser.parse_args()
    ground = Ground(level=1.0, radius=18.0, dish=0.0, floor=-0.5)
    missed = False
    for name, more in (
        ("flat, 8 degrees", {}),
        ("flat, 20 degrees", {"draft": 20.0}),
        ("bent", {"form": "bent"}),
        ("sunk", {"work": "sunk"}),
        ("rounded", {"section": "rounded"}),
        ("vee", {"section": "vee"}),
    ):
        spec = Legend(text=LETTERS, font=chosen.font, cap_height=1.6, sweep=350.0, **more)
        seconds = []
        for _ in range(chosen.runs):
            start = time.perf_counter()
            built = build_legend(spec, Context(ground, TOLERANCES["fine"]))
            seconds.append(time.perf_counter() - start)
        vertices, triangles, _, _ = arrays_of(built.parts[0].solid)
        proof = closure(vertices, triangles)
        median = statistics.median(seconds)
        print(
            f"{name:18} {median:6.3f} s  {len(triangles):7d} triangles  "
            f"{'closed' if proof.is_closed else 'NOT CLOSED'}"
        )
        missed |= not proof.is_closed or (not more and median > GOAL)
        if chosen.profile and not more:
            profile = cProfile.Profile()
            profile.runcall(build_legend, spec, Context(ground, TOLERANCES["fine"]))
            pstats.Stats(profile).sort_stats("cumulative").print_stats(25)
    swept, usual = solids_alone(chosen.font)
    print(
        f"solids alone       {swept:6.3f} s, a wedge per edge {usual:6.3f} s: {usual / swept:.1f}x"
    )
    return int(missed)


def solids_alone(font: str) -> tuple[float, float]:
    """Return seconds for the letters' solids as they are made here, and by wedges."""
    typeface = find_typeface(font)
    scale = 1.6 / typeface.cap_units
    outlines = [
        tuple(c * scale for c in typeface.outline(typeface.glyph(letter), 0.002 / scale))
        for letter in LETTERS
    ]
    draft, depth = math.radians(8.0), 0.35
    start = time.perf_counter()
    for outline in outlines:
        drafted(outline, 0.0, depth, draft, "legend")
    middle = time.perf_counter()
    for outline in outlines:
        wedged(outline, 0.0, depth, depth * math.tan(draft), "legend", 3.0, 0.0)
    return middle - start, time.perf_counter() - middle


if __name__ == "__main__":
    sys.exit(main())
