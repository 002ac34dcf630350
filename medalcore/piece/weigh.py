"""What a piece weighs, and the thickness that gives it the mass or the cost it was asked for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import msgspec
import numpy as np

from ..context.materials import material_named
from ..context.tolerance import Tolerance
from ..elements.blank import build_blank
from ..errors import SpecError
from ..geometry.closure import closure, inner_bodies
from ..geometry.solid import arrays_of
from ..spec import MedalSpec
from .assemble import Assembled

_CLOSE_ENOUGH_G = 5e-5
"""Half of the 0.1 mg that a solved mass is promised to."""

_ROUNDS = 8
"""Mass is a straight line in thickness unless something on the edge follows it, so two or
three rounds are the rule; more than this means that it cannot be met."""

_THICKEST = 200.0
"""mm; the most that `blank.thickness` takes."""


@dataclass(frozen=True)
class Weight:
    """What one closed body of a piece weighs.

    Attributes
    ----------
    part : str
        ``piece``, or ``ring`` and ``core``.
    metal : str
    volume_mm3, mass_g : float
    """

    part: str
    metal: str
    volume_mm3: float
    mass_g: float


def weighed(spec: MedalSpec, done: Assembled) -> tuple[Weight, ...]:
    """Weigh every body of a piece, the core in its own metal.

    Raises
    ------
    SpecError
        If a metal is not known.
    """
    metal, core = spec.medal.metal, spec.blank.core
    if not core.diameter:
        return (_weight("piece", metal, done.closure.volume_mm3, "medal.metal"),)
    corner = done.vertices[done.triangles]
    six = np.einsum("ij,ij->i", corner[:, 0], np.cross(corner[:, 1], corner[:, 2]))
    within = float(six[inner_bodies(done.vertices, done.triangles)].sum() / 6.0)
    return (
        _weight("ring", metal, done.closure.volume_mm3 - within, "medal.metal"),
        _weight("core", core.metal or metal, within, "blank.core.metal"),
    )


def _weight(part: str, metal: str, volume: float, key: str) -> Weight:
    return Weight(part, metal, volume, material_named(metal, key).mass_g(volume))


def asked_mass(spec: MedalSpec) -> float | None:
    """Return the mass in g that a spec asks for by mass or by cost, or None.

    A cost counts as the mass of the ring's metal that it pays for.

    Raises
    ------
    SpecError
        If both are given, or a cost without a price.
    """
    blank = spec.blank
    if blank.mass and blank.cost:
        raise SpecError("give either blank.mass or blank.cost, not both", key="blank.cost")
    if blank.cost and not spec.medal.price:
        raise SpecError(
            "needs the price of the metal for one gram in medal.price", key="blank.cost"
        )
    if blank.cost and not price_of(spec, "core"):
        raise SpecError(
            "needs the price of the core's metal for one gram in blank.core.price",
            key="blank.cost",
        )
    if blank.cost:
        return blank.cost / spec.medal.price
    return blank.mass or None


def price_of(spec: MedalSpec, part: str) -> float:
    """Return the price of a part's metal for one gram; 0 if none is given."""
    if part == "core" and spec.blank.core.metal not in ("", spec.medal.metal):
        return spec.blank.core.price
    return spec.medal.price


def metal_cost(spec: MedalSpec, weights: Sequence[Weight]) -> float | None:
    """Return what the metal of parts costs, if there is a price for all of them."""
    prices = [price_of(spec, w.part) for w in weights]
    if not all(prices):
        return None
    return round(sum(w.mass_g * p for w, p in zip(weights, prices, strict=True)), 4)


def _counted(spec: MedalSpec, done: Assembled) -> float:
    """Return the mass of a piece in g; for a cost asked for, of as much metal of the ring."""
    weights = weighed(spec, done)
    if not spec.blank.cost:
        return sum(w.mass_g for w in weights)
    return sum(w.mass_g * price_of(spec, w.part) for w in weights) / spec.medal.price


def assemble_to_mass(
    spec: MedalSpec,
    mass_g: float,
    tolerance: Tolerance,
    make: Callable[[MedalSpec, int], Assembled],
) -> tuple[MedalSpec, Assembled]:
    """Assemble a piece whose thickness gives it a mass.

    Parameters
    ----------
    spec : MedalSpec
        Its thickness is where the search starts.
    mass_g : float
    tolerance : Tolerance
    make : callable
        Assembles a spec, told which round of the search it is.

    Returns
    -------
    spec : MedalSpec
        With the thickness found.
    done : Assembled
        Weighs `mass_g` to within 0.1 mg.

    Raises
    ------
    SpecError
        If no thickness gives the mass.
    """
    thickness, before = spec.blank.thickness, None
    for turn in range(_ROUNDS):
        tried = _with_thickness(spec, thickness)
        try:
            done = make(tried, turn)
            mass = _counted(spec, done)
            if before is None:
                thicker = _volume(spec, 1.25 * thickness, tolerance)
                gain = (thicker - _volume(spec, thickness, tolerance)) / (0.25 * thickness)
                per_mm = gain * mass / done.closure.volume_mm3
            else:
                per_mm = (mass - before[1]) / (thickness - before[0])
        except SpecError as error:
            if not turn:
                raise
            raise SpecError(
                f"{mass_g:g} g would need a thickness of {thickness:.3f} mm, and there: {error}",
                key="blank.mass",
            ) from None
        short = mass_g - mass
        if abs(short) <= _CLOSE_ENOUGH_G:
            return tried, done
        before = thickness, mass
        thickness += short / per_mm
        if thickness <= 0:
            raise SpecError(
                f"{mass_g:g} g is too little: rims, relief and letters alone weigh more; the "
                f"piece weighs {mass:.2f} g at {tried.blank.thickness:g} mm",
                key="blank.mass",
            )
        if thickness > _THICKEST:
            raise SpecError(
                f"{mass_g:g} g would need a thickness of {thickness:.0f} mm; at most "
                f"{_THICKEST:g} mm",
                key="blank.mass",
            )
    raise SpecError(f"no thickness gives {mass_g:g} g", key="blank.mass")


def _with_thickness(spec: MedalSpec, thickness: float) -> MedalSpec:
    blank = msgspec.structs.replace(spec.blank, thickness=thickness, mass=0.0, cost=0.0)
    return msgspec.structs.replace(spec, blank=blank)


def _volume(spec: MedalSpec, thickness: float, tolerance: Tolerance) -> float:
    blank = build_blank(_with_thickness(spec, thickness), tolerance)
    vertices, triangles, _, _ = arrays_of(blank.solid)
    return closure(vertices, triangles).volume_mm3
