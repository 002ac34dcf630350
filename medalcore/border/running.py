"""Rope and lines: sections that run round the border."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..contour import Contours, circle, round_segments
from ..loft import drafted
from ..solid import IntArray, Solid, solid_from_arrays, united
from .course import Course
from .repeated import bead_profile

FloatArray = NDArray[np.float64]
_GROOVE = 0.34
"""How deep the grooves between strands cut, as a share of the rope's radius."""
_LEAN = 1.15
"""How many strands a strand runs across, from one side of the rope to the other."""


def lines(course: Course, count: int, space: float, tolerance: float) -> Solid:
    """Return parallel flat lines with drafted walls."""
    width = course.size
    pitch = width + (space or width)
    outermost = course.radius + (count - 1) * pitch / 2.0
    top = course.base + course.height
    made = []
    for k in range(count):
        middle = outermost - k * pitch
        band = arc_band(course, middle - width / 2.0, middle + width / 2.0, tolerance)
        made.append(drafted(band, course.bottom, top, course.draft, "border"))
    return made[0] if count == 1 else united(made)


def arc_band(course: Course, inner: float, outer: float, tolerance: float) -> Contours:
    """Return the outline between two radii along the border's arc.

    Its ends stand back by what the draft adds to them at the field, so that a gap is free.
    """
    if course.is_closed:
        return circle(outer, tolerance), circle(inner, tolerance)[::-1]
    n = max(2, math.ceil(round_segments(outer, tolerance) * course.sweep / (2.0 * math.pi)))
    back = course.height * math.tan(course.draft) / course.radius
    angle = course.start + back + (course.sweep - 2.0 * back) * np.arange(n + 1) / n
    way = np.column_stack([np.sin(angle), np.cos(angle)])
    return (np.vstack([inner * way, outer * way[::-1]]),)


def rope(course: Course, twist: str, tolerance: float) -> Solid:
    """Return a twisted rope: a rounded band cut by the grooves between its strands.

    The section is a bead's. Every strand swells it by a round of its own; grid lines follow
    the grooves, so that they come out sharp.
    """
    ring = course if course.is_closed else _closed(course)
    section = _across(course, tolerance)
    per_strand = _per_strand(ring, tolerance)
    vertices, triangles = _rope_mesh(ring, section, per_strand, 1.0 if twist == "right" else -1.0)
    whole = solid_from_arrays(vertices, triangles, "border")
    if course.is_closed:
        return whole
    reach = float(np.abs(section[:, 0]).max()) + course.size
    keep = arc_band(course, max(course.radius - reach, 0.01), course.radius + reach, tolerance)
    end = drafted(keep, course.bottom - 1.0, course.base + course.height, course.draft, "border")
    cut = whole.manifold ^ end.manifold
    return Solid(cut, {**whole.labels, **end.labels})


def _closed(course: Course) -> Course:
    """Return the course of a whole ring with very nearly the same pitch."""
    count = max(3, round(course.count * 2.0 * math.pi / course.sweep))
    return replace(course, count=count, sweep=2.0 * math.pi)


def _across(course: Course, tolerance: float) -> FloatArray:
    """Return the rope's section without grooves, from outside to inside, (n, 2) mm."""
    side = bead_profile(course, tolerance) - (0.0, course.base)
    return np.vstack([side, (side[:-1] * (-1.0, 1.0))[::-1]])


def _per_strand(course: Course, tolerance: float) -> int:
    depth = _GROOVE * course.height
    by_groove = math.ceil(math.sqrt(depth / (2.0 * tolerance)))
    by_arc = math.ceil(round_segments(course.radius, tolerance) / course.count)
    return max(4, 2 * math.ceil(max(by_groove, by_arc) / 2))


def _rope_mesh(
    course: Course, section: FloatArray, per_strand: int, hand: float
) -> tuple[FloatArray, IntArray]:
    t, z = section.T
    rows = course.count * per_strand
    strand = np.arange(rows) / per_strand  # in strands along the rope
    swell = 1.0 - _GROOVE * (2.0 * (strand % 1.0) - 1.0) ** 2
    # the foot below the field stays as wide as the section says, whatever the strand
    shrink = np.where(z[None, :] > 0.0, swell[:, None], 1.0)
    side = np.where(z > 0.0, 1.0, 0.0)
    narrow = 1.0 - (1.0 - swell[:, None]) * 0.35 * side
    lean = hand * 0.5 * _LEAN * np.sin(0.5 * np.pi * np.clip(t / course.half, -1.0, 1.0))
    angle = course.start + (strand[:, None] + lean[None, :]) * course.step
    radius = course.radius + t[None, :] * narrow
    height = course.base + z[None, :] * shrink
    vertices = np.stack([radius * np.sin(angle), radius * np.cos(angle), height], axis=-1)
    n = len(section)
    index = np.arange(rows * n).reshape(rows, n)
    after = np.roll(index, -1, axis=0)
    left, right = index, np.roll(index, -1, axis=1)
    far, across = after, np.roll(after, -1, axis=1)
    triangles = np.concatenate(
        [np.stack([left, right, across], -1), np.stack([left, across, far], -1)]
    ).reshape(-1, 3)
    return vertices.reshape(-1, 3), triangles
