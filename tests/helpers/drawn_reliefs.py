"""Reliefs of flat drawings, and their levels and walls measured on the finished surface."""

from __future__ import annotations

import numpy as np
from lightness import lightness
from msgspec.structs import replace

from medalcore.context.element import Context
from medalcore.context.ground import Ground
from medalcore.context.tolerance import TOLERANCES
from medalcore.elements.relief import build_relief
from medalcore.geometry.solid import arrays_of
from medalcore.spec import Relief

GROUND = Ground(level=1.0, radius=18.0, dish=0.0, floor=-1.0)
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
DISC = '<circle cx="50" cy="50" r="50" fill="#777"/><circle cx="54" cy="50" r="20"/>'
"""A disc of middle grey with a black one on it."""
GREY = 1.0 - lightness("#777777") / 100.0
"""How high that grey stands: one minus its L*."""


def maker_in(tmp_path):
    """Return a function that builds the relief of an SVG body, in mm and face coordinates."""

    def build(body, *, view="0 0 100 100", ground=GROUND, quality="fine", **keys):
        file = tmp_path / "drawing.svg"
        file.write_text(f'{HEAD}viewBox="{view}">{body}</svg>', encoding="utf-8")
        spec = replace(Relief(source=str(file), fit=20.0, height=0.5), **keys)
        return build_relief(spec, Context(ground, TOLERANCES[quality]))

    return build


def surface_of(built):
    """Return vertices and triangles of a relief, z from the field at 1 mm."""
    vertices, triangles, _, _ = arrays_of(built.parts[0].solid)
    return vertices - (0.0, 0.0, 1.0), triangles


def lines_at(built, z):
    """Return the ends (n, 2, 3) of edges at a height where something level ends."""
    vertices, triangles = surface_of(built)
    corner = vertices[triangles]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    level = np.all(np.abs(corner[:, :, 2] - z) < 5e-5, axis=1) & (normal[:, 2] > 0)
    edges = np.sort(
        np.concatenate([triangles[level][:, [a, b]] for a, b in ((0, 1), (1, 2), (2, 0))]), axis=1
    )
    found, count = np.unique(edges, axis=0, return_counts=True)
    return vertices[found[count == 1]]


def height_at(built, u, v):
    """Return the height of the surface at a place."""
    vertices, triangles = surface_of(built)
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    turn = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    safe = np.where(np.abs(turn) < 1e-12, np.inf, turn)
    s = ((u - a[:, 0]) * (c[:, 1] - a[:, 1]) - (v - a[:, 1]) * (c[:, 0] - a[:, 0])) / safe
    t = ((b[:, 0] - a[:, 0]) * (v - a[:, 1]) - (b[:, 1] - a[:, 1]) * (u - a[:, 0])) / safe
    over = (s >= 0) & (t >= 0) & (s + t <= 1) & (turn > 1e-12)
    z = a[:, 2] + s * (b[:, 2] - a[:, 2]) + t * (c[:, 2] - a[:, 2])
    return z[over].max()


def from_circle(ends, middle, radius):
    """Return by how much chords, at ends and middles, differ from a circle."""
    places = np.concatenate([ends[:, 0], ends[:, 1], ends.mean(axis=1)])
    return np.abs(np.hypot(*(places[:, :2] - middle).T) - radius)


def steepest(built):
    """Return the lean from upright of every sizable triangle above the field, degrees."""
    vertices, triangles = surface_of(built)
    corner = vertices[triangles]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    size = np.linalg.norm(normal, axis=1)
    some = (size > 1e-4) & np.all(corner[:, :, 2] > 1e-3, axis=1)
    return np.degrees(np.arcsin(np.abs(normal[some, 2]) / size[some]))
