"""Legends measured back from their meshes: arcs, centres, spaces, heights, walls."""

import math

import numpy as np
import pytest
import trimesh

from medalcore.context.element import Context
from medalcore.context.ground import Ground
from medalcore.context.tolerance import TOLERANCES
from medalcore.elements.lettering import build_legend
from medalcore.elements.lettering.fonts import find_typeface
from medalcore.elements.lettering.shaping import shape
from medalcore.errors import SpecError
from medalcore.geometry import contour as C
from medalcore.geometry.closure import closure
from medalcore.geometry.solid import arrays_of
from medalcore.spec import Legend

FLAT = Ground(level=1.0, radius=18.0, dish=0.0, floor=-0.5)
HOLLOW = Ground(level=1.0, radius=18.0, dish=0.4, floor=-0.5)


def context(ground=FLAT, quality="fine"):
    return Context(ground, TOLERANCES[quality])


def mesh_of(built):
    vertices, triangles, _, _ = arrays_of(built.parts[0].solid)
    return trimesh.Trimesh(vertices, triangles, process=False)


def faces_up(mesh):
    """Return the vertices of the letters' flat tops, (n, 3)."""
    top = np.unique(mesh.faces[mesh.face_normals[:, 2] > 0.999999])
    return mesh.vertices[top]


def bearings(points, middle_deg):
    """Return clockwise angles from a direction given clockwise from the top, degrees."""
    clockwise = 90.0 - np.degrees(np.arctan2(points[:, 1], points[:, 0]))
    return (clockwise - middle_deg + 180.0) % 360.0 - 180.0


def ink(built, middle_deg, form="turned"):
    """Return where the feet of the first and the last letter begin and end, degrees.

    Words here begin and end with an H: even about its own axis, as wide at the foot as
    anywhere. A rigid H reaches half its width to either side of its axis on the baseline.
    """
    radius = built.facts["baseline_radius_mm"]
    ends = []
    for body in mesh_of(built).split():
        tops = faces_up(body)
        angle = bearings(tops, middle_deg)
        axis = (angle.min() + angle.max()) / 2
        off = np.hypot(tops[:, 0], tops[:, 1]) * np.sin(np.radians(angle - axis))
        half = math.degrees(math.atan2(np.abs(off).max(), radius))
        if form == "bent":
            half = np.ptp(angle) / 2
        ends += [axis - half, axis + half]
    return min(ends), max(ends)


@pytest.mark.parametrize("at", ["top", "bottom", 0.0, 37.5, 90.0, 180.0, 251.0])
@pytest.mark.parametrize("form", ["turned", "bent"])
def test_words_are_centred_where_asked(at, form):
    """The middle of the ink lies within 0.01° of the angle asked for."""
    built = build_legend(Legend(text="HEARTH", at=at, form=form), context())
    wanted = {"top": 0.0, "bottom": 180.0}.get(at, at)
    low, high = ink(built, wanted, form)
    assert abs(low + high) / 2 < 0.01
    assert built.facts["sweep_deg"] == pytest.approx(high - low, abs=1e-3)


@pytest.mark.parametrize("length", [28.472, 20.0, 40.0])
@pytest.mark.parametrize("form", ["turned", "bent"])
def test_an_arc_length_is_true_on_the_mesh(length, form):
    """Words along an arc 28.472 mm long at the foot of a 25.4 mm piece, measured back."""
    spec = Legend(
        text="HOLD THE LIGHT HIGH",
        at="bottom",
        arc_length=length,
        cap_height=1.3,
        radius=10.9,
        form=form,
        draft=0.0,  # so that no feet grow together
    )
    ground = Ground(level=1.0, radius=11.5, dish=0.0, floor=-0.5)
    built = build_legend(spec, context(ground))
    low, high = ink(built, 180.0, form)
    assert math.radians(high - low) * 10.9 == pytest.approx(length, abs=0.005)


