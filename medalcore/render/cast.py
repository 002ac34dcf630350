"""A piece placed before the camera, with maps of what stands in the light on its face."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ..context.ground import placement
from ..context.medal import Medal
from ..geometry.grid import Grid
from ..geometry.mesh_normals import unit_normals
from ..geometry.raster import top_surface
from ..geometry.types import BoolArray, Float32Array, FloatArray, IntArray
from .edge_maps import EdgeMaps, edge_maps
from .lights import LAMPS, Lamp
from .metals import Look, look_of
from .normals import corner_normals
from .occlusion import RIDGE_MM, Bearing, Relief, relief_of
from .parts import by_metal
from .shading import mottled

Side = Literal["obverse", "reverse"]


@dataclass(frozen=True, eq=False)
class Cast:
    """A piece placed before the camera.

    Attributes
    ----------
    vertices : (n, 3) float64
        Right, up, towards the viewer, mm.
    triangles : (m, 3) int64
        Those that face the viewer.
    normals : (m, 3, 3) float32
        By triangle and corner.
    look : Look
    rotation, offset : (3, 3) and (3,) float64
        From the face's axes to the camera's.
    studio : (3, 3) float64
        From the camera's axes to those in which the lamps stand.
    grid : Grid
        Of the maps, in the face's axes.
    relief : Relief
    uneven : (rows, cols) float32
        Variation of the toning.
    core : (m,) bool or None
        Triangles of a core of another metal, if there is one.
    core_look : Look or None
    exposure : float or None
        How long it is exposed; None takes what its own metal asks for.
    edge : EdgeMaps or None
        Maps of the edge, if any of it faces the viewer.
    on_edge : (m,) bool
        Triangles of the edge.
    """

    vertices: FloatArray
    triangles: IntArray
    normals: Float32Array
    look: Look
    rotation: FloatArray
    offset: FloatArray
    studio: FloatArray
    grid: Grid
    relief: Relief
    uneven: Float32Array
    edge: EdgeMaps | None
    on_edge: BoolArray
    core: BoolArray | None = None
    core_look: Look | None = None
    exposure: float | None = None

    def by_metal(self) -> tuple[Cast, ...]:
        """Return the piece as one cast for each of its metals, exposed as one picture."""
        if self.core is None or self.core_look is None:
            return (self,)
        exposure = math.sqrt(self.look.exposure * self.core_look.exposure)
        return tuple(
            replace(
                self, triangles=self.triangles[of], normals=self.normals[of], look=look,
                on_edge=self.on_edge[of], core=None, exposure=exposure,
            )
            for of, look in ((~self.core, self.look), (self.core, self.core_look))
        )  # fmt: skip

    def in_face(
        self, x: Float32Array, y: Float32Array, z: Float32Array
    ) -> tuple[Float32Array, Float32Array, Float32Array]:
        """Return points before the camera in the face's axes, mm."""
        zero = np.zeros(3)
        return self._placed((x, y, z), np.ones(3), zero)

    def on_face(
        self, x: Float32Array, y: Float32Array, z: Float32Array
    ) -> tuple[Float32Array, Float32Array, Float32Array]:
        """Return where points before the camera lie on the maps: row, column, and z in mm.

        Rows and columns count from the border of the maps: pixel [0, 0] is at 0.5, 0.5.
        """
        grid = self.grid
        scale = np.array([1.0 / grid.pixel, -1.0 / grid.pixel, 1.0])
        origin = np.array([grid.left - grid.pixel / 2.0, grid.top + grid.pixel / 2.0, 0.0])
        place = self._placed((x, y, z), scale, origin)
        col = np.clip(place[0], np.float32(0.5), np.float32(grid.cols - 0.51))
        row = np.clip(place[1], np.float32(0.5), np.float32(grid.rows - 0.51))
        return row, col, place[2]

    def _placed(
        self,
        points: tuple[Float32Array, Float32Array, Float32Array],
        scale: FloatArray,
        origin: FloatArray,
    ) -> tuple[Float32Array, Float32Array, Float32Array]:
        """Return points before the camera in the face's axes, from an origin and scaled."""
        inverse = self.rotation.T
        shift = -(inverse @ self.offset)
        place = []
        for axis in range(3):
            a, b, c = (np.float32(k) for k in scale[axis] * inverse[axis])
            value = a * points[0]
            value += b * points[1]
            value += c * points[2]
            value += np.float32(scale[axis] * (shift[axis] - origin[axis]))
            place.append(value)
        return place[0], place[1], place[2]


