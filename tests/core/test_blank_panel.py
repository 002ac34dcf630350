"""Panels and inner borders of any outline, measured back from the mesh."""

import math

import numpy as np
import pytest
import shapely

from medalcore import build
from medalcore.context.ground import placement
from medalcore.context.panel_height import Terrace, section_of
from medalcore.context.tolerance import tolerance_for
from medalcore.elements.blank import build_blank
from medalcore.elements.blank.outline import outline_of
from medalcore.errors import MedalError, SpecError
from medalcore.geometry.closure import closure
from medalcore.geometry.solid import arrays_of
from medalcore.spec import spec_from_dict

MICRON = 0.001
FINE = tolerance_for("fine")
LEAN = math.tan(math.radians(10.0))
OUTLINES = {
    "round": {},
    "oval": {"outline": "oval", "height": 32.0},
    "pentagon": {"outline": "polygon", "sides": 5},
    "lobes": {"outline": "scalloped", "scallop_depth": 1.5},
}
SEVERAL = [
    {"shape": "outline", "inset": 4.0, "width": 0.6, "height": 0.2},
    {"shape": "polygon", "size": 12.0, "at": [5.0, 3.0], "turn": 20.0},
    {"shape": "oval", "size": 9.0, "tall": 6.0, "at": [-8.0, -3.0], "height": 0.15, "turn": -30.0},
    {"shape": "round", "size": 5.0, "at": [-6.0, 6.0], "width": 0.5, "height": -0.2},
]


def made(panels, side="obverse", quality="fine", dish=0.0, **blank):
    """Return the blank and the corners (m, 3, 3) of a face's field, as its viewer sees it."""
    spec = {"blank": blank, side: {"field": {"panel": panels, "dish": dish}}}
    piece = build_blank(spec_from_dict(spec), tolerance_for(quality))
    v, f, code, labels = arrays_of(piece.solid)
    proof = closure(v, f)
    assert proof.is_closed, proof
    assert proof.bodies == 1
    sign = 1 if side == "obverse" else -1
    of = [i for i, x in enumerate(labels) if (x.zone, x.side) == ("field", sign)]
    return piece, (v[f[np.isin(code, of)]]) @ placement("medal", sign)[:, :3]


def at_height(corners, rise, level=1.2):
    points = corners.reshape(-1, 3)
    return np.unique(points[np.abs(points[:, 2] - level - rise) < 1e-6][:, :2], axis=0)


@pytest.mark.parametrize("side", ["obverse", "reverse"])
@pytest.mark.parametrize("height", [-0.3, 0.25])
def test_a_square_panel_off_the_middle_measures_as_asked(side, height):
    """10 mm over the corners of a sharp square: √50 over its flats; upper edge is its outline."""
    panel = {
        "shape": "polygon", "size": 10.0, "at": [4.0, -3.0], "height": height, "corner_radius": 0.0
    }  # fmt: skip
    _, corners = made([panel], side)
    level = at_height(corners, height)
    low, high = level.min(axis=0), level.max(axis=0)
    lean = 0.0 if height > 0 else abs(height) * LEAN
    np.testing.assert_allclose((low + high) / 2.0, [4.0, -3.0], atol=MICRON)
    np.testing.assert_allclose(high - low, math.sqrt(50.0) - 2.0 * lean, atol=2 * MICRON)
    if height < 0:
        opening = at_height(corners, 0.0)
        near = opening[np.abs(opening - [4.0, -3.0]).max(axis=1) < math.sqrt(12.5) + 0.01]
        np.testing.assert_allclose(np.ptp(near, axis=0), math.sqrt(50.0), atol=2 * MICRON)


