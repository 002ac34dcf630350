"""Every panel drawn onto a stand-in that holds each call against Blender's own interface.

Without a window Blender draws nothing, so a stand-in layout checks in every version that
the functions and keywords exist, and that each property and operator named is there.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import bpy
import pytest

SOURCES = ("head.stl", "depth.png", "crest.svg")
"""Files of every kind that a relief is made from."""

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
    drawn: list[tuple[str, str]] = []
    for panel in part("ui.panels")._classes:
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


@pytest.fixture
def spec(addon: Any, part: Any) -> Any:
    """Return the properties of a piece that has one element in every list, nested ones too."""
    bpy.ops.medalwright.use_millimetres()
    bpy.ops.medalwright.new()
    piece = bpy.context.object
    tables, core = part("props.groups"), part("medalcore.spec")
    with part("work.live").quietly():
        for face in ("obverse", "reverse"):
            for key in tables.keys(core.Face):
                if key.kind == "tables":
                    bpy.ops.medalwright.edit_list(path=f"{face}.{key.name}", action="ADD")
            for key in tables.keys(core.Field):
                if key.kind == "tables":
                    bpy.ops.medalwright.edit_list(path=f"{face}.field.{key.name}", action="ADD")
    return piece.medalwright.spec


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


def test_what_was_chosen_is_told_and_can_be_taken_over(spec: Any, part: Any) -> None:
    """No 0 for what is chosen: the number of the last build, and that number once ticked."""
    values, tables, core = part("props.chosen_values"), part("props.groups"), part("medalcore.spec")
    spec.edge.finish = "reeded"
    for name in ("relief", "legend"):
        bpy.ops.medalwright.edit_list(path=f"obverse.{name}", action="ADD")
    face = spec.obverse
    face.legend[0].shown, face.relief[0].shown = False, False  # has no object, has no number
    bpy.ops.mesh.primitive_monkey_add()
    face.relief[1].source_objects[0].object = bpy.context.object
    bpy.context.view_layer.objects.active = spec.id_data
    face.border.clear()
    bpy.ops.medalwright.rebuild()
    facts = part("scene.pieces").report_of(spec.id_data.data.medalwright.report)["elements"]

    def told(group: Any, table: Any, name: str) -> str:
        key = next(k for k in tables.keys(table) if k.name == name)
        return str(values.told(group, key, key.auto))

    radius = facts["obverse.legend[0]"]["baseline_radius_mm"]
    largest = max(facts["obverse.relief[0]"]["size_mm"])
    assert told(face.legend[1], core.Legend, "radius") == f"Auto: {round(radius, 2):g} mm"
    assert told(face.relief[1], core.Relief, "fit") == f"Auto: {round(largest, 2):g} mm"
    assert told(face.legend[1], core.Legend, "sweep").startswith("Natural: ")
    assert told(face.legend[1], core.Legend, "sweep").endswith("°")
    assert told(spec.edge, core.Edge, "reeds") == f"Auto: {facts['blank']['reeds']}"
    assert told(spec.blank, core.Blank, "mass") == "None"
    labels = {text for kind, text in draw_all(part) if kind == "label"}
    assert f"Auto: {round(largest, 2):g} mm" in labels
    face.relief[1].fit_given = True
    assert face.relief[1].fit == pytest.approx(largest)
    face.legend[1].sweep_given = True
    turn = math.radians(facts["obverse.legend[0]"]["sweep_deg"])
    assert face.legend[1].sweep == pytest.approx(turn)
    face.relief[1].fit_given = False
    assert face.relief[1].fit == 0.0
    assert "fit" not in part("props.convert").to_dict(face.relief[1], core.Relief)


CHOOSES = "chooses|suits|counts|takes|fills|sets|is natural|leaves it natural"
"""What 0 does, in the words of the spec, where a number is chosen."""


def test_every_number_that_is_chosen_says_so(addon: Any, part: Any) -> None:
    """A tick for each key whose sentence tells what 0 chooses, and for no key without."""
    core = part("medalcore.spec")
    named, worded, seen = set(), set(), set()

    def visit(table: Any) -> None:
        seen.add(table)
        for key in core.keys_of(table):
            if key.table is not None and key.table not in seen:
                visit(key.table)
            if key.auto:
                named.add(f"{table.__name__}.{key.name}")
                assert key.default == 0, key.name
                assert re.search(r"\b0 ", key.text), key.name
            if re.search(
                r"\b0 (chooses|suits|counts|takes|fills|sets|is natural|leaves it n)", key.text
            ):
                worded.add(f"{table.__name__}.{key.name}")

    visit(core.MedalSpec)
    assert worded <= named
    assert len(named) > 30


def test_a_core_has_its_metal_by_choice(spec: Any, part: Any) -> None:
    convert, core = part("props.convert"), spec.blank.core
    core.diameter = 20.0
    assert "metal" not in convert.to_dict(spec)["blank"]["core"]
    core.metal = core.bl_rna.properties["metal"].enum_items[1].identifier
    assert convert.to_dict(spec)["blank"]["core"]["metal"] == core.metal
    read = part("medalcore.spec").spec_from_dict({"blank": {"core": {"diameter": 20.0}}})
    convert.fill(spec, read)
    assert core.metal == part("props.groups").NONE


@pytest.mark.parametrize("state", ["failed", "running"])
def test_the_state_of_a_build_is_shown(addon: Any, part: Any, state: str) -> None:
    bpy.ops.medalwright.new()
    session = part("work.live").session
    owner = bpy.context.object.session_uid
    if state == "failed":
        session.errors[owner] = "blank.thickness: too thin"
        assert ("label", "Blank, Thickness: too thin") in draw_all(part)
    else:
        session.builder.submit(part("work.jobs").Job(owner, {}, "fine")).state = "running"
        drawn = draw_all(part)
        assert ("operator", "medalwright.stop") in drawn
        assert ("operator", "medalwright.make_fine") not in drawn


def test_building_in_blender_itself_is_told(addon: Any, part: Any) -> None:
    bpy.ops.medalwright.new()
    part("work.live").session.builder.trouble = "Medals are built in Blender itself"
    assert ("label", "Medals are built in Blender itself") in draw_all(part)


def test_titles_fit_beside_their_numbers(addon: Any, part: Any) -> None:
    """At the sidebar's usual width about seventeen letters are seen; the rest is dots."""
    tables, titles = part("props.groups"), []
    spec = (
        bpy.types.Object.bl_rna.properties["medalwright"].fixed_type.properties["spec"].fixed_type
    )

    def visit(rna: Any, table: Any) -> None:
        for key in tables.keys(table):
            held = rna.properties[tables.attribute_of(key)]
            if key.table is None:
                titles.append(held.name)
            else:
                visit(held.fixed_type, key.table)

    visit(spec, part("medalcore.spec").MedalSpec)
    assert len(titles) > 200
    assert [t for t in titles if len(t) > 17] == []


