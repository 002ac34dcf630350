"""What stands across panels and circles, or near to them, is told with its share and its place.

Shares and gaps are those of plane geometry on the drawn shapes, by shapely.
"""

import re

import numpy as np
import pytest
import shapely
from counting import counted

from medalcore import StageCache, build, height_field
from medalcore.errors import SpecError

BLANK = {"diameter": 40, "thickness": 3.2, "rim": {"width": 1.3, "height": 0.4}}
BAR = {"text": "I", "font": "sans-bold", "cap_height": 6.0, "height": 0.2, "draft": 8.0}
CACHE = StageCache()
SLAB = {"array:slab": height_field(np.ones((60, 60)), pixel=0.1)}
RED = '<rect width="100" height="100" fill="#f00"/>'


@pytest.fixture
def square(tmp_path):
    file = tmp_path / "square.svg"
    file.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">{RED}</svg>')
    return str(file)


def _piece(face, **blank):
    spec = counted({"blank": {**BLANK, **blank}, "obverse": face})
    return build(spec, "draft", cache=CACHE, models=SLAB)


def _told(medal, rule):
    """Return findings and remarks of a rule as (severity, where, message, measured)."""
    found = [(f.severity, f.where, f.message, f.measured) for f in medal.findings if f.rule == rule]
    remarks = [r for r in medal.report["remarks"] if r["rule"] == rule]
    return found + [("remark", r["where"], r["message"], r["measured"]) for r in remarks]


def _place(message):
    return tuple(map(float, re.search(r"near ([-\d.]+), ([-\d.]+) mm", message).groups()))


def _disc(radius):
    return shapely.Point(0.0, 0.0).buffer(radius, quad_segs=256)


@pytest.mark.parametrize("height", [0.15, -0.15])
@pytest.mark.parametrize("kind", ["relief", "emblem", "inscription"])
def test_what_stands_across_a_circle_is_told(square, kind, height):
    """A square of 6 mm, or a letter, whose middle the outer edge of a ring runs through."""
    face = {"field": {"circle": [{"radius": 8.0, "width": 1.0, "height": height, "slope": 1.0}]}}
    table = {
        "relief": {"source": "array:slab", "fit": 6.0, "height": 0.2},
        "emblem": {"drawing": square, "fit": 6.0, "height": 0.2},
        "inscription": BAR,
    }[kind]
    ring = _disc(8.0) - _disc(7.0)
    medal = _piece({**face, kind: [{**table, "at": [7.6, 0.0]}]})
    ((severity, where, message, measured),) = _told(medal, "across-step")
    assert severity == ("remark" if kind == "relief" else "warning")
    assert where == f"obverse.{kind}[0]"
    assert "across the edge of a circle, a step of 0.15 mm" in message
    assert measured == pytest.approx(0.15, abs=1e-3)
    assert ring.boundary.distance(shapely.Point(*_place(message))) < 0.08
    if kind != "inscription":
        area = shapely.box(4.6, -3.0, 10.6, 3.0)
        share = (area & ring).area / area.area
        told = float(re.search(r"with (\d+) %", message)[1]) / 100.0
        assert told == pytest.approx(min(share, 1.0 - share), abs=0.02)
    for x in (0.0, 13.5):  # inside it, outside it
        assert not _told(_piece({**face, kind: [{**table, "at": [x, 0.0]}]}), "across-step")


def test_a_border_across_a_panel_is_told():
    panel = {"shape": "rectangle", "size": 20.0, "height": -0.2}
    face = {"field": {"panel": [panel]}, "border": [{"kind": "beads", "radius": 10.0}]}
    ((severity, where, message, _),) = _told(_piece(face), "across-step")
    assert (severity, where) == ("note", "obverse.border[0]")
    assert "across the edge of a panel, a step of 0.20 mm" in message


