"""How metals look: the colour they reflect, how smooth they are struck, how they tone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

Colour = tuple[float, float, float]
"""Linear red, green, blue (sRGB primaries)."""


@dataclass(frozen=True)
class Look:
    """The look of one material.

    Attributes
    ----------
    reflectance : Colour
        Reflectance straight on (F0), 0 to 1.
    roughness : float
        GGX alpha: 0 a mirror, 0.5 sand-blasted.
    tone : Colour
        Reflectance of the oxide that stays in the recesses.
    toning : float
        How much of it there is, 0 bright from the press to 1 heavily patinated.
    body : Colour
        Diffuse colour below the surface; black for a metal.
    """

    reflectance: Colour
    roughness: float
    tone: Colour
    toning: float
    body: Colour = (0.0, 0.0, 0.0)


# Reflectances straight on: values from memory, of the order of published optical constants
# turned into linear sRGB; toning: common practice, no source.
LOOKS: Mapping[str, Look] = {
    "bronze": Look((0.74, 0.44, 0.21), 0.21, (0.170, 0.080, 0.038), 0.90),
    "brass": Look((0.89, 0.72, 0.36), 0.21, (0.27, 0.175, 0.060), 0.55),
    "copper": Look((0.93, 0.57, 0.42), 0.21, (0.26, 0.090, 0.050), 0.70),
    "cupronickel": Look((0.70, 0.65, 0.59), 0.21, (0.17, 0.150, 0.130), 0.50),
    "fine-silver": Look((0.96, 0.94, 0.90), 0.20, (0.17, 0.160, 0.150), 0.60),
    "sterling-silver": Look((0.95, 0.92, 0.87), 0.20, (0.14, 0.130, 0.120), 0.70),
    "fine-gold": Look((1.00, 0.76, 0.32), 0.20, (0.48, 0.24, 0.05), 0.40),
    "gold-18k": Look((0.98, 0.76, 0.40), 0.20, (0.45, 0.24, 0.07), 0.40),
    "gold-14k": Look((0.95, 0.76, 0.46), 0.20, (0.42, 0.24, 0.08), 0.40),
    "zinc-alloy": Look((0.66, 0.67, 0.68), 0.27, (0.17, 0.172, 0.176), 0.55),
    "nickel": Look((0.66, 0.61, 0.53), 0.20, (0.18, 0.162, 0.140), 0.40),
    "aluminium": Look((0.91, 0.92, 0.92), 0.26, (0.30, 0.30, 0.30), 0.30),
    "titanium": Look((0.54, 0.50, 0.45), 0.26, (0.18, 0.165, 0.150), 0.35),
    "stainless-steel": Look((0.58, 0.57, 0.55), 0.22, (0.17, 0.167, 0.162), 0.35),
    "pewter": Look((0.62, 0.62, 0.60), 0.28, (0.10, 0.101, 0.103), 0.80),
    "wax": Look((0.040, 0.040, 0.040), 0.30, (0.03, 0.10, 0.08), 0.30, (0.10, 0.30, 0.24)),
    "resin": Look((0.045, 0.045, 0.045), 0.28, (0.30, 0.15, 0.04), 0.30, (0.62, 0.36, 0.12)),
}


def look_of(metal: str) -> Look:
    """Return the look of a material by its name in the table of materials.

    A name that has no look of its own looks like the first metal its name contains, or
    else like bronze: a picture should never stop a delivery.
    """
    if metal in LOOKS:
        return LOOKS[metal]
    for look in LOOKS:
        if any(len(word) > 3 and word in metal.lower() for word in look.split("-")):
            return LOOKS[look]
    return LOOKS["bronze"]
