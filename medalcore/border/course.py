"""Where a border runs: radius, the arc it fills, and the places of what repeats on it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import SpecError
from ..ground import Ground
from ..spec import Border

FloatArray = NDArray[np.float64]

# Sizes that suit a piece, as a share of the field's radius, and heights as a share of the
# size; common practice, no source: what looks right on a 40 mm piece, and on its default rim
# stays below the rim.
_SIZE = {"beads": 0.044, "denticles": 0.062, "rope": 0.056, "line": 0.018, "motif": 0.09}
_HEIGHT = {"beads": 0.33, "denticles": 0.24, "rope": 0.27, "line": 0.80, "motif": 0.16}
_PITCH = {"beads": 1.22, "denticles": 0.80, "rope": 0.62, "motif": 1.15}
_JOIN = 0.3
"""How much of its size a border joined to the rim reaches into it."""


@dataclass(frozen=True)
class Course:
    """The measures of a border, mm and rad.

    Attributes
    ----------
    radius : float
        Of the middle of the border.
    size, height, draft : float
        As the spec says, with nothing left to choose.
    half : float
        Half the width at the field.
    count : int
        How many repeat; 0 for lines.
    start, sweep : float
        Where the arc begins, clockwise from the top, and how far it runs.
    base, bottom : float
        z of the field under the middle of the border, and of the foot below the field.
    """

    radius: float
    size: float
    height: float
    draft: float
    half: float
    count: int
    start: float
    sweep: float
    base: float
    bottom: float

    @property
    def is_closed(self) -> bool:
        """Tell whether the border runs all round."""
        return self.sweep >= 2.0 * math.pi - 1e-12

    @property
    def step(self) -> float:
        """Return the angle from one to the next, rad."""
        return self.sweep / self.count

    @property
    def pitch(self) -> float:
        """Return the distance from one to the next along the middle, mm."""
        return self.radius * self.step

    @property
    def angles(self) -> FloatArray:
        """Return the middles of what repeats, (count,) rad clockwise from the top."""
        places = np.arange(self.count, dtype=np.float64) + 0.5
        return np.asarray(self.start + self.step * places)


def course_of(spec: Border, ground: Ground, aspect: float = 1.0) -> Course:
    """Settle the measures of a border.

    Parameters
    ----------
    spec : Border
    ground : Ground
    aspect : float
        Width of a motif along the border over its size.

    Raises
    ------
    SpecError
        With the key that does not fit and what would.
    """
    size = size_of(spec, ground)
    height = spec.height or _HEIGHT[spec.kind] * size
    draft = math.radians(spec.draft)
    half = _half_width(spec, size, height)
    radius = _radius(spec, ground, size, half)
    sweep = math.radians(360.0 - spec.gap)
    middle = {"top": 0.0, "bottom": 180.0}.get(str(spec.gap_at))
    turn = math.radians(float(spec.gap_at) if middle is None else middle)
    start = turn + math.radians(spec.gap) / 2.0 if spec.gap else 0.0
    count = _count(spec, size, aspect, radius * sweep)
    if count and spec.gap == 0.0:
        start -= sweep / count / 2.0  # the first one stands at the top
    reach = half + (height + 0.2) * math.tan(draft)
    edges = np.array([(max(radius - reach, 0.0), 0.0), (radius, 0.0), (radius + reach, 0.0)])
    low, base, high = ground.height(edges)
    lowest = min(low, base, high)
    bottom = max(lowest - max(0.06, 0.2 * height), (ground.floor + lowest) / 2.0)
    return Course(
        radius, size, height, draft, half, count, start, sweep, float(base), float(bottom)
    )


def size_of(spec: Border, ground: Ground) -> float:
    """Return the width across the border, mm."""
    return spec.size or _SIZE[spec.kind] * ground.radius


def _half_width(spec: Border, size: float, height: float) -> float:
    if spec.kind in ("beads", "rope"):
        if height > size / 2.0:
            what = "beads" if spec.kind == "beads" else "a rope"
            raise SpecError(
                f"{what} {size:.3g} mm wide would overhang at a height of {height:.3g} mm; "
                f"give a height up to {size / 2:.3g} mm",
                key="height",
            )
        return size / 2.0
    lines = spec.lines if spec.kind == "line" else 1
    top = lines * size + (lines - 1) * (spec.space or size)
    return top / 2.0 + height * math.tan(math.radians(spec.draft))


def _radius(spec: Border, ground: Ground, size: float, half: float) -> float:
    joined = _JOIN * size if spec.offset == 0.0 else 0.0
    radius = spec.radius or ground.radius - spec.offset - half + joined
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
    return radius


def _count(spec: Border, size: float, aspect: float, run: float) -> int:
    """Return how many repeat along `run` mm."""
    if spec.kind == "line":
        return 0
    suits = _PITCH[spec.kind] * size * aspect
    count = spec.count or max(1, round(run / (spec.pitch or suits)))
    along = {"denticles": spec.width, "rope": 0.0}.get(spec.kind, size * aspect)
    what = "motifs" if spec.kind == "motif" else spec.kind
    if count * along > run * (1.0 + 1e-9):
        raise SpecError(
            f"{count} {what} {along:.3g} mm wide need {count * along:.4g} mm, the border is "
            f"{run:.4g} mm long; give at most {int(run / along)}, or smaller ones",
            key="count" if spec.count else "pitch",
        )
    if spec.kind == "rope" and count < 3:
        raise SpecError("a rope needs at least 3 strands round the border", key="count")
    return count
