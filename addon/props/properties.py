# SPDX-License-Identifier: GPL-3.0-or-later
"""What Blender stores: the spec on the object, what was built on the mesh."""

from collections.abc import Callable
from typing import Any

import bpy
from bpy.props import BoolProperty, FloatProperty, PointerProperty, StringProperty

from ..medalcore.spec import MedalSpec
from . import chosen_values, groups


class MEDALWRIGHT_PG_built(bpy.types.PropertyGroup):
    """What a mesh was built from and what was measured on it."""

    digest: StringProperty(name="Built From")  # type: ignore[valid-type]
    sources: StringProperty(name="Models Built From")  # type: ignore[valid-type]
    quality: StringProperty(name="Quality")  # type: ignore[valid-type]
    unit: FloatProperty(name="Units per Millimetre")  # type: ignore[valid-type]
    zones: StringProperty(name="Zones")  # type: ignore[valid-type]
    report: StringProperty(name="Report")  # type: ignore[valid-type]


class MEDALWRIGHT_PG_look(bpy.types.PropertyGroup):
    """Which zone and metal a material was made for."""

    zone: StringProperty(name="Zone")  # type: ignore[valid-type]
    metal: StringProperty(name="Metal")  # type: ignore[valid-type]


_classes: list[type] = []


def register(changed: Callable[[Any, bpy.types.Context], None]) -> None:
    """Make and register the groups, then hang them on objects, meshes and materials.

    Parameters
    ----------
    changed : callable
        Called with the group of a property that was changed, and the context.
    """
    _classes.extend(groups.groups_for(MedalSpec, changed, chosen_values.taken))
    spec = _classes[-1]
    piece = type(
        "MEDALWRIGHT_PG_piece",
        (bpy.types.PropertyGroup,),
        {
            "__doc__": "A piece: whether the object is one, and what is asked for.",
            "__module__": __name__,
            "__annotations__": {
                "is_piece": BoolProperty(name="Is a Piece"),
                "live": BoolProperty(
                    name="Live",
                    description="Rebuild it coarsely by itself a moment after every change",
                    default=True,
                    update=changed,
                ),
                "spec": PointerProperty(type=spec),
            },
        },
    )
    _classes.extend((piece, MEDALWRIGHT_PG_built, MEDALWRIGHT_PG_look))
    for made in _classes:
        bpy.utils.register_class(made)
    bpy.types.Object.medalwright = PointerProperty(type=piece)
    bpy.types.Mesh.medalwright = PointerProperty(type=MEDALWRIGHT_PG_built)
    bpy.types.Material.medalwright = PointerProperty(type=MEDALWRIGHT_PG_look)


def unregister() -> None:
    """Take the groups back."""
    for owner in (bpy.types.Object, bpy.types.Mesh, bpy.types.Material):
        del owner.medalwright
    while _classes:
        bpy.utils.unregister_class(_classes.pop())
