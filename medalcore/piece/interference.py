"""What elements do to each other, found on the finished piece: elements do not know of each other.

Every triangle of the finished piece still knows the letter, cell or element it comes from. What
of a unit's own surface is left to be seen, against what it had before it was put together with
the others, is what survives of it; units that share vertices meet; and where the feet of two
raised units come near without touching there is a narrow gap (`gaps.py`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from ..context.element import LOST, Finding, Severity
from ..context.openings import BASE, EDGE, LOOP, NAMES, RIM, opening_at
from ..geometry.types import FloatArray
from .field_steps import across_steps
from .gaps import narrow_gaps, thin_strokes
from .meetings import Meeting, meetings_of
from .standing import Finished, Owner, Standing, areas, rise
from .takers import Look, Taken

_TOLD = 0.005
"""Share of a unit below which what another has of it is not told."""

MOST = 0.5
"""Share of a relief or a border from which on it is warned that it is lost to what is no element;
beads along a line may leave less of the line."""

BURIED = 0.95
"""Share from which on nothing of a relief or a border counts as left."""

_SHOWN = ("add", "cut")
_NONE_MM2 = 1e-9
_WORDS = ("legend", "inscription", "exergue")
_AIR = 0.45
"""Of the cap height, left between words and a border in what is proposed."""

_DONE = {"add": "covered", "cut": "cut away", "clear": "cleared away", "ground": "worked away"}
_NAMED = 3
"""Letters told by name; the rest is counted."""

_OTHERS = {
    RIM: "covered by the rim",
    LOOP: "covered by the loop",
    BASE: "hidden by the field",
    **{number: f"cut away by {name}" for number, name in NAMES.items()},
}


def interferences(
    finished: Finished, standing: Sequence[Standing], process: str
) -> Iterator[Finding]:
    """Yield what elements lose to each other, where they meet, and where gaps are narrow."""
    everyone = {s.first + n: (s, unit) for s in standing for n, unit in enumerate(s.units)}
    owner = {number: own for number, own in everyone.items() if own[0].action in _SHOWN}
    if not owner:
        return
    losses = _losses(finished, [s for s in standing if s.action in _SHOWN], max(everyone) + 1)
    lost = {number: float(losses[number]) for number in owner}
    look = Look(finished, everyone)
    told: set[tuple[str, str]] = set()
    for finding, pair in _told_losses(lost, everyone, look):
        if finding.severity != "remark":
            told.add(pair)
        yield finding
    meetings = meetings_of(finished, owner)
    of_elements = [m for m in meetings.items() if m[0][0] in owner]
    for (a, b), meeting in sorted(of_elements, key=lambda m: -max(lost[n] for n in m[0])):
        pair = owner[a][0].path, owner[b][0].path
        if pair[0] == pair[1] or pair in told or pair[::-1] in told:
            continue
        found = _told_meeting(a, b, meeting, owner, lost, look)
        if found is not None:
            told.add(pair)
            yield found
    holed = {k: m for k, m in meetings.items() if k[0] == EDGE}
    yield from _told_holes(holed, told, owner, lost)
    hidden = {path for path, other in told if other == _OTHERS[BASE]}
    for finding, step in across_steps(standing, _WORDS, hidden):
        told.add((finding.where, step))
        yield finding
    yield from thin_strokes(standing, process)
    yield from narrow_gaps(finished, owner, set(meetings), told, process)


def _losses(finished: Finished, shown: Sequence[Standing], count: int) -> FloatArray:
    """Return the share of every unit that is not to be seen on the finished piece.

    It is measured on level faces, tops or floors, where they make up most of a unit: what walls
    lose to a ground that is higher or lower under a part of them is not missed.
    """
    of = finished.unit >= 0
    triangles, unit = finished.triangles[of], finished.unit[of]
    seen = rise(finished.vertices, triangles) * finished.side[of] > 0.0
    after, after_level = areas(finished.vertices, triangles[seen], unit[seen], count)
    lost = np.zeros(count)
    for s in shown:
        vertices, triangles, unit = s.own
        before, level = areas(vertices, triangles, unit, count)
        some = slice(s.first, s.first + len(s.units))
        if np.any(level[some] < 0.5 * before[some]):
            before = _bare(s, count)
        left = np.where(level[some] < 0.5 * before[some], after[some], after_level[some])
        own = np.where(level[some] < 0.5 * before[some], before[some], level[some])
        lost[some] = np.where(own > _NONE_MM2, 1.0 - left / np.maximum(own, _NONE_MM2), 0.0)
    return lost


def _bare(s: Standing, count: int) -> FloatArray:
    """Return the area of units above the field, or below it if they are cut, seen from above."""
    vertices, triangles, unit = s.own
    sign = -1.0 if s.action == "cut" else 1.0
    above = sign * (vertices[:, 2] - s.ground.height(vertices[:, :2]))
    corner = np.sort(above[triangles], axis=1)
    seen = np.abs(rise(vertices, triangles)) / 2.0
    return np.asarray(np.bincount(unit, seen * _share_above(corner), count), dtype=np.float64)


def _share_above(corner: FloatArray) -> FloatArray:
    """Return the share of triangles above 0, by the sorted heights (n, 3) of their corners.

    A corner cut off a triangle has the product of the shares of its two sides as its area.
    """
    a, b, c = corner.T
    with np.errstate(divide="ignore", invalid="ignore"):
        one = np.where(c > 0.0, (c / (c - a)) * (c / (c - b)), 0.0)  # only c above
        two = 1.0 - (a / (a - b)) * (a / (a - c))  # only a below
    share = np.where(b > 0.0, two, one)
    return np.where(a >= 0.0, 1.0, np.where(c <= 0.0, 0.0, share))


def _told_losses(
    lost: Mapping[int, float], owner: Owner, look: Look
) -> Iterator[tuple[Finding, tuple[str, str]]]:
    """Yield findings, and the paths of both elements, for every pair where one loses to the other.

    Of two that lose to each other only the one that loses more is told, worst pairs first. An
    error where a letter, a cell or an emblem has lost more than it may.
    """
    by_pair: dict[tuple[str, str], list[tuple[int, Taken, int]]] = {}
    for number, share in lost.items():
        if share <= LOST:
            continue
        s, unit = owner[number]
        for taker, taken in look.takers(number, share).items():
            other = owner[taker][0].path if taker >= 0 else _OTHERS[taker]
            if other != s.path or unit.keeps:
                by_pair.setdefault((s.path, other), []).append((number, taken, taker))
    told: set[tuple[str, str]] = set()
    for pair, found in sorted(by_pair.items(), key=lambda item: -max(f[1].share for f in item[1])):
        if sum(taken.share for _, taken, _ in found) > _TOLD and pair[::-1] not in told:
            told.add(pair)
            yield _told_loss(*pair, found, lost, owner), pair


def _told_loss(
    path: str,
    other: str,
    found: list[tuple[int, Taken, int]],
    lost: Mapping[int, float],
    owner: Owner,
) -> Finding:
    """Say what an element loses to another: units, what they lost, and the taker of each."""
    found = sorted(found, key=lambda f: -f[1].share)
    number, worst, taker = found[0]
    s, unit = owner[number]
    names = list(dict.fromkeys(owner[n][1].name for n, _, _ in found))
    what, of = "", ""
    if names[0]:
        what = ", ".join(names[:_NAMED])
        what += f" and {len(found) - _NAMED} more" if len(names) > _NAMED else ""
        what += " "
    if len(names) > 1:
        of = f" of {unit.name}"
    by = other
    if taker >= 0:
        by = f"{_DONE[owner[taker][0].action]} by {other} {owner[taker][1].name}".strip()
    told = (
        f"{what}{'are' if len(names) > 1 else 'is'} {by}: {100.0 * worst.share:.0f} %{of} "
        f"is lost, near {worst.where[0]:.1f}, {worst.where[1]:.1f} mm"
    )
    severity: Severity = "remark"
    asked = taker >= 0 and owner[taker][0].action == "clear" and s.kind not in _WORDS
    if unit.keeps and worst.share > LOST and not (s.may_overlap or asked):
        severity = "error"
        cure = _cure(s, owner[taker][0] if taker >= 0 else None)
        told += f"; {cure}, or set overlap if it is meant"
    elif not unit.keeps and lost[number] > (MOST if taker < 0 else BURIED):
        is_gone = lost[number] > BURIED
        severity = "error" if is_gone else "warning"
        told += ", and nothing of it is left" if is_gone else ""
        told += f"; {_way_out(taker)}"
    return Finding("lost", severity, told, path, worst.share, LOST)


def _way_out(taker: int) -> str:
    """Say what would keep a relief or a border from what most of it is lost to."""
    if taker >= 0 or taker == BASE:
        return "leave it out, or make it higher"
    if taker in NAMES and taker != EDGE:
        return f"move it off {NAMES[taker]}"
    return "move it inwards, or make it smaller"


def _told_holes(
    meetings: Mapping[tuple[int, int], Meeting],
    told: set[tuple[str, str]],
    owner: Owner,
    lost: Mapping[int, float],
) -> Iterator[Finding]:
    """Yield one finding for every element that a hole, a joint or the edge cuts into a little."""
    for (_, number), meeting in sorted(meetings.items(), key=lambda m: -lost[m[0][1]]):
        s, unit = owner[number]
        opening = int(opening_at(s.ground, np.array([meeting.where]))[0])
        if (s.path, _OTHERS[opening]) in told:
            continue
        told.add((s.path, _OTHERS[opening]))
        message = (
            f"{unit.name} is cut into by {NAMES[opening]}, "
            f"near {meeting.where[0]:.1f}, {meeting.where[1]:.1f} mm: "
            f"{100.0 * lost[number]:.1f} % is lost"
        ).lstrip()
        severity: Severity = "note" if s.kind in _WORDS and unit.keeps else "remark"
        yield Finding("meeting", severity, message, s.path, lost[number], LOST)


def _cure(words: Standing, other: Standing | None) -> str:
    """Say what would keep two elements apart."""
    radius = words.facts.get("baseline_radius_mm")
    if other is not None and other.kind == "border" and radius is not None:
        one, two = (np.hypot(*s.own[0][:, :2].T) for s in (words, other))
        if one.min() < two.min() < one.max():
            inside = radius - (one.max() - two.min()) - _AIR * words.facts["cap_height_mm"]
            if inside > 0.0:
                return (
                    f"a radius of {np.floor(inside * 10.0) / 10.0:g} mm keeps the words inside it"
                )
    return "move one of them, or make it smaller"


def _share_lost(path: str, other: str, lost: Mapping[int, float], owner: Owner, look: Look) -> str:
    """Say what share of an element, of its letter or part that loses most, another has."""
    worst, name = 0.0, ""
    for number, share in lost.items():
        if owner[number][0].path != path or share <= worst:
            continue
        takers = look.takers(number, share).items()
        own = sum(t.share for n, t in takers if n in owner and owner[n][0].path == other)
        if own > worst:
            worst, name = own, owner[number][1].name
    return f"{100.0 * worst:.1f} % of " + (f"{path} {name}" if name else path)


def _told_meeting(
    one: int, two: int, meeting: Meeting, owner: Owner, lost: Mapping[int, float], look: Look
) -> Finding | None:
    """Return what to say of two units that meet and lose little or nothing by it.

    What stands wholly on a relief or an emblem is meant to stand there, and the line of an
    exergue may run up to a border.
    """
    (a, unit_a), (b, unit_b) = owner[one], owner[two]
    words = [k in _WORDS for k in (a.kind, b.kind)]
    if words[1] and not words[0]:
        (a, unit_a), (b, unit_b) = (b, unit_b), (a, unit_a)
    kinds = {a.kind, b.kind}
    severity: Severity = "remark"
    if all(words) or (any(words) and "border" in kinds):
        severity = "warning"
        if "border" in kinds and not unit_a.keeps:
            return None
    elif not meeting.straddles:
        return None
    elif "emblem" in kinds and "relief" not in kinds:
        severity = "note"
    u, v = meeting.where
    told = f"it and {b.path} run into each other near {u:.1f}, {v:.1f} mm"
    number = max((one, two), key=lambda n: lost[n])
    if severity != "remark":
        first, second = (
            _share_lost(x.path, y.path, lost, owner, look) for x, y in ((a, b), (b, a))
        )
        told += f": {first} and {second} are lost to the other; {_cure(a, b)}"
    elif lost[number] > _TOLD:
        s, unit = owner[number]
        told += f", and {100.0 * lost[number]:.1f} % of {unit.name or s.path} is lost"
    return Finding("meeting", severity, told, a.path, lost[number], LOST)
