"""Find the thickness that gives a piece the mass or the metal cost it was asked for."""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from .assemble import Assembled
from .blank import build_blank
from .errors import SpecError
from .materials import material_named
from .solid import arrays_of
from .spec import MedalSpec
from .tolerance import Tolerance
from .weld import closure

_CLOSE_ENOUGH_G = 5e-5
"""Half of the 0.1 mg that a solved mass is promised to."""

_ROUNDS = 6
"""Mass is a straight line in thickness unless something on the edge follows it, so two
rounds are the rule; more than this means that it cannot be met."""


def asked_mass(spec: MedalSpec) -> float | None:
    """Return the mass in g that a spec asks for by mass or by cost, or None.

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
    if blank.cost:
        return blank.cost / spec.medal.price
    return blank.mass or None


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
    material = material_named(spec.medal.metal)
    thickness = spec.blank.thickness
    for turn in range(_ROUNDS):
        tried = _with_thickness(spec, thickness)
        try:
            done = make(tried, turn)
            thicker = _volume(spec, 1.25 * thickness, tolerance)
            per_mm = material.mass_g(thicker - _volume(spec, thickness, tolerance))
        except SpecError as error:
            if not turn:
                raise
            raise SpecError(
                f"{mass_g:g} g would need a thickness of {thickness:.3f} mm, and there: {error}",
                key="blank.mass",
            ) from None
        short = mass_g - material.mass_g(done.closure.volume_mm3)
        if abs(short) <= _CLOSE_ENOUGH_G:
            return tried, done
        thickness += short / (per_mm / (0.25 * thickness))
        if thickness <= 0:
            raise SpecError(
                f"{mass_g:g} g is too little: rims, relief and letters alone weigh more; the "
                f"piece weighs {mass_g - short:.2f} g at {tried.blank.thickness:g} mm",
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
