"""The field of a face as elements see it."""

import numpy as np
import pytest
from counting import counted

from medalcore.context.ground import Ground
from medalcore.context.tolerance import tolerance_for
from medalcore.elements.blank import build_blank
from medalcore.errors import SpecError
from medalcore.geometry.closure import closure
from medalcore.geometry.solid import arrays_of


def test_a_flat_field_is_level_everywhere():
    ground = Ground(level=1.2, radius=18.0, dish=0.0, floor=0.1)
    assert ground.lowest == ground.highest == 1.2
    np.testing.assert_array_equal(ground.height(np.array([[0.0, 0.0], [30.0, 2.0]])), 1.2)


def test_a_dish_is_a_sphere_through_its_rim_and_its_sagitta():
    """Radius from chord and sagitta, (c²/4 + s²)/2s (plane geometry): 400.25 for 40 and 0.5."""
    ground = Ground(level=1.0, radius=20.0, dish=0.5, floor=0.0)
    r = np.linspace(0.0, 20.0, 9)
    z = ground.height(np.column_stack([r, np.zeros(9)]))
    centre = 0.5 + 400.25
    np.testing.assert_allclose(np.hypot(r, z - centre), 400.25, rtol=1e-12)
    assert ground.lowest == 0.5
    assert ground.height(np.zeros(2)) == pytest.approx(0.5, abs=1e-12)


@pytest.mark.parametrize("dish", [0.35, -0.35])
@pytest.mark.parametrize("outline", ["round", "oval", "constant-width"])
def test_the_mesh_of_the_field_is_where_the_ground_says(dish, outline):
    """Every point and every triangle's middle of both fields, within 2 µm at fine."""
    spec = counted(
        {
            "blank": {"outline": outline, "height": 36.0},
            "obverse": {"field": {"dish": dish}},
            "reverse": {"field": {"dish": 0.1}},
        }
    )
    blank = build_blank(spec, tolerance_for("fine"))
    v, f, code, labels = arrays_of(blank.solid)
    for side, ground in ((1, blank.obverse), (-1, blank.reverse)):
        of = [i for i, x in enumerate(labels) if x.zone == "field" and x.side == side]
        corner = v[f[np.isin(code, of)]]
        for points in (corner.reshape(-1, 3), corner.mean(axis=1)):
            off = side * points[:, 2] - ground.height(points[:, :2])
            assert np.abs(off).max() < 0.002


@pytest.mark.parametrize("thickness", [0.5, 1.0, 3.0])
def test_feet_on_both_faces_never_meet(thickness):
    """Floors count from the mid-plane, each in its own face's direction."""
    spec = counted(
        {
            "blank": {"thickness": thickness, "chamfer": 0.05, "rim": {"height": 0.1}},
            "obverse": {"field": {"dish": 0.25 * thickness}},
        }
    )
    blank = build_blank(spec, tolerance_for("draft"))
    assert blank.obverse.floor > -blank.reverse.floor
    assert blank.obverse.floor < blank.obverse.lowest
    assert blank.reverse.floor < blank.reverse.lowest
    space = blank.obverse.lowest + blank.reverse.lowest
    assert blank.obverse.lowest - blank.obverse.floor > 0.4 * space


def test_the_outline_of_the_field_is_told_in_face_coordinates():
    """An outline that is not its own mirror image: the reverse sees it turned over."""
    spec = {"blank": {"outline": "polygon", "sides": 5, "turn": 10.0}}
    grounds = build_blank(counted(spec), tolerance_for("draft"))
    front = np.array(grounds.obverse.outline[0])
    back = np.array(grounds.reverse.outline[0])
    for points in (front, back):
        q = np.roll(points, -1, axis=0)
        assert np.sum(points[:, 0] * q[:, 1] - q[:, 0] * points[:, 1]) > 0.0
    np.testing.assert_allclose(np.sort(front[:, 0]), np.sort(-back[:, 0]), atol=1e-9)
    assert np.abs(np.sort(front[:, 0]) - np.sort(back[:, 0])).max() > 0.05
    coin = build_blank(counted({**spec, "medal": {"alignment": "coin"}}), tolerance_for("draft"))
    np.testing.assert_allclose(
        np.sort(front[:, 1]), np.sort(-np.array(coin.reverse.outline[0])[:, 1]), atol=1e-9
    )


