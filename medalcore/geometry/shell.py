"""Closed surfaces put together from rings of points: no booleans, no coincident faces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np

from .arrays import cross2
from .fill_polygon import fill_loops, fill_slope, folds
from .solid import Label, Solid, solid_from_arrays
from .types import BoolArray, FloatArray, IntArray


class Surface(Protocol):
    """What says how high it lies."""

    def height(self, uv: FloatArray) -> FloatArray:
        """Return z at (n, 2) points, mm."""


@dataclass(frozen=True, eq=False)
class Ring:
    """A closed run of points round the axis, counter-clockwise seen from above.

    Attributes
    ----------
    index : (n,) int64
        Numbers of the points in their shell.
    angle : (n,) float64
        Rising angles used to match neighbouring rings, radians.
    """

    index: IntArray
    angle: FloatArray

    def __len__(self) -> int:
        """Return the number of points."""
        return len(self.index)

    def after(self, count: int) -> Ring:
        """Return the ring with its numbers put up by `count`."""
        return Ring(self.index + count, self.angle)


@dataclass
class Shell:
    """Points and labelled triangles that grow ring by ring."""

    points: list[FloatArray] = field(default_factory=list)
    triangles: list[IntArray] = field(default_factory=list)
    codes: list[IntArray] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    count: int = 0
    plan: list[FloatArray] = field(default_factory=list)
    between: list[BoolArray] = field(default_factory=list)

    def add(self, points: FloatArray, plan: FloatArray | None = None) -> IntArray:
        """Add (n, 3) points in mm and return their numbers.

        Parameters
        ----------
        plan : (n, 3) float64, optional
            A closed line that they stand for: where they would be before the surface is bent, so
            that straight edges are straight and flat parts flat.
        """
        index = np.arange(self.count, self.count + len(points))
        self.points.append(points)
        self.plan.append(points if plan is None else plan)
        straight = np.zeros(len(points), dtype=bool) if plan is None else on_straight(plan[:, :2])
        self.between.append(straight)
        self.count += len(points)
        return index

    def ring(self, radius: float | FloatArray, angle: FloatArray, z: float | FloatArray) -> Ring:
        """Add a ring given by radius, angle and z and return it."""
        x, y = radius * np.cos(angle), radius * np.sin(angle)
        return Ring(self.add(np.column_stack([x, y, np.broadcast_to(z, x.shape)])), angle)

    def loops(self, contours: Sequence[FloatArray], z: float | Surface) -> list[IntArray]:
        """Add closed contours, (n, 2) mm, at one height or on a field; return their numbers."""
        level = z if isinstance(z, float) else float(z.height(np.zeros(2)))
        found = []
        for xy in contours:
            plan = np.column_stack([xy, np.full(len(xy), level)])
            height = plan[:, 2] if isinstance(z, float) else z.height(xy)
            found.append(self.add(np.column_stack([xy, height]), plan))
        return found

    def patch(
        self,
        outer: Sequence[IntArray],
        inner: Sequence[IntArray],
        label: Label,
        *,
        up: bool = True,
    ) -> None:
        """Fill the region inside `outer` loops and outside `inner` ones; it faces up or down."""
        points = np.concatenate(self.points)[:, :2]
        found = fill_loops(points, [*outer, *(loop[::-1] for loop in inner)])
        self.face(found if up else found[:, ::-1], label)

    def slope(
        self,
        outer: Sequence[IntArray],
        inner: Sequence[IntArray],
        label: Label,
        *,
        up: bool = True,
    ) -> None:
        """Fill like `patch`, but so that what is flat between straight edges stays flat."""
        loops = [*outer, *(loop[::-1] for loop in inner)]
        found = fill_slope(np.concatenate(self.plan), loops, np.concatenate(self.between))
        points = np.concatenate(self.points)[:, :2]
        if folds(points, found):  # bent so much that other points are neighbours now
            found = fill_loops(points, loops)
        self.face(found if up else found[:, ::-1], label)

    def strips(self, lower: Sequence[IntArray], upper: Sequence[IntArray], label: Label) -> None:
        """Join loops point to point; the wall faces right of the loops' direction."""
        for a, b in zip(lower, upper, strict=True):
            a1, b1 = np.roll(a, -1), np.roll(b, -1)
            self.face(np.vstack([np.column_stack([a, a1, b1]), np.column_stack([a, b1, b])]), label)

    def face(self, triangles: IntArray, label: Label) -> None:
        """Add (m, 3) triangles; those with two equal corners are left out."""
        a, b, c = triangles.T
        kept = triangles[(a != b) & (b != c) & (c != a)]
        if label not in self.labels:
            self.labels.append(label)
        self.triangles.append(kept)
        self.codes.append(np.full(len(kept), self.labels.index(label)))

    def band(self, outer: Ring, inner: Ring, label: Label, lean: float = 0.0) -> None:
        """Join two rings; the surface faces up (or inwards where the inner ring is lower).

        Rings with the same angles are joined point to point, others by merging their edges
        in the order of the edges' middles.

        Parameters
        ----------
        lean : float
            Above 0 where the points of the inner ring are turned on against those of the outer.
        """
        if len(outer) == len(inner) and np.array_equal(outer.angle, inner.angle):
            a, b = outer.index, inner.index
            a1, b1 = np.roll(a, -1), np.roll(b, -1)
            if lean > 0.0:  # the shorter diagonal
                halves = np.column_stack([a, a1, b]), np.column_stack([a1, b1, b])
            else:
                halves = np.column_stack([a, a1, b1]), np.column_stack([a, b1, b])
            self.face(np.vstack(halves), label)
        else:
            self.face(merged(outer, inner), label)

    def on_other_side(self) -> Shell:
        """Return the same surface with its labels on the other face."""
        labels = [Label(x.zone, 1 if x.side < 0 else -1) if x.side else x for x in self.labels]
        return replace(self, labels=labels)

    def centre(self, ring: Ring, point: FloatArray, label: Label) -> None:
        """Close a ring with a fan round one (3,) point."""
        index = self.add(point[None])
        a = ring.index
        self.face(np.column_stack([a, np.roll(a, -1), np.full(len(a), index[0])]), label)

    def solid(self) -> Solid:
        """Return the finished solid.

        Raises
        ------
        SolidError
            If the surface is not closed.
        """
        points = np.concatenate(self.points)
        triangles = np.concatenate(self.triangles)
        used = np.zeros(len(points), dtype=bool)
        used[triangles] = True
        number = np.cumsum(used) - 1
        return solid_from_arrays(
            points[used], number[triangles], tuple(self.labels), np.concatenate(self.codes)
        )