@pytest.mark.parametrize("name", list(OUTLINES))
@pytest.mark.parametrize("height", [-0.2, 0.2])
def test_an_inner_border_follows_the_outline_as_a_true_offset(name, height):
    """Distances from the piece's own outline, by shapely."""
    panel = {"shape": "outline", "inset": 4.5, "width": 0.7, "height": height}
    piece, corners = made([panel], **OUTLINES[name])
    spec = spec_from_dict({"blank": OUTLINES[name]})
    line = shapely.LinearRing(outline_of(spec.blank, FINE)[0])
    far = line.distance(shapely.points(at_height(corners, height)))
    lean = 0.0 if height > 0 else 0.2 * LEAN
    assert far.min() == pytest.approx(4.5 + lean, abs=2 * MICRON)
    assert far.max() == pytest.approx(4.5 + 0.7 - lean, abs=2 * MICRON)
    assert min(abs(piece.obverse.highest - 1.4), abs(piece.obverse.lowest - 1.0)) < 1e-9


@pytest.mark.slow
@pytest.mark.parametrize("name", list(OUTLINES))
@pytest.mark.parametrize("dish", [0.0, 0.3, -0.3])
def test_several_panels_lie_where_the_ground_says(name, dish):
    """Every corner and triangle's middle, on flat, hollow and domed fields, across the surface."""
    piece, corners = made(SEVERAL, dish=dish, **OUTLINES[name])
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    upright = np.abs(normal[:, 2]) / np.maximum(np.linalg.norm(normal, axis=1), 1e-12)
    for points in (corners[:, 0], corners.mean(axis=1)):
        off = np.abs(points[:, 2] - piece.obverse.height(points[:, :2]))
        # At the ends of a wall, 1 µm to the side is 5.7 µm up or down: across it counts.
        ends = np.zeros(len(points), dtype=bool)
        for t in piece.obverse.terraces:
            depth = t.depth(points[:, :2])
            for knot, _ in t.section:
                ends |= np.abs(depth - knot) < 2 * MICRON
        assert (off * np.where(ends, np.minimum(upright, LEAN), upright)).max() < 2 * MICRON
    rises = np.round(corners[..., 2] - piece.obverse.lifted(0.0).height(corners[..., :2]), 3)
    assert {-0.2, 0.0, 0.15, 0.2} <= set(rises.ravel().tolist())


@pytest.mark.parametrize("alignment", ["medal", "coin", 37.0])
def test_panels_of_the_reverse_lie_where_its_viewer_was_told(alignment):
    """A pentagon is not its own mirror image: its border must follow the outline all the same."""
    blank = {"outline": "polygon", "sides": 5, "turn": 11.0}
    face = {"field": {"panel": SEVERAL[:3]}}
    plain = {"medal": {"alignment": alignment}, "blank": blank, "reverse": face}
    spec = spec_from_dict(plain)
    piece = build_blank(spec, FINE)
    v, f, code, labels = arrays_of(piece.solid)
    of = [i for i, x in enumerate(labels) if (x.zone, x.side) == ("field", -1)]
    points = v[np.unique(f[np.isin(code, of)])]
    seen = points @ placement(alignment, -1)[:, :3]
    rise = seen[:, 2] - 1.2
    off = np.abs(seen[:, 2] - piece.reverse.height(seen[:, :2]))
    assert (off * LEAN).max() < 2 * MICRON
    line = shapely.LinearRing(outline_of(spec.blank, FINE)[0])
    border = line.distance(shapely.points(points[np.abs(rise - 0.2) < 1e-6][:, :2]))
    assert border.min() == pytest.approx(4.0, abs=2 * MICRON)
    assert border.max() == pytest.approx(4.6, abs=2 * MICRON)
    plate = seen[np.abs(rise - 0.15) < 1e-6][:, :2]
    np.testing.assert_allclose(
        (plate.min(axis=0) + plate.max(axis=0)) / 2.0, [-8.0, -3.0], atol=2 * MICRON
    )


def test_a_sunk_panel_takes_a_frustum_away():
    """A round one is a cone frustum, πh(a² + ab + b²)/3."""
    volumes = []
    for panels in ([], [{"size": 16.0, "height": -0.4, "at": [2.0, 1.0], "slope": 20.0}]):
        piece, _ = made(panels)
        volumes.append(closure(*arrays_of(piece.solid)[:2]).volume_mm3)
    foot = 8.0 - 0.4 * math.tan(math.radians(20.0))
    taken = math.pi * 0.4 * (64.0 + 8.0 * foot + foot * foot) / 3.0
    assert volumes[0] - volumes[1] == pytest.approx(taken, rel=2e-4)