def test_elements_are_told_apart_in_their_lists(spec: Any, part: Any) -> None:
    title, face = part("ui.lists").title_of_item, spec.obverse
    assert title(face.border[0]) == "Beads"
    face.border[0].kind, face.border[0].drawing = "motif", "/drawings/anchor.svg"
    assert title(face.border[0]) == "anchor.svg"
    assert title(face.field.circle[0]) == "Raised Ring, 24 mm"
    assert title(face.field.panel[0]) == "Round, Sunk Panel"
    face.field.panel[0].shape, face.field.panel[0].width = "outline", 0.5
    assert title(face.field.panel[0]) == "Outline, Sunk Border"
    assert title(face.texture[0]) == "Rays"
    assert title(face.legend[0]) == "WORDS ROUND THE PIECE"
    assert title(face.emblem[0]) == "No File Yet"


def test_what_was_solved_is_shown(spec: Any, part: Any) -> None:
    """A mass asked for: the thickness that was found, the mass met, and reeds as they came."""
    spec.blank.mass = 31.103
    spec.edge.finish, spec.edge.pitch = "reeded", 0.8
    for face in (spec.obverse, spec.reverse):
        for name in ("relief", "legend", "inscription", "exergue", "border", "texture"):
            getattr(face, name).clear()
        face.field.circle.clear()
        face.field.panel.clear()
    bpy.ops.medalwright.rebuild()
    labels = [text for kind, text in draw_all(part) if kind == "label"]
    facts = dict(pairwise(labels))
    assert facts["Mass"] == "31.103 g"
    thick = float(facts["Solved"].removesuffix(" mm thick"))
    assert 3.2 < thick < 3.6
    assert facts["Reeds"] == "157, pitch 0.800 mm"


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
