# SPDX-License-Identifier: GPL-3.0-or-later
"""Numbers that need not be given: 0 in a spec, in the panel a tick to take and what is chosen."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from bpy.props import BoolProperty

from ..medalcore.spec import Auto, Key

Taken = Callable[[Any, Auto], float | None]
"""Gives what was chosen in the last build for a group, in the unit of the spec."""


def switch(key: Key, name: str, auto: Auto, common: dict[str, str], taken: Taken) -> Any:
    """Return the property that tells, and sets, whether a number is given.

    Parameters
    ----------
    key : Key
    name : str
        Of the property that holds the number, angles in radians.
    auto : Auto
    common : dict
        Name and description.
    taken : callable
        See `Taken`.
    """

    def is_given(group: Any) -> bool:
        return bool(getattr(group, name))

    def give(group: Any, wanted: bool) -> None:
        if wanted == is_given(group):
            return
        value = taken(group, auto) or auto.start
        if key.unit == "deg":
            value = math.radians(value)
        setattr(group, name, (round(value) if key.kind == "int" else value) if wanted else 0)

    return BoolProperty(get=is_given, set=give, **common)