@pytest.mark.parametrize("height", [-0.1, 0.1])
@pytest.mark.parametrize("dish", [0.15, -0.15])
def test_a_narrow_border_with_wide_walls_keeps_its_level_part(height, dish):
    """0.03 mm level between walls of 0.1 mm at 45 degrees, on a hollow field."""
    panel = {"size": 2.0, "width": 0.23 if height < 0 else 0.03, "height": height, "slope": 45.0}
    piece, corners = made([panel], dish=dish, diameter=12.0, thickness=1.4)
    points = corners.reshape(-1, 3)
    rise = points[:, 2] - piece.obverse.lifted(0.0).height(points[:, :2])
    level = np.hypot(*points[np.abs(rise - height) < 1e-3][:, :2].T)
    assert np.ptp(level) == pytest.approx(0.03, abs=2 * MICRON)


def test_a_panel_from_a_drawing_stands_upright_as_it_was_drawn(tmp_path):
    path = tmp_path / "arch.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 20 H10 V5 C10 0 0 0 0 5 Z"/></svg>'
    )
    panel = {"shape": "drawing", "drawing": str(path), "size": 14.0, "height": 0.2}
    for side in ("obverse", "reverse"):
        _, corners = made([panel], side)
        top = at_height(corners, 0.2)
        foot = top[top[:, 1] < top[:, 1].min() + 1e-6]
        assert np.ptp(foot[:, 0]) > 5.0
        assert np.ptp(top[np.abs(top[:, 1] - top[:, 1].max()) < 0.05, 0]) < 3.0


def test_letters_and_relief_stand_on_the_panel_they_are_placed_on():
    panel = {"shape": "oval", "size": 26.0, "tall": 12.0, "height": -0.4}
    words = {"text": "LUX", "cap_height": 5.0, "height": 0.25}
    spec = {"obverse": {"field": {"panel": [panel]}, "inscription": [words]}}
    medal = build(spec_from_dict(spec), "draft")
    assert medal.is_closed
    zone = medal.zone_names.index("inscription")
    z = medal.vertices[np.unique(medal.triangles[medal.zone == zone]), 2]
    assert z.max() == pytest.approx(1.2 - 0.4 + 0.25, abs=2 * MICRON)
    assert z.min() == pytest.approx(1.2 - 0.4, abs=2 * MICRON)


def test_letters_over_a_panels_wall_leave_no_gap_below():
    """Raised on the field, running out over a sunk panel: their feet reach its floor."""
    panel = {"size": 14.0, "height": -0.5}
    words = {"text": "LUMEN", "cap_height": 5.0, "height": 0.25, "at": [0.0, 5.5]}
    spec = {"obverse": {"field": {"panel": [panel]}, "inscription": [words]}}
    medal = build(spec_from_dict(spec), "draft")
    assert medal.is_closed
    assert medal.report["bodies"] == 1
    assert not [f for f in medal.findings if f.rule == "undercut"]


@pytest.mark.parametrize(
    ("panels", "key", "words"),
    [
        ([{"size": 40.0}], "size", "past the field; make it smaller or move it"),
        ([{"size": 10.0, "at": [14.0, 0.0]}], "size", "past the field"),
        ([{"shape": "outline", "inset": 1.0}], "inset", "past the field; move it inwards"),
        ([{"shape": "outline", "inset": 25.0}], "inset", "nothing of the piece"),
        ([{"size": 10.0}, {"size": 9.0, "at": [6.0, 0.0]}], "at", "overlaps .*panel.0"),
        ([{"size": 10.0, "height": -3.0}], "height", "both faces together"),
        ([{"size": 10.0, "height": 0.0}], "height", "none"),
        ([{"size": 10.0, "width": 0.1, "height": -0.4}], "width", "leave nothing"),
        ([{"size": 10.0, "width": 5.0}], "width", "0 makes a panel"),
        ([{"size": 0.3, "height": -0.9}], "size", "leave nothing"),
        ([{"shape": "polygon", "size": 8.0, "corner_radius": 4.0}], "corner_radius", "do not fit"),
        ([{"shape": "drawing"}], "drawing", "names no SVG file"),
        ([{"shape": "drawing", "drawing": "gone.svg"}], "drawing", "gone.svg"),
    ],
)  # fmt: skip
def test_panels_that_cannot_be_made_get_one_line_with_their_key(panels, key, words):
    with pytest.raises(MedalError, match=words) as caught:
        made(panels, quality="draft")
    assert f"obverse.field.panel[{len(panels) - 1}].{key}" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("outline", ["round", "rectangle"])
