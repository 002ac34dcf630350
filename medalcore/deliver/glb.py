"""Binary glTF 2.0, to be turned about in a viewer: a mesh per zone and metal."""

from __future__ import annotations

import math

import numpy as np

from ..context.medal import Medal
from ..render.normals import corner_normals
from ..render.parts import by_metal

_METRES = np.diag([0.001, 0.001, 0.001, 1.0])


def glb_bytes(medal: Medal) -> bytes:
    """Return the piece as binary glTF.

    glTF counts in metres, with +Y up and +Z to the front (specification 2.0, section 3.4):
    the obverse faces the viewer. Coordinates stay in mm, exact as float32, under a node
    scaled by 0.001. Vertices are split where edges are sharp, so that the shading is crisp;
    for making, STL and 3MF hold the closed mesh.
    """
    import trimesh  # here: slow to load, and seldom needed

    normals = corner_normals(medal.vertices, medal.triangles, medal.zone).reshape(-1, 3)
    scene = trimesh.Scene()
    for part in by_metal(medal):
        metal = max(part.look.body) == 0.0
        colour = part.look.reflectance if metal else part.look.body
        for code, zone in enumerate(medal.zone_names):
            corner = np.flatnonzero(np.repeat((medal.zone == code) & part.triangles, 3))
            if not len(corner):
                continue
            points = medal.vertices[medal.triangles.ravel()[corner]].astype(np.float32)
            both = np.column_stack([points, normals[corner]])
            split, index = np.unique(both, axis=0, return_inverse=True)
            name = f"{part.prefix}{zone}"
            material = trimesh.visual.material.PBRMaterial(
                name=name,
                baseColorFactor=[*_eight_bit(colour), 255],
                metallicFactor=1.0 if metal else 0.0,
                roughnessFactor=math.sqrt(part.look.roughness),  # glTF squares it
            )
            mesh = trimesh.Trimesh(
                vertices=split[:, :3],
                faces=np.ravel(index).reshape(-1, 3),
                vertex_normals=split[:, 3:],
                visual=trimesh.visual.TextureVisuals(material=material),
                process=False,
            )
            scene.add_geometry(mesh, node_name=name, geom_name=name, transform=_METRES)
    data: bytes = scene.export(file_type="glb", include_normals=True)
    return data


def _eight_bit(colour: tuple[float, float, float]) -> list[int]:
    return [round(255.0 * c) for c in colour]
