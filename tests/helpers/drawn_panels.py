"""A layout that stands in for Blender's and holds each call against Blender's own interface."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import bpy

FUNCTIONS = bpy.types.UILayout.bl_rna.functions


class Layout:
    """Stands in for a UILayout; keeps what was drawn."""

    def __init__(self, drawn: list[tuple[str, str]]) -> None:
        self.__dict__["drawn"] = drawn

    def __setattr__(self, name: str, value: Any) -> None:
        assert name in bpy.types.UILayout.bl_rna.properties, name

    def __getattr__(self, name: str) -> Any:
        known = FUNCTIONS[name].parameters.keys()

        def call(*given: Any, **named: Any) -> Any:
            assert set(named) <= set(known), (name, named)
            return self.answer(name, given, named)

        return call

    def answer(self, name: str, given: tuple[Any, ...], named: dict[str, Any]) -> Any:
        """Check what a call names, note it, and return what Blender would."""
        if name == "prop":
            data, which = given[:2]
            assert which in data.bl_rna.properties, (data, which)
            self.drawn.append(("prop", which))
            self.drawn.append(("at", f"{data.path_from_id()}.{which}"))
        elif name in ("operator", "operator_menu_enum"):
            module, operator = given[0].split(".")
            held = getattr(getattr(bpy.ops, module), operator).get_rna_type().properties
            self.drawn.append(("operator", given[0]))
            return Settings(held.keys())
        elif name == "template_list":
            assert hasattr(bpy.types, given[0])
            self.drawn.append(("list", given[3]))
        elif name == "label":
            self.drawn.append(("label", named.get("text", "")))
        elif name == "panel":
            return Layout(self.drawn), Layout(self.drawn)  # as if open
        return Layout(self.drawn)


class Settings:
    """Stands in for an operator's properties on a button."""

    def __init__(self, known: Any) -> None:
        self.__dict__["known"] = set(known)

    def __setattr__(self, name: str, value: Any) -> None:
        assert name in self.known, name


def draw_all(part: Any) -> list[tuple[str, str]]:
    """Draw every panel of the extension and return what was drawn: its kind, and what."""
    drawn: list[tuple[str, str]] = []
    for panel in part("ui.panels")._classes:
        if getattr(panel, "poll", None) and not panel.poll(bpy.context):
            continue
        stand_in = SimpleNamespace(layout=Layout(drawn))
        for name in ("draw_header", "draw_header_preset", "draw"):
            if hasattr(panel, name):
                getattr(panel, name)(stand_in, bpy.context)
    return drawn
