"""Where a model comes to lie on its face, measured back from its depth map."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace
from scipy.spatial.transform import Rotation

from medalcore.context.element import Context, Model
from medalcore.context.ground import Ground
from medalcore.context.tolerance import TOLERANCES
from medalcore.elements.relief import build_relief, model_relief
from medalcore.elements.relief.depth.placement import place_mesh, raw_field
from medalcore.elements.relief.sources.fit import MARGIN_PIXELS, rotate
from medalcore.elements.relief.sources.model import SourceMesh, read_model, source_mesh
from medalcore.errors import SpecError
from medalcore.geometry.clip import clipped
from medalcore.geometry.solid import arrays_of
from medalcore.spec import Crop, Cut, Relief

GROUND = Ground(level=1.0, radius=18.0, dish=0.0, floor=-1.0)


def _cone(sides: int = 720) -> SourceMesh:
    """Return a cone of height 2 on a circle of radius 1, its tip towards +z."""
    angle = 2 * np.pi * np.arange(sides) / sides
    rim = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(sides)])
    vertices = np.vstack([rim, [[0, 0, 2.0]]])
    i = np.arange(sides)
    triangles = np.column_stack([i, (i + 1) % sides, np.full(sides, sides)])
    return source_mesh(vertices, triangles, "cone")


def test_depth_of_a_cone_is_its_formula():
    """Depth is 2 (1 - r) for radius r: placed 20 mm wide, a cone is 20 mm deep."""
    spec = Relief(source="cone", fit=20.0, at=(3.0, -2.0))
    field = raw_field(_cone(), spec, GROUND, 400)
    u, v = np.meshgrid(field.grid.u() - 3.0, field.grid.v() + 2.0)
    expected = 2 * (10.0 - np.hypot(u, v))
    inner = np.hypot(u, v) < 9.9
    assert field.mask[inner].all()
    assert np.abs(field.heights - expected)[inner].max() < 1e-3
    assert not field.heights[~field.mask].any()


def test_the_silhouette_is_as_wide_as_asked_and_where_asked():
    spec = Relief(source="cone", fit=20.0, at=(3.0, -2.0))
    field = raw_field(_cone(), spec, GROUND, 400)
    rows, cols = np.nonzero(field.mask)
    width = field.grid.u()[cols.max()] - field.grid.u()[cols.min()]
    assert width == pytest.approx(20.0, abs=1.5 * field.grid.pixel)
    middle = (field.grid.u()[cols.max()] + field.grid.u()[cols.min()]) / 2
    assert middle == pytest.approx(3.0, abs=field.grid.pixel)
    middle = (field.grid.v()[rows.max()] + field.grid.v()[rows.min()]) / 2
    assert middle == pytest.approx(-2.0, abs=field.grid.pixel)
    assert rows.min() >= MARGIN_PIXELS
    assert cols.max() < field.grid.cols - MARGIN_PIXELS
    assert max(field.grid.shape) == 400


def test_fit_zero_fills_the_field_and_no_more():
    """The farthest point stays within the field, close to its border, also off centre."""
    for at in ((0.0, 0.0), (4.0, 3.0)):
        points, _ = place_mesh(_cone(), Relief(source="cone", at=at), GROUND)
        reach = np.hypot(points[:, 0], points[:, 1]).max()
        assert 0.9 * GROUND.radius < reach < GROUND.radius
    with pytest.raises(SpecError, match="off the field"):
        place_mesh(_cone(), Relief(source="cone", at=(30.0, 0.0)), GROUND)


def test_turns_are_about_x_then_y_then_z():
    """Rotations as the right-hand rule says, quarter turns exact."""
    assert np.array_equal(rotate(np.array([[0.0, 0, 1]]), (90, 0, 0)), [[0, -1, 0]])
    assert np.array_equal(rotate(np.array([[0.0, 0, 1]]), (0, 90, 0)), [[1, 0, 0]])
    assert np.array_equal(rotate(np.array([[1.0, 0, 0]]), (0, 0, 90)), [[0, 1, 0]])
    assert np.array_equal(rotate(np.array([[0.0, 0, 1]]), (90, 0, 90)), [[1, 0, 0]])
    points = np.random.default_rng(3).normal(size=(20, 3))
    for turn in ((10, 20, 30), (-200, 45, 123.4)):
        expected = Rotation.from_euler("xyz", turn, degrees=True).apply(points)
        assert np.abs(rotate(points, turn) - expected).max() < 1e-12


def test_edge_on_and_flat_models_are_refused_with_a_way_out():
    sheet = Model(np.array([[0, 0, 0], [1, 0, 0], [0, 0, 1.0]]), np.array([[0, 1, 2]]))
    mesh = read_model("object:Sheet", {"object:Sheet": sheet})
    with pytest.raises(SpecError, match=r"turn: object:Sheet is flat and seen edge-on"):
        raw_field(mesh, Relief(source="object:Sheet", fit=10.0), GROUND, 100)
    field = raw_field(mesh, Relief(source="object:Sheet", fit=10.0, turn=(90, 0, 0)), GROUND, 100)
    assert field.mask.any()
    assert not field.heights.any()


def test_resolution_does_not_move_the_model():
    """Half the pixels, same size and place: heights at common points agree."""
    spec = Relief(source="cone", fit=20.0)
    coarse, fine = (raw_field(_cone(), spec, GROUND, n) for n in (216, 416))
    for field in (coarse, fine):
        area = field.mask.sum() * field.grid.pixel**2
        assert area == pytest.approx(np.pi * 100, rel=2e-3)
        volume = field.heights.sum() * field.grid.pixel**2
        assert volume == pytest.approx(np.pi * 100 * 20 / 3, rel=1e-2)  # a third of the cylinder


def test_cutting_a_mesh_at_a_plane_keeps_exact_areas():
    """A unit square of two triangles cut at a slant: areas add up, the line is straight."""
    square = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0.0]])
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    normal = np.array([0.6, 0.8, 0.0])
    areas = []
    for sign in (1.0, -1.0):
        points, faces = clipped(square, triangles, sign * normal, sign * 0.5)
        a, b, c = (points[faces[:, k]] for k in range(3))
        turn = np.cross(b - a, c - a)[:, 2] / 2
        assert (turn > 0).all()  # facing as before
        assert (sign * (points[np.unique(faces)] @ normal - 0.5) >= -1e-12).all()
        areas.append(turn.sum())
    assert sum(areas) == pytest.approx(1.0, abs=1e-12)
    assert areas[1] == pytest.approx(0.5 * (0.5 / 0.6) * (0.5 / 0.8), rel=1e-12)


def test_a_cut_at_the_back_leaves_the_tip():
    """Half of a cone's depth away: a cone of half the height on half the radius, fitted anew."""
    spec = Relief(source="cone", fit=10.0, cut=Cut(back=0.5))
    field = raw_field(_cone(), spec, GROUND, 300)
    assert field.heights.max() == pytest.approx(10.0, rel=0.01)
    assert field.mask.sum() * field.grid.pixel**2 == pytest.approx(np.pi * 25, rel=0.01)


