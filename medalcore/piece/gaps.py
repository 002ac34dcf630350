"""Gaps too narrow between raised parts, and metal too thin between sunk ones.

Both are measured where it is narrowest: at the field, between the feet of walls that rise from
it, or between the mouths of what is sunk into it. A die, a mould or a cutter must stand there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass

import numpy as np

from ..context.element import Finding, Severity
from ..context.ground import Ground
from ..context.openings import BASE, EDGE, LOOP, NAMES, RIM, opening_at
from ..geometry.arrays import ragged
from ..geometry.contour import Contours
from ..geometry.distance import to_edges
from ..geometry.types import BoolArray, FloatArray, IntArray
from .field_steps import Wall, steps_of
from .standing import Finished, Owner, Standing, to_face

LEAST = {"struck": 0.15, "cast": 0.20, "milled": 0.20, "printed": 0.20}
"""Least gap by process, mm (common practice, no source)."""

LEAST_CELL_WALL = 0.30
"""Least metal beside a cell for enamel, mm (common practice, no source)."""

LEAST_STROKE = {"struck": 0.15, "cast": 0.25, "milled": 0.25, "printed": 0.25}
"""Least stroke of a letter at the field by process, mm: 0.25 is where published rules of thumb of
jewellery casting and engraved text begin; of a struck piece it is a groove of the die, which is
no harder to cut than a gap (common practice, no source)."""

_IN_WORDS = 2.0 / 3.0
"""Share of the least gap from which on one between letters of a word, or parts of one drawing, is
no fault: it is short (common practice, no source)."""

_PIECE = 0.3
"""Longest piece of an edge that is looked at, mm."""

_NAMES = {RIM: "the rim", LOOP: "the loop"}

_WALLS = -100
"""Number of the first wall of a panel or circle; the others are below it."""

_SAME_MM = 1e-3
"""How far a level may be off that on which a wall's foot lies."""

_CURVE_MM = 0.002
"""Largest distance between a circle and the chords it is looked at by, mm."""


@dataclass(frozen=True, eq=False)
class _Feet:
    """Where units end at the field of a face, as short straight pieces.

    Attributes
    ----------
    start, stop : (n, 2) float64
        In face coordinates, mm.
    unit : (n,) int64
    """

    start: FloatArray
    stop: FloatArray
    unit: IntArray

    def some(self, which: BoolArray) -> _Feet:
        """Return those that are picked."""
        return _Feet(self.start[which], self.stop[which], self.unit[which])


@dataclass(frozen=True, eq=False)
class _Face:
    """What there is on a face, by number: units of elements, and walls of panels and circles."""

    owner: Owner
    ground: Ground
    walls: Mapping[int, Wall]

    def name(self, number: int, at: FloatArray) -> str:
        """Return what a number near a place stands for."""
        if number in self.owner:
            return self.owner[number][0].path
        if number in self.walls:
            return self.walls[number].step.name
        return _NAMES.get(number) or NAMES[int(opening_at(self.ground, at[None])[0])]

    def counts(self, one: int, two: int, at: FloatArray, thin: bool) -> bool:
        """Tell whether a pair is one of elements, or an element on the side of a wall's end."""
        for number, other in ((one, two), (two, one)):
            if number not in self.walls:
                continue
            wall = self.walls[number]
            rise = float(wall.step.ground.height(at[None])[0])
            if abs(rise - (wall.high if thin else wall.low)) > _SAME_MM:
                return False
            if other not in self.owner or self.owner[other][0].may_overlap:
                return False
        return True


