"""The ground of a face: the field that elements stand on.

Face coordinates: u to the viewer's right, v up, z out of the face towards the viewer,
z = 0 at the mid-plane of the piece, all in mm. Both faces use the same convention;
only `assemble` turns the reverse over.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..geometry.contour import Contours, bounds, inside
from ..geometry.distance import from_origin
from ..geometry.types import FloatArray
from .panel_height import Terrace


@dataclass(frozen=True)
class Ground:
    """A flat, dished or domed field.

    Attributes
    ----------
    level : float
        z of the field where it meets the rim, mm.
    radius : float
        Radius at which the field meets the rim (of the inscribed circle on a piece that
        is not round), mm.
    dish : float
        Sagitta of the field: above 0 hollow, below 0 domed, 0 flat, mm.
    floor : float
        Lowest z that an element may sink its foot to without nearing the other face, mm.
    outline : tuple of closed contours, each a tuple of (u, v)
        Where the field ends, outer contours counter-clockwise, holes clockwise, mm; empty
        on a round piece without a hole, whose field ends at `radius`.
    basin : float
        Radius of the circle that `level` and `dish` are measured on, where that is not
        `radius`: a sphere over all of a field that is not round, mm.
    steps : tuple of (radius, rise)
        Circles about the middle: what they add to the height at rising radii, straight in
        between, the first inwards to the middle, mm.
    terraces : tuple of Terrace
        Panels and bands of any outline; they keep clear of each other and of what `steps` says.
    rims : tuple of bool
        Whether a rim stands along the outer edge of the field, and along the holes in it.
    voids : tuple of closed contours
        What is cut through the finished face: drilled holes, the joint round a core; turned as
        `outline`, mm.
    rim : float
        How far the rim stands above `level`, mm; told only to what is sized by it.
    free : float
        Radius about the middle inside which words and borders leave the field free, mm; told
        only to what is sized by it, 0 where nothing runs round the field.
    borders : tuple of (inner, outer)
        Radii about the middle that borders reach from and to, the outermost first, mm; told only
        to what is set inside them.
    """

    level: float
    radius: float
    dish: float
    floor: float
    outline: tuple[tuple[tuple[float, float], ...], ...] = ()
    steps: tuple[tuple[float, float], ...] = ()
    basin: float = 0.0
    terraces: tuple[Terrace, ...] = ()
    rims: tuple[bool, bool] = (False, False)
    voids: tuple[tuple[tuple[float, float], ...], ...] = ()
    rim: float = 0.0
    free: float = 0.0
    borders: tuple[tuple[float, float], ...] = ()

    @property
    def is_flat(self) -> bool:
        """Tell whether the whole field lies at its level."""
        return self.dish == 0.0 and not self.steps and not self.terraces

    @property
    def lowest(self) -> float:
        """Return the lowest z of the field, mm."""
        return min(float(self._turned(self._turning()).min()), *self._of_terraces(), math.inf)

    @property
    def highest(self) -> float:
        """Return the highest z of the field, mm."""
        return max(float(self._turned(self._turning()).max()), *self._of_terraces(), -math.inf)

    @property
    def sphere(self) -> float:
        """Return the radius of the sphere that a hollow or domed field is part of, mm.

        R = (a² + s²) / 2s from circle and sagitta (circle geometry); none on a flat one.
        """
        reach, s = self.basin or self.radius, abs(self.dish)
        return (reach**2 + s**2) / (2.0 * s) if s else math.inf

    def within_borders(self, band: float) -> float:
        """Return the radius that words which take up a band of radii stand inside, mm.

        A border that leaves the band free outside it, or lies in the middle, is none of theirs.
        """
        room = self.radius
        for inner, outer in self.borders:
            if outer > room - band and inner > 0.5 * self.radius:
                room = min(room, inner)
        return room

    def lifted(self, rise: float) -> Ground:
        """Return the bare field, without circles and terraces, at a level `rise` mm higher."""
        return replace(self, level=self.level + rise, steps=(), terraces=())

    def terraced(self, low: FloatArray, high: FloatArray) -> tuple[float, float]:
        """Return the least and most that terraces add in a box with (2,) corners, mm."""
        spans = [t.rises(low, high) for t in self.terraces]
        return sum(least for least, _ in spans), sum(most for _, most in spans)

    def span(self, contours: Contours, grown: float = 0.0) -> tuple[float, float]:
        """Return the least and the most height of the field under an area, mm.

        Circles, hollow and dome rise or fall with the radius alone: their extremes are at either
        end of the area or where they turn in between. What panels may add is counted in full
        wherever they come near.

        Parameters
        ----------
        contours : contours
            mm.
        grown : float
            How much wider than drawn the area may become, mm.
        """
        low, high = bounds(contours)
        far = float(np.hypot(*np.concatenate(contours).T).max()) + grown
        near = max(from_origin(contours) - grown, 0.0)
        if inside(contours, np.zeros((1, 2)))[0]:
            near = 0.0
        radii = np.array([near, *(r for r, _ in self.steps if near < r < far), far])
        z = self._turned(np.column_stack([radii, np.zeros_like(radii)]))
        least, most = self.terraced(low - grown, high + grown)
        return float(z.min()) + least, float(z.max()) + most

    def _of_terraces(self) -> list[float]:
        """Return the heights that the level parts of terraces can have."""
        found = []
        for terrace in self.terraces:
            points = np.vstack([*terrace.contours, [(0.0, 0.0)]])
            if terrace.depth(points[-1:])[0] <= 0.0:
                points = points[:-1]
            found += (self._turned(points) + terrace.height).tolist()
        return found

    def _turning(self) -> FloatArray:
        """Return points at all radii where the height can be at its least or most."""
        radii = np.array([0.0, *(r for r, _ in self.steps), self.radius, self.basin])
        return np.column_stack([radii, np.zeros_like(radii)])

    def height(self, uv: FloatArray) -> FloatArray:
        """Return z of the field at points.

        Parameters
        ----------
        uv : (..., 2) float64
            Points in face coordinates, mm.

        Returns
        -------
        z : (...) float64
            Height above the mid-plane, mm. Sphere through rim circle and sagitta:
            R = (a² + s²) / 2s (circle geometry).
        """
        z = self._turned(uv)
        for terrace in self.terraces:
            z = z + terrace.rise(uv)
        return z

    def _turned(self, uv: FloatArray) -> FloatArray:
        """Return the height of what is the same all round, mm."""
        r2 = np.sum(np.square(np.asarray(uv, dtype=np.float64)), axis=-1)
        return self._dished(r2) + self._stepped(r2)

    def _stepped(self, r2: FloatArray) -> FloatArray:
        """Return what circles and panels add at squared radii, mm."""
        if not self.steps:
            return np.zeros(r2.shape)
        radii, rises = np.array(self.steps).T
        return np.asarray(np.interp(np.sqrt(r2), radii, rises))

    def _dished(self, r2: FloatArray) -> FloatArray:
        if self.dish == 0.0:
            return np.full(r2.shape, self.level)
        s, reach, big = abs(self.dish), self.basin or self.radius, self.sphere
        cap = np.sqrt(np.maximum(big**2 - np.minimum(r2, reach**2), 0.0)) - (big - s)
        return self.level - math.copysign(1.0, self.dish) * cap


def placement(alignment: str | float, side: int) -> FloatArray:
    """Return the (3, 4) transform from face coordinates to the piece.

    The reverse is turned by half a turn about an axis in the plane of the piece: upright
    for medal alignment, level for coin alignment, else at the given degrees from upright.
    """
    if side == 1:
        return np.eye(3, 4)
    degrees = {"medal": 0.0, "coin": 90.0}.get(str(alignment))
    angle = math.radians(float(alignment) if degrees is None else degrees)
    axis = np.array([math.sin(angle), math.cos(angle), 0.0])
    turn = 2.0 * np.outer(axis, axis) - np.eye(3)  # Rodrigues' formula at half a turn
    turn[np.abs(turn) < 1e-15] = 0.0
    return np.hstack([turn, np.zeros((3, 1))])
