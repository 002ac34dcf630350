"""How steep a wall may stand, in every unit that is worked in."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Draft:
    """Draft of a wall: the angle that it leans away from upright.

    Attributes
    ----------
    angle : float
        Radians; 0 stands upright.
    """

    angle: float

    @classmethod
    def of_degrees(cls, degrees: float) -> Draft:
        """Return the draft that a spec says in degrees."""
        return cls(math.radians(degrees))

    @property
    def run_per_rise(self) -> float:
        """Return mm that a wall runs outwards for each mm that it falls."""
        return math.tan(self.angle)

    @property
    def rise_per_run(self) -> float:
        """Return mm that a wall falls for each mm that it runs outwards; ∞ if upright."""
        return 1.0 / self.run_per_rise if self.angle > 0.0 else math.inf

    def drop_per_pixel(self, pixel: float) -> float:
        """Return mm that a wall falls from a pixel to the next, `pixel` mm on; ∞ if upright."""
        return pixel / self.run_per_rise if self.angle > 0.0 else math.inf
