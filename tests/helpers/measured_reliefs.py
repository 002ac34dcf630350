"""Finished reliefs, and their heights and sizes by trimesh's rays and sections."""

from __future__ import annotations

import numpy as np
import trimesh
from PIL import Image

from medalcore.context.element import Context
from medalcore.context.ground import Ground
from medalcore.context.tolerance import TOLERANCES
from medalcore.elements.relief import build_relief
from medalcore.geometry.solid import arrays_of
from medalcore.spec import Relief

LEVEL = 1.0
GROUND = Ground(level=LEVEL, radius=18.0, dish=0.0, floor=-1.0)


def made(quality="draft", models=None, **keys) -> trimesh.Trimesh:
    """Return the finished relief, z from the field."""
    built = build_relief(Relief(**keys), Context(GROUND, TOLERANCES[quality], models=models or {}))
    vertices, triangles, _, _ = arrays_of(built.parts[0].solid)
    return trimesh.Trimesh(vertices - (0, 0, LEVEL), triangles, process=False)


def heights(mesh: trimesh.Trimesh, points) -> np.ndarray:
    """Return how high the relief stands at points of the face, by rays from above."""
    points = np.atleast_2d(np.asarray(points, float))
    start = np.column_stack([points, np.full(len(points), 50.0)])
    down = np.tile([0.0, 0.0, -1.0], (len(points), 1))
    hits, ray, _ = mesh.ray.intersects_location(start, down, multiple_hits=False)
    out = np.full(len(points), np.nan)
    out[ray] = hits[:, 2]
    return out


def width_at(mesh: trimesh.Trimesh, level: float) -> np.ndarray:
    """Return how wide the relief is at a height above the field, in u and v."""
    cut = mesh.section(plane_origin=[0, 0, level], plane_normal=[0, 0, 1])
    return np.ptp(cut.vertices[:, :2], axis=0)


def picture_file(path, values) -> str:
    Image.fromarray(np.round(values * 65535).astype(np.uint16)).save(path)
    return str(path)


def drawing_file(path, body: str) -> str:
    path.write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">{body}</svg>',
        encoding="utf-8",
    )
    return str(path)


def steps(pixels: int, degrees: float = 0.0, finer: int = 1) -> np.ndarray:
    """Return a square of 0.25 with an inner one of 1 on 0, turned; `finer` smooths its edges."""
    place = (np.arange(pixels * finer) + 0.5) / (pixels * finer) * 2 - 1
    x, y = np.meshgrid(place, -place)
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    size = np.maximum(abs(x * c + y * s), abs(y * c - x * s))
    values = np.where(size < 0.3, 1.0, np.where(size < 0.6, 0.25, 0.0))
    return values.reshape(pixels, finer, pixels, finer).mean(axis=(1, 3))


DISC = '<circle cx="50" cy="50" r="45"/>'
TWO = '<circle cx="50" cy="50" r="45" fill="#777"/><circle cx="74" cy="50" r="15"/>'
