"""How much the direct mesh of a reeded edge saves over cutting notch by notch.

Both sides make the same disc in the same run: 40 mm across, 3 mm thick, edge broken 0.3 mm,
120 vee notches with rounded corners, at fine, from nothing to a closed solid. Times are those
of the processor, the least of some runs taken in turn. Judge the ratio, not the times.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Callable
from typing import Any

import manifold3d as m3
import numpy as np

from medalcore.context.tolerance import tolerance_for
from medalcore.elements.blank import build_blank
from medalcore.elements.edge import reeding_of
from medalcore.spec import MedalSpec, spec_from_dict


def plain_and_cutters(spec: MedalSpec) -> tuple[m3.Manifold, list[m3.Manifold]]:
    """Return the chamfered blank without reeds, and one notch cutter for every reed."""
    tolerance = tolerance_for("fine")
    radius = spec.blank.diameter / 2.0
    reeding = reeding_of(
        spec.edge,
        2.0 * math.pi * radius,
        radius,
        tolerance,
        lambda a: math.radians(90.0 - a) * radius,
    )
    section = reeding.section
    plain = spec_from_dict({"blank": _blank()})
    body = build_blank(plain, tolerance).solid.manifold
    outside = section[[-1, 0]] * 1.05
    prism = m3.CrossSection([np.vstack([section, outside])[::-1]]).extrude(4.0)
    prism = prism.translate((0.0, 0.0, -2.0))
    return body, [
        prism.rotate((0, 0, 360.0 * (k + 0.5) / reeding.count)) for k in range(reeding.count)
    ]


def one_by_one(body: m3.Manifold, cutters: list[m3.Manifold]) -> m3.Manifold:
    """Subtract each cutter by a boolean of its own, evaluated at once."""
    for cutter in cutters:
        body -= cutter
        body.num_tri()  # manifold evaluates lazily; a count forces it
    return body


def in_a_batch(body: m3.Manifold, cutters: list[m3.Manifold]) -> m3.Manifold:
    """Subtract all cutters by one call."""
    return m3.Manifold.batch_boolean([body, *cutters], m3.OpType.Subtract)


def _blank() -> dict[str, Any]:
    return {"diameter": 40.0, "thickness": 3.0, "chamfer": 0.3, "rim": {"width": 0.0}}


def timed(*makers: Callable[[], m3.Manifold], runs: int) -> list[tuple[float, m3.Manifold]]:
    """Return for each maker the least seconds of some runs, and the last result."""
    least, made = [math.inf] * len(makers), [m3.Manifold()] * len(makers)
    for _ in range(runs):
        for i, make in enumerate(makers):
            start = time.process_time()
            made[i] = make()
            made[i].num_tri()
            least[i] = min(least[i], time.process_time() - start)
    return list(zip(least, made, strict=True))


def main() -> None:
    """Print both times and their ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--reeds", type=int, default=120)
    parser.add_argument("--runs", type=int, default=9)
    args = parser.parse_args()
    spec = spec_from_dict(
        {"blank": _blank(), "edge": {"finish": "reeded", "reeds": args.reeds, "depth": 0.2}}
    )
    tolerance = tolerance_for("fine")
    (direct, made), (slow, cut), (batch, _) = timed(
        lambda: build_blank(spec, tolerance).solid.manifold,
        lambda: one_by_one(*plain_and_cutters(spec)),
        lambda: in_a_batch(*plain_and_cutters(spec)),
        runs=args.runs,
    )
    print(f"reeds                    {args.reeds}")
    print(f"direct mesh, whole blank {direct * 1e3:9.1f} ms  {made.num_tri()} triangles")
    print(f"3D booleans one by one   {slow * 1e3:9.1f} ms  {cut.num_tri()} triangles")
    print(f"3D booleans in a batch   {batch * 1e3:9.1f} ms")
    print(f"ratio one by one / direct {slow / direct:8.1f}")
    print(f"ratio batch / direct      {batch / direct:8.1f}")
    print(f"volumes agree within     {abs(made.volume() / cut.volume() - 1):9.1e}")


if __name__ == "__main__":
    main()
