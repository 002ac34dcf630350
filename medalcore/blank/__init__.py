"""The blank: outline, both faces' rims and fields, and the edge, as one closed solid."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from ..edge import Reeding, reeding_of
from ..element import Finding
from ..errors import SpecError
from ..ground import Ground
from ..solid import Solid
from ..spec import MedalSpec
from ..tolerance import Tolerance
from .circular import around, round_solid
from .profile import Step, face_steps

__all__ = ["Blanked", "build_blank"]


@dataclass(frozen=True, eq=False)
class Blanked:
    """A finished blank in the piece's coordinates (z = 0 mid-plane, obverse to +z).

    Attributes
    ----------
    solid : Solid
        Zones field and rim on both sides, edge on neither.
    obverse, reverse : Ground
        Each in its own face's coordinates.
    facts : mapping
    findings : tuple of Finding
    """

    solid: Solid
    obverse: Ground
    reverse: Ground
    facts: Mapping[str, Any] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()


def build_blank(spec: MedalSpec, tolerance: Tolerance) -> Blanked:
    """Build the blank with its edge.

    Raises
    ------
    SpecError
        With the key that cannot be made and what would be right.
    """
    blank = spec.blank
    radius = blank.diameter / 2.0
    obverse = face_steps(blank, blank.rim, radius)
    reverse = face_steps(blank, blank.rim, radius)
    reeding = reeding_of(spec.edge, radius, tolerance) if spec.edge.finish == "reeded" else None
    findings = _check_depth(reeding, radius, obverse, reverse) if reeding else ()
    grounds = _grounds(spec, radius, obverse[-1], reverse[-1])
    edge = around(radius, reeding, tolerance)
    solid = round_solid(edge, (obverse, grounds[0]), (reverse, grounds[1]), tolerance)
    return Blanked(solid, *grounds, _facts(spec, reeding, grounds), findings)


def _grounds(spec: MedalSpec, radius: float, obverse: Step, reverse: Step) -> tuple[Ground, Ground]:
    """Return both fields, and how deep an element may sink its foot on each.

    The space between the fields is shared: neither foot comes nearer to the middle of that
    space than a twentieth of it, so feet of the two faces never touch.
    """
    dishes = spec.obverse.field.dish, spec.reverse.field.dish
    for name, foot, dish in zip(("obverse", "reverse"), (obverse, reverse), dishes, strict=True):
        if abs(dish) >= radius - foot.inset:
            raise SpecError(
                f"a field {radius - foot.inset:.3g} mm in radius cannot be {abs(dish):g} mm deep; "
                "at most a half sphere",
                key=f"{name}.field.dish",
            )
    lows = [s.z - max(d, 0.0) for s, d in zip((obverse, reverse), dishes, strict=True)]
    space = lows[0] + lows[1]
    if space <= 0.02 * spec.blank.thickness:
        key = "obverse.field.dish" if dishes[0] > max(dishes[1], 0.0) else "reverse.field.dish"
        raise SpecError(
            f"only {space:.3g} mm would be left between the two fields of a piece "
            f"{spec.blank.thickness:g} mm thick; lower the rims or the dish, or make it thicker",
            key=key if max(dishes) > 0.0 else "blank.rim.height",
        )
    middle = (lows[0] - lows[1]) / 2.0
    return (
        Ground(obverse.z, radius - obverse.inset, dishes[0], middle + 0.05 * space),
        Ground(reverse.z, radius - reverse.inset, dishes[1], -middle + 0.05 * space),
    )


def _check_depth(
    reeding: Reeding, radius: float, obverse: tuple[Step, ...], reverse: tuple[Step, ...]
) -> tuple[Finding, ...]:
    """Refuse notches that reach the field; tell of those that run past the edge break.

    Raises
    ------
    SpecError
        If the notches cut through the rim.
    """
    rim = min(max((s.inset for s in steps[:-1]), default=0.0) for steps in (obverse, reverse))
    if len(obverse) > 2 and reeding.depth >= rim - 1e-3:
        raise SpecError(
            f"notches {reeding.depth:g} mm deep cut through the rim, which ends {rim:.3g} mm "
            "from the edge",
            key="edge.depth",
        )
    if reeding.depth >= 0.9 * radius:
        raise SpecError(f"at most {0.9 * radius:.3g} mm deep", key="edge.depth")
    chamfer = obverse[1].inset if len(obverse) > 1 and obverse[1].zone == "edge" else 0.0
    if 0.0 < chamfer < reeding.depth:
        return (
            Finding(
                "reeds",
                "note",
                f"the notches are {reeding.depth:g} mm deep and run past the edge break of "
                f"{chamfer:g} mm: they show on the rim",
                "edge.depth",
                reeding.depth,
                chamfer,
            ),
        )
    return ()


def _facts(
    spec: MedalSpec, reeding: Reeding | None, grounds: tuple[Ground, Ground]
) -> dict[str, Any]:
    facts: dict[str, Any] = {
        "diameter_mm": spec.blank.diameter,
        "thickness_mm": spec.blank.thickness,
        "field_radius_mm": [g.radius for g in grounds],
    }
    if reeding:
        facts["reeds"] = reeding.count
        facts["pitch_mm"] = round(reeding.pitch, 6)
        facts["notch_width_mm"] = round(reeding.opening, 6)
    return facts
