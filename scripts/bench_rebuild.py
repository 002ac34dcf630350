"""Say what a changed number costs when the stages of the last build are kept.

A head of 1.3 million triangles stands 22 mm high on a 40 mm piece. The piece is built once,
then one number after the other is changed, as sliders change them. The table tells each build
as a share of the first, in the same run.

    python scripts/bench_rebuild.py
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator

import numpy as np
import trimesh

from medalcore.build import build
from medalcore.cache import StageCache
from medalcore.element import Model
from medalcore.spec import MedalSpec, spec_from_dict

NAME = "object:head"


def head(levels: int = 8) -> Model:
    """Return a rounded head with brow, nose and eyes: 20 times 4 to the `levels` triangles."""
    skull = trimesh.creation.icosphere(levels)
    x, y, z = np.asarray(skull.vertices).T
    front = 1.0 / (1.0 + np.exp(-12.0 * z))
    nose = 0.3 * np.exp(-((x / 0.13) ** 2) - ((y + 0.08) / 0.24) ** 2)
    brow = 0.09 * np.exp(-(((abs(x) - 0.24) / 0.2) ** 2) - ((y - 0.26) / 0.07) ** 2)
    eyes = 0.1 * np.exp(-(((abs(x) - 0.3) / 0.12) ** 2) - ((y - 0.12) / 0.07) ** 2)
    mouth = 0.05 * np.exp(-((x / 0.2) ** 2) - ((y + 0.45) / 0.03) ** 2)
    points = np.stack([0.78 * x, y, 0.9 * z + (nose + brow - eyes - mouth) * front], axis=1)
    return Model(points, np.asarray(skull.faces, np.int64))


def piece(thickness: float = 3.2, reeds: int = 150, **relief: object) -> MedalSpec:
    """Return a reeded piece with one relief."""
    return spec_from_dict(
        {
            "medal": {"name": "Fennick Light"},
            "blank": {"diameter": 40.0, "thickness": thickness},
            "edge": {"finish": "reeded", "reeds": reeds},
            "obverse": {"relief": [{"source": NAME, "fit": 22.0, "height": 0.6, **relief}]},
        }
    )


def changes() -> Iterator[tuple[str, MedalSpec]]:
    """Yield what is changed, and the piece; every one differs from the first in one number."""
    yield "everything new", piece()
    yield "nothing", piece()
    yield "relief height", piece(height=0.65)
    yield "relief detail", piece(detail=1.2)
    yield "relief draft", piece(draft=12.0)
    yield "relief place", piece(at=(0.0, 0.5))
    yield "relief turn", piece(turn=(0.0, 0.0, 5.0))
    yield "thickness", piece(thickness=3.4)
    yield "reeds", piece(reeds=160)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quality", nargs="+", default=["draft", "fine"])
    options = parser.parse_args()
    models = {NAME: head()}
    print(f"{len(models[NAME].triangles)} triangles; seconds, share of the first build")
    for quality in options.quality:
        cache, first = StageCache(), 0.0
        for what, spec in changes():
            start = time.perf_counter()
            made = build(spec, quality, models=models, cache=cache)
            took = time.perf_counter() - start
            first = first or took
            spent = {k: v for k, v in made.report["seconds"].items() if k != "all" and v > 0.01}
            print(f"{quality:6} {what:15} {took:6.2f} {took / first:6.2f}  {spent}")


if __name__ == "__main__":
    main()
