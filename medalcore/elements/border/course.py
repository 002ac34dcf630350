"""Where a border runs: its line, the part it fills, and the places of what repeats on it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ...context.ground import Ground
from ...errors import SpecError
from ...geometry.draft import Draft
from ...geometry.types import FloatArray
from ...spec import Border
from .path import Circle, Path, inwards
from .spacing import Foot, Free, spaced

# Sizes that suit a piece, as a share of the field's radius, and heights and distances as a
# share of the size; common practice, no source: what looks right on a 40 mm piece.
_SIZE = {"beads": 0.044, "denticles": 0.062, "rope": 0.056, "line": 0.018, "motif": 0.09}
_HEIGHT = {"beads": 0.33, "denticles": 0.24, "rope": 0.27, "line": 0.80, "motif": 0.16}
_PITCH = {"beads": 1.22, "denticles": 0.80, "rope": 0.62, "motif": 1.15}
_MOST_HEIGHT = 0.28
"""Unless asked for, no border stands higher, mm: the rim's own default is 0.3 mm."""
_JOIN = 0.3
"""How much of its size a border joined to the rim reaches into it."""
_GENTLEST = 7.0
"""How much more than its draft the section of a rope may lean, degrees."""
_DEEP = 0.3
"""How far the foot of a rope on a level field reaches below it at most, mm."""
_CROWN = 0.96
"""How much of half their width the walls of beads and rope may take; the rest is their crown."""
_BEND = 1.25
_FOOT = 0.12
"""Tightest bend of a border that follows an outline: so many half widths, and what a foot
below the field may add, mm. Its inner side then still has a bend of its own."""


@dataclass(frozen=True)
class Course:
    """The measures of a border, mm and rad.

    Attributes
    ----------
    path : Path
        The middle of the border.
    ground : Ground
    size, height, draft : float
        As the spec says, with nothing left to choose.
    half : float
        Half the width at the field.
    count : int
        How many repeat; 0 for lines.
    start, run : float
        Where on the path the border begins, and how far it runs.
    free : Free or None
        What a border with a gap may fill; None runs all round.
    first, pitch : float
        Where the middle of the first one stands that repeats, and how far on the next, mm.
    depth : float
        How far the foot reaches below the field under the middle of the border.
    """

    path: Path
    ground: Ground
    size: float
    height: float
    draft: float
    half: float
    count: int
    start: float
    run: float
    free: Free | None
    first: float
    pitch: float
    depth: float

    @property
    def is_closed(self) -> bool:
        """Tell whether the border runs all round."""
        return self.free is None

    @property
    def middles(self) -> FloatArray:
        """Return the lengths at which what repeats stands, (count,) mm."""
        return np.asarray(self.first + self.pitch * np.arange(self.count, dtype=np.float64))

    def base(self, s: FloatArray) -> FloatArray:
        """Return z of the field under the middle of the border at lengths, mm."""
        return self.ground.height(self.path.at(np.asarray(s))[0])

    @property
    def lowest_base(self) -> float:
        """Return the lowest z of the field under the middle of the border, mm."""
        return float(self.base(np.linspace(0.0, self.path.length, 360)).min())

    @property
    def highest_base(self) -> float:
        """Return the highest z of the field under the middle of the border, mm."""
        return float(self.base(np.linspace(0.0, self.path.length, 360)).max())


def course_of(
    spec: Border, ground: Ground, tolerance: float, aspect: float = 1.0, foot: Foot | None = None
) -> Course:
    """Settle the measures of a border.

    Parameters
    ----------
    spec : Border
    ground : Ground
    tolerance : float
        Largest distance between curves and their chords, mm.
    aspect : float
        Width of a motif along the border over its size.
    foot : callable, optional
        Outline at the field of what repeats one by one; rope and lines have none.

    Raises
    ------
    SpecError
        With the key that does not fit and what would.
    """
    size = size_of(spec, ground)
    height = height_of(spec, size)
    draft = math.radians(spec.draft)
    half = _half_width(spec, size, height)
    path = _path(spec, ground, size, half, tolerance)
    depth = _depth(path, ground, half + (height + 0.2) * Draft(draft).run_per_rise, height)
    settled = Course(
        path, ground, size, height, draft, half, 0, 0.0, path.length, None, 0, 0, depth
    )
    if spec.gap:
        return _beside_gap(spec, settled, aspect, foot)
    count = _count(spec, size, aspect, path.length)
    pitch = path.length / max(count, 1)
    in_pairs = spec.kind == "motif" and spec.mirrored
    # The first one stands at the top, or two branches meet in the middle of their gap.
    start = path.towards(_gap_at(spec)) if in_pairs else -pitch / 2.0 if count else 0.0
    return replace(settled, count=count, start=start, first=start + pitch / 2.0, pitch=pitch)


def _beside_gap(spec: Border, whole: Course, aspect: float, foot: Foot | None) -> Course:
    """Return the course of a border that leaves a gap."""
    path, middle, half = whole.path, _gap_at(spec), math.radians(spec.gap) / 2.0
    free = Free(middle + half, middle - half)
    start = path.towards(free.begin)
    run = (path.towards(free.end) - start) % path.length
    count = _count(spec, whole.size, aspect, run)
    open_course = replace(whole, count=count, start=start, run=run, free=free)
    if foot is None:
        pitch = run / max(count, 1)
        return replace(open_course, first=start + pitch / 2.0, pitch=pitch)
    mirrored = spec.kind == "motif" and spec.mirrored
    suits = spec.pitch or _PITCH[spec.kind] * whole.size * aspect
    asked = spec.count
    first, pitch, count, span = spaced(
        path, foot, free, asked, run / asked if asked else suits, mirrored=mirrored
    )
    _refuse_crowded(spec, count, _along(spec, whole.size, aspect), span, pitch)
    return replace(open_course, count=count, first=first, pitch=pitch)


