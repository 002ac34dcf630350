"""Sections, several legends, lines, the exergue and widths, measured on the meshes."""

import math

import numpy as np
import pytest
from letter_meshes import FLAT, HOLLOW, context, ink_of, mesh_of

from medalcore.context.ground import Ground
from medalcore.elements.lettering import build_inscription, build_legend
from medalcore.elements.lettering.fonts import find_typeface
from medalcore.elements.lettering.measure import widths
from medalcore.elements.lettering.shaping import kerned, read_kerning, shape
from medalcore.errors import SourceError, SpecError
from medalcore.geometry import contour as C
from medalcore.geometry.solid import solid_from_manifold, without
from medalcore.geometry.swept_profile import deepest, profiled
from medalcore.spec import Inscription, Legend


def cut_from_plate(built):
    """Return the mesh of a plate 1 mm high that the element is cut out of."""
    import manifold3d as m3

    (part,) = built.parts
    assert part.action == "cut"
    plate = solid_from_manifold(m3.Manifold.cube((40, 40, 2), True), "field")
    return mesh_of(without(plate, [part.solid]))


def lean(mesh):
    return np.degrees(np.arcsin(np.clip(mesh.face_normals[:, 2], -1, 1)))


@pytest.mark.parametrize("draft", [0.0, 8.0, 20.0])
def test_sunk_letters_are_as_deep_as_asked_with_their_outline_in_the_field(draft):
    spec = Inscription(text="HIT", work="sunk", depth=0.3, draft=draft, cap_height=4.0)
    mesh = cut_from_plate(build_inscription(spec, context()))
    floors = mesh.vertices[:, 2][(mesh.vertices[:, 2] > -0.9) & (mesh.vertices[:, 2] < 0.999)]
    assert floors.min() == pytest.approx(0.7, abs=1e-6)
    inside = np.abs(mesh.triangles_center[:, :2]).max(axis=1) < 19
    wall = inside & (np.abs(mesh.face_normals[:, 2]) < 0.999)
    area = mesh.area_faces[wall]
    assert area[np.abs(lean(mesh)[wall] - draft) > 0.1].sum() <= 1e-4 * area.sum()
    opening = mesh.vertices[
        (mesh.vertices[:, 2] > 0.999) & (np.abs(mesh.vertices[:, :2]).max(axis=1) < 19)
    ]
    assert np.ptp(opening[:, 1]) == pytest.approx(4.0, abs=0.004)


@pytest.mark.parametrize("section", ["flat", "vee", "rounded"])
def test_letters_too_deep_for_the_piece_say_how_deep_they_may_be(section):
    """They would come out at the other face, or meet what is cut there."""
    words = {"text": "HIT", "work": "sunk", "section": section, "cap_height": 4.0}
    with pytest.raises(SpecError, match=r"at most 1.5 mm") as caught:
        build_inscription(Inscription(depth=1.6, **words), context())
    assert caught.value.key == "depth"
    assert build_inscription(Inscription(depth=1.5, **words), context()).parts
    assert build_inscription(Inscription(text="HIT", depth=1.6), context()).parts


def test_chisel_cut_letters_meet_in_ridges_at_one_slope():
    """Vee section: the deepest line is the depth, every wall has the same slope."""
    spec = Inscription(text="AMEN", work="sunk", depth=0.5, section="vee", cap_height=5.0)
    mesh = cut_from_plate(build_inscription(spec, context()))
    inner = (np.abs(mesh.triangles_center[:, :2]).max(axis=1) < 19) & (
        np.abs(mesh.face_normals[:, 2]) < 0.999
    )
    assert mesh.vertices[mesh.faces[inner].ravel(), 2].min() == pytest.approx(0.5, abs=1e-4)
    slope = lean(mesh)[inner]
    area = mesh.area_faces[inner]
    middle = np.average(slope, weights=area)
    assert area[np.abs(slope - middle) > 0.1].sum() <= 1e-4 * area.sum()
    # the widest stroke's half width over the depth, from the typeface's outlines
    typeface = find_typeface("serif-bold")
    scale = 5.0 / typeface.cap_units
    half = max(
        deepest(tuple(c * scale for c in typeface.outline(typeface.glyph(c), 0.002 / scale)))
        for c in "AMEN"
    )
    assert middle == pytest.approx(math.degrees(math.atan(half / 0.5)), abs=0.1)


