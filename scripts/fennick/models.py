"""Everything the spec of the demo draws on, by the name of its file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

import manifold3d as m3
import numpy as np
import trimesh

from .forms import FloatArray
from .rose import rose, scroll
from .scene import beams, scene

_FINEST = 0.001
"""Nothing on the piece shows detail below a micrometre, mm."""


def _finished(make: Callable[[], m3.Manifold]) -> m3.Manifold:
    return make().simplify(_FINEST)


MODELS: Mapping[str, Callable[[], m3.Manifold]] = {
    "lighthouse.stl": partial(_finished, scene),
    "rose.stl": partial(_finished, rose),
    "waves.stl": partial(_finished, scroll),
}


DRAWINGS: Mapping[str, Callable[[], list[FloatArray]]] = {"beams.svg": beams}
"""Outlines in mm, their y axis upwards."""


def write_models(folder: Path) -> None:
    """Model and draw everything into a folder, made if it is missing."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, make in MODELS.items():
        mesh = make().to_mesh()
        points, triangles = np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts)
        trimesh.Trimesh(points, triangles, process=False).export(folder / name)
        print(f"  {folder / name}: {len(triangles)} triangles", flush=True)
    write_drawings(folder)


def write_drawings(folder: Path) -> None:
    """Write the drawings as SVG."""
    for name, draw in DRAWINGS.items():
        (folder / name).write_text(_as_svg(draw()), encoding="utf-8")
        print(f"  {folder / name}", flush=True)


def _as_svg(outlines: list[FloatArray]) -> str:
    low, high = np.vstack(outlines).min(axis=0), np.vstack(outlines).max(axis=0)
    box = f"{low[0]:.6f} {-high[1]:.6f} {high[0] - low[0]:.6f} {high[1] - low[1]:.6f}"
    paths = (" ".join(f"{x:.6f},{-y:.6f}" for x, y in outline) for outline in outlines)
    shapes = "\n".join(f'<polygon points="{points}"/>' for points in paths)
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}">\n{shapes}\n</svg>\n'
