"""Where reeds stand on an outline that is not round, and the cutter that makes them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.arrays import cross2
from ...geometry.bodies import Body, Section, extruded, united_bodies
from ...geometry.contour import along, edge_lengths
from ...geometry.contour import section as section_of
from ...geometry.types import FloatArray, IntArray
from ...spec import Edge
from .notch import STRAIGHT, draw_notch, fit_notch
from .reeds import USUAL_PITCH, Reeding, suited_opening

_CORNER = math.radians(25.0)
"""An outline that turns by more within the width of one notch has a corner there; a land
goes over it, as a notch across a corner would have flanks of unlike depth."""

_ROUND = 6.0
"""Radius, mm, on which the straight pieces of a slanted notch keep within tolerance."""


@dataclass(frozen=True, eq=False)
class Corner:
    """A place where the outline turns sharply.

    Attributes
    ----------
    start, stop : float
        Where it begins and ends along the outline, mm; may run past its end.
    turn : float
        How much the outline turns there, radians.
    """

    start: float
    stop: float
    turn: float

    def margin(self, depth: float) -> float:
        """Return how far from it notches of a depth must keep, so as to leave it standing, mm.

        Notches on both sides of a sharp corner meet at the bisector, d·tan(τ/2) from it; a
        corner of radius r is that much blunter.
        """
        radius = (self.stop - self.start) / self.turn
        return max(0.0, depth - radius) * math.tan(min(self.turn, 2.6) / 2.0)


def started(points: FloatArray) -> FloatArray:
    """Return a contour that starts in the middle of its farthest place from the origin."""
    far = np.hypot(points[:, 0], points[:, 1])
    at = int(np.argmax(far > far.max() - 1e-7))
    run = at
    while run + 1 < len(points) and far[run + 1] > far.max() - 1e-7:
        run += 1
    if run - at + 1 >= len(points):
        return points
    ends = np.concatenate([[0.0], np.cumsum(edge_lengths(points))])
    place, _ = along(points, np.array([(ends[at] + ends[run]) / 2.0]))
    after = (at + run) // 2 + 1
    rest = np.roll(points, -after, axis=0)
    rest = rest[np.hypot(*(rest - place[0]).T) > 1e-7]
    return np.vstack([place, rest])


def corners_of(points: FloatArray, width: float) -> list[Corner]:
    """Find the corners of a closed contour, as a notch `width` mm wide would meet them."""
    way = np.roll(points, -1, axis=0) - points
    heading = np.arctan2(way[:, 1], way[:, 0])
    turn = np.abs((heading - np.roll(heading, 1) + np.pi) % (2.0 * np.pi) - np.pi)
    length = np.hypot(way[:, 0], way[:, 1])
    at = np.cumsum(length) - length
    whole = float(length.sum())
    gap = np.abs(at[:, None] - at[None])
    near = np.minimum(gap, whole - gap) <= width / 2.0
    sharp = (near @ turn > _CORNER) & (turn > 1e-6)
    if not sharp.any():
        return []
    places, turns = at[sharp], turn[sharp]
    breaks = np.flatnonzero(np.diff(places) > width) + 1
    found = [
        Corner(float(g[0]), float(g[-1]), float(t.sum()))
        for g, t in zip(np.split(places, breaks), np.split(turns, breaks), strict=True)
    ]
    if len(found) > 1 and found[0].start + whole - found[-1].stop <= width:
        last = found.pop()
        found[0] = Corner(last.start - whole, found[0].stop, last.turn + found[0].turn)
    return found


def set_out(
    reeding: Reeding, edge: Edge, points: FloatArray, lean: float, tolerance: Tolerance
) -> Reeding:
    """Move the reeds of an outline so that none stands across a corner.

    Where the whole row can be moved so that none does, they keep the even pitch. Else they
    stand evenly between two corners: a count that was asked for is kept, every run getting its
    share by largest remainder; a pitch that was asked for gives every run its own whole count.

    Parameters
    ----------
    lean : float
        How far slanted reeds run along the edge to either side of their middle, mm.

    Raises
    ------
    SpecError
        If the reeds do not fit between the corners.
    """
    corners = corners_of(points, reeding.notch.opening)
    if not corners:
        return reeding
    apart = [c.margin(reeding.notch.depth) + 0.1 * reeding.pitch + lean for c in corners]
    if not reeding.is_even:
        return _clear_of(reeding, corners, apart)
    moved = _moved_clear(reeding, corners, apart)
    if moved is not None:
        return replace(reeding, stations=moved)
    starts = np.array([c.stop + gap for c, gap in zip(corners, apart, strict=True)])
    stops = np.array([c.start - gap for c, gap in zip(corners, apart, strict=True)])
    runs = np.maximum(np.append(stops[1:], stops[0] + reeding.length) - starts, 0.0)
    counts = _shares(runs, edge.reeds, edge.pitch or USUAL_PITCH)
    if not counts.any() or runs.sum() < 0.05 * reeding.length:
        raise SpecError(
            f"no edge is left for reeds between the bends of this outline, which are closer than "
            f"notches {reeding.notch.opening:.3g} mm wide and {reeding.notch.depth:g} mm deep "
            "allow; leave it plain, or give a smaller pitch and depth",
            key="edge.finish",
        )
    pitch = runs / np.maximum(counts, 1)
    closest = float(pitch[counts > 0].min())
    notch, section = reeding.notch, reeding.section
    if closest < notch.opening * (1.0 - 1e-9):
        if edge.width or closest <= 0.0:
            most = int(np.sum(np.floor(runs / notch.opening)))
            raise SpecError(
                f"{int(counts.sum())} notches {notch.opening:.3g} mm wide do not fit between the "
                f"{len(corners)} corners; at most {most}",
                key="edge.reeds" if edge.reeds else "edge.pitch",
            )
        notch = replace(notch, opening=suited_opening(edge, closest, STRAIGHT))
        section = fit_notch(notch, STRAIGHT, tolerance, "edge.corner_radius")
    stations = [
        start + (np.arange(n) + 0.5) * p for start, n, p in zip(starts, counts, pitch, strict=True)
    ]
    even = np.sort(np.concatenate(stations) % reeding.length)
    apart_by = np.diff(even, append=even[0] + reeding.length)
    mean = reeding.length / len(even)
    closest, farthest = float(apart_by.min()), float(apart_by.max())
    return Reeding(len(even), mean, notch, reeding.length, even, closest, farthest, section)


def _moved_clear(
    reeding: Reeding, corners: Sequence[Corner], apart: Sequence[float]
) -> FloatArray | None:
    """Return an even row moved along the edge so that it keeps off all corners, if it can be."""
    half, pitch = reeding.notch.opening / 2.0, reeding.pitch
    # A corner keeps the row's phase, which runs from 0 to the pitch, off a stretch of it.
    starts = np.array([c.start - gap - half for c, gap in zip(corners, apart, strict=True)])
    stops = np.array([c.stop + gap + half for c, gap in zip(corners, apart, strict=True)])
    if np.any(stops - starts >= pitch):
        return None
    # Where some stretch ends, the phase may begin; of those the one with most room after it.
    phase = np.mod(stops, pitch)
    room = np.mod(starts[None, :] - phase[:, None] + 1e-9, pitch)
    covered = room + (stops - starts)[None, :] < pitch - 1e-7
    free = np.where(~covered.any(axis=1), room.min(axis=1), -1.0)
    best = int(np.argmax(np.round(free, 9)))
    if free[best] < 0.0:
        return None
    first = float(phase[best] + free[best] / 2.0)
    row: FloatArray = np.mod(first + pitch * np.arange(reeding.around), reeding.length)
    return np.sort(row)


def _shares(runs: FloatArray, reeds: int, pitch: float) -> IntArray:
    """Return how many reeds each run gets: of a total, or by the pitch."""
    if not reeds:
        return np.asarray(np.round(runs / pitch), dtype=np.int64)
    share = runs / max(float(runs.sum()), 1e-9) * reeds
    counts = np.floor(share + 1e-9).astype(np.int64)
    for i in np.argsort(counts - share, kind="stable")[: reeds - int(counts.sum())]:
        counts[i] += 1
    return np.asarray(counts)


def _clear_of(reeding: Reeding, corners: Sequence[Corner], apart: Sequence[float]) -> Reeding:
    """Return a reeding in sections without the reeds that stand at corners."""
    half = reeding.notch.opening / 2.0
    clear = np.ones(reeding.count, dtype=bool)
    for c, gap in zip(corners, apart, strict=True):
        for shift in (-reeding.length, 0.0, reeding.length):
            s = reeding.stations + shift
            clear &= (s + half <= c.start - gap) | (s - half >= c.stop + gap)
    if not clear.any():
        raise SpecError(
            f"no reed {reeding.notch.opening:.3g} mm wide fits beside the bends of the outline in "
            "these sections",
            key="edge.pattern",
        )
    return replace(reeding, stations=reeding.stations[clear])


def reed_cutter(
    reeding: Reeding, points: FloatArray, half_height: float, tolerance: Tolerance
) -> Body:
    """Return one solid that cuts all notches of an outline.

    For those that cannot be meshed with the piece: where a notch goes round a corner, or so near
    to one that columns of points cross as they go inwards, it has no place as a depth below the
    outline; and on drawings with holes of their own. All others are meshed (`polygon_edge`): on
    an oval of 40 mm, cut reeds take 2.6 times as long (5 times, where slanted) and a fifth to
    seven tenths more triangles.

    Parameters
    ----------
    points : (n, 2) float64
        The outline the stations are measured on, mm.
    half_height : float
        Reaches so far above and below the mid-plane, mm.
    """
    plane = _notches(reeding, points, tolerance)
    return plane.extrude(2.0 * half_height).translate((0.0, 0.0, -half_height))


def slanted_cutter(
    reeding: Reeding,
    points: FloatArray,
    half_height: float,
    slant: float,
    tolerance: Tolerance,
) -> Body:
    """Return one solid that cuts all notches of an outline, slanted by degrees.

    Each notch keeps its section and, rising, goes along the edge by the tangent of the slant.

    Parameters
    ----------
    points, half_height
        As for `reed_cutter`.
    slant : float
        Degrees from upright.
    """
    way = 2.0 * half_height * math.tan(math.radians(slant))
    stride = math.sqrt(8.0 * _ROUND * tolerance.curve)  # sagitta of a chord, s²/8R
    steps = max(1, math.ceil(abs(way) / stride))
    rise = np.linspace(-0.5, 0.5, steps + 1)[:, None] * way
    half = reeding.notch.opening / 2.0
    at = (reeding.stations + rise).ravel()
    right, left = (along(points, at + h)[0].reshape(steps + 1, -1, 2) for h in (-half, half))
    sections = _sections(reeding, points, tolerance)
    notches = []
    for i, section in enumerate(sections):
        a, b = section[0], section[-1]
        lie = np.array([_laid(a, b, right[k, i], left[k, i]) for k in range(steps + 1)])
        body = extruded([_opened(section)], 2.0 * half_height, steps - 1)

        def bent(p: FloatArray, lie: FloatArray = lie) -> FloatArray:
            m = lie[np.rint(p[:, 2] / (2.0 * half_height) * steps).astype(np.int64)]
            xy = np.einsum("nij,nj->ni", m[:, :, :2], p[:, :2]) + m[:, :, 2]
            return np.column_stack([xy, p[:, 2] - half_height])

        notches.append(body.warp_batch(bent))
    return united_bodies(notches)


def _notches(reeding: Reeding, points: FloatArray, tolerance: Tolerance) -> Section:
    """Return all notches in the plane, reaching beyond the outline."""
    polygons = notches_on(reeding, points, tolerance, _opened)
    # The parts beyond the edge may overlap their neighbours': unite them.
    return section_of(tuple(polygons))


def notches_on(
    reeding: Reeding,
    points: FloatArray,
    tolerance: Tolerance,
    drawn: Callable[[FloatArray], FloatArray] = np.asarray,
) -> list[FloatArray]:
    """Return every notch where it stands on an outline, each (n, 2) mm.

    From the right land to the left one as the outline runs, both ends on it.

    Parameters
    ----------
    drawn : callable
        What to make of a section before it is laid there.
    """
    half = reeding.notch.opening / 2.0
    right, left = (along(points, reeding.stations + h)[0] for h in (-half, half))
    found = []
    for section, a, b in zip(_sections(reeding, points, tolerance), right, left, strict=True):
        m = _laid(section[0], section[-1], a, b)
        found.append(drawn(section) @ m[:, :2].T + m[:, 2])
    return found


def _sections(reeding: Reeding, points: FloatArray, tolerance: Tolerance) -> list[FloatArray]:
    """Return the section of every notch, drawn for the bend of the edge where it stands."""
    half = reeding.notch.opening / 2.0
    right, middle, left = (along(points, reeding.stations + h)[0] for h in (-half, 0.0, half))
    drawn: dict[float, FloatArray] = {}
    found = []
    for a, m, b in zip(right, middle, left, strict=True):
        bend = _bend(a, m, b)
        section = drawn.get(bend)
        if section is None:
            section = draw_notch(reeding.notch, bend, tolerance)
            if section is None:
                section = fit_notch(reeding.notch, STRAIGHT, tolerance, "edge.corner_radius")
            drawn[bend] = section
        found.append(section)
    return found


def _bend(a: FloatArray, m: FloatArray, b: FloatArray) -> float:
    """Return the radius of the circle through three points; straight or hollow counts straight."""
    u, v = m - a, b - m
    cross = float(cross2(u, v))
    sides = float(np.hypot(*u) * np.hypot(*v) * np.hypot(*(b - a)))
    if cross <= sides / (2.0 * STRAIGHT):
        return STRAIGHT
    # R = abc / 4A, rounded so that equal places share one drawing
    return float(f"{sides / (2.0 * cross):.4g}")


def _opened(section: FloatArray) -> FloatArray:
    """Return a notch as a counter-clockwise polygon that rises beyond the edge.

    It leaves the edge along its last chords, so that it crosses the edge at an angle, is
    never tangent to it, and has no corner on it.
    """
    first = section[0] - section[1]
    last = section[-1] - section[-2]
    reach = 0.05
    right = section[0] + first / np.hypot(*first) * reach
    left = section[-1] + last / np.hypot(*last) * reach
    up = np.array([0.0, 1.0])
    return np.vstack([section[1:-1], left, left + up, right + up, right])[::-1]


def _laid(a: FloatArray, b: FloatArray, right: FloatArray, left: FloatArray) -> FloatArray:
    """Return the (2, 3) motion that takes a notch's ends, a before b, to two places."""
    mine, theirs = b - a, left - right
    turn = math.atan2(theirs[1], theirs[0]) - math.atan2(mine[1], mine[0])
    c, s = math.cos(turn), math.sin(turn)
    spin = np.array([[c, -s], [s, c]])
    return np.column_stack([spin, (right + left) / 2.0 - spin @ (a + b) / 2.0])
