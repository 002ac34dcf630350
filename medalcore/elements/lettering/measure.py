"""How wide the strokes and counters of letters are, and what of it can be made."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from ...context.element import Context, Finding
from ...geometry.arrays import ragged
from ...geometry.contour import Contours, bounds, inside
from ...geometry.distance import to_contours
from ...geometry.draft import Draft
from ...geometry.types import FloatArray
from ...spec.lettering import Words
from .letters import PlacedGlyph

_FACING = -0.9  # cosine between the normals of two sides that face each other
_SHARE = 0.15  # of the cap height: shorter narrow places do not count


def widths(outline: Contours, cap_height: float) -> tuple[float, float]:
    """Return the narrowest stroke and the narrowest gap inside a letter, mm.

    From points along the outline straight across to the side that faces it, inwards for
    strokes and outwards for gaps. A width counts if it holds along a fair piece of outline;
    pointed ends do not. Infinite where there is none.
    """
    points, normals, weight = _samples(outline, cap_height / 14.0)
    starts = np.concatenate(outline)
    stops = np.concatenate([np.roll(c, -1, axis=0) for c in outline])
    edge = stops - starts
    size = np.hypot(edge[:, 0], edge[:, 1])
    facing = normals @ (np.column_stack([edge[:, 1], -edge[:, 0]]) / size[:, None]).T < _FACING
    found = []
    for sign in (-1.0, 1.0):  # inwards, outwards
        ray = sign * normals
        # Solve point + t·ray = start + s·edge for every ray and edge.
        det = ray[:, :1] * -edge[:, 1] + ray[:, 1:] * edge[:, 0]
        gap = starts[None] - points[:, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (gap[..., 1] * edge[:, 0] - gap[..., 0] * edge[:, 1]) / det
            s = (ray[:, :1] * gap[..., 1] - ray[:, 1:] * gap[..., 0]) / det
        hit = (t > 1e-6) & (s >= 0.0) & (s <= 1.0)
        nearest = np.where(hit, t, np.inf)
        first = np.argmin(nearest, axis=1)
        rows = np.arange(len(points))
        width = np.where(facing[rows, first], nearest[rows, first], np.inf)
        order = np.argsort(width, kind="stable")
        along = np.cumsum(weight[order])
        enough = np.searchsorted(along, min(2.0 * _SHARE * cap_height, 0.3 * along[-1]))
        found.append(float(width[order][enough]))
    return found[0], found[1]


def _samples(outline: Contours, longest: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return points along the outline, outward normals, and the length each stands for."""
    points, normals, weights = [], [], []
    for c in outline:
        step = np.roll(c, -1, axis=0) - c
        size = np.hypot(step[:, 0], step[:, 1])
        pieces = np.maximum(np.ceil(size / longest).astype(np.int64), 1)
        index, place = ragged(pieces)
        t = ((place + 0.5) / pieces[index])[:, None]
        points.append(c[index] + t * step[index])
        normals.append(np.column_stack([step[:, 1], -step[:, 0]])[index] / size[index, None])
        weights.append((size / pieces)[index])
    return np.concatenate(points), np.concatenate(normals), np.concatenate(weights)


def measured(
    cuts: Sequence[PlacedGlyph], words: Words, context: Context, zone: str
) -> tuple[dict[str, Any], list[Finding]]:
    """Return stroke and counter widths of the words, and what is too fine or too far out.

    The widths by letter are (stroke, gap) at the face; a gap is None where there is none.
    """
    outlines = {c.key: (c.text.strip(), c.outline) for c in cuts}
    each = [(text, *widths(outline, words.cap_height)) for text, outline in outlines.values()]
    thin, stroke, _ = min(each, key=lambda w: w[1])
    tight, _, counter = min(each, key=lambda w: w[2])
    facts: dict[str, Any] = {
        "widths_by_letter_mm": {
            text: [round(w, 4) if math.isfinite(w) else None for w in pair] for text, *pair in each
        }
    }
    closing = 0.0  # what the walls of facing sides take of the space between them
    if words.work == "raised" and words.section == "flat":
        closing = 2.0 * words.height * Draft.of_degrees(words.draft).run_per_rise
    findings: list[Finding] = []
    if math.isfinite(stroke):
        facts["narrowest_stroke_mm"] = stroke
        facts["thinnest_letter"] = thin
        facts["narrowest_stroke_at_field_mm"] = stroke + closing
    if math.isfinite(counter):
        facts["narrowest_counter_mm"] = counter
        findings += _closing(tight, counter, closing, words, zone)
    if closing:
        findings += _touching(cuts, closing, zone)
    over = _outside(np.concatenate([p for c in cuts for p in c.placed]), context)
    if over > 0.0:
        reach = context.ground.radius + over
        smaller = math.floor(100.0 * words.cap_height * context.ground.radius / reach) / 100.0
        cure = f"a cap height of {smaller:g} mm"
        if zone == "legend":
            cure = f"a radius smaller by {math.ceil(100.0 * over) / 100.0:g} mm"
        told = (
            f"the letters reach {over:.2f} mm over the edge of the field; {cure} keeps them inside"
        )
        findings.append(Finding(f"{zone}-over-rim", "warning", told, zone, over, 0.0))
    return facts, findings


def _closing(text: str, counter: float, closing: float, words: Words, zone: str) -> list[Finding]:
    if counter >= closing:
        return []
    told = (
        f"openings of {counter:.2f} mm inside '{text}' close before they reach the field: "
        f"{words.draft:g} degrees of draft take {closing:.2f} mm; lower letters, less draft or a "
        "wider face keep them open"
    )
    return [Finding("closing-counter", "note", told, zone, counter, closing)]


def _touching(cuts: Sequence[PlacedGlyph], closing: float, zone: str) -> list[Finding]:
    """Find neighbours that stand apart but whose feet grow together."""
    found: list[tuple[float, str]] = []
    for a, b in pairwise(cuts):
        first, second = a.placed, b.placed
        gap = bounds(second)[0] - bounds(first)[1], bounds(first)[0] - bounds(second)[1]
        if np.max(gap) >= closing:
            continue
        apart = min(
            to_contours(np.concatenate(first), second).min(),
            to_contours(np.concatenate(second), first).min(),
        )
        if 1e-6 < apart < closing:
            found.append((float(apart), f"'{a.text.strip()}' and '{b.text.strip()}'"))
    if not found:
        return []
    least, which = min(found)
    told = (
        f"the feet of {which} grow together: they stand {least:.2f} mm apart and their draft "
        f"takes {closing:.2f} mm; more tracking keeps them apart"
    )
    return [Finding("touching-letters", "note", told, zone, least, closing)]


def _outside(points: FloatArray, context: Context) -> float:
    """Return how far the furthest point lies over the edge of the field, mm; 0 if none does."""
    ground = context.ground
    if not ground.outline:
        return max(float(np.hypot(points[:, 0], points[:, 1]).max()) - ground.radius, 0.0)
    outline = tuple(np.array(c, dtype=np.float64) for c in ground.outline)
    beyond = points[~inside(outline, points)]
    if not len(beyond):
        return 0.0
    return float(to_contours(beyond, outline).max())
