"""A finished piece: one closed solid with a zone for every triangle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..geometry.types import BoolArray, ByteArray, FloatArray, IntArray
from .element import Finding


@dataclass(frozen=True, eq=False)
class Medal:
    """What `build` returns.

    Attributes
    ----------
    name : str
    vertices : (n, 3) float64
        mm, every coordinate exactly representable as float32, so that files say the same.
        z = 0 is the mid-plane, the obverse looks to +z.
    triangles : (m, 3) int64
        Counter-clockwise seen from outside.
    zone : (m,) uint8
        Index into `zone_names`.
    side : (m,) int8
        1 obverse, −1 reverse, 0 neither.
    zone_names : tuple of str
    volume_mm3, mass_g : float
    is_closed : bool
        Every edge shared by exactly two triangles after welding as float32, no collapsed
        triangle, positive volume.
    findings : tuple of Finding
    report : mapping
        What the report file says, ready for JSON.
    """

    name: str
    vertices: FloatArray
    triangles: IntArray
    zone: ByteArray
    side: NDArray[np.int8]
    zone_names: tuple[str, ...]
    volume_mm3: float
    mass_g: float
    is_closed: bool
    findings: tuple[Finding, ...] = ()
    report: Mapping[str, Any] = field(default_factory=dict)

    def points(self, where: BoolArray) -> FloatArray:
        """Return the vertices (k, 3) of the triangles picked by a mask (m,), each once."""
        used = np.zeros(len(self.vertices), dtype=bool)
        used[self.triangles[where]] = True
        return self.vertices[used]
