"""Letter solids: outlines at their places on a face become one closed solid."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from ...context.element import Context, Part, Unit
from ...errors import SolidError, SpecError
from ...geometry.contour import (
    Contours,
    area,
    bounds,
    intersected,
    offset,
    signed_area,
    turned,
    united,
)
from ...geometry.draft import Draft
from ...geometry.loft import drafted
from ...geometry.solid import Solid
from ...geometry.solid import united as joined
from ...geometry.swept_profile import Step, deepest, profiled
from ...geometry.types import FloatArray
from ...spec.lettering import Words

CROSSING = 0.1  # mm that letters reach through the field on its other side
_STAGGER = 0.004  # mm between neighbours there, so that none are coplanar
_CLEAR = 20.0  # mm above the field that sunk letters cut through, the highest relief and more
_LEANING = 2.5  # mm of height up to which walls round cleared letters lean
_BURIED_DRAFT = math.radians(5.0)  # of the part of a letter that nobody sees
_ROUND_STEPS = 7


@dataclass(frozen=True, eq=False)
class PlacedGlyph:
    """A letter ready to be cut.

    Attributes
    ----------
    text : str
    outline : tuple of (n, 2) float64
        In the letter's own coordinates, mm.
    angle : float
        Turn from the letter's own coordinates to the face's, rad.
    at : tuple of float
        Where the letter's origin lies on the face, mm.
    key : hashable
        Equal for letters with the same outline.
    """

    text: str
    outline: Contours
    angle: float
    at: tuple[float, float]
    key: Hashable

    @property
    def placed(self) -> Contours:
        """Return the outline in face coordinates, mm."""
        return turned(self.outline, self.angle, self.at)


@dataclass(frozen=True)
class _Site:
    """Where a letter stands: z of the ground under its middle, and how it varies, mm."""

    level: float
    lowest: float
    highest: float


def cut_letters(
    cuts: Sequence[PlacedGlyph], words: Words, context: Context, zone: str
) -> tuple[Part, ...]:
    """Return all letters as one part of the face, and what keeps their surroundings clear.

    The outline as drawn is the face of a flat raised letter, whose foot grows by the draft;
    of all other letters it is their outline in the field. Height and depth count from the
    ground under each letter's middle, or under every point of it where letters follow the
    field (rounded and chisel-cut ones always do).

    Raises
    ------
    SolidError
        If nothing in the words leaves a mark, or an outline cannot be followed.
    SpecError
        If sunk letters would come too near to the other face.
    """
    if not cuts:
        raise SolidError("the words leave no mark: they hold nothing but spaces")
    make = _maker(cuts, words, zone)
    follows = (words.follow or words.section != "flat") and not context.ground.is_flat
    made: dict[Hashable, Solid] = {}
    solids: list[Solid] = []
    groups = _touching(cuts)
    for number, group in enumerate(groups):
        placed = united([c.placed for c in group]) if len(group) > 1 else group[0].placed
        site = _site(placed, context, words)
        _check_depth(words, site.level - context.ground.floor)
        through = CROSSING + _STAGGER * (number % 5)
        if follows:
            flat = replace(site, lowest=site.level, highest=site.level)
            solids.append(_laid(make(placed, flat, through, context), site.level, context))
            continue
        if len(group) > 1:
            solids.append(make(placed, site, through, context))
            continue
        cut = group[0]
        key = (cut.key, number % 5, *(round(z, 9) for z in (site.level, site.lowest, site.highest)))
        if key not in made:
            made[key] = make(cut.outline, site, through, context)
        solids.append(made[key].moved(_placing(cut)))
    units = tuple(_unit(group) for group in groups)
    whole = joined([solid.as_unit(n) for n, solid in enumerate(_apart(solids))])
    if words.work == "sunk":
        return (Part(whole, "cut", units),)
    letters = Part(whole, "add", units)
    return (letters, Part(_clearing(cuts, words, context), "clear")) if words.clear else (letters,)


def _unit(group: Sequence[PlacedGlyph]) -> Unit:
    """Return what letters that are one piece are called; a line has no text."""
    text = "".join(cut.text.strip() for cut in group)
    return Unit(f"'{text}'" if text else "", bool(text))


def _apart(solids: Sequence[Solid]) -> Iterator[Solid]:
    """Yield solids with original ids of their own, so that equal letters are told apart."""
    used: set[int] = set()
    for solid in solids:
        own = solid.renewed() if used & solid.labels.keys() else solid
        used |= own.labels.keys()
        yield own


def _check_depth(words: Words, most: float) -> None:
    if words.work == "sunk" and words.depth > most:
        raise SpecError(
            f"{words.depth:g} mm deep comes too near to the other face; at most "
            f"{math.floor(100.0 * most) / 100.0:g} mm",
            key="depth",
        )


def _clearing(cuts: Sequence[PlacedGlyph], words: Words, context: Context) -> Solid:
    """Return the space round all letters, its walls leaning back from them by the draft."""
    foot = Draft.of_degrees(words.draft).run_per_rise * words.height
    fine = {"tolerance": 5.0 * context.tolerance.curve, "least": context.tolerance.curve}
    # Further out and back again, so that no slivers of relief stay between letters.
    beyond = max(0.5 * words.clear, 0.18 * words.cap_height)
    reach = words.clear + foot + beyond
    wide = offset(united([c.placed for c in cuts]), reach, "round", **fine)
    around = offset(wide, -beyond, "round", **fine)
    # Islands of relief in counters and between letters would only make the words hard to read.
    crumb = max(2.0 * words.clear, 0.5 * words.cap_height) ** 2
    around = tuple(c for c in around if not -crumb < signed_area(c) < 0.0)
    ground = context.ground
    draft = max(math.radians(words.draft), _BURIED_DRAFT)
    leaning = (_LEANING * Draft(draft).run_per_rise, _LEANING)
    down = ground.lowest - ground.floor + CROSSING
    return profiled(
        around, ground.lowest, "relief", up=[leaning, (0.0, _CLEAR)], down=[(0.0, down)]
    )


def _laid(solid: Solid, level: float, context: Context) -> Solid:
    """Return a letter laid on the hollow or domed field it stands on."""
    body = solid.manifold
    if context.ground.dish:
        ground = context.ground
        # a side as long as that lies within the tolerance of a sphere: s = l² / 8r
        body = body.refine_to_length(math.sqrt(8.0 * ground.sphere * context.tolerance.curve))

    def raise_points(points: FloatArray) -> FloatArray:
        lifted = np.array(points)
        lifted[:, 2] += context.ground.height(lifted[:, :2]) - level
        return lifted

    return Solid(body.warp_batch(raise_points), solid.labels)


Maker = Callable[[Contours, _Site, float, Context], Solid]


def _maker(cuts: Sequence[PlacedGlyph], words: Words, zone: str) -> Maker:
    if words.section == "flat" and words.work == "raised":
        return partial(_raised_flat, words, zone)
    rise = words.height if words.work == "raised" else words.depth
    draft = math.radians(words.draft)
    if words.section == "flat":
        return partial(
            _profiled, [(-rise * Draft(draft).run_per_rise, rise)], draft, words.work, zone
        )
    distinct = {c.key: c.outline for c in cuts}
    half = max(deepest(outline) for outline in distinct.values())
    if words.section == "vee":
        # A little more than the widest stroke needs, so that its ridge is the very end.
        steps = [(-1.02 * half, 1.02 * rise)]
        return partial(_profiled, steps, _BURIED_DRAFT, words.work, zone)
    return partial(_profiled, _rounding(half, rise, draft), draft, words.work, zone)


def _raised_flat(
    words: Words, zone: str, outline: Contours, site: _Site, through: float, context: Context
) -> Solid:
    foot = max(site.lowest - through, context.ground.floor)
    return drafted(outline, foot, site.level + words.height, math.radians(words.draft), zone)


def _profiled(
    steps: Sequence[Step],
    draft: float,
    work: str,
    zone: str,
    outline: Contours,
    site: _Site,
    through: float,
    context: Context,
) -> Solid:
    """Follow steps from the outline in the field, and cross the field on the other side."""
    if work == "raised":
        rest = min(site.level - site.lowest + through, site.level - context.ground.floor)
        beyond = [(rest * Draft(draft).run_per_rise, rest)]
        return profiled(outline, site.level, zone, up=steps, down=beyond)
    rest = site.highest - site.level + through
    # Upright from there: what stands on the field is cut through, not undercut.
    beyond = [(rest * Draft(draft).run_per_rise, rest), (0.0, _CLEAR + through)]
    return profiled(outline, site.level, zone, up=beyond, down=steps)


def _rounding(half: float, rise: float, draft: float) -> list[Step]:
    """Return the steps of a rounded section: an arc from a wall of the draft to a level top.

    The arc's wall leans by θ where x = R(cos θ₀ − cos θ), z = R(sin θ − sin θ₀); squeezed to
    `half` by `rise` its foot leans by the draft if sin θ₀ = q/(1 − q), q = tan(draft)·rise/half.
    """
    q = min(Draft(draft).run_per_rise * rise / half, 0.45)
    first = math.asin(min(q / (1.0 - q), 0.9))
    theta = np.linspace(first, math.pi / 2.0, _ROUND_STEPS + 1)
    x = (math.cos(first) - np.cos(theta)) / math.cos(first) * half * 1.02
    z = (np.sin(theta) - math.sin(first)) / (1.0 - math.sin(first)) * rise
    return [(-float(dx), float(dz)) for dx, dz in zip(np.diff(x), np.diff(z), strict=True)]


def _site(placed: Contours, context: Context, words: Words) -> _Site:
    ground = context.ground
    depth = words.height + CROSSING + ground.highest - ground.lowest
    grown = Draft.of_degrees(words.draft).run_per_rise * depth
    lowest, highest = ground.span(placed, grown)
    return _Site(float(ground.height(bounds(placed).mean(axis=0))), lowest, highest)


def _touching(cuts: Sequence[PlacedGlyph]) -> list[list[PlacedGlyph]]:
    """Group letters whose faces overlap; they are united in the plane before they are cut."""
    boxes = np.array([bounds(c.placed) for c in cuts])
    group = list(range(len(cuts)))
    for i in range(len(cuts)):
        near = np.all((boxes[i, 0] <= boxes[i + 1 :, 1]) & (boxes[i + 1 :, 0] <= boxes[i, 1]), 1)
        for j in (np.flatnonzero(near) + i + 1).tolist():
            if area(intersected(cuts[i].placed, cuts[j].placed, 0.0)) > 0.0:
                old, new = group[j], group[i]
                group = [new if g == old else g for g in group]
    return [[c for c, g in zip(cuts, group, strict=True) if g == k] for k in dict.fromkeys(group)]


def _placing(cut: PlacedGlyph) -> FloatArray:
    c, s = math.cos(cut.angle), math.sin(cut.angle)
    return np.array([[c, -s, 0.0, cut.at[0]], [s, c, 0.0, cut.at[1]], [0.0, 0.0, 1.0, 0.0]])
