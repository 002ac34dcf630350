"""Rope and lines: sections that run round the border."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..contour import Contours
from ..loft import drafted
from ..solid import IntArray, Solid, solid_from_arrays, united
from .course import Course
from .path import moved_aside
from .repeated import bead_profile
from .spacing import ends_of

FloatArray = NDArray[np.float64]
_GROOVE = 0.34
"""How deep the grooves between strands cut, as a share of the rope's radius."""
_LEAN = 1.15
"""How many strands a strand runs across, from one side of the rope to the other."""
_MOST_LEAN = 0.8
"""How far it runs along on either side of the middle at most, as a share of the rope's width."""


def lines(course: Course, count: int, space: float, tolerance: float) -> Solid:
    """Return parallel flat lines with drafted walls."""
    pitch = course.size + (space or course.size)
    made = []
    for k in range(count):
        aside = pitch * ((count - 1) / 2.0 - k)
        wide = course.size / 2.0 + course.height * math.tan(course.draft)
        band = _band(course, aside, course.size, tolerance, wide)
        foot = course.lowest_base - course.depth
        top = course.highest_base + course.height
        made.append(drafted(band, foot, top, course.draft, "border"))
    return made[0] if count == 1 else united(made)


def _band(course: Course, aside: float, width: float, tolerance: float, foot: float) -> Contours:
    """Return the outline of a band beside the middle of the border.

    Its ends stand back by what the draft adds to them at the field, so that a gap is free.

    Parameters
    ----------
    foot : float
        Half of what is as wide as that at the field, mm.
    """
    path = moved_aside(course.path, aside)
    if course.free is None:
        share = path.length / course.path.length
        return path.band(width, course.start * share, path.length, tolerance)
    low = course.base(course.start + np.array([0.0, course.run])).min()
    back = (course.highest_base + course.height - low) * math.tan(course.draft)
    end = np.array([(-back, -foot), (-back, foot)])
    start, span = ends_of(path, end, course.free, mirrored=True)
    return path.band(width, start, span, tolerance)


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
    reach = 2.0 * float(np.abs(section[:, 0]).max()) + 0.1 * course.size
    keep = _band(course, 0.0, reach, tolerance, course.half)
    foot = course.lowest_base - course.depth - 0.1
    end = drafted(keep, foot, course.highest_base + course.height + 0.01, course.draft, "border")
    cut = whole.manifold ^ end.manifold
    return Solid(cut, {**whole.labels, **end.labels})


def _closed(course: Course) -> Course:
    """Return the course of a whole ring with very nearly the same pitch."""
    whole = course.path.length
    count = max(3, round(course.count * whole / course.run))
    return replace(course, count=count, run=whole, free=None, pitch=whole / count)


def _across(course: Course, tolerance: float) -> FloatArray:
    """Return the rope's section without grooves, from outside to inside, (n, 2) mm."""
    side = bead_profile(course, tolerance)
    return np.vstack([side, (side[:-1] * (-1.0, 1.0))[::-1]])


def _per_strand(course: Course, tolerance: float) -> int:
    depth = _GROOVE * course.height
    by_groove = math.ceil(math.sqrt(depth / (2.0 * tolerance)))
    bend = min(course.path.bend, course.path.length / 6.0)
    by_bend = math.ceil(course.pitch / math.sqrt(8.0 * bend * tolerance))
    return max(4, 2 * math.ceil(max(by_groove, by_bend) / 2))


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
    most = hand * min(0.5 * _LEAN * course.pitch, _MOST_LEAN * course.size)
    lean = most * np.sin(0.5 * np.pi * np.clip(t / course.half, -1.0, 1.0))
    along = course.start + strand[:, None] * course.pitch + lean[None, :]
    middle, out = course.path.at(along)
    plan = middle + (t[None, :] * narrow)[..., None] * out
    height = course.base(along) + z[None, :] * shrink
    vertices = np.concatenate([plan, height[..., None]], axis=-1)
    n = len(section)
    index = np.arange(rows * n).reshape(rows, n)
    after = np.roll(index, -1, axis=0)
    left, right = index, np.roll(index, -1, axis=1)
    far, across = after, np.roll(after, -1, axis=1)
    triangles = np.concatenate(
        [np.stack([left, right, across], -1), np.stack([left, across, far], -1)]
    ).reshape(-1, 3)
    return vertices.reshape(-1, 3), triangles
