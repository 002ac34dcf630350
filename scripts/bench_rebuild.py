"""Say what a changed number costs when the stages of the last build are kept.

With ``--of relief``: a head of 1.3 million triangles stands 22 mm high on a 40 mm piece. The
piece is built once, then one number after the other is changed, as sliders change them. The
table tells each build as a share of the first, in the same run.

With ``--of blank``: a 40 mm piece with a small relief, a legend and beads is built, then one
number of its blank or edge is changed, for many kinds of blanks and edges. The table tells the
processor's seconds of the second build, the least of some runs, and all that is over a limit.

    python scripts/bench_rebuild.py --of relief blank
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator

import numpy as np
import trimesh

from medalcore.context.element import Model
from medalcore.context.stages import StageCache
from medalcore.piece.build import build
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


REEDED = {"finish": "reeded", "reeds": 120}
BOTH = {"finish": "reeded and grooved", "reeds": 120}
WORDS = {"words": "FENNICK LIGHT · 1876"}
MANY = {"outline": "scalloped", "scallops": 1000, "scallop_depth": 0.1, "corner_radius": 0.02}
LARGE = {"diameter": 90.0}

Tables = tuple[dict, dict]
"""What is given of the blank, and of the edge."""

BLANKS: dict[str, tuple[Tables, Tables]] = {
    # what it is: what there is before, what is changed
    "thickness": (({}, {}), ({"thickness": 3.3}, {})),
    "chamfer": (({}, {}), ({"chamfer": 0.35}, {})),
    "rounded edge": (({"break_shape": "round"}, {}), ({"chamfer": 0.35}, {})),
    "rim height": (({}, {}), ({"rim": {"height": 0.35}}, {})),
    "rim width": (({}, {}), ({"rim": {"width": 1.3}}, {})),
    "diameter": (({}, {}), ({"diameter": 39.0}, {})),
    "reeds": (({}, REEDED), ({}, {"reeds": 121})),
    "depth of reeds": (({}, REEDED), ({}, {"depth": 0.2})),
    "round reeds": (({}, {**REEDED, "profile": "round"}), ({}, {"reeds": 121})),
    "square reeds": (({}, {**REEDED, "profile": "square"}), ({}, {"reeds": 121})),
    "chamfer, reeded": (({}, REEDED), ({"chamfer": 0.35}, {})),
    "reeds in sections": (({}, {**REEDED, "pattern": "60 60"}), ({}, {"pattern": "60 30"})),
    "slanted reeds": (({}, {**REEDED, "slant": 15.0}), ({}, {"slant": 20.0})),
    "grooves": (({}, {"finish": "grooved"}), ({}, {"grooves": 2})),
    "reeds and grooves": (({}, BOTH), ({}, {"groove_depth": 0.2})),
    "lug": (({"loop": {"kind": "lug"}}, {}), ({"loop": {"kind": "lug", "hole": 3.2}}, {})),
    "eye": (({"loop": {"kind": "eye"}}, {}), ({"loop": {"kind": "eye", "hole": 3.2}}, {})),
    "chamfer, lug": (({"loop": {"kind": "lug"}}, {}), ({"chamfer": 0.35}, {})),
    "drilled hole": (({"drill": {"diameter": 2.0}}, {}), ({"drill": {"diameter": 2.2}}, {})),
    "sunk words": (({}, {"text": WORDS}), ({}, {"text": {**WORDS, "depth": 0.25}})),
    "raised words": (
        ({}, {"text": {**WORDS, "form": "raised"}}),
        ({}, {"text": {**WORDS, "form": "raised", "depth": 0.25}}),
    ),
    "chamfer, words": (({}, {"text": WORDS}), ({"chamfer": 0.35}, {})),
    "words among reeds": (({}, {**REEDED, "text": WORDS}), ({}, {"depth": 0.2})),
    "oval": (({"outline": "oval"}, {}), ({"chamfer": 0.35}, {})),
    "oval, reeds": (({"outline": "oval"}, REEDED), ({}, {"reeds": 121})),
    "oval, both": (({"outline": "oval"}, BOTH), ({}, {"reeds": 121})),
    "oval, slanted": (({"outline": "oval"}, {**REEDED, "slant": 15.0}), ({}, {"reeds": 121})),
    "polygon": (({"outline": "polygon"}, {}), ({"chamfer": 0.35}, {})),
    "polygon, reeds": (({"outline": "polygon"}, REEDED), ({}, {"depth": 0.2})),
    "constant width": (({"outline": "constant-width"}, {}), ({"chamfer": 0.35}, {})),
    "scalloped": (({"outline": "scalloped"}, {}), ({"chamfer": 0.35}, {})),
    "90 mm, 400 reeds": ((LARGE, {**REEDED, "reeds": 400}), ({}, {"depth": 0.2})),
    "90 mm, 400 slanted": (
        (LARGE, {**REEDED, "reeds": 400, "slant": 15.0}),
        ({}, {"depth": 0.2}),
    ),
    "90 mm, 400 and grooves": ((LARGE, {**BOTH, "reeds": 400}), ({}, {"depth": 0.2})),
    "90 mm oval, 400 reeds": (
        ({**LARGE, "outline": "oval", "height": 70.0}, {**REEDED, "reeds": 400}),
        ({}, {"depth": 0.2}),
    ),
    "90 mm, 1000 scallops": (({**LARGE, **MANY}, {}), ({"chamfer": 0.35}, {})),
}


def struck(blank: dict, edge: dict) -> MedalSpec:
    """Return a piece with a small relief, words and beads on a blank."""
    face = {
        "relief": [{"source": NAME, "fit": 18.0, "height": 0.6}],
        "legend": [{"text": "FENNICK LIGHT", "cap_height": 2.0}],
        "border": [{"kind": "beads"}],
    }
    table = {"diameter": 40.0, "thickness": 3.2, **blank}
    return spec_from_dict({"blank": table, "edge": edge, "obverse": face})


def tell_blanks(quality: str, limit: float, runs: int) -> None:
    """Print what a changed number of a blank or an edge costs."""
    models = {NAME: head(6)}
    over = []
    for what, ((blank, edge), (new_blank, new_edge)) in BLANKS.items():
        before = struck(blank, edge)
        after = struck({**blank, **new_blank}, {**edge, **new_edge})
        least = float("inf")
        for _ in range(runs):
            cache = StageCache()
            build(before, quality, models=models, cache=cache)
            start = time.process_time()
            made = build(after, quality, models=models, cache=cache)
            least = min(least, time.process_time() - start)
        print(f"{quality:6} {what:24} {least:6.3f}  {len(made.triangles):7} triangles", flush=True)
        over += [what] * (least > limit)
    print(f"over {limit:g} s: {', '.join(over) or 'none'}")


def tell_reliefs(qualities: list[str]) -> None:
    """Print what a changed number of a relief costs."""
    models = {NAME: head()}
    print(f"{len(models[NAME].triangles)} triangles; seconds, share of the first build")
    for quality in qualities:
        cache, first = StageCache(), 0.0
        for what, spec in changes():
            start = time.perf_counter()
            made = build(spec, quality, models=models, cache=cache)
            took = time.perf_counter() - start
            first = first or took
            spent = {k: v for k, v in made.report["seconds"].items() if k != "all" and v > 0.01}
            print(f"{quality:6} {what:15} {took:6.2f} {took / first:6.2f}  {spent}")


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--of", nargs="+", choices=["relief", "blank"], default=["relief"])
    parser.add_argument("--quality", nargs="+", default=["draft", "fine"])
    parser.add_argument("--limit", type=float, default=0.12, help="seconds of the processor")
    parser.add_argument("--runs", type=int, default=3)
    options = parser.parse_args()
    if "relief" in options.of:
        tell_reliefs(options.quality)
    if "blank" in options.of:
        for quality in options.quality:
            tell_blanks(quality, options.limit, options.runs)


if __name__ == "__main__":
    main()