def turned(medal: Medal, side: Side) -> FloatArray:
    """Return the rotation from the piece's axes to those of a face's viewer, (3, 3)."""
    if side == "obverse":
        return np.eye(3)
    return placement(medal.report.get("alignment", "medal"), -1)[:, :3].T


def cast_of(
    medal: Medal,
    side: Side,
    pixel: float,
    *,
    rotation: FloatArray | None = None,
    offset: FloatArray | None = None,
    studio: FloatArray | None = None,
    metal: str | None = None,
) -> Cast:
    """Place a piece before the camera, one face towards it.

    Parameters
    ----------
    medal : Medal
    side : {"obverse", "reverse"}
    pixel : float
        Pitch of the maps of the face, mm.
    rotation, offset, studio : (3, 3), (3,) and (3, 3) float64, optional
        See `Cast`.
    metal : str, optional
        Look of another material than the report names, for all of it.
    """
    rotation = np.eye(3) if rotation is None else rotation
    offset = np.zeros(3) if offset is None else offset
    studio = np.eye(3) if studio is None else studio
    face = medal.vertices @ turned(medal, side).T
    points = face @ rotation.T + offset
    towards = np.flatnonzero(unit_normals(points, medal.triangles)[:, 2] > 1e-6)
    triangles = medal.triangles[towards]
    group = medal.zone[towards].astype(np.int64) * 3 + medal.side[towards]
    grid = grid_over(face, pixel)
    mean = _heights(face, medal.triangles, grid)
    bearings = [_bearing(lamp, studio @ rotation) for lamp in LAMPS]
    relief = relief_of(mean, pixel, RIDGE_MM, bearings)
    core, core_look = _core(medal, towards, metal)
    on_edge = np.array([name == "edge" for name in medal.zone_names])[medal.zone]
    return Cast(
        points,
        triangles,
        corner_normals(points, triangles, group),
        look_of(metal or str(medal.report.get("metal", "bronze"))),
        rotation,
        offset,
        studio,
        grid,
        relief,
        mottled(grid.rows, grid.cols, pixel),
        edge_maps(face, medal.triangles[on_edge], pixel) if on_edge[towards].any() else None,
        on_edge[towards],
        core,
        core_look,
    )


def _core(
    medal: Medal, towards: IntArray, metal: str | None
) -> tuple[BoolArray | None, Look | None]:
    """Return which of some triangles are a core of another metal, and its look."""
    parts = by_metal(medal)
    if metal or len(parts) < 2:
        return None, None
    return parts[1].triangles[towards], parts[1].look


def grid_over(points: FloatArray, pixel: float, spare: int = 8) -> Grid:
    """Return a grid that holds points, (n, 3) mm, with some pixels to spare."""
    low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
    cols, rows = (int(np.ceil(w / pixel)) + spare + 1 for w in high - low)
    return centred_grid((low + high) / 2.0, pixel, rows, cols)


def centred_grid(centre: FloatArray, pixel: float, rows: int, cols: int) -> Grid:
    """Return a grid of pixels about a centre, mm."""
    left = float(centre[0]) - pixel * (cols - 1) / 2.0
    return Grid(left, float(centre[1]) + pixel * (rows - 1) / 2.0, pixel, rows, cols)


def _heights(face: FloatArray, triangles: IntArray, grid: Grid) -> Float32Array:
    """Return the mean height of every pixel, the sheet the piece lies on where it is not."""
    inset = grid.pixel / 4.0
    fine = Grid(grid.left - inset, grid.top + inset, grid.pixel / 2.0, grid.rows * 2, grid.cols * 2)
    heights, _ = top_surface(face, triangles, fine)
    np.maximum(heights, face[:, 2].min(), out=heights)
    total = np.zeros(grid.shape)
    for i in (0, 1):
        for j in (0, 1):
            total += heights[i::2, j::2]
    return (total / 4.0).astype(np.float32)


def _bearing(lamp: Lamp, rotation: FloatArray) -> Bearing:
    """Return where a lamp stands over a face that was turned."""
    x, y, z = rotation.T @ lamp.direction
    azimuth, elevation = np.degrees([np.arctan2(y, x), np.arcsin(np.clip(z, -1.0, 1.0))])
    return Bearing(float(azimuth), float(elevation), lamp.spread_deg)
