"""What can be wrong with a piece, looked for on the finished mesh."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

import numpy as np

from ..context.element import Finding, Severity
from ..context.materials import material_named
from ..context.medal import Medal
from ..geometry.types import FloatArray
from ..spec import MedalSpec
from .collar import collar_findings
from .law import law_findings

_OVERHANG_MM = 2e-3
"""How far a triangle may lean inwards before it counts as undercut: as far as the chords of
a curve may lie from the curve at fine, which is the truth any of these surfaces has."""


def inspect(medal: Medal, spec: MedalSpec) -> tuple[Finding, ...]:
    """Return everything a person should know about `medal`."""
    found = [
        *_undercuts(medal, spec),
        *_above_the_rim(medal, spec),
        *_drafts(spec),
        *_skin(spec),
        *collar_findings(spec),
        *law_findings(medal, spec),
    ]
    return tuple(found)


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings by severity; those that say the same of several places as one."""
    places: dict[Finding, dict[str, None]] = {}
    for finding in findings:
        places.setdefault(replace(finding, where=""), {})[finding.where] = None
    merged = [replace(f, where=", ".join(filter(None, found))) for f, found in places.items()]
    return tuple(sorted(merged, key=lambda f: _RANK.index(f.severity)))


_RANK: tuple[Severity, ...] = ("error", "warning", "note", "remark")

_RELEASE: Mapping[str, tuple[Severity, str]] = {
    "struck": ("error", "a die cannot leave that"),
    "milled": ("error", "a cutter that comes from above does not reach under it"),
    "cast": ("warning", "a two-part mould cannot leave that; a lost pattern or a soft mould can"),
    "printed": ("note", "it prints, and may want supports"),
}
"""What an undercut means by process (common practice, no source)."""


def _undercuts(medal: Medal, spec: MedalSpec) -> list[Finding]:
    """Find relief triangles that hang over, as seen from above their face."""
    severity, meaning = _RELEASE[spec.medal.process]
    corner = medal.vertices[medal.triangles]
    cross = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    size = np.linalg.norm(cross, axis=1)
    # a wall that leans in hides as much ground as it is wide when seen from above
    shadow = np.abs(cross[:, 2]) / np.maximum(_longest_side(corner), 1e-12)
    found = []
    raised = [i for i, n in enumerate(medal.zone_names) if n not in ("edge", "loop")]
    for side, name in ((1, "obverse"), (-1, "reverse")):
        facing = (side * cross[:, 2] < 0) & (shadow > _OVERHANG_MM)
        bad = (medal.side == side) & np.isin(medal.zone, raised) & facing
        if bad.any():
            area = float(size[bad].sum() / 2.0)
            zones = sorted({medal.zone_names[z] for z in medal.zone[bad]})
            found.append(
                Finding(
                    "undercut",
                    severity,
                    f"{area:.3f} mm² of {', '.join(zones)} hang over on the {name}; {meaning}",
                    name,
                    area,
                    0.0,
                )
            )
    return found


def _longest_side(corner: FloatArray) -> FloatArray:
    """Return the longest side of triangles (n, 3, 3) seen from above, mm."""
    side = np.linalg.norm((corner - np.roll(corner, 1, axis=1))[:, :, :2], axis=2)
    longest: FloatArray = side.max(axis=1)
    return longest


_ABOVE: Mapping[str, tuple[Severity, str]] = {
    "struck": (
        "warning",
        "struck pieces keep all modelling below it, so that they stack and the relief does not "
        "wear; lower it or give a higher rim",
    ),
    "cast": ("remark", "such pieces do not stack, and what stands highest wears first"),
}
"""What modelling above the rim means; cast stands for all that is not struck (common practice,
no source)."""


def _above_the_rim(medal: Medal, spec: MedalSpec) -> list[Finding]:
    """Tell where modelling stands above the rim, which then cannot protect it."""
    half = spec.blank.thickness / 2.0
    found = []
    for side, name in ((1, "obverse"), (-1, "reverse")):
        points = medal.points(medal.side == side)
        over = float((side * points[:, 2]).max() - half) if len(points) else 0.0
        if over > 0.005:
            severity, meaning = _ABOVE.get(spec.medal.process, _ABOVE["cast"])
            found.append(
                Finding(
                    "above-rim",
                    severity,
                    f"the {name} stands {over:.2f} mm above the rim; {meaning}",
                    name,
                    over,
                    0.0,
                )
            )
    return found


# Johnson, Encyclopedia of Coin and Medal Technology, entry on draft (NNP dictionary 514990):
# hand-cut dies need at least 5 degrees; below that a piece sometimes sticks.
_STRUCK_DRAFT = 5.0


def _drafts(spec: MedalSpec) -> list[Finding]:
    """Find drafts too steep for a die."""
    if spec.medal.process != "struck":
        return []
    return [
        Finding(
            "draft",
            "warning",
            f"{degrees:g} degrees of draft may stick in the die; give at least "
            f"{_STRUCK_DRAFT:g} for a struck piece",
            path,
            degrees,
            _STRUCK_DRAFT,
        )
        for path, degrees in _walls(spec)
        if degrees < _STRUCK_DRAFT
    ]


def _walls(spec: MedalSpec) -> Iterator[tuple[str, float]]:
    """Yield the spec path and draft of every wall that a die has to leave, degrees."""
    for name, face in (("obverse", spec.obverse), ("reverse", spec.reverse)):
        for kind in ("relief", "legend", "inscription", "exergue"):
            for i, table in enumerate(getattr(face, kind)):
                if getattr(table, "section", "flat") != "vee":  # that slopes by its depth
                    yield f"{name}.{kind}[{i}].draft", table.draft
        for i, panel in enumerate(face.field.panel):
            yield f"{name}.field.panel[{i}].slope", panel.slope
        for i, circle in enumerate(face.field.circle):
            yield f"{name}.field.circle[{i}].slope", circle.slope
    rims = {"blank.rim": spec.blank.rim, "obverse.rim": spec.obverse.rim,
            "reverse.rim": spec.reverse.rim}  # fmt: skip
    if spec.obverse.rim and spec.reverse.rim:
        del rims["blank.rim"]
    for path, rim in rims.items():
        if rim and rim.width and rim.height:
            yield f"{path}.slope", rim.slope


def _skin(spec: MedalSpec) -> list[Finding]:
    """Warn of nickel where a material holds it: that of the piece, and of its core."""
    core = spec.blank.core
    metals = {"medal.metal": spec.medal.metal}
    if core.diameter and core.metal not in ("", spec.medal.metal):
        metals["blank.core.metal"] = core.metal
    found = []
    for where, name in metals.items():
        material = material_named(name, where)
        if material.nickel:
            found.append(
                Finding(
                    "nickel",
                    "note",
                    f"{material.title} can release nickel; worn on the skin it may cause allergy, "
                    "and many places limit it (in the EU: REACH Annex XVII entry 27)",
                    where,
                )
            )
    return found