def test_a_sunk_circle_that_is_all_wall_is_refused(outline):
    """0.2 mm deep at 10 degrees its wall is 0.2 tan 10 = 0.0353 mm wide."""
    spec = {"blank": {"outline": outline}, "obverse": {"field": {}}}
    for radius in (0.01, 0.0353):
        circle = {"radius": radius, "width": 0.0, "height": -0.2}
        spec["obverse"]["field"]["circle"] = [circle]
        with pytest.raises(SpecError, match=r"walls 0\.0353 mm wide leave nothing") as caught:
            build_blank(spec_from_dict(spec), tolerance_for("draft"))
        assert caught.value.key == "obverse.field.circle[0].radius"


def test_panels_keep_off_circles_and_holes():
    field = {"circle": [{"radius": 10.0}], "panel": [{"size": 6.0, "at": [9.0, 0.0]}]}
    with pytest.raises(SpecError, match="across a circle"):
        build_blank(spec_from_dict({"obverse": {"field": field}}), tolerance_for("draft"))
    for panel in ({"shape": "outline"}, {"size": 12.0}):
        with pytest.raises(SpecError, match=r"over a hole .* goes round the hole"):
            made([panel], quality="draft", hole={"shape": "round"})
    made([{"shape": "outline", "width": 6.0}], quality="draft", hole={"shape": "round"})


def test_distances_in_a_terrace_are_those_of_plane_geometry():
    """A lobed outline against shapely, inside, outside, at corners and beyond its reach."""
    spec = spec_from_dict({"blank": {"outline": "scalloped", "diameter": 24.0}})
    contour = outline_of(spec.blank, FINE)[0]
    terrace = Terrace((tuple(map(tuple, contour.tolist())),), section_of(0.3, 0.05, 0.8))
    points = np.vstack([np.random.default_rng(7).uniform(-14, 14, (3000, 2)), contour + 1e-4])
    shape = shapely.Polygon(contour)
    where = shapely.points(points)
    true = shapely.distance(shape.exterior, where) * np.where(shape.contains(where), 1, -1)
    np.testing.assert_allclose(terrace.depth(points), np.clip(true, -0.95, 0.95), atol=1e-12)


def test_a_changed_drawing_of_a_panel_is_seen_by_the_cache(tmp_path):
    from medalcore.context.stages import StageCache

    path = tmp_path / "panel.svg"
    panel = {"shape": "drawing", "drawing": str(path), "size": 14.0}
    spec = spec_from_dict({"obverse": {"field": {"panel": [panel]}}})
    cache, volumes = StageCache(), []
    for shape in ('<rect width="9" height="9"/>', '<rect width="9" height="5"/>'):
        path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg">{shape}</svg>')
        volumes.append(build(spec, "draft", cache=cache).volume_mm3)
    assert volumes[0] < volumes[1] - 1.0


def test_walls_too_steep_for_a_die_are_told_of():
    """Hand-cut dies want 5 degrees (Johnson, Encyclopedia of Coin and Medal Technology)."""
    panels = [{"size": 8.0, "slope": 2.0}, {"size": 4.0, "at": [9.0, 0.0], "slope": 5.0}]
    face = {"field": {"panel": panels}, "rim": {"slope": 3.0}}
    found = build(spec_from_dict({"obverse": face}), "draft").findings
    assert [f.where for f in found if f.rule == "draft"] == [
        "obverse.field.panel[0].slope", "obverse.rim.slope",
    ]  # fmt: skip
    cast = {"medal": {"process": "cast"}, "obverse": face}
    assert not [f for f in build(spec_from_dict(cast), "draft").findings if f.rule == "draft"]