def test_a_vee_bar_is_a_hipped_roof():
    """Volume of a hipped roof of equal slopes over a × b: h·b(3a − b)/6."""
    a, b, h = 6.0, 2.0, 0.8
    bar = (np.array([[0, 0], [a, 0], [a, b], [0, b]], dtype=float),)
    assert deepest(bar) == pytest.approx(b / 2, abs=2e-6)
    roof = profiled(bar, 0.0, "legend", up=[(-b / 2 * 1.02, h * 1.02)])
    assert mesh_of(roof).volume == pytest.approx(h * b * (3 * a - b) / 6, rel=1e-5)


def test_rounded_letters_reach_their_height_and_start_at_their_draft():
    spec = Inscription(
        text="I", font="sans-bold", section="rounded", height=0.3, draft=12.0, cap_height=4
    )
    mesh = mesh_of(build_inscription(spec, context()).parts[0].solid)
    assert mesh.vertices[:, 2].max() == pytest.approx(1.3, abs=1e-3)
    above = (mesh.triangles_center[:, 2] > 1.0) & (np.abs(mesh.triangles_center[:, 1]) < 1.0)
    leans = np.unique(np.round(lean(mesh)[above], 2))
    assert leans[0] >= 12.0 - 0.1
    assert len(leans) >= 6
    assert (lean(mesh)[mesh.triangles_center[:, 2] > 1.0] > 0).all()


@pytest.mark.slow
@pytest.mark.parametrize("work", ["raised", "sunk"])
@pytest.mark.parametrize("section", ["flat", "rounded", "vee"])
@pytest.mark.parametrize("ground", [FLAT, HOLLOW])
def test_every_section_is_closed_and_crosses_the_field(work, section, ground):
    spec = Legend(text="Säge & Quill 38%", work=work, section=section, cap_height=2.2)
    (part,) = build_legend(spec, context(ground)).parts
    mesh = mesh_of(part.solid)
    assert part.action == ("add" if work == "raised" else "cut")
    for body in mesh.split():
        z = ground.height(body.vertices[:, :2])
        assert body.vertices[:, 2].min() < z.min() - 0.05
        assert body.vertices[:, 2].max() > z.max() + 0.05


@pytest.mark.parametrize("work", ["raised", "sunk"])
def test_tops_follow_a_hollow_field_when_asked(work):
    """Every point of the face lies its height above (or depth below) the field under it."""
    spec = Legend(text="HOLLOW", follow=True, work=work, cap_height=4.0, height=0.3, depth=0.3)
    deep = Ground(level=1.0, radius=18.0, dish=1.5, floor=-2.5)
    mesh = mesh_of(build_legend(spec, context(deep)).parts[0].solid)
    above = mesh.vertices[:, 2] - deep.height(mesh.vertices[:, :2])
    face = above.max() if work == "raised" else above.min()
    assert face == pytest.approx(0.3 if work == "raised" else -0.3, abs=1e-9)
    normal = mesh.face_normals[np.abs(mesh.face_normals[:, 2]) > 0.9]
    assert np.degrees(np.arccos(np.abs(normal[:, 2]).min())) > 5.0


def test_accents_and_tails_stay_off_the_rim():
    """Set just inside the rim, an accent at the head or a tail at the foot keeps its air."""
    for at, text in (("top", "ÅÉŽ"), ("bottom", "gjpqy"), ("top", "لأمل" if _arabic() else "Ǻ")):
        font = "DejaVu Sans" if text[0] == "ل" else "serif-bold"
        built = build_legend(Legend(text=text, at=at, font=font), context())
        reach = np.hypot(*ink_of(built).T).max()
        assert 17.2 < reach < 17.75


def _arabic():
    try:
        return bool(find_typeface("DejaVu Sans").glyph("ل"))
    except SourceError:
        return False