@pytest.mark.parametrize("sweep", [120.0, 200.0, 330.0])
def test_a_sweep_is_filled_by_tracking(sweep):
    built = build_legend(
        Legend(text="HOLD · 150 YEARS · HIGH", sweep=sweep, cap_height=1.6), context()
    )
    low, high = ink(built, 0.0)
    assert high - low == pytest.approx(sweep, abs=1e-3)


@pytest.mark.parametrize("fit", ["tracking", "size"])
def test_words_all_round_close_with_a_space(fit):
    """The gap at the foot is as wide as those between the other words, at every place."""
    text = " ".join(["HIH"] * 12)
    built = build_legend(
        Legend(text=text, sweep=360, fit=fit, cap_height=1.6, font="sans-bold", radius=14.0),
        context(),
    )
    angle = np.sort(bearings(faces_up(mesh_of(built)), 0.0))
    gaps = np.sort(np.diff(np.concatenate([angle, angle[:1] + 360.0])))[-12:]
    assert gaps[0] > 3.0
    assert gaps == pytest.approx(gaps.mean(), rel=0.01)
    assert built.facts["sweep_deg"] == pytest.approx(360.0 - gaps.mean(), abs=0.3)


def test_without_optical_spacing_the_sweep_is_length_over_radius():
    """Between equal letters of a plain arc: HarfBuzz's advances over the baseline radius."""
    spec = Legend(
        text="HOHEH", optical=False, tracking=50.0, radius=14.0, cap_height=2.0, font="serif"
    )
    built = build_legend(spec, context())
    typeface = find_typeface("serif")
    scale = 2.0 / typeface.cap_units
    letters = shape("HOHEH", typeface, tracked=True)
    middles = [v.x * scale for v in letters if v.text == "H"]
    track = 0.05 * typeface.units * scale
    expected = np.degrees((np.diff(middles) + 2 * track) / 14.0)
    ends = [bearings(faces_up(body), 0.0) for body in mesh_of(built).split()]
    found = np.sort([(a.min() + a.max()) / 2 for a in ends])[::2]
    assert np.diff(found) == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize(("at", "clockwise"), [("top", True), ("bottom", False)])
def test_a_turned_letter_keeps_the_typefaces_outline(at, clockwise):
    """One letter alone: its face is the outline as drawn, not bent, feet the right way."""
    built = build_legend(Legend(text="R", at=at, radius=12.0, cap_height=3.0, draft=8.0), context())
    points = faces_up(mesh_of(built))[:, :2]
    typeface = find_typeface("serif-bold")
    scale = 3.0 / typeface.cap_units
    outline = np.concatenate(typeface.outline(typeface.glyph("R"), 0.002 / scale)) * scale
    up = points - [0.0, 12.0 if clockwise else -12.0]
    # The middle of the ink stands at the middle of the words: a turn of a fraction of a degree.
    for turn in np.radians(np.linspace(-3, 3, 1201)):
        c, s = math.cos(turn), math.sin(turn)
        radius = 12.0 if clockwise else -12.0
        foot = np.array([0.0, radius])
        rolled = (up + foot) @ np.array([[c, s], [-s, c]]) - foot
        if abs(rolled[:, 1].min() - outline[:, 1].min()) < 2e-4:
            break
    assert np.ptp(rolled, axis=0) == pytest.approx(np.ptp(outline, axis=0), abs=5e-3)
    assert rolled[:, 1].max() == pytest.approx(outline[:, 1].max(), abs=2e-3)


def test_a_bent_letter_lies_on_two_circles():
    """Bent true to the arc, the feet and the heads of H are at radius and radius + cap."""
    built = build_legend(Legend(text="HEH", form="bent", radius=10.0, cap_height=2.5), context())
    radius = np.hypot(*faces_up(mesh_of(built))[:, :2].T)
    assert radius.min() == pytest.approx(10.0, abs=0.003)
    assert radius.max() == pytest.approx(12.5, abs=0.003)
    turned = build_legend(Legend(text="HEH", radius=10.0, cap_height=2.5), context())
    assert np.hypot(*faces_up(mesh_of(turned))[:, :2].T).max() > 12.51


