"""Rope and lines: sections that run round the border."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ...errors import SpecError
from ...geometry.contour import Contours
from ...geometry.draft import Draft
from ...geometry.loft import drafted
from ...geometry.solid import Solid, solid_from_arrays, united
from ...geometry.types import FloatArray, IntArray
from .course import Course
from .path import Circle, Line, moved_aside
from .repeated import bead_profile
from .spacing import ends_of

_GROOVE = 0.34
"""How deep the grooves between strands cut at most, as a share of the rope's height."""
_FAINT = 0.08
"""Shallower grooves do not show, as a share of the rope's height."""
_GENTLER = (0.0, 2.0, 4.0, 7.0)
"""By how much a rope's section leans more than its draft, degrees, where grooves need it."""
_CROWN = 0.96
"""How much of half the width a section's walls may take; the rest is its crown."""
_HALVINGS = 9
_LEVEL = 1e-6
"""mm; a border whose field differs by less stands level."""
_BELOW = 0.05
"""How far below the field the draft of a line's walls goes on, mm."""
_FINE = 0.002
"""mm; the finest tolerance, at which a rope has to keep its draft, too."""
_LEAN = 1.15
"""How many strands a strand runs across, from one side of the rope to the other."""
_MOST_LEAN = 0.8
"""How far it runs along on either side of the middle at most, as a share of the rope's width."""


def lines(course: Course, count: int, space: float, tolerance: float) -> Solid:
    """Return parallel flat lines with drafted walls, each as high above the field all along."""
    pitch = course.size + (space or course.size)
    level = course.highest_base - course.lowest_base < _LEVEL or isinstance(course.path, Circle)
    make = _level_line if level else _laid_line
    made = [make(course, pitch * ((count - 1) / 2.0 - k), tolerance) for k in range(count)]
    return made[0] if count == 1 else united(made)


def _level_line(course: Course, aside: float, tolerance: float) -> Solid:
    wide = course.size / 2.0 + course.height * Draft(course.draft).run_per_rise
    band = _band(course, aside, course.size, tolerance, wide)
    foot, top = course.lowest_base - course.depth, course.highest_base + course.height
    return drafted(band, foot, top, course.draft, "border")


def _laid_line(course: Course, aside: float, tolerance: float) -> Solid:
    """Return a line on a field that rises and falls along it."""
    slope, half = Draft(course.draft).run_per_rise, course.size / 2.0
    foot = half + (course.height + _BELOW) * slope  # upright below what can be seen
    side = [(foot, -course.depth), (foot, -_BELOW), (half, course.height)]
    section = np.array([*side, *((-t, z) for t, z in reversed(side))])
    path = moved_aside(course.path, aside)
    assert isinstance(path, Line)
    t, z = section.T
    plan = path.points[:, None] + t[None, :, None] * path.outward[:, None]
    height = course.ground.height(path.points)[:, None] + z[None, :]
    vertices = np.concatenate([plan, height[..., None]], axis=-1).reshape(-1, 3)
    whole = solid_from_arrays(vertices, _tube(len(path.points), len(section)), "border")
    return _ended(course, whole, aside, 2.0 * foot + 0.2, foot, tolerance)


def _ended(
    course: Course, whole: Solid, aside: float, reach: float, foot: float, tolerance: float
) -> Solid:
    """Return what a gap leaves of a closed ring `reach` mm wide; see `_band` for the rest."""
    if course.free is None:
        return whole
    keep = _band(course, aside, reach, tolerance, foot)
    low, high = course.lowest_base - course.depth - 0.1, course.highest_base + course.height
    end = drafted(keep, low, high + 0.01, course.draft, "border")
    return Solid(whole.manifold ^ end.manifold, {**whole.labels, **end.labels})


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
    back = (course.highest_base + course.height - low) * Draft(course.draft).run_per_rise
    end = np.array([(-back, -foot), (-back, foot)])
    start, span = ends_of(path, end, course.free, mirrored=True)
    return path.band(width, start, span, tolerance)


