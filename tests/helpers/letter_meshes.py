"""Grounds to set words on, and the meshes and the ink of what was set."""

import numpy as np
import trimesh

from medalcore.context.element import Context
from medalcore.context.ground import Ground
from medalcore.context.tolerance import TOLERANCES
from medalcore.geometry.closure import closure
from medalcore.geometry.solid import Solid, arrays_of

FLAT = Ground(level=1.0, radius=18.0, dish=0.0, floor=-0.5)
HOLLOW = Ground(level=1.0, radius=18.0, dish=0.4, floor=-0.5)


def context(ground=FLAT):
    return Context(ground, TOLERANCES["fine"])


def mesh_of(solid: Solid) -> trimesh.Trimesh:
    vertices, triangles, _, _ = arrays_of(solid)
    assert closure(vertices, triangles).is_closed
    return trimesh.Trimesh(vertices, triangles, process=False)


def ink_of(built, part=0):
    mesh = mesh_of(built.parts[part].solid)
    top = mesh.vertices[np.unique(mesh.faces[mesh.face_normals[:, 2] > 0.999999])]
    return top[:, :2]