@pytest.mark.parametrize("work", ["raised", "levels"])
def test_an_emblem_reaches_down_to_a_circle_between_its_corners(square, work):
    """Nothing above the mid-plane looks down: the ring is sunk, no tunnel runs through it."""
    face = {"field": {"circle": [{"radius": 8.0, "width": 1.0, "height": -0.3}]}}
    emblem = {"drawing": square, "fit": 6.0, "height": 0.2, "work": work, "at": [8.0, 0.0]}
    medal = _piece({**face, "emblem": [emblem]})
    corner = medal.vertices[medal.triangles].astype(np.float64)
    up = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])[:, 2] / 2.0
    assert not np.any(up[corner[..., 2].min(axis=1) > 0.0] < -1e-3)


def test_a_cell_across_a_step_or_a_hole_is_an_error(square):
    """By the area that lies on the level of its middle, walls of metal not counted."""
    cells = {"drawing": square, "fit": 6.0, "work": "cells", "depth": 0.2}
    area = shapely.box(5.0, -3.0, 11.0, 3.0)
    circle = {"circle": [{"radius": 10.0, "width": 0.0, "height": 0.15, "slope": 1.0}]}
    drill = {"diameter": 2.0, "inset": 11.0, "angle": 90.0, "chamfer": 0.0}
    hole = shapely.Point(9.0, 0.0).buffer(1.0, quad_segs=256)
    for field, more, left, by in (
        (circle, {}, area & _disc(10.0), "the edge of a panel or a circle"),
        ({}, {"drill": drill}, area - hole, "the drilled hole"),
    ):
        face = {"field": field, "emblem": [{**cells, "at": [8.0, 0.0]}]}
        (error,) = [t for t in _told(_piece(face, **more), "lost") if t[0] == "error"]
        assert error[1] == "obverse.emblem[0]"
        assert f"cell of #ff0000 lies across {by}" in error[2]
        assert error[3] == pytest.approx(1.0 - left.area / area.area, abs=0.005)
        assert left.distance(shapely.Point(*_place(error[2]))) < 0.06
        face["emblem"][0]["overlap"] = True
        assert not [t for t in _told(_piece(face, **more), "lost") if t[0] == "error"]
    apart = {"field": circle, "emblem": [{**cells, "at": [3.0, 0.0]}]}
    assert not [t for t in _told(_piece(apart), "lost") if t[0] == "error"]


def test_a_hole_and_a_joint_in_a_panel_or_a_circle_are_told():
    drill = {"diameter": 3.0, "inset": 11.0, "angle": 90.0, "chamfer": 0.0}
    panel = {"shape": "rectangle", "size": 6.0, "tall": 8.0, "at": [8.0, 0.0], "slope": 1.0}
    face = {"field": {"panel": [panel]}}
    ((severity, where, message, share),) = _told(_piece(face, drill=drill), "meeting")
    assert (severity, where) == ("remark", "obverse.field")
    assert message.startswith("a panel is cut through by the drilled hole, near 9.0, ")
    assert share == pytest.approx(np.pi * 1.5**2 / 48.0, abs=0.01)
    ((_, _, message, share),) = _told(_piece(face, core={"diameter": 16.0}), "meeting")
    assert "a panel lies across the joint round the core" in message
    inside = shapely.box(5.0, -4.0, 11.0, 4.0) & _disc(8.0)
    assert share == pytest.approx(inside.area / 48.0, abs=0.02)
    texture = {"texture": [{"kind": "rays", "depth": 0.05}]}
    ((_, where, message, _),) = _told(_piece(texture, drill=drill), "meeting")
    assert where == "obverse.texture[0]"
    assert "cut through by the drilled hole" in message


