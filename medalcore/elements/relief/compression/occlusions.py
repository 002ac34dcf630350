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
    sudden : (n,) float32
        0 where a face is hardly steeper than what is beside it explains, 1 for a true jump.
    part : (n,) float32
        Share of a face in the height of its cliff.
    along : (n,) float32
        How far a face lies on the way from the last slope before to the first one after.
    before, after : (m,) int
        Flat indices of the faces before and after each cliff; −1 beyond the grid.
    jump : (m,) float32
        Height of each cliff, signed, pixels.
    room : (m,) float32
        From 0 to 1, how much of a strip there is behind it.
    """

    faces: IndexArray
    cliff: IndexArray
    sudden: Float32Array
    part: Float32Array
    along: Float32Array
    before: IndexArray
    after: IndexArray
    jump: Float32Array
    room: Float32Array

    def between(self, slopes: Float32Array) -> Float32Array:
        """Return what the slopes (rows, cols) before and after lead to on each face, (n,)."""
        flat = slopes.ravel()
        first = np.where(self.before < 0, np.float32(0.0), flat.take(self.before))
        last = np.where(self.after < 0, np.float32(0.0), flat.take(self.after))
        out: Float32Array = first[self.cliff] + self.along * (last - first)[self.cliff]
        return out

    def heal(self, slopes: Float32Array) -> None:
        """Let slopes run on through the cliffs, in place.

        The edge lies anywhere within a face, so on the whole half of it is the front's.
        """
        flat = slopes.reshape(-1)
        own = flat[self.faces]
        flat[self.faces] = own + self.sudden * (self.between(slopes) - own)


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

    def face(at: IndexArray) -> IndexArray:
        there = line * cols + at if axis == 1 else at * cols + line
        known: IndexArray = np.where((at >= 0) & (at < size), there, -1)
        return known

    explained = np.copysign(most, steep)
    made = OcclusionEdges(
        faces=faces,
        cliff=cliff,
        sudden=np.clip((np.abs(steep) / np.maximum(most, np.float32(1e-9)) - 1), 0, 1),
        part=np.zeros_like(steep),
        along=((place - first[cliff] + 1) / (last - first + 2)[cliff]).astype(np.float32),
        before=face(first - 1),
        after=face(last + 1),
        jump=np.zeros(len(start), np.float32),
        room=_behind(mask, axis, line, first, last + 1, steep[start] > 0, pixel),
    )
    healed = made.between(slopes)
    flat[faces] = explained + made.sudden * (healed - explained)
    more = steep - (flat[faces] + made.sudden * (healed - flat[faces]))
    if len(start):
        made.jump[:] = np.add.reduceat(more, start)
        whole = made.jump[cliff]
        np.divide(more, whole, out=made.part, where=whole != 0.0)
    return made


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
    cliffs : OcclusionEdges
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