def narrow_gaps(
    finished: Finished,
    owner: Owner,
    meeting: Set[tuple[int, int]],
    told: Set[tuple[str, str]],
    process: str,
) -> Iterator[Finding]:
    """Yield a finding for every pair of elements, and every word, with a gap that is too narrow.

    Parameters
    ----------
    finished : Finished
    owner : mapping
    meeting : set of (int, int)
        Units that meet: there is no gap between them.
    told : set of (str, str)
        Paths of elements of which it is told already that they meet.
    process : str
    """
    for side in (1, -1):
        here = {n: own for n, own in owner.items() if own[0].side == side}
        if not here:
            continue
        place = next(iter(here.values()))[0].place
        ground = next(iter(here.values()))[0].ground
        own = _feet(finished, side, place)
        walls: dict[int, Wall] = {}
        lower, upper = [own], [own]
        for wall, low, high in (w for step in steps_of(ground) for w in step.walls(_CURVE_MM)):
            number = _WALLS - len(walls)
            walls[number] = wall
            lower.append(_along(low, number))
            upper.append(_along(high, number))
        cut = np.array([n for n, (s, _) in here.items() if s.action == "cut"], dtype=np.int64)
        sunk = [*cut.tolist(), EDGE, *walls]
        raised = [*(n for n in here if n not in set(cut.tolist())), RIM, LOOP, *walls]
        least = LEAST[process]
        cells = [n for n in cut if here[n][1].name.startswith("cell")]
        wide = LEAST_CELL_WALL if np.isin(own.unit, cells).any() else least
        for feet, which, limit, thin in ((lower, raised, least, False), (upper, sunk, wide, True)):
            some = _joined(feet)
            near = _near(some.some(np.isin(some.unit, which)), limit)
            yield from _told(near, _Face(here, ground, walls), meeting, told, thin, process)


def thin_strokes(standing: Sequence[Standing], process: str) -> Iterator[Finding]:
    """Yield a finding for all words with strokes thinner than their process wants them."""
    least = LEAST_STROKE[process]
    for s in {s.path: s for s in standing}.values():
        foot = s.facts.get("narrowest_stroke_at_field_mm", least)
        if foot >= least:
            continue
        larger = math.ceil(s.facts["cap_height_mm"] * least / foot * 10.0) / 10.0
        told = (
            f"strokes are {foot:.2f} mm wide at the field at '{s.facts['thinnest_letter']}', and "
            f"{process} pieces want {least:.2f} mm at least: a bolder face, or a cap height of "
            f"{larger:g} mm"
        )
        yield Finding("thin-stroke", "note", told, s.path, foot, least)


def _told(
    near: tuple[FloatArray, IntArray, FloatArray],
    face: _Face,
    meeting: Set[tuple[int, int]],
    told: Set[tuple[str, str]],
    thin: bool,
    process: str,
) -> Iterator[Finding]:
    """Yield the narrowest place of every pair of elements."""
    owner = face.owner
    done: set[tuple[str, str]] = set()
    gaps, pairs, places = near
    for k in np.argsort(gaps, kind="stable").tolist():
        one, two = pairs[k].tolist()
        if (one, two) in meeting or not face.counts(one, two, places[k], thin):
            continue
        names = [face.name(n, places[k]) for n in (one, two)]
        paths = names[0], names[1]
        if paths in done or paths in told or paths[::-1] in told:
            continue
        is_cell = any(n in owner and owner[n][1].name.startswith("cell") for n in (one, two))
        limit = LEAST_CELL_WALL if thin and is_cell else LEAST[process]
        if gaps[k] >= limit - 1e-4:
            continue
        done.add(paths)
        what = "only {:.2f} mm of metal stand" if thin else "a gap of only {:.2f} mm is left"
        units = [owner[n][1].name if n in owner else "" for n in (one, two)]
        if paths[0] == paths[1]:
            between = f"{units[0]} and {units[1]}"
        else:
            between = " and ".join(f"{p} {u}".strip() for p, u in zip(paths, units, strict=True))
        kind = "beside a cell" if thin and is_cell else f"{process} pieces"
        message = (
            f"{what.format(gaps[k])} between {between} at the field, near {places[k][0]:.1f}, "
            f"{places[k][1]:.1f} mm; {kind} want {limit:.2f} mm at least: move them apart"
        )
        severity: Severity = "warning"
        if paths[0] == paths[1]:
            severity = "note" if gaps[k] < _IN_WORDS * limit else "remark"
        where = next(p for n, p in zip((one, two), paths, strict=True) if n in owner)
        yield Finding("narrow-gap", severity, message, where, float(gaps[k]), limit)


def _along(contours: Contours, number: int) -> _Feet:
    """Return closed outlines as pieces of one unit."""
    start = np.concatenate([*contours, np.zeros((0, 2))])
    stop = np.concatenate([*(np.roll(c, -1, axis=0) for c in contours), np.zeros((0, 2))])
    return _pieces(start, stop, np.full(len(start), number))


