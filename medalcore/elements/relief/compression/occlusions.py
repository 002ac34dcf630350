"""Where one part of a model stands in front of another.

Seen from above, an arm in front of a body ends at a cliff of the depth, which no slope around
it explains; on a surface that merely turns away steeply the slope grows towards its edge, and
the slopes beside tell. A relief has no room for the cliff itself, but it must not lose the
edge: the front keeps a small step above what is behind it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ....geometry.types import BoolArray, Float32Array, IndexArray
from .slopes import bands, room

# towards the edge of a round form the last two slopes are as 1 to √2 − 1 (circle geometry)

_TURNING = 2.5
_WIDE = 0.03  # mm that a cliff is wide at most, seen from above
_STRIP = 0.12  # mm behind a cliff, up to the outline, from which its step is as high as any


@dataclass(frozen=True, eq=False)
class OcclusionEdges:
    """Cliffs across one direction of the grid; each crosses one face or a few in a row.

    Attributes
    ----------
    faces : (n,) int
        Flat indices of their faces, cliff by cliff.
    cliff : (n,) int
        Number of the cliff a face belongs to.
    part : (n,) float32
        Share of a face in the height of its cliff.
    jump : (m,) float32
        Height of each cliff, signed, pixels.
    room : (m,) float32
        From 0 to 1, how much of a strip there is behind it.
    """

    faces: IndexArray
    cliff: IndexArray
    part: Float32Array
    jump: Float32Array
    room: Float32Array


def remove_occlusions(
    slopes: Float32Array, axis: int, mask: BoolArray, pixel: float
) -> OcclusionEdges:
    """Take cliffs out of differences of depth, in place.

    Parameters
    ----------
    slopes : float32 array
        Differences between neighbouring pixels along `axis`, pixels; afterwards at most what
        those beside the cliffs explain.
    axis : int
        1 for (rows, cols − 1) differences, 0 for (rows − 1, cols).
    mask : (rows, cols) bool
        The silhouette.
    pixel : float
        mm.
    """
    reach = max(1, round(_WIDE / pixel))
    faces, most = _steepest(slopes, axis, reach)
    cols, size = slopes.shape[1], slopes.shape[axis]
    line, place = np.divmod(faces, cols)
    if axis == 0:
        line, place = place, line
        order = np.argsort(line * size + place)
        faces, line, place, most = faces[order], line[order], place[order], most[order]
    flat = slopes.reshape(-1)
    steep = flat[faces]
    fresh = np.ones(len(faces), bool)  # a face that begins a cliff
    fresh[1:] = (np.diff(line) != 0) | (np.diff(place) > reach)
    fresh[1:] |= np.signbit(steep[1:]) != np.signbit(steep[:-1])
    start = np.flatnonzero(fresh)
    cliff = np.cumsum(fresh) - 1
    last = place[np.append(start[1:], len(faces))[: len(start)] - 1]
    first, line = place[start], line[start]

    def slope(at: IndexArray) -> Float32Array:
        """Return the slopes of faces on the lines of the cliffs; 0 beyond the grid."""
        there = line * cols + at if axis == 1 else at * cols + line
        known = (at >= 0) & (at < size)
        found: Float32Array = np.where(known, flat.take(np.where(known, there, 0)), np.float32(0.0))
        return found

    explained = np.copysign(most, steep)
    # 0 where a face is hardly steeper than what is beside it explains, 1 for a true jump
    sudden = np.clip(np.abs(steep) / np.maximum(most, np.float32(1e-9)) - 1, 0, 1)
    along = ((place - first[cliff] + 1) / (last - first + 2)[cliff]).astype(np.float32)
    before, after = slope(first - 1), slope(last + 1)
    across = before[cliff] + along * (after - before)[cliff]
    flat[faces] = explained + sudden * (across - explained)
    more = steep - (flat[faces] + sudden * (across - flat[faces]))
    part, jump = np.zeros_like(steep), np.zeros(len(start), np.float32)
    if len(start):
        jump[:] = np.add.reduceat(more, start)
        whole = jump[cliff]
        np.divide(more, whole, out=part, where=whole != 0.0)
    space = _behind(mask, axis, line, first, last + 1, steep[start] > 0, pixel)
    return OcclusionEdges(faces, cliff, part, jump, space)


def _behind(
    mask: BoolArray,
    axis: int,
    line: IndexArray,
    first: IndexArray,
    last: IndexArray,
    rising: BoolArray,
    pixel: float,
) -> Float32Array:
    """Return how much room there is on the low side of cliffs, between two pixels of a line."""
    enough = max(1, round(_STRIP / pixel))
    out = np.zeros(line.shape, np.float32)
    for some, place, step in ((rising, first, -1), (~rising, last, 1)):
        at = (line[some], place[some]) if axis == 1 else (place[some], line[some])
        way = (0, step) if axis == 1 else (step, 0)
        out[some] = room(mask, at, way, enough, beyond=False)
    return out


def _steepest(slopes: Float32Array, axis: int, reach: int) -> tuple[IndexArray, Float32Array]:
    """Return the faces that are steeper than what is beside them explains, and that."""
    found, limits = [], []
    rows, cols = slopes.shape
    for top, end in bands(rows, cols):
        size = np.abs(slopes[top:end])
        beside = np.zeros_like(size)
        if axis == 1:
            beside[:, reach:] = size[:, :-reach]
            np.maximum(beside[:, :-reach], size[:, reach:], out=beside[:, :-reach])
        else:
            for shift in (-reach, reach):
                a, b = max(top + shift, 0), min(end + shift, rows)
                if a < b:
                    part = beside[a - shift - top : b - shift - top]
                    np.maximum(part, np.abs(slopes[a:b]), out=part)
        beside *= np.float32(_TURNING)
        steep = np.flatnonzero(size > beside)
        found.append(steep + top * cols)
        limits.append(beside.take(steep))
    if not found:
        return np.zeros(0, np.intp), np.zeros(0, np.float32)
    return np.concatenate(found), np.concatenate(limits)


def add_steps(
    out: Float32Array, axis: int, cliffs: OcclusionEdges, rise: float, half: float
) -> None:
    """Add small steps in the place of cliffs to a right-hand side, in place.

    The steps run along the grid, from one pixel to the next: the surface puts smooth lines in
    their place (`steps` module).

    Parameters
    ----------
    out : (rows, cols) float32
    axis : int
        As of `remove_occlusions`.
    cliffs : Cliffs
    rise : float
        Height of the step at a deep cliff, in the unit of the solver's answer.
    half : float
        Cliff, pixels, at which the step is half as high.
    """
    size = np.abs(cliffs.jump) + np.float32(half)
    high = np.float32(rise) * cliffs.jump * cliffs.room / size
    step = high[cliffs.cliff] * cliffs.part
    cols = out.shape[1]
    first, stride = (cliffs.faces // max(cols - 1, 1), 1) if axis == 1 else (0, cols)
    flat = out.reshape(-1)
    flat[cliffs.faces + first] -= step  # faces and the cells before them are numbered alike
    flat[cliffs.faces + first + stride] += step