def on_straight(points: FloatArray) -> BoolArray:
    """Tell which points of a closed contour, (n, 2), lie straight between their neighbours."""
    before, after = points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points
    return np.asarray(np.abs(cross2(before, after)) < 1e-9 * np.sum(before * after, axis=1))


def merged(outer: Ring, inner: Ring) -> IntArray:
    """Return the triangles between two rings of different length.

    Every edge goes to the point of the other ring that the merge has reached: the count of
    the other ring's edges whose middles come before its own.
    """
    mid_a, first_a = _middles(outer.angle)
    mid_b, first_b = _middles(inner.angle)
    na, nb = len(mid_a), len(mid_b)
    # One order for both, so that equal middles are never taken two ways.
    order = np.argsort(np.concatenate([mid_a, mid_b]), kind="stable")
    of_a = order < na
    before_a: IntArray = np.cumsum(of_a) - of_a
    before_b: IntArray = np.cumsum(~of_a) - ~of_a
    i = (order[of_a] + first_a) % na
    j = (order[~of_a] - na + first_b) % nb
    reached = (before_b[of_a] + first_b) % nb
    passed = (before_a[~of_a] + first_a) % na
    x, y = outer.index, inner.index
    return np.vstack(
        [
            np.column_stack([x[i], x[(i + 1) % na], y[reached]]),
            np.column_stack([y[(j + 1) % nb], y[j], x[passed]]),
        ]
    )


def _middles(angle: FloatArray) -> tuple[FloatArray, int]:
    """Return the middles of a ring's edges, rising within one turn, and which edge is first."""
    following = np.append(angle[1:], angle[0] + 2.0 * np.pi)
    middle = np.mod((angle + following) / 2.0, 2.0 * np.pi)
    first = int(np.argmin(middle))
    return np.roll(middle, -first), first


def joined(upper: Shell, lower: Shell) -> Shell:
    """Return `upper` with `lower` hung below it upside down; its numbers go up by upper.count."""
    both = Shell(
        list(upper.points),
        list(upper.triangles),
        list(upper.codes),
        list(upper.labels),
        upper.count,
        list(upper.plan),
        list(upper.between),
    )
    for points in lower.points:
        both.add(points * (1.0, 1.0, -1.0))
    for triangles, code in zip(lower.triangles, lower.codes, strict=True):
        if len(triangles):
            both.face(triangles[:, ::-1] + upper.count, lower.labels[int(code[0])])
    return both
