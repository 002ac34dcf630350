"""Everything the spec of the demo draws on, by the name of its file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

import manifold3d as m3
import numpy as np
import trimesh

from .rose import rose, scroll
from .scene import beams, scene

_FINEST = 0.002
"""Nothing on the piece shows detail below 2 micrometres, mm."""


def _finished(make: Callable[[], m3.Manifold]) -> m3.Manifold:
    return make().simplify(_FINEST)


MODELS: Mapping[str, Callable[[], m3.Manifold]] = {
    "lighthouse.stl": partial(_finished, scene),
    "beams.stl": partial(_finished, beams),
    "rose.stl": partial(_finished, rose),
    "waves.stl": partial(_finished, scroll),
}


def write_models(folder: Path) -> None:
    """Model everything and write it as STL into a folder, made if it is missing."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, make in MODELS.items():
        mesh = make().to_mesh()
        points, triangles = np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts)
        trimesh.Trimesh(points, triangles, process=False).export(folder / name)
        print(f"  {folder / name}: {len(triangles)} triangles", flush=True)