def test_letters_keep_reliefs_clear_of_them():
    """A slab over the whole field is taken away round the letters, and nothing else is."""
    import manifold3d as m3

    spec = Inscription(text="HI", clear=0.8, height=0.3, draft=10.0, cap_height=4.0)
    letters, clearing = build_inscription(spec, context()).parts
    assert (letters.action, clearing.action) == ("add", "clear")
    slab = m3.Manifold.cube((30, 30, 1.0), True).translate((0, 0, 1.0))
    kept = mesh_of(without(solid_from_manifold(slab, "relief"), [clearing.solid]))
    edge = kept.vertices[np.abs(kept.vertices[:, :2]).max(axis=1) < 14.9]
    at_field = edge[np.abs(edge[:, 2] - 0.5) < 1e-6][:, :2]
    plain = Inscription(text="HI", height=0.3, draft=10.0, cap_height=4.0)
    feet = build_inscription(plain, context()).parts[0].solid
    foot = mesh_of(feet).section(plane_origin=[0, 0, 1.0], plane_normal=[0, 0, 1.0])
    gap = np.min(np.hypot(*(at_field[:, None] - foot.vertices[None, :, :2]).transpose(2, 0, 1)))
    assert gap == pytest.approx(0.8, abs=0.03)
    lean_back = lean(kept)[np.abs(kept.triangles_center[:, :2]).max(axis=1) < 14.9]
    assert (lean_back > -90.1).all()
    assert not ((lean_back < -0.1) & (lean_back > -89)).any()


@pytest.mark.parametrize("clear", [0.3, 0.4])
def test_no_crumbs_of_relief_stay_within_a_word(clear):
    """One outline round the word without holes or slits; words further apart keep their own."""
    spec = Inscription(text="KEEFPO", clear=clear, height=0.4, cap_height=4.0)
    _, clearing = build_inscription(spec, context()).parts
    plan = clearing.solid.manifold.slice(1.2).to_polygons()
    assert len(plan) == 1
    opened = C.offset(tuple(plan), 0.5, "round", tolerance=0.004)
    closed = C.offset(opened, -0.5, "round", tolerance=0.004)
    assert C.area(closed) == pytest.approx(C.area(tuple(plan)), rel=3e-3)
    spec = Inscription(text="I     I", clear=clear, height=0.4, cap_height=4.0)
    _, clearing = build_inscription(spec, context()).parts
    assert len(clearing.solid.manifold.slice(1.2).to_polygons()) == 2


def _gaps(built, count):
    """Return the bearings where groups of letters begin and end, degrees clockwise from top."""
    mesh = mesh_of(built.parts[0].solid)
    top = mesh.vertices[np.unique(mesh.faces[mesh.face_normals[:, 2] > 0.999999])]
    angle = np.sort((90.0 - np.degrees(np.arctan2(top[:, 1], top[:, 0]))) % 360.0)
    steps = np.diff(np.append(angle, angle[0] + 360.0))
    wide = np.sort(np.argsort(steps)[-count:])
    return [(angle[k], angle[k] + steps[k]) for k in wide]


@pytest.mark.parametrize("text", ["FENNICK LIGHT\nEST. 1876", "ONE\nTWO AND\nTHREE", "N\nE\nS\nW"])
def test_several_legends_leave_equal_gaps(text):
    count = text.count("\n") + 1
    gaps = _gaps(build_legend(Legend(text=text, draft=0.0, tracking=0.0), context()), count)
    sizes = [b - a for a, b in gaps]
    assert np.ptp(sizes) < 0.02


@pytest.mark.parametrize("separator", ["dot", "star", "diamond", "cross", "&"])
def test_separators_stand_in_the_middle_of_the_gaps(separator):
    """Twice as many gaps as without, every two of them alike; the mark at half the cap."""
    plain = build_legend(Legend(text="LIGHT\nHOUSE", draft=0.0), context())
    spec = Legend(text="LIGHT\nHOUSE", separator=separator, draft=0.0)
    gaps = _gaps(build_legend(spec, context()), 4)
    sizes = [b - a for a, b in gaps]
    assert sizes[0] == pytest.approx(sizes[1], abs=0.3)
    assert sizes[2] == pytest.approx(sizes[3], abs=0.3)
    ends = [round(a, 1) for a, _ in _gaps(plain, 2)]
    assert all(any(abs(a - e) < 0.11 for a, _ in gaps) for e in ends)


