"""Every panel drawn onto a stand-in that holds each call against Blender's own interface.

Without a window Blender draws nothing, so a stand-in layout checks in every version that
the functions and keywords exist, and that each property and operator named is there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import bpy
import pytest
from drawn_panels import draw_all

SOURCES = ("head.stl", "depth.png", "crest.svg")
"""Files of every kind that a relief is made from."""


def test_without_a_piece_there_is_a_way_to_begin(addon: Any, part: Any) -> None:
    drawn = draw_all(part)
    assert ("operator", "medalwright.new") in drawn
    assert ("operator", "medalwright.use_millimetres") in drawn
    assert ("operator", "medalwright.make_fine") not in drawn


def held(group: Any, tables: Any, table: Any) -> Iterator[tuple[Any, Any, Any]]:
    """Yield every key of a table and of the tables inside it, with its group."""
    for key in tables.keys(table):
        yield group, table, key
        if key.kind == "table":
            yield from held(getattr(group, tables.attribute_of(key)), tables, key.table)
        elif key.kind == "tables":
            for item in getattr(group, key.name):
                yield from held(item, tables, key.table)


def candidates(view: Any, name: str) -> list[Any]:
    """Return values worth trying of a key that another one waits for."""
    prop = view.group.bl_rna.properties[name]
    if name == "source":
        return list(SOURCES)
    if prop.type == "ENUM":
        return [word.identifier for word in prop.enum_items]
    if name == "text":
        return ["WORDS", "TWO\nLINES"]
    return {"STRING": ["WORDS", ""], "BOOLEAN": [True, False], "POINTER": [True, False]}.get(
        prop.type, [3, 0, 0.5]
    )


def put(view: Any, name: str, value: Any) -> None:
    """Set a key another one waits for, the kind of a source and the tick of a table included."""
    if name == "source":
        view.group.source_kind = "FILE"
    pointer = view.group.bl_rna.properties[name].type == "POINTER"
    setattr(view.group, f"{name}_on" if pointer else name, value)


def allow(view: Any, name: str) -> None:
    """Make a key count, whatever it waits for."""
    for _ in range(3):  # first what keeps a whole table from counting, then the key in it
        found = view.hindrance(name)
        if found is None:
            return
        for check in found.condition.checks():
            owner, other = found.view.find(check.path)
            if not check.is_plain:
                allow(owner, other)
            for value in candidates(owner, other):
                put(owner, other, value)
                if view.hindrance(name) is None:
                    return
                if check.passes(owner.value(other)):
                    break


def settings(group: Any) -> dict[str, Any]:
    """Return what can be set of a group."""
    settable = [p.identifier for p in group.bl_rna.properties if not p.is_readonly]
    return {name: getattr(group, name) for name in settable}


def test_every_key_can_be_reached(spec: Any, part: Any) -> None:
    """Blank, edge, core, faces and all their lists: a field for every key, where it applies."""
    tables, core, dependence = (
        part("props.groups"),
        part("medalcore.spec"),
        part("props.visibility"),
    )
    missing, seen = [], 0
    for group, _, key in list(held(spec, tables, core.MedalSpec)):
        if key.kind in ("table", "tables"):
            continue
        name, path, view = tables.attribute_of(key), group.path_from_id(), dependence.view_of(group)
        around, before = view, []
        while around is not None:
            before.append((around.group, settings(around.group)))
            around = around.place and around.place[0]
        allow(view, key.name)
        assert view.hindrance(key.name) is None, f"{path}.{name}"
        for switch in (f"{name}_on", f"{name}_given"):
            if hasattr(group, switch):
                setattr(group, switch, True)
        end = {"lines": "_lines[0].text", "model": "_kind"}.get(tables.shape_of(key), "")
        wanted = f"{path}.{name}{end}"
        if tables.shape_of(key) == "strokes":
            wanted = "medalwright.sculpt_relief"
        seen += 1
        if wanted not in {what for _, what in draw_all(part)}:
            missing.append(wanted)
        for changed, values in before:
            for other, value in values.items():
                setattr(changed, other, value)
    assert not missing
    assert seen > 250


def test_keys_that_do_not_count_are_not_there(spec: Any, part: Any) -> None:
    """Nested tables and lists as well: what a key asks for is refused, and it goes."""
    tables, core, dependence = (
        part("props.groups"),
        part("medalcore.spec"),
        part("props.visibility"),
    )
    refused = 0
    for group, _, key in list(held(spec, tables, core.MedalSpec)):
        view = dependence.view_of(group)
        for check in key.when.checks() if key.when else ():
            owner, name = view.find(check.path)
            before = settings(owner.group)
            for value in candidates(owner, name):
                put(owner, name, value)
                if view.hindrance(key.name) is not None:
                    path = f"{group.path_from_id()}.{tables.attribute_of(key)}"
                    drawn = {what for _, what in draw_all(part)}
                    assert not {path, f"{path}_given"} & drawn, f"{path} with {name} = {value}"
                    refused += 1
                    break
            for other, old in before.items():
                setattr(owner.group, other, old)
    assert refused > 120


@pytest.mark.parametrize(
    ("where", "switch", "value", "keys"),
    [
        ("blank.core", "diameter", 20.0, ("clearance", "metal", "lock")),
        ("blank.drill", "diameter", 2.0, ("inset", "angle", "chamfer")),
        ("blank.rim", "width", 1.0, ("height", "section", "slope", "fillet")),
        ("blank", "chamfer", 0.3, ("break_shape",)),
        ("edge.text", "words", "LIT EVERY NIGHT", ("font", "form", "heads", "depth")),
        ("obverse.legend[0]", "sweep", 2.0, ("fit",)),
        ("reverse.border[0]", "gap", 1.0, ("gap_at",)),
    ],
)
def test_what_is_left_away_needs_no_numbers(
    spec: Any, part: Any, where: str, switch: str, value: Any, keys: tuple[str, ...]
) -> None:
    """A core, a hole, words: their numbers are there once they are."""
    group = spec.path_resolve(where)
    wanted = {f"{group.path_from_id()}.{name}" for name in keys}
    setattr(group, switch, "" if isinstance(value, str) else 0.0)
    drawn = {what for _, what in draw_all(part)}
    given = f"{switch}_given" if hasattr(group, f"{switch}_given") else switch
    assert f"{group.path_from_id()}.{given}" in drawn
    assert not wanted & drawn
    setattr(group, switch, value)
    assert wanted <= {what for _, what in draw_all(part)}


def test_one_number_stands_in_for_another(spec: Any, part: Any) -> None:
    """A wanted mass sets the thickness, a count of reeds their pitch."""
    spec.edge.finish = "reeded"
    path = spec.path_from_id()
    pair = {f"{path}.edge.pitch_given", f"{path}.blank.thickness"}
    assert pair <= {what for _, what in draw_all(part)}
    spec.edge.reeds, spec.blank.mass = 120, 31.103
    assert not pair & {what for _, what in draw_all(part)}


def test_panels_name_their_tab_and_are_titled(addon: Any, part: Any) -> None:
    panels = part("ui.panels")._classes
    assert {p.bl_category for p in panels} == {"Medalwright"}
    titles = [(getattr(p, "bl_parent_id", ""), p.bl_label) for p in panels]
    assert len(set(titles)) == len(titles)
    for operator in dir(bpy.ops.medalwright):
        rna = getattr(bpy.ops.medalwright, operator).get_rna_type()
        assert rna.description, operator
        assert not rna.description.endswith("."), operator


def test_the_panel_tells_a_size_as_a_maker_reads_it(addon: Any, part: Any) -> None:
    """Diameter of a round piece; width, height and thickness of others; what stands beyond."""
    panels, core = part("ui.panels"), part("medalcore")

    def told(text: str) -> dict[str, str]:
        spec = core.parse_spec(f"[blank]\ndiameter = 30.0\n{text}")
        return dict(panels.facts_of(dict(core.build(spec, "draft").report)))

    plain = told("")
    assert (plain["Diameter"], plain["Thickness"]) == ("30.00 mm", "3.00 mm")
    assert told('outline = "oval"\nheight = 20.0')["Size"] == "30.00 \u00d7 20.00 \u00d7 3.00 mm"
    flats = 2.0 * ((15.0 - 1.0) * math.cos(math.pi / 6) + 1.0)
    hexagon = told('outline = "polygon"\nsides = 6')
    assert hexagon["Over All"] == f"30.00 \u00d7 {flats:.2f} \u00d7 3.00 mm"
    assert told('[blank.loop]\nkind = "lug"')["With loop"].startswith("30.00 \u00d7 34.")
