"""Booleans on a blank, with what float32 would collapse taken out again."""

from __future__ import annotations

from collections.abc import Sequence

from .closure import closure, mend
from .solid import Solid, arrays_of, solid_from_arrays, united, without

_TIGHT = 1e-5
"""mm; far below a float32 step at 90 mm (8e-6), so nothing that can be seen moves."""


def cut(body: Solid, cutters: Sequence[Solid]) -> Solid:
    """Return `body` without `cutters`, closed as float32 too where that can be had.

    Raises
    ------
    SolidError
        If the boolean fails.
    """
    return _tidy(without(body, cutters))


def joined_to(body: Solid, parts: Sequence[Solid]) -> Solid:
    """Return `body` united with `parts`, tidied like `cut`."""
    return _tidy(united([body, *parts]))


def _tidy(solid: Solid) -> Solid:
    """Mend what would not survive float32; merge short edges only where that is not enough."""
    for tight in (0.0, _TIGHT):
        tried = Solid(solid.manifold.simplify(tight), solid.labels) if tight else solid
        vertices, triangles, code, labels = arrays_of(tried)
        if closure(vertices, triangles).is_closed:
            return tried
        vertices, triangles, code = mend(vertices, triangles, code)
        if closure(vertices, triangles).is_closed:
            return solid_from_arrays(vertices, triangles, labels, code)
    return solid  # the assembly has further means, and the last word