def test_a_drawing_may_stand_between_legends(tmp_path):
    path = tmp_path / "bar.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10">'
        '<rect x="2" y="0" width="6" height="10"/></svg>'
    )
    spec = Legend(text="LIGHT\nHOUSE", separator=str(path), cap_height=2.0, draft=0.0)
    built = build_legend(spec, context())
    bodies = mesh_of(built.parts[0].solid).split()
    bars = [b for b in bodies if len(b.vertices) == 8]
    assert len(bars) == 2
    radius = 18.0 - 0.45 * 2.0 - 1.0
    for bar in bars:
        assert np.hypot(*bar.vertices[:, :2].mean(axis=0)) == pytest.approx(radius, abs=1e-3)
        assert bar.volume == pytest.approx(1.8 * 1.08 * np.ptp(bar.vertices[:, 2]), rel=1e-3)


def test_legends_that_leave_no_gap_say_what_would_fit():
    with pytest.raises(SpecError, match=r"of 360 degrees with their gaps; a cap height of"):
        build_legend(Legend(text="FENNICK LIGHT FENNICK LIGHT\n" * 3), context())
    with pytest.raises(SpecError, match="its own table"):
        build_legend(Legend(text="A\nB", sweep=90.0), context())


@pytest.mark.parametrize(("key", "value"), [("sweep", 150.0), ("arc_length", 30.0)])
def test_size_fitted_to_an_arc(key, value):
    spec = Legend(text="FENNICK LIGHT", fit="size", **{key: value})
    built = build_legend(spec, context())
    measured = {"sweep": "sweep_deg", "arc_length": "arc_length_mm"}[key]
    assert built.facts[measured] == pytest.approx(value, rel=1e-4)
    assert built.facts["tracking"] == pytest.approx(60.0, abs=0.1)


def test_pairs_are_moved_by_thousandths_of_the_size():
    """At -80 thousandths of 1000 units an L and an A stand 80 units closer."""
    typeface = find_typeface("serif")
    plain = shape("LAL", typeface)
    moved = kerned(plain, read_kerning("LA=-80, 'x=3"))
    assert [a.x - b.x for a, b in zip(moved, plain, strict=True)] == [0.0, -80.0, -80.0]
    with pytest.raises(SpecError, match="no pair"):
        read_kerning("ABC=3")
    wide = build_inscription(Inscription(text="LA", tracking=0), context()).facts["width_mm"]
    close = build_inscription(Inscription(text="LA", tracking=0, kerning="LA=-100"), context())
    scale = 2.5 / find_typeface("serif-bold").cap_units
    assert wide - close.facts["width_mm"] == pytest.approx(100 * scale, abs=1e-6)


@pytest.mark.parametrize("align", ["centre", "left", "right"])
def test_lines_are_ranged_by_theirink(align):
    spec = Inscription(text="HEIGHT\nHI\nHITHE", align=align, at=(1.0, 2.0), cap_height=2.0)
    ink = ink_of(build_inscription(spec, context()))
    rows = [ink[np.abs(ink[:, 1] - y) < 1.2] for y in (2 + 3.4, 2.0, 2 - 3.4)]
    left = [r[:, 0].min() for r in rows]
    right = [r[:, 0].max() for r in rows]
    value = {"centre": np.add(left, right) / 2, "left": left, "right": right}[align]
    assert np.ptp(value) < 0.003
    assert (min(left) + max(right)) / 2 == pytest.approx(1.0, abs=0.003)
    feet = [r[:, 1].min() for r in rows]
    assert -np.diff(feet) == pytest.approx([3.4, 3.4], abs=0.06)


def test_a_turned_inscription_is_the_same_turned():
    flat = ink_of(build_inscription(Inscription(text="TURN\nME", at=(1, 2)), context()))
    spec = Inscription(text="TURN\nME", at=(1, 2), turn=30.0)
    turned = ink_of(build_inscription(spec, context()))
    c, s = math.cos(math.radians(30)), math.sin(math.radians(30))
    expected = (flat - [1, 2]) @ np.array([[c, s], [-s, c]]) + [1, 2]
    assert np.sort(turned[:, 0]) == pytest.approx(np.sort(expected[:, 0]), abs=1e-6)


