"""Solids in sections: offsets of one outline at rising heights, level or along a field."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Protocol

import numpy as np

from ...context.ground import Ground
from ...context.tolerance import Tolerance
from ...geometry.bodies import Body, revolved
from ...geometry.contour import Contours
from ...geometry.shell import Shell, Surface
from ...geometry.solid import Label, Solid
from ...geometry.types import FloatArray
from .blank_mesh import between
from .field_rings import chords_for, ring_step
from .offsets import refined

OffsetSection = tuple[float, float | Surface]
"""Distance inside the outline (below 0 outside), and the height there: z in mm, or a field."""


class Region(Protocol):
    """An outline that can be moved inwards and outwards."""

    def at(self, inset: float) -> Contours:
        """Return the contours at a distance inwards, mm."""


class Band:
    """What lies between an outline and the same outline farther in."""

    def __init__(self, outline: Region, width: float) -> None:
        self._outline = outline
        self._width = width

    def at(self, inset: float) -> Contours:
        """Return both contours, each at a distance into the band, mm."""
        inner = self._outline.at(round(self._width - inset, 9))
        return (*self._outline.at(inset), *(c[::-1] for c in inner))


def stack_offsets(
    region: Region, sections: Sequence[OffsetSection], label: Label, longest: float
) -> Solid:
    """Return the solid whose wall follows sections from the lowest to the highest.

    Bottom and top are as level as the first and last section.

    Parameters
    ----------
    longest : float
        Length of the longest edge along an outline that may stay straight, mm.

    Raises
    ------
    SolidError
        If an outline closes on the way.
    """
    shell = Shell()
    made: dict[float, Contours] = {}
    last = None
    for inset, z in sections:
        if inset not in made:
            made[inset] = refined(region.at(inset), longest)
        new = (inset, shell.loops(made[inset], z))
        if last is None:
            shell.patch(new[1], [], label, up=False)
        else:
            between(shell, last, new, label)
        last = new
    assert last is not None
    shell.patch(last[1], [], label)
    return shell.solid()


def below_field(ground: Ground, out: float, low: float, tolerance: Tolerance) -> Body:
    """Return what lies below a hollow or domed field, `out` mm to all sides, down to z `low`."""
    r = _radii(ground, out, ring_step(ground, tolerance))
    top = np.column_stack([r, ground.height(np.column_stack([r, np.zeros_like(r)]))])[::-1]
    profile = np.vstack([[(0.0, low), (r[-1], low)], top])
    body = revolved(profile, chords_for(out, tolerance))
    return body.rotate((0.0, 0.0, 0.0391))  # off the grid of everything else


def _radii(ground: Ground, out: float, step: float) -> FloatArray:
    """Return the radii of the rings of a field, rising from the middle, mm."""
    marks = [0.0, *(r for r, _ in ground.steps), ground.basin or ground.radius]
    runs = [
        np.linspace(a, b, max(1, math.ceil((b - a) / step)), endpoint=False)
        for a, b in pairwise(marks)
    ]
    return np.concatenate([*runs, marks[-1:], [out] if out > marks[-1] + 1e-6 else []])
