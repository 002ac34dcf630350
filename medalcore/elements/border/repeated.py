"""Beads, teeth and motifs: one solid, repeated round the border."""

from __future__ import annotations

import math

import numpy as np

from ...geometry.contour import Contours, round_segments
from ...geometry.loft import drafted
from ...geometry.solid import Solid, arrays_of, solid_from_arrays, united
from ...geometry.types import FloatArray, IntArray
from .course import Course
from .path import Circle
from .spacing import Foot


def beads(course: Course, tolerance: float) -> Solid:
    """Return the beads: spherical caps, with a drafted foot where a cap would be too steep."""
    vertices, triangles = _turned(bead_profile(course, tolerance), tolerance)
    return _along_the_border(vertices, triangles, course)


def bead_profile(course: Course, tolerance: float) -> FloatArray:
    """Return radius and height of a bead's section from foot to crown, (n, 2) mm.

    A cap of height h on a foot circle of radius a belongs to a sphere of radius
    (a² + h²) / 2h. Where its tangent at the foot is steeper than the draft allows, a cone
    at that draft carries a smaller sphere that touches it: with draft d from upright,
    r = (a − h·tan d)·cos d / (1 − sin d).
    """
    a, h, d = course.half, course.height, course.draft
    r = (a * a + h * h) / (2.0 * h)
    rise = math.asin(min(1.0, (r - h) / r))  # elevation of the normal at the foot
    if rise < d:
        rise = d
        r = (a - h * math.tan(d)) * math.cos(d) / (1.0 - math.sin(d))
    steps = max(
        3, math.ceil((math.pi / 2.0 - rise) / (2.0 * math.acos(1.0 - min(tolerance / r, 0.5))))
    )
    angle = np.linspace(rise, math.pi / 2.0, steps + 1)
    part = (math.pi / 2.0 - rise) / steps
    outside = np.full(steps + 1, r * math.sqrt(part / math.sin(part)))  # true area by chords
    outside[[0, -1]] = r  # but the width at the foot and the height as they are
    arc = np.column_stack([outside * np.cos(angle), h - r + outside * np.sin(angle)])
    arc[-1, 0] = 0.0
    out, up = arc[0]
    foot = (out + (up + course.depth) * math.tan(rise), -course.depth)
    return np.vstack([foot, arc])


def _turned(profile: FloatArray, tolerance: float) -> tuple[FloatArray, IntArray]:
    """Return the closed solid of revolution of a section that ends on the axis.

    The corners lie as far outside the true circles as the chords lie inside, so that every
    level has its true area.
    """
    n = round_segments(float(profile[:, 0].max()), tolerance, 12)
    fit = math.sqrt((2.0 * math.pi / n) / math.sin(2.0 * math.pi / n))
    angle = 2.0 * np.pi * (np.arange(n) + 0.31) / n  # no corner lies on an axis
    circle = fit * np.column_stack([np.cos(angle), np.sin(angle)])
    rings = [np.column_stack([r * circle, np.full(n, z)]) for r, z in profile[:-1]]
    crown = np.array([[0.0, 0.0, profile[-1, 1]]])
    foot = np.array([[0.0, 0.0, profile[0, 1]]])
    vertices = np.vstack([*rings, crown, foot])
    levels = len(rings)
    i = np.arange(n)
    j = (i + 1) % n
    triangles = []
    for k in range(levels - 1):
        low, high = k * n, (k + 1) * n
        triangles += [
            np.column_stack([low + i, low + j, high + j]),
            np.column_stack([low + i, high + j, high + i]),
        ]
    top = (levels - 1) * n
    triangles.append(np.column_stack([top + i, top + j, np.full(n, levels * n)]))
    triangles.append(np.column_stack([j, i, np.full(n, levels * n + 1)]))
    return vertices, np.concatenate(triangles)


def bead_foot(size: float) -> Foot:
    """Return the outline of a bead at the field."""
    angle = np.linspace(0.0, 2.0 * math.pi, 720, endpoint=False)
    outline = size / 2.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    return lambda pitch: outline


def tooth(size: float, width: float, pitch: float, tolerance: float) -> Contours:
    """Return the top of a tooth about its middle: rounded towards the middle of the face."""
    half = min((width or 0.5 * pitch), 0.98 * size) / 2.0
    inner, outer = -size / 2.0, size / 2.0
    n = max(4, round_segments(half, tolerance) // 2)
    angle = np.linspace(math.pi, 2.0 * math.pi, n + 1)
    bow = np.column_stack([half * np.cos(angle), inner + half + half * np.sin(angle)])
    return (np.vstack([bow, [(half, outer), (-half, outer)]]),)


def foot_of(contours: Contours, height: float, draft: float) -> FloatArray:
    """Return the corners (k, 2) at the field of a drafted drawing that stands on it, mm."""
    vertices, _, _, _ = arrays_of(drafted(contours, 0.0, height, draft, "border"))
    return np.asarray(vertices[vertices[:, 2] < 1e-6 * height, :2])


def denticles(course: Course, width: float, tolerance: float) -> Solid:
    """Return the teeth: radial and flat on top."""
    return motifs(course, tooth(course.size, width, course.pitch, tolerance))


def motifs(course: Course, contours: Contours, *, mirrored: bool = False) -> Solid:
    """Return a flat drawing, its middle at the origin, repeated with its head outwards.

    The second half of them may be mirrored.
    """
    one = drafted(contours, -course.depth, course.height, course.draft, "border")
    vertices, triangles, _, _ = arrays_of(one)
    return _along_the_border(vertices, triangles, course, mirrored=mirrored)


def _along_the_border(
    vertices: FloatArray, triangles: IntArray, course: Course, *, mirrored: bool = False
) -> Solid:
    """Return copies of a solid about the origin at every place, its v axis turned outwards.

    Copies whose feet are clear of each other are one mesh; crossing feet are united.
    """
    middles, out = course.path.at(course.middles)
    base = course.base(course.middles)
    as_drawn = (course.count + 1) // 2 if mirrored else course.count
    copies, faces = [], []
    for n, (place, (x, y), z) in enumerate(zip(middles, out, base, strict=True)):
        along = 1.0 if n < as_drawn else -1.0
        turn = np.array([(along * y, -along * x), (x, y)])  # sum of u along and v outwards
        copies.append(np.column_stack([vertices[:, :2] @ turn + place, vertices[:, 2] + z]))
        faces.append(triangles if n < as_drawn else triangles[:, ::-1])
    if course.count == 1 or _are_clear(vertices, course, middles):
        shift = len(vertices) * np.arange(course.count)[:, None, None]
        return solid_from_arrays(
            np.vstack(copies), (np.array(faces) + shift).reshape(-1, 3), "border"
        )
    parts = zip(copies, faces, strict=True)
    return united([solid_from_arrays(c, f, "border") for c, f in parts])


def _are_clear(vertices: FloatArray, course: Course, middles: FloatArray) -> bool:
    """Tell whether neighbouring copies certainly do not meet."""
    across = 2.0 * float(np.abs(vertices[:, 0]).max())
    if isinstance(course.path, Circle):
        near = course.path.radius + float(vertices[:, 1].min())
        step = min(course.pitch / course.path.radius, math.pi)
        return 2.0 * near * math.sin(step / 2.0) > across / math.cos(step / 2.0)
    apart = np.linalg.norm(middles[:, None] - middles[None], axis=2)
    np.fill_diagonal(apart, np.inf)
    return float(apart.min()) > 2.0 * float(np.hypot(*vertices[:, :2].T).max())