def test_words_broken_to_a_circle_stay_in_it_and_in_order():
    text = "To the keepers who in one hundred and fifty years never let the light fail"
    spec = Inscription(text=text, within=9.0, cap_height=1.2, font="serif")
    built = build_inscription(spec, context())
    ink = ink_of(built)
    # capitals and small letters stay inside; descenders may hang out by their length
    assert np.hypot(*ink.T).max() < 9.0 + 0.5
    assert built.facts["lines"] >= 5
    with pytest.raises(SpecError, match="do not go into a circle of 4 mm radius"):
        build_inscription(Inscription(text=text, within=4.0, cap_height=1.2), context())


def test_stroke_and_gap_widths_of_plain_shapes():
    """Bars of an equals sign, a ring, and the stem of an I: widths known beforehand."""
    bars = tuple(
        np.array([[0, y], [4, y], [4, y + 0.3], [0, y + 0.3]], dtype=float) for y in (0.0, 0.8)
    )
    assert widths(bars, 2.0) == pytest.approx((0.3, 0.5))
    ring = (C.circle(2.0, 1e-4), C.circle(1.6, 1e-4)[::-1])
    stroke, gap = widths(ring, 2.0)
    assert stroke == pytest.approx(0.4, abs=0.002)
    assert gap == pytest.approx(3.2, abs=0.01)
    typeface = find_typeface("sans-bold")
    stem = typeface.outline(typeface.glyph("I"), 0.2)
    assert widths(stem, 650.0)[0] == pytest.approx(np.ptp(stem[0][:, 0]), rel=0.01)


def test_thin_strokes_and_closing_counters_are_found():
    thin = build_legend(Legend(text="HAIR", font="serif-extralight", cap_height=1.2), context())
    assert thin.facts["narrowest_stroke_at_field_mm"] < 0.25
    tight = build_legend(
        Legend(text="mean", font="serif-black", cap_height=1.0, draft=25.0), context()
    )
    assert "closing-counter" in {f.rule for f in tight.findings}
    bold = build_legend(Legend(text="O", font="sans-black", cap_height=4.0), context())
    assert not bold.findings
    assert list(bold.facts["widths_by_letter_mm"]) == ["O"]


def test_feet_that_grow_together_are_found():
    """Two stems 0.1 mm apart at the face, walls of 15 degrees: they meet above the field."""
    tight = Inscription(text="II", font="sans-bold", tracking=-150, draft=15.0, cap_height=2.0)
    built = build_inscription(tight, context())
    (note,) = [f for f in built.findings if f.rule == "touching-letters"]
    sides = np.unique(np.round(ink_of(built)[:, 0], 6))
    assert len(sides) == 4
    assert note.measured == pytest.approx(sides[2] - sides[1], abs=1e-6)
    assert note.measured < note.limit == pytest.approx(0.5 * math.tan(math.radians(15)))
    wide = Inscription(text="II", font="sans-bold", tracking=60, draft=15.0, cap_height=2.0)
    rules = {f.rule for f in build_inscription(wide, context()).findings}
    assert "touching-letters" not in rules


def test_lines_over_the_rim_name_a_size_that_fits():
    spec = Inscription(text="A LINE THAT IS MUCH TOO LONG", cap_height=3.0)
    (finding,) = [
        f for f in build_inscription(spec, context()).findings if f.rule == "inscription-over-rim"
    ]
    size = float(finding.message.split("cap height of ")[1].split(" ")[0])
    smaller = Inscription(text=spec.text, cap_height=size)
    rules = {f.rule for f in build_inscription(smaller, context()).findings}
    assert "inscription-over-rim" not in rules


def test_small_capitals_come_from_the_font_or_are_missed():
    """Small capitals are smaller than capitals and larger than nothing; or a finding says so."""
    plain = build_inscription(Inscription(text="hill"), context()).facts["width_mm"]
    small = build_inscription(Inscription(text="hill", features="smcp"), context())
    assert small.facts["width_mm"] > plain
    assert not [f for f in small.findings if f.rule == "font-feature"]
    without_it = build_inscription(Inscription(text="hill", features="ss19"), context())
    assert "font-feature" in {f.rule for f in without_it.findings}