@pytest.mark.parametrize(
    ("at", "reading"),
    [
        (0.0, "clockwise"),
        (89.0, "clockwise"),
        (91.0, "counter-clockwise"),
        ("bottom", "counter-clockwise"),
    ],
)
def test_reading_turns_at_the_sides(at, reading):
    assert build_legend(Legend(text="A", at=at), context()).facts["reading"] == reading


@pytest.mark.parametrize("ground", [FLAT, HOLLOW])
@pytest.mark.parametrize("draft", [0.0, 8.0, 15.0, 30.0])
def test_letters_stand_on_the_ground_at_their_height(ground, draft):
    """Height from the ground under each letter's middle, foot below it, walls at the draft."""
    spec = Legend(text="IHTL", height=0.3, draft=draft, cap_height=2.0, radius=12.0, tracking=200)
    built = build_legend(spec, context(ground))
    mesh = mesh_of(built)
    assert mesh.is_watertight
    bodies = mesh.split()
    assert len(bodies) == 4
    for body in bodies:
        tops = body.vertices[np.unique(body.faces[body.face_normals[:, 2] > 0.999999])]
        middle = (tops[:, :2].min(axis=0) + tops[:, :2].max(axis=0)) / 2
        assert tops[:, 2] == pytest.approx(ground.height(middle) + 0.3, abs=0.002)
        under = ground.height(body.vertices[:, :2])
        assert body.vertices[:, 2].min() <= under.min() - 0.1 + 1e-9
    normal = mesh.face_normals
    wall = np.abs(normal[:, 2]) < 0.999
    lean = np.degrees(np.arcsin(normal[wall, 2]))
    area = mesh.area_faces[wall]
    assert area[np.abs(lean - draft) > 0.1].sum() <= 1e-4 * area.sum()