@pytest.mark.parametrize(("slant", "share"), [(0.0, 0.5), (30.0, 0.5)])
def test_a_cut_at_the_foot_through_the_middle_leaves_half(slant, share):
    """Level or slanting, what is left is measured by its box: half a disc."""
    field = raw_field(
        _cone(), Relief(source="cone", fit=20.0, cut=Cut(foot=0.5, slant=slant)), GROUND, 400
    )
    area = field.mask.sum() * field.grid.pixel**2
    width = 2.0 if slant == 0 else 1 + np.cos(np.radians(slant))
    height = 1.0 if slant == 0 else 1 + np.sin(np.radians(slant))
    scale = 20.0 / max(width, height)
    assert area == pytest.approx(share * np.pi * scale**2, rel=0.01)


def test_a_crop_leaves_its_shape():
    spec = Relief(
        source="cone", fit=30.0, at=(1.0, 2.0), crop=Crop(shape="oval", width=12.0, height=8.0)
    )
    field = raw_field(_cone(), spec, GROUND, 300)
    assert field.mask.sum() * field.grid.pixel**2 == pytest.approx(np.pi * 6 * 4, rel=0.01)
    assert max(field.grid.shape) == 300  # the crop gets all the pixels
    apart = np.array([[-3, -1, 0], [-2, -1, 0], [-3, 1, 0], [3, 1, 0], [2, 1, 0], [3, -1, 0.0]])
    two = source_mesh(apart, np.array([[0, 1, 2], [3, 4, 5]]), "two")
    spec = Relief(source="two", fit=12.0, crop=Crop(shape="rectangle", width=4.0, height=4.0))
    with pytest.raises(SpecError, match=r"^crop: two shows no surface from above; enlarge it"):
        raw_field(two, spec, GROUND, 100)


