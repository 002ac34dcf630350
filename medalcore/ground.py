"""The ground of a face: the field that elements stand on.

Face coordinates: u to the viewer's right, v up, z out of the face towards the viewer,
z = 0 at the mid-plane of the piece, all in mm. Both faces use the same convention;
only `assemble` turns the reverse over.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


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
        Circles and panels about the middle: what they add to the height at rising radii,
        straight in between, the first inwards to the middle, mm.
    """

    level: float
    radius: float
    dish: float
    floor: float
    outline: tuple[tuple[tuple[float, float], ...], ...] = ()
    steps: tuple[tuple[float, float], ...] = ()
    basin: float = 0.0

    @property
    def is_flat(self) -> bool:
        """Tell whether the whole field lies at its level."""
        return self.dish == 0.0 and not self.steps

    @property
    def lowest(self) -> float:
        """Return the lowest z of the field, mm."""
        return float(self.height(self._turning()).min())

    @property
    def highest(self) -> float:
        """Return the highest z of the field, mm."""
        return float(self.height(self._turning()).max())

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
        s, reach = abs(self.dish), self.basin or self.radius
        big = (reach**2 + s**2) / (2.0 * s)
        cap = np.sqrt(np.maximum(big**2 - np.minimum(r2, reach**2), 0.0)) - (big - s)
        return self.level - math.copysign(1.0, self.dish) * cap
