"""Words round the edge: flat letters wrapped by arc length, raised or sunk."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...context.tolerance import Tolerance
from ...errors import SourceError, SpecError
from ...geometry.arrays import cross2
from ...geometry.contour import Contours, bounds, edge_lengths, united
from ...geometry.loft import drafted
from ...geometry.rays import along_at
from ...geometry.solid import Solid, solid_from_manifold
from ...geometry.solid import united as joined
from ...geometry.swept_profile import profiled
from ...geometry.types import FloatArray
from ...spec import EdgeText
from ..lettering.fonts import find_typeface
from ..lettering.shaping import shape

_BEYOND = 0.15
"""How far a cutter reaches beyond the edge, and a raised foot below it, mm."""

_CORNER = 0.1
"""Within how much of a corner letters that run over it turn, mm."""

_BESIDE = 1.0
"""How far beside a letter the outline is looked at for bends that reach into it, mm."""


@dataclass(frozen=True, eq=False)
class EdgeLetters:
    """Letters laid out along the edge.

    Attributes
    ----------
    outlines : tuple of contours
        x along the edge from its first point, y along the axis, mm.
    spans : tuple of (start, stop)
        What each setting of the words covers along the edge, mm.
    cap_height, width, tracking : float
        mm, mm of one setting, thousandths of the letter size.
    """

    outlines: tuple[Contours, ...]
    spans: tuple[tuple[float, float], ...]
    cap_height: float
    width: float
    tracking: float


def set_words(
    text: EdgeText, outline: FloatArray, low: float, high: float, tolerance: Tolerance
) -> EdgeLetters:
    """Lay the words out on the upright edge between two heights.

    Parameters
    ----------
    outline : (n, 2) float64
        Seen from above, counter-clockwise, mm.
    low, high : float
        Where the plain upright edge begins and ends, z in mm.

    Raises
    ------
    SpecError
        If the words do not fit.
    SourceError
        If the font is missing or lacks characters.
    """
    room = high - low
    cap = text.cap_height or 0.5 * room
    if cap > 0.96 * room:
        raise SpecError(
            f"letters {cap:g} mm high do not fit the {room:.3g} mm of plain upright edge; "
            f"at most {0.96 * room:.2f} mm",
            key="edge.text.cap_height",
        )
    try:
        typeface = find_typeface(text.font)
    except SourceError as error:
        raise SourceError(f"edge.text.font: {error}") from None
    scale = cap / typeface.cap_units
    try:
        letters = shape(text.words, typeface, tracked=True)
    except SourceError as error:
        raise SourceError(f"edge.text.words: {error}") from None
    inked = []
    for number, letter in enumerate(letters):
        drawn = letter.outline(typeface, tolerance.curve / scale)
        if drawn:
            inked.append((number, letter.x * scale, tuple(c * scale for c in drawn)))
    if not inked:
        raise SpecError("leave no mark: they hold nothing but spaces", key="edge.text.words")
    first, last = inked[0], inked[-1]
    left = first[1] + min(float(c[:, 0].min()) for c in first[2])
    natural = last[1] + max(float(c[:, 0].max()) for c in last[2]) - left
    gaps = last[0] - first[0]
    whole = float(edge_lengths(outline).sum())
    unit = scale * typeface.units / 1000.0
    tracking = text.tracking
    if text.fill and gaps:
        tracking = (whole * text.fill / 360.0 - natural) / gaps / unit
    width = natural + gaps * tracking * unit
    if text.repeat * width > 0.995 * whole or tracking < -150.0:
        given = whole * text.fill / 360.0 if text.fill else whole / text.repeat
        raise SpecError(
            f"need {natural + gaps * max(text.tracking, 0.0) * unit:.1f} mm of edge and have "
            f"{given:.1f}; a cap height of {math.floor(95 * cap * given / natural) / 100:g} mm "
            "would fit",
            key="edge.text.words",
        )
    middle = along_at(outline, text.at)
    y = (low + high) / 2.0 - cap / 2.0
    laid, spans = [], []
    for k in range(text.repeat):
        start = middle + whole * k / text.repeat - width / 2.0
        spans.append((start, start + width))
        for number, x, contours in inked:
            shift = np.array([start + x - left + (number - first[0]) * tracking * unit, y])
            placed = tuple(c + shift for c in contours)
            if text.heads == "reverse":
                turn = np.array([2.0 * start + width, low + high])
                placed = tuple(turn - c for c in placed)
            laid.append(placed)
    return EdgeLetters(tuple(laid), tuple(spans), cap, width, tracking)


def letters_solid(
    letters: EdgeLetters,
    text: EdgeText,
    outline: FloatArray,
    roots: float,
    tolerance: Tolerance,
) -> Solid:
    """Return all letters as one solid: to be added if raised, to be cut if sunk.

    Raised letters have their face, sunk ones their outline at the edge's surface as the
    typeface draws it, as on a face; walls open outwards by the draft, so that the floor of
    sunk letters is narrower.

    Parameters
    ----------
    roots : float
        Depth of what is cut into the edge below raised letters, mm.

    Raises
    ------
    SpecError
        If a letter stands on a bend too tight for it.
    """
    draft = math.radians(text.draft)
    slope = math.tan(draft)
    sunk = text.form == "sunk"
    wrap = _Wrap(outline)
    solids = []
    for number, contours in enumerate(letters.outlines):
        low, high = bounds(contours)[:, 0]
        tight = wrap.tightest(float(low), float(high), hollow=not sunk)
        if tight < 1.05 * text.depth:
            raise SpecError(
                f"letters {text.depth:g} mm {'deep' if sunk else 'high'} fold where the edge "
                f"bends to a radius of {tight:.2g} mm; move the words or make them at most "
                f"{0.9 * tight:.2g} mm",
                key="edge.text.depth",
            )
        # Feet at unlike depths, so that neighbours have no face in common.
        foot = -(_BEYOND + 0.003 * (number % 5)) - (0.0 if sunk else roots)
        drawn = united([contours])
        if sunk:
            down, up = [(-text.depth * slope, text.depth)], [(-foot * slope, -foot)]
            flat = profiled(drawn, 0.0, "legend", up=up, down=down).manifold
        else:
            flat = drafted(drawn, foot, text.depth, draft, "legend").manifold
        # Half of what one edge may be: middles of facets lie deeper, and the outline has chords
        # too. Along a flat side there is nothing to bend, and thousands of points that lie in
        # line there are more than a boolean can be trusted with: it left skins over letters.
        sharpest = wrap.sharpest(float(low), float(high))
        longest = 0.45 * math.sqrt(8.0 * sharpest * tolerance.curve)
        bent = flat.refine_to_length(max(longest, 0.05)).warp_batch(wrap)
        solids.append(solid_from_manifold(bent, "legend", "the words on the edge"))
    return joined(solids)


class _Wrap:
    """Bends flat letters round an outline: x along it, y up, z outwards."""

    def __init__(self, outline: FloatArray) -> None:
        outline = _cornered(outline)
        steps = np.roll(outline, -1, axis=0) - outline
        lengths = np.hypot(steps[:, 0], steps[:, 1])
        outwards = np.column_stack([steps[:, 1], -steps[:, 0]]) / lengths[:, None]
        before = np.roll(outwards, 1, axis=0)
        corner = outwards + before
        corner /= np.hypot(corner[:, 0], corner[:, 1])[:, None]
        self._points = np.vstack([outline, outline[:1]])
        self._normals = np.vstack([corner, corner[:1]])
        self._ends = np.concatenate([[0.0], np.cumsum(lengths)])
        cross = cross2(before, outwards)
        turn = np.arctan2(cross, np.sum(outwards * before, axis=1))
        self._bend = turn / ((lengths + np.roll(lengths, 1)) / 2.0)

    def sharpest(self, start: float, stop: float) -> float:
        """Return the least radius, mm, of all bends of a stretch and close beside it."""
        near = start - _BESIDE, stop + _BESIDE
        return min(self.tightest(*near, hollow=False), self.tightest(*near, hollow=True))

    def tightest(self, start: float, stop: float, *, hollow: bool) -> float:
        """Return the least radius of a stretch's bends, in mm, outward or hollow ones."""
        s = np.mod(self._ends[:-1] - start, self._ends[-1])
        bend = self._bend[s <= stop - start] * (-1.0 if hollow else 1.0)
        return 1.0 / max(float(bend.max(initial=0.0)), 1e-9)

    def __call__(self, points: FloatArray) -> FloatArray:
        """Return flat points (n, 3) at their places round the edge."""
        s = np.mod(points[:, 0], self._ends[-1])
        xy = np.column_stack([np.interp(s, self._ends, self._points[:, i]) for i in (0, 1)])
        out = np.column_stack([np.interp(s, self._ends, self._normals[:, i]) for i in (0, 1)])
        out /= np.hypot(out[:, 0], out[:, 1])[:, None]
        return np.column_stack([xy + out * points[:, 2:], points[:, 1]])


def _cornered(outline: FloatArray) -> FloatArray:
    """Return an outline with points close beside the ends of its long edges.

    Letters turn between two points; this way they turn at a corner, not all along its sides.
    """
    steps = np.roll(outline, -1, axis=0) - outline
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    share = np.where(lengths > 4.0 * _CORNER, _CORNER / lengths, 0.0)[:, None]
    three = np.stack([outline, outline + share * steps, outline + (1.0 - share) * steps], axis=1)
    keep = np.column_stack([np.ones(len(outline), bool), *[share[:, 0] > 0.0] * 2])
    return np.asarray(three[keep])