def _joined(feet: Sequence[_Feet]) -> _Feet:
    return _Feet(
        np.concatenate([f.start for f in feet]),
        np.concatenate([f.stop for f in feet]),
        np.concatenate([f.unit for f in feet]),
    )


def _feet(finished: Finished, side: int, place: FloatArray) -> _Feet:
    """Return where units end at the field: edges that one of their triangles has with it."""
    tri, unit = (a[finished.on(side)] for a in (finished.triangles, finished.unit))
    count = len(finished.vertices)
    touched = np.zeros((2, count), dtype=bool)
    touched[0, tri[unit == BASE]] = True
    touched[1, tri[unit != BASE]] = True
    shared = touched[0] & touched[1]
    tri, unit = (a[shared[tri].sum(axis=1) >= 2] for a in (tri, unit))
    edges = np.concatenate([tri[:, [0, 1]], tri[:, [1, 2]], tri[:, [2, 0]]])
    of = np.tile(unit, 3)
    there, back = edges[:, 0] * count + edges[:, 1], edges[:, 1] * count + edges[:, 0]
    feet = (of != BASE) & np.isin(back, there[of == BASE])
    start, stop = (to_face(finished.vertices[edges[feet, k]], place)[:, :2] for k in (0, 1))
    return _pieces(start, stop, of[feet])


def _pieces(start: FloatArray, stop: FloatArray, unit: IntArray) -> _Feet:
    """Return edges cut into short pieces."""
    long = np.linalg.norm(stop - start, axis=1)
    parts = np.maximum(np.ceil(long / _PIECE), 1).astype(np.int64)
    which, step = ragged(parts)
    way = ((stop - start) / parts[:, None])[which]
    begin = start[which] + step[:, None] * way
    return _Feet(begin, begin + way, unit[which])


def _near(feet: _Feet, limit: float) -> tuple[FloatArray, IntArray, FloatArray]:
    """Return the least gap below a limit of every pair of units: gap, pair (lower first), place."""
    cell = limit + _PIECE
    middle = 0.5 * (feet.start + feet.stop)
    at = np.floor((middle - middle.min(axis=0, initial=0.0)) / cell).astype(np.int64) + 1
    wide = int(at[:, 1].max(initial=0)) + 2
    number = at[:, 0] * wide + at[:, 1]
    order = np.argsort(number, kind="stable")
    number, sorted_unit = number[order], feet.unit[order]
    left, right = [], []
    for ahead in (0, 1, wide - 1, wide, wide + 1):
        first = np.searchsorted(number, number + ahead, side="left")
        last = np.searchsorted(number, number + ahead, side="right")
        if not ahead:
            first = np.arange(len(number)) + 1
        many = np.maximum(last - first, 0)
        one, step = ragged(many)
        two = first[one] + step
        apart = sorted_unit[one] != sorted_unit[two]
        left.append(order[one[apart]])
        right.append(order[two[apart]])
    one, two = np.concatenate(left), np.concatenate(right)
    reach = np.abs(middle[one] - middle[two]).max(axis=1) < cell
    one, two = one[reach], two[reach]
    gap, place = _apart(feet, one, two)
    close = gap < limit
    pair = np.sort(np.column_stack([feet.unit[one], feet.unit[two]])[close], axis=1)
    gap, place = gap[close], place[close]
    by = np.lexsort((gap, pair[:, 1], pair[:, 0]))
    new = np.any(np.diff(pair[by], axis=0, prepend=-99), axis=1)
    kept = by[new]
    return gap[kept], pair[kept], place[kept]


def _apart(feet: _Feet, one: IntArray, two: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return how far pieces that do not cross are apart, and the middle between them, mm."""
    best = np.full(len(one), np.inf)
    place = np.zeros((len(one), 2))
    for points, ends in (
        (feet.start[one], two), (feet.stop[one], two), (feet.start[two], one), (feet.stop[two], one)
    ):  # fmt: skip
        a, b = feet.start[ends], feet.stop[ends]
        gap, share = to_edges(points, a, b)
        nearest = a + share[:, None] * (b - a)
        better = gap < best
        best[better] = gap[better]
        place[better] = 0.5 * (points + nearest)[better]
    return best, place
