"""How metals look: the colour they reflect, how smooth they are struck, how they tone."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

Colour = tuple[float, float, float]
"""Linear red, green, blue (sRGB primaries)."""


_EXPOSURE = 0.62


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

    @property
    def exposure(self) -> float:
        """Return how long a photographer exposes it: bright metals shorter, yet not grey."""
        seen = [r + 2.0 * b for r, b in zip(self.reflectance, self.body, strict=True)]
        luminance = 0.2126 * seen[0] + 0.7152 * seen[1] + 0.0722 * seen[2]  # ITU-R BT.709
        return _EXPOSURE * math.pow(0.5 / max(luminance, 0.1), 0.38)


# Reflectances straight on: values from memory, of the order of published optical constants
# turned into linear sRGB; toning: common practice, no source.
LOOKS: Mapping[str, Look] = {
    "bronze": Look((0.74, 0.44, 0.21), 0.21, (0.160, 0.074, 0.034), 0.95),
    "brass": Look((0.90, 0.70, 0.33), 0.21, (0.26, 0.160, 0.050), 0.60),
    "copper": Look((0.92, 0.50, 0.34), 0.21, (0.22, 0.072, 0.038), 0.80),
    "cupronickel": Look((0.70, 0.65, 0.59), 0.21, (0.14, 0.122, 0.105), 0.60),
    "fine-silver": Look((0.96, 0.94, 0.90), 0.20, (0.085, 0.080, 0.074), 0.60),
    "sterling-silver": Look((0.95, 0.92, 0.87), 0.20, (0.060, 0.055, 0.050), 0.66),
    "fine-gold": Look((1.00, 0.71, 0.28), 0.20, (0.42, 0.19, 0.035), 0.55),
    "gold-18k": Look((0.98, 0.71, 0.35), 0.20, (0.38, 0.18, 0.050), 0.55),
    "gold-14k": Look((0.95, 0.72, 0.42), 0.20, (0.34, 0.18, 0.065), 0.55),
    "zinc-alloy": Look((0.66, 0.67, 0.68), 0.27, (0.12, 0.122, 0.125), 0.65),
    "nickel": Look((0.66, 0.61, 0.53), 0.20, (0.13, 0.117, 0.100), 0.50),
    "aluminium": Look((0.91, 0.92, 0.92), 0.26, (0.20, 0.20, 0.20), 0.40),
    "titanium": Look((0.54, 0.50, 0.45), 0.26, (0.13, 0.119, 0.106), 0.45),
    "stainless-steel": Look((0.58, 0.57, 0.55), 0.22, (0.12, 0.117, 0.113), 0.45),
    "pewter": Look((0.62, 0.62, 0.60), 0.27, (0.070, 0.071, 0.073), 0.80),
    "wax": Look((0.040, 0.040, 0.040), 0.30, (0.03, 0.10, 0.08), 0.30, (0.10, 0.30, 0.24)),
    "resin": Look((0.045, 0.045, 0.045), 0.28, (0.26, 0.12, 0.03), 0.40, (0.62, 0.34, 0.10)),
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
