"""Models that several tests share: a made one, and real ones where they are at hand."""

import os
from pathlib import Path

import numpy as np
import pytest
import trimesh


def lumpy_head(points=160) -> trimesh.Trimesh:
    """Return a rounded head with brow, nose, chin and overhanging ears: three loose shells."""
    head = trimesh.creation.icosphere(5, 1.0)
    x, y, z = np.asarray(head.vertices).T
    nose = 0.35 * np.exp(-((x / 0.16) ** 2 + ((y + 0.05) / 0.28) ** 2)) * (z > 0)
    brow = 0.08 * np.exp(-(((y - 0.32) / 0.08) ** 2)) * (z > 0)
    eyes = -0.12 * np.exp(-(((abs(x) - 0.36) / 0.13) ** 2 + ((y - 0.2) / 0.09) ** 2)) * (z > 0)
    head.vertices = np.stack([x * 0.8, y, z + nose + brow + eyes], axis=1)
    ears = []
    for side in (-1, 1):
        ear = trimesh.creation.icosphere(3, 0.3)
        ear.apply_scale([0.5, 1.0, 0.25])
        ear.apply_translation([side * 0.95, 0.1, 0.2])
        ears.append(ear)
    return trimesh.util.concatenate([head, *ears])


def scans() -> list:
    """Return the real models to try, from the folder MEDALWRIGHT_MESHES names."""
    folder = os.environ.get("MEDALWRIGHT_MESHES")
    if not folder:
        reason = "MEDALWRIGHT_MESHES names no folder of models"
        return [pytest.param(None, marks=pytest.mark.skip(reason=reason))]
    found = sorted(p for p in Path(folder).iterdir() if p.suffix in (".off", ".obj", ".stl"))
    return [pytest.param(p, id=p.stem) for p in found]
