"""Models that compressions are compared on, and their height fields before any compression.

Some are made here; those in the folder that MEDALWRIGHT_MESHES names join them.
"""

from __future__ import annotations

import math
import os
from collections.abc import Collection, Iterable, Iterator
from pathlib import Path

import numpy as np
import trimesh
from other_models import other_models
from trimesh.transformations import rotation_matrix

from medalcore.context.element import Model
from medalcore.context.ground import Ground
from medalcore.elements.relief.depth.placement import raw_field
from medalcore.elements.relief.sources.model import read_model
from medalcore.geometry.grid import HeightField
from medalcore.spec import Relief

SIZE, HEIGHT = 22.0, 0.6  # mm
GROUND = Ground(level=1.0, radius=20.0, dish=0.0, floor=-0.5)
SUFFIXES = (".off", ".obj", ".stl", ".ply")
# how models of known files stand: turns that show them from the side they are known by
VIEWS = {"camel": (0.0, 90.0, 0.0), "man": (-90.0, 0.0, 0.0)}


def made_models(only: Collection[str] = ()) -> Iterator[tuple[str, trimesh.Trimesh]]:
    """Yield what is not a scan: a turned pot with handles, a building, a hand, a head."""
    for make in (_pot, _chapel, _hand, _head):
        name = make.__name__[1:]
        if not only or name in only:
            yield name, make()


def _pot() -> trimesh.Trimesh:
    t = np.linspace(0.0, 1.0, 90)
    radius = 0.3 + 0.35 * np.sin(math.pi * np.clip(1.1 * t + 0.05, 0, 1)) ** 2 + 0.08 * t**6
    radius[[0, -1]] = 0.0
    body = trimesh.creation.revolve(np.c_[radius, 2.0 * t], sections=240)
    x, y, z = np.asarray(body.vertices).T
    flutes = 1.0 + 0.03 * np.cos(24.0 * np.arctan2(y, x)) * ((z > 0.3) & (z < 1.3))
    body.vertices = np.stack([x * flutes, y * flutes, z], axis=1)
    parts = [body]
    for side in (-1.0, 1.0):
        handle = trimesh.creation.torus(0.3, 0.05, 64, 24)
        handle.apply_transform(rotation_matrix(math.pi / 2, (1, 0, 0)))
        handle.apply_translation((0.6 * side, 0.0, 1.35))
        parts.append(handle)
    return _upright(parts)


def _chapel() -> trimesh.Trimesh:
    def box(size: tuple[float, ...], at: tuple[float, ...]) -> trimesh.Trimesh:
        return trimesh.creation.box(extents=size).apply_translation(at)

    ridge = [[x, y, z] for x in (-1.1, 1.1) for y, z in ((1.0, -0.6), (1.0, 0.6), (1.5, 0.0))]
    parts = [box((2, 1, 1), (0, 0.5, 0)), trimesh.convex.convex_hull(np.array(ridge))]
    parts += [box((0.5, 2, 0.5), (-0.8, 1, 0.45)), box((1.4, 0.08, 0.4), (0.3, 0.84, 0.7))]
    spire = trimesh.creation.cone(0.42, 0.6, sections=90)
    spire.apply_transform(rotation_matrix(-math.pi / 2, (1, 0, 0)))
    parts.append(spire.apply_translation((-0.8, 2.0, 0.45)))
    for i in range(5):
        column = trimesh.creation.cylinder(0.06, 0.8, sections=60)
        column.apply_transform(rotation_matrix(math.pi / 2, (1, 0, 0)))
        parts.append(column.apply_translation((-0.25 + 0.27 * i, 0.4, 0.75)))
    chapel = trimesh.util.concatenate(parts)
    chapel.apply_transform(rotation_matrix(0.5, (0, 1, 0)))
    return chapel.apply_transform(rotation_matrix(0.25, (1, 0, 0)))


