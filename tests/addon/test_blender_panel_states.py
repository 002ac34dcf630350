"""What panels show: numbers that were chosen, how a build stands, sizes, lists."""

from __future__ import annotations

import math
import re
from itertools import pairwise
from typing import Any

import bpy
import pytest
from drawn_panels import draw_all


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