def test_a_round_field_needs_no_outline_unless_it_has_a_hole():
    plain = build_blank(counted({}), tolerance_for("draft"))
    assert plain.obverse.outline == ()
    holed = build_blank(counted({"blank": {"hole": {"shape": "round"}}}), tolerance_for("draft"))
    assert len(holed.obverse.outline) == 2
    v, f, _, _ = arrays_of(holed.solid)
    assert closure(v, f).genus == 1


@pytest.mark.parametrize("outline", ["round", "polygon"])
@pytest.mark.parametrize("height", [0.2, -0.2])
def test_a_circle_is_as_wide_and_high_as_asked(outline, height):
    circle = {"radius": 12.0, "width": 0.8, "height": height, "slope": 12.0}
    spec = {"blank": {"outline": outline}, "obverse": {"field": {"circle": [circle]}}}
    blank = build_blank(counted(spec), tolerance_for("fine"))
    v, f, code, labels = arrays_of(blank.solid)
    assert closure(v, f).is_closed
    of = [i for i, x in enumerate(labels) if x.zone == "field" and x.side == 1]
    points = v[np.unique(f[np.isin(code, of)])]
    r, z = np.hypot(points[:, 0], points[:, 1]), points[:, 2] - blank.obverse.level
    np.testing.assert_allclose(points[:, 2], blank.obverse.height(points[:, :2]), atol=1e-6)
    there = np.abs(z - height) < 1e-6
    lean = 0.2 * np.tan(np.radians(12.0))
    widest = 12.0 if height > 0 else 12.0 - lean
    assert r[there].max() == pytest.approx(widest, abs=0.002)
    # Raised, the width is that of the top; sunk, that of the opening.
    assert np.ptp(r[there]) == pytest.approx(0.8 if height > 0 else 0.8 - 2 * lean, abs=0.002)
    assert blank.obverse.highest - blank.obverse.lowest == pytest.approx(0.2)


def test_a_sunk_panel_counts_for_what_is_left_between_the_faces():
    panel = {"radius": 10.0, "width": 0.0, "height": -0.6}
    spec = {"obverse": {"field": {"circle": [panel]}}, "blank": {"thickness": 2.0}}
    blank = build_blank(counted(spec), tolerance_for("draft"))
    assert blank.obverse.lowest == pytest.approx(0.7 - 0.6)
    assert -blank.reverse.floor < blank.obverse.floor < blank.obverse.lowest
    both = {**spec, "reverse": {"field": {"circle": [{**panel, "height": -0.8}]}}}
    with pytest.raises(SpecError, match="between the two fields"):
        build_blank(counted(both), tolerance_for("draft"))


@pytest.mark.parametrize(
    ("circles", "hole"),
    [
        ([{"radius": 18.5}], "none"),
        ([{"radius": 12.0}, {"radius": 12.3}], "none"),
        ([{"radius": 6.0, "width": 0.0}, {"radius": 5.0}], "none"),
        ([{"radius": 4.5}], "round"),
        ([{"radius": 12.0, "width": 0.0}], "round"),
        ([{"radius": 12.0, "width": 0.1, "height": -0.6}], "none"),
    ],
)
def test_circles_that_do_not_fit_name_their_key(circles, hole):
    spec = {"obverse": {"field": {"circle": circles}}, "blank": {"hole": {"shape": hole}}}
    with pytest.raises(SpecError) as caught:
        build_blank(counted(spec), tolerance_for("draft"))
    assert caught.value.key.startswith("obverse.field.circle[")
