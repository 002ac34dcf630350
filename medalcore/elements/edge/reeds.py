"""Reeds: how many go round, where they stand, and the outline they make."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.arrays import ragged
from ...geometry.types import FloatArray
from ...spec import Edge
from .notch import Notch, draw_notch, fit_notch

USUAL_PITCH = 0.64
"""mm; the pitch of published reeded coins of 24 to 31 mm (119 reeds on 24.26, 150 on 30.61)."""

_SECTIONS = 10000
"""Sections of an edge: a piece of 1000 mm across has room for so many of a third of a mm."""

_SHARE = {"vee": 0.92, "round": 0.86, "square": 0.5}
"""Opening of a notch as a share of the pitch where the spec leaves it open."""


@dataclass(frozen=True, eq=False)
class Reeding:
    """One notch and where it stands along the edge.

    Attributes
    ----------
    around : int
        Reeds that would go all round.
    pitch : float
        Distance along the edge, mm.
    notch : Notch
    length : float
        Length of the edge, mm.
    stations : (k,) float64
        Middles of the notches along the edge, rising, mm.
    closest, farthest : float
        Least and most distance between neighbours, but for where reeds are left away, mm.
    section : (n, 2) float64
        The notch as drawn for the radius it was fitted to; see `draw_notch`.
    """

    around: int
    pitch: float
    notch: Notch
    length: float
    stations: FloatArray
    closest: float
    farthest: float
    section: FloatArray

    @property
    def count(self) -> int:
        """Return the number of notches there are."""
        return len(self.stations)

    @property
    def is_even(self) -> bool:
        """Tell whether they go all round at one pitch."""
        return self.count == self.around


def reeding_of(
    edge: Edge, length: float, radius: float, tolerance: Tolerance, at: Callable[[float], float]
) -> Reeding:
    """Count the reeds of an edge and set them out.

    Parameters
    ----------
    edge : Edge
        With a reeded finish.
    length : float
        Length of the edge, mm.
    radius : float
        Radius of the edge where the notches are fitted, mm.
    at : callable
        Gives the length along the edge, mm, of a place in degrees clockwise from the top.

    Raises
    ------
    SpecError
        If the notches overlap or their corners do not fit.
    """
    around = edge.reeds or max(3, round(length / (edge.pitch or USUAL_PITCH)))
    pitch = length / around
    if around < 3:
        raise SpecError(f"{around} reeds do not go round; at least 3", key="edge.reeds")
    if edge.width > pitch * (1.0 + 1e-9):
        raise SpecError(
            f"{around} notches {edge.width:g} mm wide overlap on an edge of {length:.2f} mm; "
            f"at most {int(length / edge.width)}, or a width of at most {pitch:.3g} mm",
            key="edge.reeds" if edge.reeds else "edge.pitch",
        )
    opening = min(edge.width, pitch) or suited_opening(edge, pitch, radius)
    notch = Notch(edge.profile, opening, edge.depth, edge.corner_radius)
    section = fit_notch(notch, radius, tolerance, "edge.corner_radius")
    stations = np.asarray((np.arange(around) + 0.5) * pitch, dtype=np.float64)
    if edge.pattern.strip():
        stations = _in_sections(edge, length, pitch, at)
    return Reeding(around, pitch, notch, length, stations, pitch, pitch, section)


def kept_off(reeding: Reeding, spans: Sequence[tuple[float, float]]) -> Reeding:
    """Return the reeding without the reeds that stand in spans of the edge, mm."""
    half = reeding.pitch  # a land as wide as half a pitch stays beside the words
    kept = np.ones(reeding.count, dtype=bool)
    for start, stop in spans:
        for turn in (-1, 0, 1):
            s = reeding.stations + turn * reeding.length
            kept &= (s < start - half) | (s > stop + half)
    if not kept.any():
        raise SpecError("the words leave no room for reeds", key="edge.text.clear")
    return replace(reeding, stations=reeding.stations[kept])


def reeded_circle(reeding: Reeding, radius: float, chord: float) -> tuple[FloatArray, FloatArray]:
    """Return the whole reeded edge of a round piece: radius (n,) mm, rising angle (n,) radians.

    Every point of the lands lies on the edge circle.

    Parameters
    ----------
    chord : float
        Largest turn of a chord of the lands, radians.
    """
    section = reeding.section
    r = np.hypot(section[:, 0], section[:, 1])
    r[[0, -1]] = radius
    turn = np.arctan2(-section[:, 0], section[:, 1])
    at = reeding.stations / radius
    gaps = np.diff(at, append=at[0] + 2.0 * np.pi) - (turn[-1] - turn[0])
    chords = np.maximum(1, np.ceil(gaps / chord - 1e-9)).astype(np.int64)
    closed = gaps * radius < 1e-4  # a land shorter than this is one crest
    # Points of each notch, then the inner points of the land after it.
    n = len(section)
    size = n + chords - 1 - closed
    owner, place = ragged(size)
    inner = place >= n
    along = gaps[owner] * (place - n + 1) / chords[owner]
    angle = at[owner] + np.where(inner, turn[-1] + along, turn[np.minimum(place, n - 1)])
    return np.where(inner, radius, r[np.minimum(place, n - 1)]), angle


def _in_sections(
    edge: Edge, length: float, pitch: float, at: Callable[[float], float]
) -> FloatArray:
    """Return the middles of the notches of an edge reeded in sections.

    As many whole notches as fit stand in the middle of each reeded section. Sections follow
    one another clockwise, lengths along the edge run the other way.

    Raises
    ------
    SpecError
        If the pattern is not numbers or does not close.
    """
    pattern = edge.pattern
    try:
        degrees = [float(word) for word in pattern.replace(",", " ").split()]
    except ValueError:
        degrees = []
    whole = sum(degrees)
    if not degrees or min(degrees) <= 0.0 or not math.isfinite(whole):
        raise SpecError(
            f"'{pattern}' is no pattern; give degrees of reeded and plain edge by turns, "
            "such as '60 60'",
            key="edge.pattern",
        )
    times = round(360.0 / whole)
    if len(degrees) % 2 or times < 1 or abs(times * whole - 360.0) > 1e-6 * 360.0:
        raise SpecError(
            f"'{pattern}' adds up to {whole:g} degrees in {len(degrees)} sections; it closes "
            "when reeded and plain sections pair up and the sum goes evenly into 360",
            key="edge.pattern",
        )
    if len(degrees) * times > _SECTIONS:
        raise SpecError(
            f"'{pattern}' makes {len(degrees) * times} sections round the edge; at most "
            f"{_SECTIONS}",
            key="edge.pattern",
        )
    found, angle = [], edge.start
    for i, share in enumerate(degrees * times):
        low = at(angle + share)
        run = (at(angle) - low) % length
        n = int(run / pitch + 1e-9)
        if i % 2 == 0 and n:
            found.append(low + run / 2.0 + (np.arange(n) - (n - 1) / 2.0) * pitch)
        angle += share
    if not found:
        raise SpecError(
            f"no reeded section of '{pattern}' is as long as one reed of {pitch:.3g} mm",
            key="edge.pattern",
        )
    return np.sort(np.concatenate(found) % length)


def suited_opening(edge: Edge, pitch: float, radius: float) -> float:
    """Choose the opening of a notch: the profile's usual share, more if its corners need it.

    Reeds far apart are no wider than √(2Rd), where the edge's own sagitta over the notch is
    a quarter of its depth: a wider one would be a flat, not a notch.
    """
    share = min(_SHARE[edge.profile], math.sqrt(2.0 * radius * edge.depth) / pitch)
    coarse = Tolerance(curve=0.05, surface=0.05, pixels=16)
    for opening in np.linspace(share, 0.98, 12) * pitch:
        notch = Notch(edge.profile, float(opening), edge.depth, edge.corner_radius)
        if draw_notch(notch, radius, coarse) is not None:
            return float(opening)
    return share * pitch
