"""The size of a finished piece, measured on its mesh and told as a maker reads it.

Round pieces by their diameter, all others by width and height, never by a diagonal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..context.medal import Medal
from ..context.tolerance import TOLERANCES
from ..elements.blank.outline import outline_of
from ..geometry.bodies import hull
from ..geometry.closure import bodies_of
from ..geometry.types import FloatArray
from ..spec import Blank

_SIDED = ("oval", "rectangle")
"""Outlines with a width and a height of their own, whichever way they are turned."""

_SHOWN_MM = 0.005
"""What is told in hundredths: a smaller difference is none."""


@dataclass(frozen=True)
class Size:
    """How large a piece is, mm; without a loop and raised words of the edge but for `over_all`.

    Attributes
    ----------
    outline : str
        The word of `Blank.outline`.
    width, height : float
        Over the edge, seen from the obverse: of an oval or a rectangle along its own axes, of any
        other outline as it stands.
    thickness : float
        Over both rims, where the edge ends, as a micrometer reads it.
    largest_width : float
        The longest chord over the edge: what 16 CFR 304.1 calls the diameter.
    over_all : (float, float, float)
        Width, height and thickness of the box round everything there is.
    beyond : str
        What reaches beyond the edge: ``with loop``, ``with raised words`` or nothing.
    """

    outline: str
    width: float
    height: float
    thickness: float
    largest_width: float
    over_all: tuple[float, float, float]
    beyond: str

    @property
    def diameter(self) -> float | None:
        """The diameter of a round piece."""
        return self.largest_width if self.outline == "round" else None

    def text(self) -> str:
        """Say the size in one line."""
        thick = f"{self.thickness:.2f} mm"
        if self.outline == "round":
            told = f"diameter {self.largest_width:.2f} mm, thickness {thick}"
        else:
            over = "" if self.outline in _SIDED else " over all"
            told = f"{self.width:.2f} x {self.height:.2f} x {thick}{over}"
        if self.beyond:
            wide, high, deep = self.over_all
            told += f"; {self.beyond} {wide:.2f} x {high:.2f}"
            told += f" x {deep:.2f} mm" if abs(deep - self.thickness) > _SHOWN_MM else " mm"
        return told

    def facts(self) -> dict[str, object]:
        """Return what the report says."""
        diameter = self.diameter
        return {
            "size": self.text(),
            "diameter_mm": None if diameter is None else round(diameter, 6),
            "width_mm": round(self.width, 6),
            "height_mm": round(self.height, 6),
            "thickness_mm": round(self.thickness, 6),
            "largest_width_mm": round(self.largest_width, 6),
            "over_all_mm": [round(v, 6) for v in self.over_all],
            "beyond_edge": self.beyond,
        }


def size_of(medal: Medal, blank: Blank) -> Size:
    """Measure a piece; `blank` says its outline, how it is turned and what a loop hides of it."""
    edge = _outer_edge(medal)
    seen = edge[:, :2]
    if blank.outline in ("round", *_SIDED):
        # These lie evenly about the middle, and a loop may have taken the end of one side.
        seen = np.concatenate([seen, -seen])
    elif "loop" in medal.zone_names:  # it hides the outline where it stands
        seen = np.concatenate([seen, *outline_of(blank, TOLERANCES["fine"])])
    wide, high = np.ptp(seen, axis=0)
    box = np.ptp(medal.vertices, axis=0)
    beyond = ""
    if box[0] > wide + _SHOWN_MM or box[1] > high + _SHOWN_MM:
        beyond = "with loop" if "loop" in medal.zone_names else "with raised words"
    if blank.outline in _SIDED:
        wide, high = np.ptp(seen @ _turning(-blank.turn), axis=0)
    return Size(
        blank.outline,
        float(wide),
        float(high),
        float(np.ptp(edge[:, 2])),
        _longest_chord(seen),
        (float(box[0]), float(box[1]), float(box[2])),
        beyond,
    )


def _outer_edge(medal: Medal) -> FloatArray:
    """Return the points (k, 3) of the edge that runs round the piece.

    The walls of holes and of the joint round a core are edge too, and cut through whatever
    stands on the faces.
    """
    tri = medal.triangles[medal.zone == medal.zone_names.index("edge")]
    used, inverse = np.unique(tri, return_inverse=True)
    part = bodies_of(inverse.reshape(-1, 3))
    points = medal.vertices[used]
    farthest = int(np.argmax(np.hypot(points[:, 0], points[:, 1])))
    of_part = np.zeros(int(part.max()) + 1, dtype=np.bool_)
    of_part[part[np.any(inverse.reshape(-1, 3) == farthest, axis=1)]] = True
    found: FloatArray = medal.vertices[np.unique(tri[of_part[part]])]
    return found


def _turning(degrees: float) -> FloatArray:
    """Return the matrix that turns rows of points counter-clockwise, (2, 2)."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[c, s], [-s, c]])


def _longest_chord(seen: FloatArray) -> float:
    """Return the longest chord between points (n, 2) seen from above, mm."""
    points = hull(seen)
    side = np.roll(points, -1, axis=0) - points
    turn = np.arctan2(side[:, 1], side[:, 0])  # rises round the hull, but for one leap
    first = int(np.argmin(turn))
    points, turn = np.roll(points, -first, axis=0), np.roll(turn, -first)
    angle = np.linspace(0.0, np.pi, 721)[:-1]
    # Farthest in a direction is the corner where the sides turn past being square to it.
    square = np.stack([angle, angle + np.pi]) + 0.5 * np.pi
    square = np.mod(square + np.pi, 2.0 * np.pi) - np.pi
    one, other = points[np.searchsorted(turn, square) % len(points)]
    way = np.column_stack([np.cos(angle), np.sin(angle)])
    best = int(np.argmax(np.sum((one - other) * way, axis=1)))
    return float(np.linalg.norm(one[best] - other[best]))
