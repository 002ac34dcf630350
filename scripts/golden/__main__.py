"""Keep the golden set, or hold the code as it is now to one that was kept.

    python -m golden keep FOLDER              # in scripts/, with the environment's Python
    python -m golden compare FOLDER [--only WORD]

`compare` says of each piece whether its STL and report are the same bytes; where they are not,
how far the heights of its faces and its volume are from what was kept, and what differs in the
report. Exit status 1 if anything differs.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import trimesh

import medalcore
from golden.pieces import pieces

HERE = Path(__file__).resolve().parent
_PIXEL_MM = 0.05
_SHOWN_MM = 1e-4


def models() -> dict[str, Any]:
    """Return the models in memory: a figure with an arm that hangs over, and a shell."""
    body = trimesh.creation.icosphere(4).apply_scale((1.0, 1.4, 0.8))
    head = trimesh.creation.icosphere(4).apply_scale(0.6).apply_translation((0.1, 1.6, 0.2))
    arm = trimesh.creation.cylinder(0.18, 2.6).apply_translation((0.0, 0.0, 0.9))
    arm.apply_transform(trimesh.transformations.rotation_matrix(1.2, (0.3, 1.0, 0.0)))
    figure = trimesh.util.concatenate([body, head, arm])
    y, x = np.mgrid[-1:1:200j, -1:1:200j]  # type: ignore[misc]
    inside = np.hypot(x, y) < 1
    shell = np.where(inside, (1 - x**2 - y**2) * (2 + np.cos(9 * np.arctan2(x, y - 0.8))), np.nan)
    return {
        "object:figure": medalcore.Model(np.asarray(figure.vertices), np.asarray(figure.faces)),
        "array:shell": medalcore.height_field(shell, pixel=0.01),
    }


def made(only: str) -> Iterator[tuple[str, medalcore.Medal]]:
    """Build the pieces whose names hold a word."""
    given = models()
    for name, text in pieces().items():
        if only in name:
            spec = medalcore.parse_spec(text, folder=HERE)
            yield name, medalcore.build(spec, "draft", models=given)


def plain(medal: medalcore.Medal) -> dict[str, Any]:
    """Return a piece's report without what differs from run to run."""
    text = json.dumps(medal.report, default=str).replace(str(HERE), "golden")
    report = json.loads(text)
    report.pop("seconds")
    return dict(report)


def keep(folder: Path, only: str) -> int:
    """Write each piece's mesh and report."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, medal in made(only):
        np.savez(folder / f"{name}.npz", v=medal.vertices, t=medal.triangles, z=medal.zone)
        (folder / f"{name}.json").write_text(json.dumps(plain(medal)), encoding="utf-8")
    return 0


def compare(folder: Path, only: str) -> int:
    """Hold each piece to the kept one; return how many differ, at most 1."""
    differ = count = 0
    for name, medal in made(only):
        count += 1
        kept = np.load(folder / f"{name}.npz")
        report = json.loads((folder / f"{name}.json").read_text(encoding="utf-8"))
        same = all(
            a.shape == b.shape and np.array_equal(a, b)
            for a, b in ((kept["v"], medal.vertices), (kept["t"], medal.triangles),
                         (kept["z"], medal.zone))
        )  # fmt: skip
        told = list(_changes("", report, plain(medal)))
        if same and not told:
            continue
        differ += 1
        print(f"{name}: {'same mesh' if same else _distance(kept, medal)}")
        for line in told[:8]:
            print(f"    {line}")
    print(f"{count - differ} of {count} pieces are the same, byte for byte")
    return int(differ > 0)


def _changes(path: str, old: Any, new: Any) -> Iterator[str]:
    if isinstance(old, dict) and isinstance(new, dict):
        for key in sorted({*old, *new}):
            yield from _changes(f"{path}.{key}", old.get(key, "absent"), new.get(key, "absent"))
    elif old != new:
        yield f"{path[1:]}: {str(old)[:60]} -> {str(new)[:60]}"


def _distance(kept: Any, medal: medalcore.Medal) -> str:
    """Tell how far two meshes are from each other: heights of both faces, and volume."""
    old = trimesh.Trimesh(kept["v"], kept["t"], process=False)
    new = trimesh.Trimesh(medal.vertices, medal.triangles, process=False)
    low, high = new.bounds
    x, y = (np.arange(low[k] + 0.01, high[k], _PIXEL_MM * 4) for k in (0, 1))
    at = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    worst, share = 0.0, 0.0
    for side in (1.0, -1.0):
        start = np.column_stack([at, np.full(len(at), side * 100.0)])
        z = []
        for mesh in (old, new):
            hit, ray, _ = mesh.ray.intersects_location(
                start, np.tile((0.0, 0.0, -side), (len(at), 1)), multiple_hits=False
            )
            heights = np.full(len(at), np.nan)
            heights[ray] = hit[:, 2]
            z.append(heights)
        off = np.abs(z[0] - z[1])
        off = off[np.isfinite(off)]
        worst = max(worst, float(off.max(initial=0.0)))
        share = max(share, float(np.mean(off > _SHOWN_MM)) if len(off) else 0.0)
    return (
        f"heights up to {worst:.4f} mm apart, {100 * share:.2f} % by more than {_SHOWN_MM:g}; "
        f"volume {old.volume:.4f} -> {new.volume:.4f} mm3; "
        f"{len(old.faces)} -> {len(new.faces)} triangles"
    )


def main() -> int:
    """Run what is asked."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=("keep", "compare"))
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", default="", help="only pieces whose names hold this word")
    asked = parser.parse_args()
    work = {"keep": keep, "compare": compare}[asked.what]
    return work(asked.folder, asked.only)


if __name__ == "__main__":
    sys.exit(main())