def _gap_at(spec: Border) -> float:
    """Return where the middle of the gap lies, rad clockwise from the top."""
    middle = {"top": 0.0, "bottom": 180.0}.get(str(spec.gap_at))
    return math.radians(float(spec.gap_at) if middle is None else middle)


def size_of(spec: Border, ground: Ground) -> float:
    """Return the width across the border, mm."""
    return spec.size or _SIZE[spec.kind] * ground.radius


def height_of(spec: Border, size: float) -> float:
    """Return the height of a border of a size above the field, mm."""
    return spec.height or min(_HEIGHT[spec.kind] * size, _MOST_HEIGHT)


def _depth(path: Path, ground: Ground, reach: float, height: float) -> float:
    """Return how far a foot has to reach down so that it is below the field everywhere."""
    places, out = path.at(np.linspace(0.0, path.length, 360))
    middle = ground.height(places)
    lowest = np.minimum.reduce(
        [ground.height(places - reach * out), middle, ground.height(places + reach * out)]
    )
    wanted = float((middle - lowest).max()) + max(0.1, 0.2 * height)
    return min(wanted, float((middle - (ground.floor + lowest) / 2.0).min()))


def _half_width(spec: Border, size: float, height: float) -> float:
    if spec.kind in ("beads", "rope"):
        # A cone at the draft comes to a point at this height; a crown needs a little more room.
        most = 0.5 * size * min(1.0, _CROWN / max(Draft.of_degrees(spec.draft).run_per_rise, 1e-9))
        if height > most + 1e-12:
            what = "beads" if spec.kind == "beads" else "a rope"
            raise SpecError(
                f"{what} {size:.3g} mm wide would be steeper than {spec.draft:g} degrees, or "
                f"overhang, at a height of {height:.3g} mm; give a height up to {most:.3g} mm",
                key="height",
            )
        return size / 2.0
    lines = spec.lines if spec.kind == "line" else 1
    top = lines * size + (lines - 1) * (spec.space or size)
    return top / 2.0 + height * Draft.of_degrees(spec.draft).run_per_rise


def _path(spec: Border, ground: Ground, size: float, half: float, tolerance: float) -> Path:
    inset = spec.offset + half - (_JOIN * size if spec.offset == 0.0 else 0.0)
    outline = tuple(np.array(c, dtype=np.float64) for c in ground.outline)
    if outline and not spec.radius and not _is_round(outline[0], ground.radius, tolerance):
        line = inwards(outline, inset, _bend(spec, half), tolerance)
        if line is None:
            raise SpecError(
                f"a border {2 * half:.3g} mm wide does not fit {spec.offset:.3g} mm inside the rim",
                key="offset",
            )
        return line
    radius = spec.radius or ground.radius - inset
    key = "radius" if spec.radius else "offset"
    if radius > ground.radius:
        raise SpecError(
            f"the middle of the border lies {radius:.3g} mm out, past the field, which ends at "
            f"{ground.radius:.3g} mm",
            key=key,
        )
    if radius - half <= 0.0:
        raise SpecError(
            f"a border {2 * half:.3g} mm wide does not fit round the middle at a radius of "
            f"{max(radius, 0.0):.3g} mm",
            key=key,
        )
    return Circle(radius)


def _bend(spec: Border, half: float) -> float:
    """Return how tight a border may bend so that its inner side still has a bend, mm.

    A rope's mesh follows its line with its foot below the field, too, which at a large draft
    is much wider.
    """
    usual = _BEND * half + _FOOT
    if spec.kind != "rope":
        return usual
    lean = math.radians(min(spec.draft + _GENTLEST, 60.0))
    return max(usual, 1.05 * half + _DEEP * math.tan(lean))


def _is_round(outer: FloatArray, radius: float, tolerance: float) -> bool:
    return float(np.abs(np.hypot(*outer.T) - radius).max()) <= 2.0 * tolerance


def _count(spec: Border, size: float, aspect: float, run: float) -> int:
    """Return how many repeat along `run` mm."""
    if spec.kind == "line":
        return 0
    suits = _PITCH[spec.kind] * size * aspect
    count = spec.count or max(1, round(run / (spec.pitch or suits)))
    if spec.kind == "motif" and spec.mirrored and not spec.count:
        count = 2 * max(1, round(count / 2))  # as many on either side
    _refuse_crowded(spec, count, _along(spec, size, aspect), run, run / count)
    if spec.kind == "rope" and count < 3:
        raise SpecError("a rope needs at least 3 strands round the border", key="count")
    return count


def _along(spec: Border, size: float, aspect: float) -> float:
    """Return how wide along the border what repeats is, mm."""
    return {"denticles": spec.width, "rope": 0.0}.get(spec.kind, size * aspect)


def _refuse_crowded(spec: Border, count: int, along: float, run: float, pitch: float) -> None:
    """Refuse more than fit.

    Raises
    ------
    SpecError
    """
    if along <= pitch * (1.0 + 1e-9) or count < 2:
        return
    what = "motifs" if spec.kind == "motif" else spec.kind
    raise SpecError(
        f"{count} {what} {along:.3g} mm wide need {count * along:.4g} mm, the border is "
        f"{run:.4g} mm long; give at most {int(run / along)}, or smaller ones",
        key="count" if spec.count else "pitch",
    )
