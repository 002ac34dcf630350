"""Every panel drawn onto a stand-in that holds each call against Blender's own interface.

Without a window Blender draws nothing, so a stand-in layout checks in every version that
the functions and keywords exist, and that each property and operator named is there.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import bpy
import pytest

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
        elif name == "operator":
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
    drawn: list[tuple[str, str]] = []
    for panel in part("panels")._classes:
        if getattr(panel, "poll", None) and not panel.poll(bpy.context):
            continue
        stand_in = SimpleNamespace(layout=Layout(drawn))
        for name in ("draw_header", "draw_header_preset", "draw"):
            if hasattr(panel, name):
                getattr(panel, name)(stand_in, bpy.context)
    return drawn


def test_without_a_piece_there_is_a_way_to_begin(addon: Any, part: Any) -> None:
    drawn = draw_all(part)
    assert ("operator", "medalwright.new") in drawn
    assert ("operator", "medalwright.use_millimetres") in drawn
    assert ("operator", "medalwright.make_fine") not in drawn


def test_every_key_can_be_reached(addon: Any, part: Any) -> None:
    """With one element of each kind on a face, every key that counts is drawn."""
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.medalwright.new()
    spec = bpy.context.object.medalwright.spec
    tables, core = part("tables"), part("medalcore.spec")
    for key in tables.keys(core.Face):
        if key.kind == "tables":
            bpy.ops.medalwright.edit_list(path=f"obverse.{key.name}", action="ADD")
    drawn = {name for kind, name in draw_all(part) if kind == "prop"}

    def visit(group: Any, table: Any) -> None:
        for key in tables.keys(table):
            name = tables.attribute_of(key)
            if not part("rows").applies(group, table, key):
                continue
            if key.kind == "table":
                if part("rows").is_wanted(group, key):
                    visit(getattr(group, name), key.table)
            elif key.kind == "tables":
                for item in getattr(group, name):
                    visit(item, key.table)
            elif tables.shape_of(key) not in ("lines", "model", "strokes"):
                assert name in drawn, f"{table.__name__}.{key.name}"

    visit(spec, core.MedalSpec)


@pytest.mark.parametrize("state", ["failed", "running"])
def test_the_state_of_a_build_is_shown(addon: Any, part: Any, state: str) -> None:
    bpy.ops.medalwright.new()
    session = part("live").session
    owner = bpy.context.object.session_uid
    if state == "failed":
        session.errors[owner] = "blank.thickness: too thin"
        assert ("label", "blank.thickness: too thin") in draw_all(part)
    else:
        session.builder._jobs.append(part("jobs").Job(owner, {}, "fine", state="running"))
        drawn = draw_all(part)
        assert ("operator", "medalwright.stop") in drawn
        assert ("operator", "medalwright.make_fine") not in drawn


def test_panels_name_their_tab_and_are_titled(addon: Any, part: Any) -> None:
    panels = part("panels")._classes
    assert {p.bl_category for p in panels} == {"Medalwright"}
    titles = [(getattr(p, "bl_parent_id", ""), p.bl_label) for p in panels]
    assert len(set(titles)) == len(titles)
    for operator in dir(bpy.ops.medalwright):
        rna = getattr(bpy.ops.medalwright, operator).get_rna_type()
        assert rna.description, operator
        assert not rna.description.endswith("."), operator