def test_mirroring_swaps_left_and_right():
    """A wedge higher on the right is higher on the left."""
    wedge = np.array([[0, 0, 0], [4, 0, 1], [4, 2, 1], [0, 2, 0.0]])
    mesh = source_mesh(wedge, np.array([[0, 1, 2], [0, 2, 3]]), "wedge")
    for mirror in (False, True):
        field = raw_field(mesh, Relief(source="wedge", fit=20.0, mirror=mirror), GROUND, 200)
        row = field.heights[field.grid.rows // 2, 20:-20]
        assert (row[-1] > row[0]) != mirror


def test_a_relief_higher_than_wide_is_refused():
    """Such a one is a typing error in fit, and its walls would take all memory there is."""
    cone = _cone(60)
    context = Context(
        GROUND, TOLERANCES["draft"], {"object:cone": Model(cone.vertices, cone.triangles)}
    )
    with pytest.raises(SpecError, match="is no relief") as caught:
        model_relief(Relief(source="object:cone", fit=0.001, height=0.5), context)
    assert caught.value.key == "height"


@pytest.mark.parametrize(
    ("keys", "low", "high"),
    [
        ({}, (-10.0, -5.0), (10.0, 5.0)),
        ({"turn": (0.0, 0.0, 90.0)}, (-5.0, -10.0), (5.0, 10.0)),
        ({"at": (2.0, -1.0)}, (-8.0, -6.0), (12.0, 4.0)),
        ({"fit": 8.0}, (-4.0, -2.0), (4.0, 2.0)),
        ({"cut": Cut(foot=0.4)}, (-10.0, -3.0), (10.0, 3.0)),
        ({"crop": Crop(shape="oval", width=6.0, height=4.0)}, (-3.0, -2.0), (3.0, 2.0)),
        ({"crop": Crop(shape="rectangle", width=6.0, height=4.0)}, (-3.0, -2.0), (3.0, 2.0)),
    ],
)
def test_the_finished_relief_lies_where_it_was_asked_to(keys, low, high):
    """A roof twice as long as wide, measured where its walls begin, to a pixel of 0.02 mm."""
    vertices = np.array(
        [(0, 0, 0), (20, 0, 0), (20, 10, 0), (0, 10, 0), (2, 5, 4), (18, 5, 4)], dtype=float
    )
    faces = np.array([(0, 1, 5), (0, 5, 4), (1, 2, 5), (2, 3, 4), (2, 4, 5), (3, 0, 4)])
    context = Context(GROUND, TOLERANCES["fine"], {"object:roof": Model(vertices, faces)})
    spec = replace(Relief(source="object:roof", fit=20.0, height=0.5, draft=0.0), **keys)
    built = build_relief(spec, context)
    points = arrays_of(built.parts[0].solid)[0]
    top = points[points[:, 2] > GROUND.level + 0.01]
    assert top[:, :2].min(axis=0) == pytest.approx(low, abs=0.022)
    assert top[:, :2].max(axis=0) == pytest.approx(high, abs=0.022)
    assert points[:, 2].max() - GROUND.level == pytest.approx(0.5, abs=1e-6)


def test_a_mirrored_relief_has_its_peak_on_the_other_side():
    """A wedge that rises to the right rises to the left."""
    vertices = np.array([(0, 0, 0), (20, 0, 8), (20, 10, 8), (0, 10, 0)], dtype=float)
    faces = np.array([(0, 1, 2), (0, 2, 3)])
    context = Context(GROUND, TOLERANCES["draft"], {"object:wedge": Model(vertices, faces)})
    for mirror, side in ((False, 1.0), (True, -1.0)):
        spec = Relief(source="object:wedge", fit=20.0, mirror=mirror, compression="linear")
        points = arrays_of(build_relief(spec, context).parts[0].solid)[0]
        assert points[np.argmax(points[:, 2]), 0] * side > 9.0
