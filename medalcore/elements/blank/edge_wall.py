"""The upright edge of a piece: reeds, upright or slanted, and grooves in one mesh.

Seen from outside the edge lies open as a sheet over its length and height. Reeds make its depth
a function of the length alone (moved along by the slant), grooves one of the height alone; the
piece has the greater of the two. Columns of points stand where either has a corner on the other,
so the line where they meet is as exact as both are.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Protocol

import numpy as np

from ...context.tolerance import Tolerance
from ...geometry.shell import Ring, Shell
from ...geometry.solid import Label
from ...geometry.types import BoolArray, FloatArray, IntArray
from .profile import Step

_EDGE = Label("edge")
_SAME = 1e-9
"""mm; what lies nearer than that is one place."""

NEAR = 2e-4
"""mm; corners of reeds so near to a corner of the section are moved onto it: a tenth of the
finest tolerance. On the steepest flanks columns still stand some steps of float32 apart."""


class Columns(Protocol):
    """An edge as columns of points: how deep below the outline it is at each."""

    @property
    def inset(self) -> FloatArray:
        """Return the depth of the edge at every column, (n,) mm."""

    @property
    def place(self) -> FloatArray:
        """Return where every column stands, (n,), rising."""

    @property
    def whole(self) -> float:
        """Return the place at which the first column comes again."""

    @property
    def shear(self) -> float:
        """Return how the columns move along with every mm upwards: 0 is upright."""

    def rise(self, tolerance: Tolerance) -> float:
        """Return how high a straight piece of a column may be, mm."""

    def mirrored(self) -> Columns:
        """Return the edge as it is seen from the other side."""

    def split(self, insets: Sequence[float]) -> Columns:
        """Return the edge with columns put in where it is as deep as given, mm."""

    def points(self, inset: float | FloatArray, z: float | FloatArray) -> FloatArray:
        """Return a point (n, 3) of every column at a depth and a height, mm."""

    def is_close(self, picked: BoolArray, tolerance: Tolerance) -> bool:
        """Tell whether some of its columns are enough for a ring of their own."""


@dataclass(frozen=True, eq=False)
class CircleEdge:
    """The outline of a round piece as radius and angle, and the count of its plain circles.

    Attributes
    ----------
    radius, angle : (n,) float64
        mm, radians, rising; the angle at the mid-plane.
    root : float
        Smallest radius, mm.
    chords : int
        Points of a plain circle of the edge's size.
    shear : float
        How far the outline turns with every mm upwards, radians.
    """

    radius: FloatArray
    angle: FloatArray
    root: float
    chords: int
    shear: float = 0.0

    @property
    def outer(self) -> float:
        """Return the largest radius, mm."""
        return float(self.radius.max())

    @property
    def inset(self) -> FloatArray:
        """Return the depth of the edge at every column, (n,) mm."""
        return self.outer - self.radius

    @property
    def place(self) -> FloatArray:
        """Return the angle of every column, (n,) radians."""
        return self.angle

    @property
    def whole(self) -> float:
        """Return one turn, radians."""
        return 2.0 * math.pi

    def points(self, inset: float | FloatArray, z: float | FloatArray) -> FloatArray:
        """Return a point (n, 3) of every column at a depth and a height, mm."""
        height = np.broadcast_to(z, self.angle.shape)
        angle, radius = self.angle + self.shear * height, self.outer - inset
        return np.column_stack([radius * np.cos(angle), radius * np.sin(angle), height])

    def is_close(self, picked: BoolArray, tolerance: Tolerance) -> bool:
        """Tell whether some of its columns are enough for a circle of their own."""
        angle = self.angle[picked]
        gap = float(np.diff(angle, append=angle[0] + 2.0 * np.pi).max())
        return gap * self.chords < 2.2 * np.pi

    def rise(self, tolerance: Tolerance) -> float:
        """Return how high a straight piece of a slanted notch may be, mm.

        Sagitta of the chord of a helix seen from above: s = w²/8R.
        """
        if not self.shear:
            return math.inf
        return math.sqrt(4.0 * self.outer * tolerance.curve) / (abs(self.shear) * self.outer)

    def mirrored(self) -> CircleEdge:
        """Return the edge as it is seen from the other side."""
        return replace(self, shear=-self.shear)

    def split(self, insets: Sequence[float]) -> CircleEdge:
        """Return the edge with columns put in where it crosses circles so far inside, mm."""
        outer = self.outer
        radius, angle = self.radius, self.angle
        for inset in insets:
            level = outer - inset
            if not self.root + NEAR < level < outer - NEAR:
                continue
            radius = np.where(np.abs(radius - level) < NEAR, level, radius)
            r1 = np.roll(radius, -1)
            a1 = np.append(angle[1:], angle[0] + 2.0 * np.pi)
            cross = np.flatnonzero((radius - level) * (r1 - level) < -1e-12)
            x0, y0 = radius[cross] * np.cos(angle[cross]), radius[cross] * np.sin(angle[cross])
            dx = r1[cross] * np.cos(a1[cross]) - x0
            dy = r1[cross] * np.sin(a1[cross]) - y0
            # |p + t d| = level: the root of the quadratic inside the chord
            a, b, c = dx * dx + dy * dy, x0 * dx + y0 * dy, x0 * x0 + y0 * y0 - level * level
            swing = np.sqrt(b * b - a * c)
            t = np.where(c > 0.0, (-b - swing) / a, (-b + swing) / a)
            x1, y1 = x0 + t * dx, y0 + t * dy
            turn = np.arctan2(x0 * y1 - y0 * x1, x0 * x1 + y0 * y1)
            radius = np.insert(radius, cross + 1, level)
            angle = np.insert(angle, cross + 1, angle[cross] + turn)
        return CircleEdge(radius, angle, self.root, self.chords, self.shear)


def in_short_rises(steps: Sequence[Step], within: float, most: float) -> tuple[Step, ...]:
    """Return a section whose corners nearer to the edge than `within` rise by at most `most` mm."""
    found = [steps[0]]
    for before, step in pairwise(steps):
        rise = abs(step.z - before.z) if before.inset < within else 0.0
        n = max(1, math.ceil(rise / most - 1e-9))
        for t in np.linspace(0.0, 1.0, n + 1)[1:-1].tolist():
            inset = before.inset + t * (step.inset - before.inset)
            found.append(Step(inset, before.z + t * (step.z - before.z), step.zone))
        found.append(step)
    return tuple(found)


def grooves_of(steps: Sequence[Step], most: float) -> list[tuple[FloatArray, FloatArray]]:
    """Return inset and z of the corners of every groove, upwards, the lowest groove first.

    Corners of one groove rise from each other by `most` at most, mm.
    """
    found = []
    start = 0
    for i in range(1, len(steps)):
        if steps[i].inset > _SAME or i == start:
            continue
        groove = in_short_rises(steps[start : i + 1], math.inf, most)[::-1]
        inset = np.array([s.inset for s in groove])
        inset[inset > inset.max() - NEAR] = inset.max()  # the floor of a square one is level
        found.append((inset, np.array([s.z for s in groove])))
        start = i + 1
    return found[::-1]


def raise_wall(
    shell: Shell, edge: Columns, low: Ring, high: Ring, steps: Sequence[Step], tolerance: Tolerance
) -> None:
    """Mesh the wall between two rings, one point in each for every column of the edge.

    Parameters
    ----------
    steps : sequence of Step
        Corners of grooves, from the obverse downwards (z over the mid-plane); each groove
        begins and ends on the edge.
    """
    if not steps and not edge.shear:
        shell.band(low, high, _EDGE)
        return
    grooves = grooves_of(steps, edge.rise(tolerance))
    sheet = _Sheet(shell, edge, sorted({i for inset, _ in grooves for i in inset}), tolerance)
    below = sheet.spread(low)
    for inset, z in grooves:
        below = sheet.grooved(below, inset, z)
    sheet.up(below, sheet.spread(high))


@dataclass(frozen=True, eq=False)
class _Row:
    """A curve across all columns: number of the point and height at each."""

    index: IntArray
    z: FloatArray


class _Sheet:
    """The columns of a wall; makes it grow upwards.

    Columns that the edge does not have itself stand only where a groove needs them, and on a
    ring of a groove only those of lands and roots and of flanks that end beside it. Elsewhere
    the next point towards the root of the notch takes their place: from there all points of a
    groove's outline can be seen, so the fan round it never folds.
    """

    def __init__(
        self, shell: Shell, edge: Columns, insets: Sequence[float], tolerance: Tolerance
    ) -> None:
        self.shell, self.edge = shell, edge.split(insets)
        self.inset = self.edge.inset
        self.own = np.isin(self.edge.place, edge.place)
        self.rise = edge.rise(tolerance)
        self.at = np.flatnonzero(self.own)
        facet = np.cumsum(self.own) - 1
        deeper = np.roll(edge.inset, -1) > edge.inset
        self.right: BoolArray = deeper[facet]
        # Each notch has a root of its own, as deep as it came out there.
        root = (edge.inset >= np.roll(edge.inset, 1)) & (edge.inset >= np.roll(edge.inset, -1))
        few = np.zeros(len(self.own), dtype=bool)
        few[self.at] = root | (edge.inset < _SAME)
        self.kept = few if self.edge.is_close(few, tolerance) else self.own

    def points(self, inset: float | FloatArray, z: float | FloatArray) -> _Row:
        """Add a point in every column."""
        height = np.broadcast_to(z, self.inset.shape)
        return _Row(self.shell.add(self.edge.points(inset, height)), height)

    def spread(self, ring: Ring) -> _Row:
        """Return a ring of the edge itself as a row."""
        index = np.zeros(len(self.own), dtype=np.int64)
        index[self.at] = ring.index
        z = np.concatenate(self.shell.points)[ring.index, 2]
        place = self.edge.place
        height = np.interp(place, place[self.at], z, period=self.edge.whole)
        return _Row(self.filled(index, self.own), height)

    def filled(self, index: IntArray, there: BoolArray) -> IntArray:
        """Return numbers of points with those that are not there taken from their neighbours."""
        n = np.arange(len(index))
        left = np.maximum.accumulate(np.where(there, n, 0))
        right = np.minimum.accumulate(np.where(there, n, len(n))[::-1])[::-1] % len(n)
        return index[np.where(self.right, right, left)]

    def up(self, low: _Row, high: _Row) -> None:
        """Join two rows; a slanted wall gets rows in between."""
        steps = max(1, math.ceil(float(np.max(high.z - low.z)) / self.rise - 1e-9))
        last = low
        for t in np.linspace(0.0, 1.0, steps + 1)[1:-1]:
            row = self.points(self.inset, low.z + t * (high.z - low.z))
            self._join(last, row)
            last = row
        self._join(last, high)

    def _join(self, low: _Row, high: _Row) -> None:
        below, above = Ring(low.index, self.edge.place), Ring(high.index, self.edge.place)
        self.shell.band(below, above, _EDGE, self.edge.shear)

    def grooved(self, below: _Row, inset: FloatArray, z: FloatArray) -> _Row:
        """Join a row to a groove above it, mesh the groove, and return its upper outline.

        Both outlines of the groove lie where it is as deep as the reeds are; where those are
        deeper than all of it, both are one point and the wall runs through.
        """
        most = float(inset.max())
        first, last = np.flatnonzero(inset == most)[[0, -1]]
        lower = np.interp(self.inset, inset[: first + 1], z[: first + 1])
        upper = np.interp(self.inset, inset[last:][::-1], z[last:][::-1])
        through = self.inset > most
        lower[through] = upper[through] = (z[first] + z[last]) / 2.0
        low = self.points(self.inset, lower)
        index = np.where(upper - lower < _SAME, low.index, self.points(self.inset, upper).index)
        high = _Row(index, upper)
        self.up(below, low)
        row = low
        for k in range(1, len(inset) - 1):
            ring = self.points(float(inset[k]), float(z[k]))
            inside = self.inset < inset[k] - _SAME
            outline = high if k > first and k >= last else low
            index = np.where(inside, ring.index, outline.index)
            # Columns of flanks end between this ring and the one nearer to the edge, or go on.
            ends = self.own & (self.inset > min(inset[k - 1], inset[k + 1]) - _SAME)
            new = _Row(self.filled(index, self.kept | ends | ~inside), ring.z)
            self._join(row, new)
            row = new
        self._join(row, high)
        return high