def rope(course: Course, twist: str, tolerance: float) -> tuple[Solid, float]:
    """Return a twisted rope, and the depth of its grooves in mm.

    It is a rounded band cut by the grooves between its strands. The section is a bead's. Every
    strand swells it by a round of its own; grid lines follow the grooves, so that they come out
    sharp.

    Raises
    ------
    SpecError
        If no grooves that show keep the draft.
    """
    ring = course if course.is_closed else _closed(course)
    hand = 1.0 if twist == "right" else -1.0
    lean, groove = _kept_draft(ring, hand, tolerance)
    section = _across(replace(ring, draft=lean), tolerance)
    per_strand = _per_strand(ring, tolerance)
    vertices, triangles = _rope_mesh(ring, section, per_strand, hand, groove)
    whole = solid_from_arrays(vertices, triangles, "border")
    reach = 2.0 * float(np.abs(section[:, 0]).max()) + 0.1 * course.size
    ended = _ended(course, whole, 0.0, reach, course.half, tolerance)
    return ended, groove * course.height


def _kept_draft(ring: Course, hand: float, tolerance: float) -> tuple[float, float]:
    """Return the draft of the section (rad) and the share of the grooves that keep the draft.

    Where a wall falls both across and along the rope it is steeper than its section. What
    leaves the deepest grooves is taken: a gentler section, or grooves less deep.
    """
    found = _deepest_grooves(ring, ring.draft, hand, tolerance)
    if found[1] < _FAINT:
        most = math.ceil(math.degrees(ring.draft)) - 1
        while most and _deepest_grooves(ring, math.radians(most), hand, tolerance)[1] < _FAINT:
            most -= 1
        raise SpecError(
            f"a rope {ring.size:.3g} mm wide and {ring.height:.3g} mm high keeps no draft of "
            f"{math.degrees(ring.draft):g} degrees with strands that show; give at most {most} "
            "degrees, or less height",
            key="draft",
        )
    return found


def _deepest_grooves(
    ring: Course, draft: float, hand: float, tolerance: float
) -> tuple[float, float]:
    best = draft, 0.0
    for more in _GENTLER:
        lean = draft + math.radians(more)
        if ring.height * math.tan(lean) > _CROWN * ring.half:
            break
        low, high = 0.0, _GROOVE
        if _keeps(ring, lean, high, draft, hand, tolerance):
            return lean, high
        for _ in range(_HALVINGS):
            middle = (low + high) / 2.0
            keeps = _keeps(ring, lean, middle, draft, hand, tolerance)
            low, high = (middle, high) if keeps else (low, middle)
        best = (lean, low) if low > best[1] else best
    return best


def _keeps(
    ring: Course, lean: float, groove: float, draft: float, hand: float, tolerance: float
) -> bool:
    """Tell whether no facet above the field is steeper than the draft, as fine as can be, too."""
    return all(
        _least_up(ring, lean, groove, hand, t) >= math.sin(draft) - 1e-4
        for t in {min(_FINE, tolerance), tolerance}
    )


def _least_up(ring: Course, lean: float, groove: float, hand: float, tolerance: float) -> float:
    """Return how much the steepest facet above the field looks up: the sine of its draft."""
    section = _across(replace(ring, draft=lean), tolerance)
    per_strand = _per_strand(ring, tolerance)
    strands = 3 if isinstance(ring.path, Circle) else ring.count  # on a circle all are alike
    v, t = _rope_mesh(ring, section, per_strand, hand, groove, strands * per_strand)
    if strands < ring.count:  # without those that would join the last row to the first
        t = t[(t < (strands - 1) * per_strand * len(section)).all(axis=1)]
    a, b, c = (v[t[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    above = np.tile(section[:, 1] > 1e-6, strands * per_strand)
    up = normal[above[t].any(axis=1)]
    return float((up[:, 2] / np.linalg.norm(up, axis=1)).min())


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
    course: Course,
    section: FloatArray,
    per_strand: int,
    hand: float,
    groove: float,
    rows: int = 0,
) -> tuple[FloatArray, IntArray]:
    """Return the rope's mesh, all round or so many rows of its grid."""
    t, z = section.T
    rows = rows or course.count * per_strand
    strand = np.arange(rows) / per_strand  # in strands along the rope
    swell = 1.0 - groove * (2.0 * (strand % 1.0) - 1.0) ** 2
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
    return vertices.reshape(-1, 3), _tube(rows, len(section))


def _tube(rows: int, n: int) -> IntArray:
    """Return the triangles of a closed tube whose vertices are numbered row by row."""
    index = np.arange(rows * n).reshape(rows, n)
    after = np.roll(index, -1, axis=0)
    left, right = index, np.roll(index, -1, axis=1)
    far, across = after, np.roll(after, -1, axis=1)
    pairs = [np.stack([left, right, across], -1), np.stack([left, across, far], -1)]
    return np.concatenate(pairs).reshape(-1, 3)