def _hand() -> trimesh.Trimesh:
    def limb(radius: float, start: tuple[float, ...], end: tuple[float, ...]) -> trimesh.Trimesh:
        along = np.subtract(end, start)
        capsule = trimesh.creation.capsule(float(np.linalg.norm(along)), radius, count=[40, 40])
        turn = trimesh.geometry.align_vectors((0, 0, 1), along)
        return capsule.apply_transform(turn).apply_translation(start)

    palm = trimesh.creation.icosphere(subdivisions=5).apply_scale((0.55, 0.6, 0.22))
    parts = [palm, limb(0.28, (0, -0.9, 0), (0, -0.3, 0))]
    for x, length, lean in (
        (-0.4, 0.8, -0.2),
        (-0.14, 1.0, -0.06),
        (0.13, 0.95, 0.04),
        (0.37, 0.72, 0.2),
    ):
        for k in range(3):
            low, high = 0.4 + length * k / 3, 0.4 + length * (k + 1) / 3
            start, end = (x + lean * low, low, 0.05), (x + lean * high, high, 0.05 - 0.04 * k)
            parts.append(limb(0.125 - 0.014 * k, start, end))
    parts += [
        limb(0.14, (-0.4, -0.15, 0.15), (-0.7, 0.1, 0.2)),
        limb(0.12, (-0.7, 0.1, 0.2), (-0.85, 0.4, 0.2)),
    ]
    return trimesh.util.concatenate(parts)


def _head() -> trimesh.Trimesh:
    skull = trimesh.creation.icosphere(6)
    x, y, z = np.asarray(skull.vertices).T
    front = 1.0 / (1.0 + np.exp(-12.0 * z))

    def bump(high: float, u: float, v: float, wide: float, tall: float) -> np.ndarray:
        return high * np.exp(-(((abs(x) - u) / wide) ** 2) - ((y - v) / tall) ** 2) * front

    z = 0.9 * z + bump(0.3, 0, -0.08, 0.11, 0.22) + bump(0.09, 0.22, 0.26, 0.2, 0.06)
    z += bump(-0.12, 0.3, 0.12, 0.14, 0.09) + bump(0.09, 0.3, 0.12, 0.08, 0.05)
    z += bump(0.09, 0, -0.42, 0.18, 0.04) + bump(0.08, 0, -0.52, 0.15, 0.04)
    z += bump(0.12, 0, -0.75, 0.16, 0.1) + bump(0.08, 0.42, -0.1, 0.16, 0.14)
    skull.vertices = np.stack([0.78 * x, 1.08 * y, z], axis=1)
    ears = []
    for side in (-1.0, 1.0):
        ear = trimesh.creation.torus(0.16, 0.05, 48, 24).apply_scale((0.6, 1.1, 1.0))
        ears.append(ear.apply_translation((0.8 * side, 0.05, 0.0)))
    return trimesh.util.concatenate([skull, *ears])


def _upright(parts: list[trimesh.Trimesh]) -> trimesh.Trimesh:
    whole = trimesh.util.concatenate(parts)
    return whole.apply_transform(rotation_matrix(-math.pi / 2, (1, 0, 0)))


Job = tuple[str, str, dict[str, Model]]


def objects(meshes: Iterable[tuple[str, trimesh.Trimesh]]) -> Iterator[Job]:
    """Yield the name, source and model of meshes."""
    for name, mesh in meshes:
        model = Model(np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64))
        yield name, f"object:{name}", {f"object:{name}": model}


def fields_of(jobs: Iterable[Job], pixels: int) -> Iterator[tuple[str, HeightField]]:
    """Yield the name and the uncompressed height field of models."""
    for name, source, models in jobs:
        spec = Relief(source=source, fit=SIZE, turn=VIEWS.get(name, (0.0, 0.0, 0.0)))
        yield name, raw_field(read_model(source, models), spec, GROUND, pixels)


def files() -> list[Path]:
    """Return the model files to compare on as well."""
    folder = os.environ.get("MEDALWRIGHT_MESHES")
    return sorted(p for p in Path(folder).iterdir() if p.suffix in SUFFIXES) if folder else []


def raw_fields(
    pixels: int, only: Collection[str] = (), *, other: bool = False
) -> Iterator[tuple[str, HeightField]]:
    """Yield the name and the uncompressed height field of every model, or of the other ones."""
    jobs = list(objects(other_models() if other else made_models(only)))
    if not other:
        jobs += [(p.stem, str(p), {}) for p in files()]
        if not files():
            print("MEDALWRIGHT_MESHES names no folder of models; only those made here are scored")
    return fields_of([job for job in jobs if not only or job[0] in only], pixels)