def test_even_gaps_of_straight_stems():
    """Between two upright stems the mean gap on the arc is the straight line's, within 4 %."""
    typeface = find_typeface("sans-bold")
    scale = 2.0 / typeface.cap_units
    letters = shape("II", typeface)
    outline = np.concatenate(typeface.outline(typeface.glyph("I"), 1.0)) * scale
    straight = letters[1].x * scale - np.ptp(outline[:, 0])
    for at, sign in (("top", 1), ("bottom", -1)):
        spec = Legend(text="II", font="sans-bold", tracking=0.0, cap_height=2.0, radius=9.0, at=at)
        tops = faces_up(mesh_of(build_legend(spec, context())))
        angle = np.radians(bearings(tops, 0.0 if at == "top" else 180.0))
        u = np.hypot(tops[:, 0], tops[:, 1]) * np.sin(angle)
        right = tops[u > 0]
        inner = 2 * np.sort(u[u > 0])[: len(right) // 2]
        assert np.mean([inner.min(), inner.max()]) == pytest.approx(straight, rel=0.04)
        plain = build_legend(
            Legend(
                text="II",
                font="sans-bold",
                tracking=0.0,
                cap_height=2.0,
                radius=9.0,
                at=at,
                optical=False,
            ),
            context(),
        )
        change = built_sweep(plain) - built_sweep(build_legend(spec, context()))
        assert sign * change > 0.1


def built_sweep(built):
    return built.facts["sweep_deg"]


def test_words_that_do_not_fit_say_by_how_much_and_what_would():
    with pytest.raises(
        SpecError, match=r"need .* degrees, .* more than they are given; a cap height"
    ) as e:
        build_legend(Legend(text="FENNICK LIGHT · 150 YEARS OF LIGHT", sweep=60.0), context())
    size = float(str(e.value).split("a cap height of ")[1].split(" ")[0])
    # 'would fit' is meant at natural spacing and the same place: with it the words go in
    build_legend(
        Legend(text="FENNICK LIGHT · 150 YEARS OF LIGHT", sweep=60.0, cap_height=size), context()
    )
    with pytest.raises(SpecError, match="more than the full circle"):
        build_legend(Legend(text="M" * 80), context())
    with pytest.raises(SpecError, match="either sweep or arc_length"):
        build_legend(Legend(text="M", sweep=20.0, arc_length=3.0), context())
    with pytest.raises(SpecError, match=r"do not go round inside a field of 18\.0 mm radius"):
        build_legend(Legend(text="M", cap_height=30.0), context())
    with pytest.raises(SpecError, match="a radius above 2 mm or smaller letters"):
        build_legend(Legend(text="M", at="bottom", cap_height=2.0, radius=1.5), context())
    with pytest.raises(SpecError, match="nothing but spaces"):
        build_legend(Legend(text="   "), context())


def test_letters_over_the_rim_are_found():
    built = build_legend(Legend(text="RIM", cap_height=2.0, radius=17.5), context())
    (finding,) = [f for f in built.findings if f.rule == "legend-over-rim"]
    assert finding.measured == pytest.approx(1.5, abs=0.1)
    square = ((-16.0, -16.0), (16.0, -16.0), (16.0, 16.0), (-16.0, 16.0))
    ground = Ground(level=1.0, radius=16.0, dish=0.0, floor=-0.5, outline=(square,))
    corner = build_legend(Legend(text="I", cap_height=2.0, radius=18.0, at=45.0), context(ground))
    assert not [f for f in corner.findings if f.rule == "legend-over-rim"]
    top = build_legend(Legend(text="I", cap_height=2.0, radius=15.0, at="top"), context(ground))
    (finding,) = [f for f in top.findings if f.rule == "legend-over-rim"]
    assert finding.measured == pytest.approx(1.0, abs=0.01)


def test_the_default_radius_keeps_letters_well_inside_the_field():
    for at in ("top", "bottom"):
        tops = faces_up(mesh_of(build_legend(Legend(text="HEIGHT", at=at), context())))
        outer = np.hypot(*tops[:, :2].T).max()
        assert 0.3 < 18.0 - outer < 1.1


def test_a_raised_dot_stands_at_half_the_cap_height():
    """The separator's middle is within a tenth of the cap height of the capitals' middle."""
    for font in ("serif", "serif-bold", "sans", "sans-bold"):
        spec = Legend(text="·", font=font, radius=12.0, cap_height=2.0)
        tops = faces_up(mesh_of(build_legend(spec, context())))
        middle = (tops[:, 1].min() + tops[:, 1].max()) / 2 - 12.0
        assert abs(middle - 1.0) < 0.2


@pytest.mark.slow
@pytest.mark.parametrize("ground", [FLAT, HOLLOW])
@pytest.mark.parametrize("font", ["serif-bold", "sans", "serif-black-italic"])
def test_whole_legends_are_closed_in_float32(font, ground):
    """All distinct letters, feet touching here and there, as the file will say it."""
    text = "ABCDEFGHIJKLMNOPQRSTUVWXYZ&abcdefghijklmnopqrstuvwxyz0123456789"
    for tracking, draft in ((-30.0, 8.0), (0.0, 20.0)):
        spec = Legend(
            text=text, font=font, cap_height=1.3, radius=15.5, tracking=tracking, draft=draft
        )
        vertices, triangles, _, _ = arrays_of(build_legend(spec, context(ground)).parts[0].solid)
        proof = closure(vertices, triangles)
        assert proof.is_closed


def test_the_same_spec_gives_the_same_bytes():
    spec = Legend(text="FENNICK & RAE", draft=20.0)
    a, b = (arrays_of(build_legend(spec, context()).parts[0].solid) for _ in range(2))
    assert a[0].tobytes() == b[0].tobytes()
    assert a[1].tobytes() == b[1].tobytes()


def test_cap_height_is_measured_back():
    built = build_legend(Legend(text="H", cap_height=2.37, radius=11.0, font="sans"), context())
    tops = faces_up(mesh_of(built))
    assert np.ptp(tops[:, 1]) == pytest.approx(2.37, abs=0.004)
    assert C.bounds(((tops[:, :2]),))[0, 1] == pytest.approx(11.0, abs=0.004)