@pytest.mark.parametrize("work", ["raised", "sunk"])
def test_a_letter_near_a_circle_is_told_with_the_gap(work):
    """Raised beside a raised ring, sunk beside a sunk one; widths from the drawn bar."""
    rise = 0.2 if work == "raised" else -0.2
    words = {**BAR, "work": work, "cap_height": 4.0}
    words = words if work == "raised" else {k: v for k, v in words.items() if k != "height"}
    medal = _piece({"inscription": [words]})
    letter = medal.zone == medal.zone_names.index("inscription")
    corner = medal.vertices[medal.triangles[letter]]
    half = np.abs(corner[..., 0]).max()  # at the field, its walls included
    for gap in (0.08, 0.25):
        ring = {"radius": 10.0, "width": 1.0, "height": rise, "slope": 10.0}
        inner = 9.0 - max(rise, 0.0) * np.tan(np.radians(10.0))
        x = float(np.sqrt(inner**2 - 2.0**2) - gap - half)  # its corners come nearest
        face = {"field": {"circle": [ring]}, "inscription": [{**words, "at": [x, 0.0]}]}
        found = _told(_piece(face), "narrow-gap")
        true = inner - np.hypot(x + half, 2.0)
        if gap > 0.15:
            assert not found
            continue
        ((severity, where, message, measured),) = found
        assert (severity, where) == ("warning", "obverse.inscription[0]")
        assert "between a circle and obverse.inscription[0] 'I'" in message
        assert measured == pytest.approx(true, abs=0.03)


def test_a_gap_names_the_opening_beside_it():
    drill = {"diameter": 2.0, "inset": 4.0, "angle": 90.0, "chamfer": 0.0}
    words = {k: v for k, v in BAR.items() if k != "height"} | {"work": "sunk"}
    medal = _piece({"inscription": [{**words, "at": [14.3, 0.0]}]}, drill=drill)
    ((_, _, message, _),) = _told(medal, "narrow-gap")
    assert "between the drilled hole and obverse.inscription[0] 'I'" in message


def test_cells_that_run_up_to_the_rim_may_be_drawn_a_little_past_it(square):
    """Cut off there, by plane geometry; farther than a wall past it is an error with what fits."""
    field = 20.0 - 0.3 - 1.3 - 0.4 * np.tan(np.radians(10.0))
    cells = {"drawing": square, "fit": 8.0, "work": "cells", "wall": 0.4, "to_rim": True}

    def at(past):
        """Return where the square's corners reach that far past the field."""
        return float(np.sqrt((field + past) ** 2 - 16.0) - 4.0)

    medal = _piece({"emblem": [{**cells, "at": [at(0.2), 0.0]}]})
    corner = medal.vertices[medal.triangles]
    up = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])[:, 2]
    cell = (medal.zone == medal.zone_names.index("emblem")) & (up > 1e-9)
    plan = shapely.union_all(shapely.polygons(corner[cell][..., :2]), grid_size=1e-6)
    x = at(0.2)
    drawn = shapely.box(x - 4.0, -4.0, x + 4.0, 4.0)
    assert (plan - _disc(field + 0.03)).area < 1e-3
    assert (drawn & _disc(field) - plan.buffer(0.02)).area < 0.02
    ((_, _, message, measured),) = [t for t in _told(medal, "cells") if t[0] == "remark"]
    assert "is cut off at the rim" in message
    assert measured == pytest.approx(0.2, abs=0.01)
    with pytest.raises(SpecError, match=r"reaches 0.60 mm .* where to_rim lets it reach 0.4 mm"):
        _piece({"emblem": [{**cells, "at": [at(0.6), 0.0]}]})


def test_a_relief_over_a_hole_is_told_though_all_its_corners_lie_on_the_field():
    """A level slab has no corner over the hole in its middle; it reaches 1.5 mm into it."""
    hole = {"shape": "square", "size": 3.0, "corner_radius": 0.0, "rim_width": 0.0, "chamfer": 0.0}
    slab = {"array:wide": height_field(np.ones((60, 120)), pixel=0.1)}
    relief = {"source": "array:wide", "fit": 12.0, "height": 0.2}
    spec = counted({"blank": {**BLANK, "hole": hole}, "obverse": {"relief": [relief]}})
    medal = build(spec, "draft", cache=CACHE, models=slab)
    (told,) = [f for f in medal.findings if f.rule == "relief-over-rim"]
    assert "into the middle hole" in told.message
    assert told.measured == pytest.approx(1.5, abs=0.12)
