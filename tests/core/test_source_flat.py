"""Flat drawings as reliefs: curves, levels and walls measured on the finished surface."""

from __future__ import annotations

import math

import numpy as np
import pytest
from msgspec.structs import replace

from medalcore.context.element import Context
from medalcore.context.ground import Ground
from medalcore.context.tolerance import TOLERANCES
from medalcore.elements.relief import build_relief, modelled
from medalcore.errors import MedalError, SourceError, SpecError
from medalcore.geometry.closure import closure
from medalcore.geometry.solid import arrays_of
from medalcore.piece.sculpt import kept_strokes, relief_sheet, sheet_mesh
from medalcore.spec import Crop, Cut, Face, Flat, MedalSpec, Relief

GROUND = Ground(level=1.0, radius=18.0, dish=0.0, floor=-1.0)
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '

DISC = '<circle cx="50" cy="50" r="50" fill="#777"/><circle cx="54" cy="50" r="20"/>'
"""A disc of middle grey with a black one on it."""

GREY = 1.0 - 0.5003366
"""One minus L* of #777777, 50.03 (CIE 1976; value from memory of published tables)."""


@pytest.fixture
def make(tmp_path):
    """Return a function that builds the relief of an SVG body, in mm and face coordinates."""

    def build(body, *, view="0 0 100 100", ground=GROUND, quality="fine", **keys):
        file = tmp_path / "drawing.svg"
        file.write_text(f'{HEAD}viewBox="{view}">{body}</svg>', encoding="utf-8")
        spec = replace(Relief(source=str(file), fit=20.0, height=0.5), **keys)
        return build_relief(spec, Context(ground, TOLERANCES[quality]))

    return build


def surface_of(built):
    """Return vertices and triangles of a relief, z from the field at 1 mm."""
    vertices, triangles, _, _ = arrays_of(built.parts[0].solid)
    return vertices - (0.0, 0.0, 1.0), triangles


def lines_at(built, z):
    """Return the ends (n, 2, 3) of edges at a height where something level ends."""
    vertices, triangles = surface_of(built)
    corner = vertices[triangles]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    level = np.all(np.abs(corner[:, :, 2] - z) < 5e-5, axis=1) & (normal[:, 2] > 0)
    edges = np.sort(
        np.concatenate([triangles[level][:, [a, b]] for a, b in ((0, 1), (1, 2), (2, 0))]), axis=1
    )
    found, count = np.unique(edges, axis=0, return_counts=True)
    return vertices[found[count == 1]]


def height_at(built, u, v):
    """Return the height of the surface at a place."""
    vertices, triangles = surface_of(built)
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    turn = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    safe = np.where(np.abs(turn) < 1e-12, np.inf, turn)
    s = ((u - a[:, 0]) * (c[:, 1] - a[:, 1]) - (v - a[:, 1]) * (c[:, 0] - a[:, 0])) / safe
    t = ((b[:, 0] - a[:, 0]) * (v - a[:, 1]) - (b[:, 1] - a[:, 1]) * (u - a[:, 0])) / safe
    over = (s >= 0) & (t >= 0) & (s + t <= 1) & (turn > 1e-12)
    z = a[:, 2] + s * (b[:, 2] - a[:, 2]) + t * (c[:, 2] - a[:, 2])
    return z[over].max()


def from_circle(ends, middle, radius):
    """Return by how much chords, at ends and middles, differ from a circle."""
    places = np.concatenate([ends[:, 0], ends[:, 1], ends.mean(axis=1)])
    return np.abs(np.hypot(*(places[:, :2] - middle).T) - radius)


def steepest(built):
    """Return the lean from upright of every sizable triangle above the field, degrees."""
    vertices, triangles = surface_of(built)
    corner = vertices[triangles]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    size = np.linalg.norm(normal, axis=1)
    some = (size > 1e-4) & np.all(corner[:, :, 2] > 1e-3, axis=1)
    return np.degrees(np.arcsin(np.abs(normal[some, 2]) / size[some]))


def test_curves_are_the_drawings_own(make):
    """Outline and inner edge are circles within 2 micrometres, chords included."""
    built = make(DISC)
    inner = lines_at(built, 0.5)
    assert from_circle(inner, (0.8, 0.0), 4.0).max() < 0.002
    outer = lines_at(built, 0.5 * GREY)
    away = from_circle(outer, (0.0, 0.0), 10.0)
    assert (away < 0.002).sum() > 300  # the rest is the foot of the inner wall
    foot = from_circle(outer, (0.8, 0.0), 4.0 + 0.5 * (1 - GREY) * math.tan(math.radians(10)))
    assert np.minimum(away, foot).max() < 0.002
    wide = 20.0 + GREY * math.tan(math.radians(10))  # walls of half of that height on both sides
    assert built.facts["size_mm"] == pytest.approx([wide, wide], abs=0.002)


@pytest.mark.parametrize("compression", ["gradient", "linear"])
def test_levels_stand_as_dark_as_they_are(make, compression):
    """Everything level stands at its height within 2 micrometres, under either compression."""
    vertices, triangles = surface_of(make(DISC, compression=compression))
    corner = vertices[triangles]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    size = np.linalg.norm(normal, axis=1) / 2
    level = (normal[:, 2] > 0.999 * 2 * size) & (size > 1e-9)
    z, area = corner[level].mean(axis=1)[:, 2], size[level]
    assert np.minimum(np.abs(z - 0.5), np.abs(z - 0.5 * GREY)).max() < 0.002
    assert area[np.abs(z - 0.5) < 0.002].sum() == pytest.approx(math.pi * 16.0, rel=1e-3)


def test_volume_is_that_of_two_discs_and_their_walls(make):
    """Disc, disc and frusta, by the formula of a frustum: V = πh (R² + Rr + r²) / 3."""

    def frustum(radius, height):
        wide = radius + height * math.tan(math.radians(10))
        return math.pi * height * (wide**2 + wide * radius + radius**2) / 3

    low = 0.5 * GREY
    want = frustum(10.0, low) + frustum(4.0, 0.5 - low)
    solid = make(DISC).parts[0].solid
    got = solid.manifold.trim_by_plane((0.0, 0.0, 1.0), 1.0).volume()
    assert got == pytest.approx(want, rel=2e-4)


@pytest.mark.parametrize("draft", [3.0, 10.0, 25.0])
def test_walls_have_their_draft(make, draft):
    """Walls inside and at the outline lean as asked, to a degree; nothing leans less."""
    lean = steepest(make(DISC, draft=draft))
    assert lean.min() > draft - 0.6
    assert np.median(lean[lean < 60.0]) == pytest.approx(draft, abs=0.3)


def test_slanting_edges_have_no_stairs(make):
    """A square turned by 7 degrees has four straight edges of two points each."""
    built = make('<rect width="60" height="60" fill="#999"/><rect x="20" y="20" width="20" '
                 'height="20"/>', turn=(0.0, 0.0, 7.0))  # fmt: skip
    lines = lines_at(built, 0.5)
    assert len(lines) == 4
    slant = np.degrees(np.arctan2(*(lines[:, 1] - lines[:, 0]).T[1::-1])) % 90.0
    assert np.abs(slant - 7.0).max() < 0.01


def test_a_gap_narrower_than_its_walls_gets_a_floor(make):
    """Two bars 0.1 mm apart, 0.5 mm high at 10 degrees, meet above the field; the report tells."""
    bars = '<rect width="40" height="100"/><rect x="40.5" width="40" height="100"/>'
    built = make(bars)
    assert steepest(built).min() > 9.0
    assert built.facts["gaps_filled_mm2"] == pytest.approx(0.1 * 20.0, rel=0.02)
    assert any("too narrow" in f.message for f in built.findings)
    floor = 0.5 - 0.05 / math.tan(math.radians(10))
    for v in np.linspace(-9.9, 9.9, 23):
        assert height_at(built, 0.0, v) == pytest.approx(floor, abs=0.06)


def test_outer_walls_do_not_suffer_from_a_gap(make):
    """Two bars 0.2 mm apart, hardly enough for two walls: those all round lean as asked."""
    bars = '<rect width="49.5" height="100"/><rect x="50.5" width="49.5" height="100"/>'
    corner = np.take(*surface_of(make(bars, draft=10.0)), axis=0)
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    size = np.linalg.norm(normal, axis=1)
    outer = (np.abs(corner[:, :, 0]) > 5.0).any(axis=1) & (corner[:, :, 2].max(axis=1) > 0.4)
    lean = np.degrees(np.arcsin(np.abs(normal[:, 2]) / np.maximum(size, 1e-12)))
    assert size[outer & (lean < 80.0)].sum() / 2 > 0.9 * 4 * 10.0 * 0.5
    assert lean[outer & (size > 1e-4)].min() > 9.9


def test_nothing_of_a_drawing_hangs_above_the_field(make):
    body = '<path d="M0 0H100V100H0ZM40 40V60H60V40Z"/>'  # a hole in it
    assert not make(body, flat=Flat(shoulder=1.5), quality="draft").findings


def test_walls_of_narrow_grooves_have_their_draft_too(make):
    """A fine light line that winds over dark work: its two walls nearly meet at its foot."""
    body = (
        '<rect width="100" height="100"/><path d="M0 50C40 0 60 100 70 40 60 20 30 90 100 55" '
        'fill="none" stroke="#e6e6e6" stroke-width="0.4"/>'
    )
    assert steepest(make(body, draft=3.0)).min() > 2.3


@pytest.mark.parametrize("compression", ["gradient", "linear"])
def test_a_shoulder_swells_from_the_edge(make, compression):
    """A bar rises smoothly from its edge to its middle; the height is met exactly."""
    bar = '<rect width="100" height="30"/>'
    built = make(bar, flat=Flat(shoulder=2.0), compression=compression)
    assert built.facts["height_mm"] == pytest.approx(0.5, abs=1e-6)
    vertices, _ = surface_of(built)
    middle = vertices[(np.abs(vertices[:, 0]) < 5.0) & (vertices[:, 2] > 0.02)]
    away = 3.0 - np.abs(middle[:, 1])
    edge, ridge = middle[np.abs(away) < 1e-4, 2], middle[away > 2.5, 2]
    assert ridge.min() > 0.45
    assert np.ptp(edge) < 0.01  # no stairs along it
    assert edge == pytest.approx(0.2, abs=0.004)  # 0.4 of the height, as the default says

    # u = 1 − cosh(y/ℓ) / cosh(w/2ℓ) between parallel edges, ℓ a third of the shoulder
    def swollen(y):
        return 1.0 - np.cosh(y / (2 / 3)) / np.cosh(3.0 / (2 / 3))

    want = 0.2 + 0.3 * swollen(middle[:, 1]) / swollen(0.0)
    assert np.abs(middle[:, 2] - want)[away > 0.0].max() < 0.008


@pytest.mark.parametrize("compression", ["gradient", "linear"])
def test_swelling_forms_over_one_another_have_no_spikes(make, compression):
    """A crest of five shades: nothing above the field leans less than the draft, nearly."""
    crest = (
        '<path d="M10 10H90V60C90 90 70 108 50 116C30 108 10 90 10 60Z" fill="#bbb"/>'
        '<path d="M18 18H82V60C82 84 66 99 50 106C34 99 18 84 18 60Z" fill="#ddd"/>'
        '<path d="M50 24L57 45H78L61 58L67 79L50 66L33 79L39 58L22 45H43Z" fill="#000"/>'
        '<circle cx="50" cy="52" r="8" fill="#888"/><circle cx="50" cy="92" r="6" fill="#555"/>'
    )
    built = make(crest, view="0 0 100 120", flat=Flat(shoulder=2.0), compression=compression)
    assert steepest(built).min() > 8.0
    assert built.facts["height_mm"] == pytest.approx(0.5, abs=1e-6)


def test_what_is_asked_of_models_is_done_to_drawings(make):
    """Turn, mirror, place, crop and cut, measured on the surface."""
    flag = '<rect width="100" height="60" fill="#888"/><rect width="20" height="20"/>'

    def box(z=0.5, **keys):
        ends = lines_at(make(flag, **keys), z).reshape(-1, 3)[:, :2]
        return np.concatenate([ends.min(axis=0), ends.max(axis=0)])

    assert box() == pytest.approx([-10, 2, -6, 6], abs=1e-3)
    assert box(mirror=True) == pytest.approx([6, 2, 10, 6], abs=1e-3)
    assert box(turn=(0, 0, 90)) == pytest.approx([-6, -10, -2, -6], abs=1e-3)
    assert box(at=(3.0, -2.0)) == pytest.approx([-7, 0, -3, 4], abs=1e-3)
    low = 0.5 * (1 - 0.5671)  # L* of #888888 is 56.71
    some = {"crop": Crop(shape="rectangle", width=14.0, height=6.0)}
    vertices, _ = surface_of(make(flag, **some))
    top = vertices[vertices[:, 2] > 0.5 * low]
    run = math.tan(math.radians(10))  # walls stand within the crop
    right, above = vertices[vertices[:, 2] > low - 1e-3], top[top[:, 0] > -5.5]
    assert right[:, 0].max() == pytest.approx(7.0 - low * run, abs=1e-3)
    assert above[:, 1].max() == pytest.approx(3.0 - low * run, abs=1e-3)
    oval = lines_at(make(DISC, crop=Crop(shape="oval", width=12.0, height=12.0)), 0.5 * GREY)
    assert (from_circle(oval, (0, 0), 6.0 - 0.5 * GREY * run) < 0.002).sum() > 100
    vertices, _ = surface_of(make(flag, cut=Cut(foot=0.5)))
    assert vertices[vertices[:, 2] > 0.1, 1].min() == pytest.approx(0.0, abs=1e-3)
    vertices, _ = surface_of(make(flag, cut=Cut(back=0.7)))
    assert vertices[vertices[:, 2] > 0.1, 0].max() == pytest.approx(-6.0, abs=1e-3)


def test_levels_can_be_said_in_other_ways(make):
    """Lighter higher, later higher, all alike."""
    body = '<rect width="100" height="60" fill="#222"/><rect width="20" height="20" fill="#ddd"/>'

    def height(order):
        return height_at(make(body, flat=Flat(levels=order)), -8.0, 4.0)

    assert height("light") == pytest.approx(0.5, abs=1e-6)
    assert height("painted") == pytest.approx(0.5, abs=1e-6)
    assert height("even") == pytest.approx(0.5, abs=1e-6)
    assert height("dark") < 0.5
    ends = lines_at(make(body, flat=Flat(levels="even")), 0.5)
    assert len(ends) == 4  # one height, no edge inside


def test_on_hollow_and_domed_fields(make):
    """Levels follow the field they stand on, within the tolerance of surfaces."""
    for dish in (0.3, -0.3):
        ground = Ground(level=1.0, radius=18.0, dish=dish, floor=-1.0)
        vertices, triangles = surface_of(make(DISC, ground=ground))
        corner = vertices[triangles]
        normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
        up = normal[:, 2] > 0.9 * np.linalg.norm(normal, axis=1)
        middle = corner[up].mean(axis=1)
        over = middle[:, 2] + 1.0 - ground.height(middle[:, :2])
        assert np.minimum(np.abs(over - 0.5), np.abs(over - 0.5 * GREY)).max() < 0.005


def test_a_foot_can_flow_out(make):
    """With blend there is no wall at the outline, and the inner edge is as crisp as before."""
    built = make(DISC, blend=0.8)
    assert from_circle(lines_at(built, 0.5), (0.8, 0.0), 4.0).max() < 0.002
    assert built.facts["size_mm"][0] == pytest.approx(20.0 + 2 * 0.8, abs=0.8)


@pytest.mark.parametrize(
    ("body", "pieces", "holes"),
    [
        ('<path d="M0 0H100V100H0ZM20 20H80V80H20Z" fill-rule="evenodd"/>', 1, 1),
        ('<path d="M0 0H100V100H0ZM20 20V80H80V20Z"/>', 1, 1),
        ('<path d="M0 0H100V100H0ZM20 20H80V80H20Z"/>', 1, 0),
        ('<g transform="rotate(30)"><g transform="scale(2 1)"><rect width="9" height="9"/></g></g>'
         '<rect x="40" width="9" height="9"/>', 2, 0),
        ('<circle cx="50" cy="50" r="40" fill="none" stroke="#000" stroke-width="5"/>', 1, 1),
        ('<path d="M0 0L60 10L20 50" fill="#000"/>', 1, 0),  # open: closed by its fill
        ('<rect width="10" height="10"/><rect x="10" y="10" width="10" height="10"/>', 2, 0),
        ('<defs><path id="p" d="M0 0h10v10z"/></defs><use xlink:href="#p"/>'
         '<use xlink:href="#p" x="30"/>', 2, 0),
    ],
)  # fmt: skip
def test_drawings_as_they_come(make, body, pieces, holes):
    """Both fill rules, nested transforms, strokes only, open paths, corners that touch, uses."""
    built = make(body)
    assert (built.facts["pieces"], built.facts["holes"]) == (pieces, holes)
    vertices, triangles, _, _ = arrays_of(built.parts[0].solid)
    assert closure(vertices, triangles).is_closed


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ("", "nothing in it leaves a mark"),
        ('<text x="5" y="20">Fennick</text>', "1 text (turn it into paths)"),
        ('<image href="data:image/png;base64,AAAA" width="9" height="9"/>', "1 picture"),
        ('<rect width="9" height="9" fill="url(#g)"/>', "1 fill by gradient or pattern"),
        ('<rect width="9" height="9" fill="#fff"/>', "nothing in it leaves a mark"),
    ],
)
def test_drawings_without_a_mark(make, body, says):
    """One line that says what was left out."""
    with pytest.raises(SourceError, match="leaves a mark") as error:
        make(body)
    assert says in str(error.value)
    assert "\n" not in str(error.value)


def test_what_was_left_out_is_told(make):
    """Text, gradients and pictures beside what can be drawn are told of, one line each."""
    built = make('<rect width="50" height="50"/><text>a</text><circle r="5" fill="url(#x)"/>')
    assert sum("left out" in f.message for f in built.findings) == 2


@pytest.mark.parametrize(
    ("keys", "key"),
    [
        ({"turn": (90.0, 0.0, 0.0)}, "turn"),
        ({"flat": Flat(bare="white")}, "flat.bare"),
        ({"crop": Crop(shape="oval", width=1.0, height=1.0), "at": (0.0, 0.0)}, "crop"),
        ({"crop": Crop(shape="oval", width=0.001, height=0.001), "quality": "draft"}, "crop"),
        ({"more_on": "face"}, "more_on"),
    ],
)
def test_mistakes_name_their_key(make, keys, key):
    """One line each, with the key of the relief's table."""
    ring = '<path d="M0 0H100V100H0ZM20 20H80V80H20Z" fill-rule="evenodd"/>'
    with pytest.raises(MedalError) as error:
        make(ring, **keys)
    assert "\n" not in str(error.value)
    assert not isinstance(error.value, SpecError) or error.value.key == key


def test_a_broken_file_is_one_line(tmp_path):
    """Neither markup nor drawing."""
    file = tmp_path / "broken.svg"
    for text in (b"<svg", b"\x00\xff\x01", b"", b"<html><body/></html>"):
        file.write_bytes(text)
        with pytest.raises(SourceError) as error:
            build_relief(Relief(source=str(file)), Context(GROUND, TOLERANCES["draft"]))
        assert "\n" not in str(error.value)


def test_the_same_at_both_qualities(make):
    """Levels and size do not depend on how finely the drawing is worked."""
    wide = 20.0 + GREY * math.tan(math.radians(10))
    for quality in ("draft", "fine"):
        built = make(DISC, quality=quality)
        assert built.facts["height_mm"] == pytest.approx(0.5, abs=1e-6)
        assert built.facts["size_mm"] == pytest.approx([wide, wide], abs=0.002)


def test_strokes_lie_on_drawings_too(tmp_path):
    """A bump sculpted over an edge raises both sides by what it is high, and nothing else."""
    file = tmp_path / "drawing.svg"
    file.write_text(f'{HEAD}viewBox="0 0 100 100">{DISC}</svg>', encoding="utf-8")
    plain = Relief(source=str(file), fit=20.0, height=0.5, turn=(0.0, 0.0, 15.0))
    spec = MedalSpec(obverse=Face(relief=(plain,)))
    sheet = relief_sheet(spec, "obverse", 0, {}, pixels=400)
    vertices, squares, _ = sheet_mesh(sheet)
    bump = 0.1 * np.exp(-np.sum((vertices[:, :2] - (0.0, 4.0)) ** 2, axis=1) / 0.5)
    vertices = vertices + np.column_stack([0 * bump, 0 * bump, np.where(bump > 1e-3, bump, 0.0)])
    triangles = np.concatenate([squares[:, :3], squares[:, [0, 2, 3]]])
    strokes = {"strokes:bump": kept_strokes(sheet, vertices, triangles)}
    context = Context(GROUND, TOLERANCES["fine"], strokes)
    before, after = (
        build_relief(replace(plain, strokes=name), context) for name in ("", "strokes:bump")
    )
    assert after.facts["strokes_raised_mm"] == pytest.approx(0.1, abs=0.002)
    for u, v in ((0.0, 3.5), (0.0, 5.0), (1.0, 5.2), (3.0, 5.0), (-6.0, -6.0)):
        rise = 0.1 * math.exp(-(u**2 + (v - 4.0) ** 2) / 0.5)
        got = height_at(after, u, v) - height_at(before, u, v)
        assert got == pytest.approx(rise if rise > 1e-3 else 0.0, abs=0.012)


def test_its_frame_brings_the_drawing_to_its_place(tmp_path):
    """The middle of the drawing comes to `at`, its larger side to `fit`."""
    file = tmp_path / "drawing.svg"
    file.write_text(f'{HEAD}viewBox="0 0 100 100">{DISC}</svg>', encoding="utf-8")
    spec = Relief(source=str(file), fit=20.0, at=(2.0, 1.0))
    frame = modelled(spec, Context(GROUND, TOLERANCES["draft"])).source.frame()
    assert frame[:, 2] == pytest.approx((2.0, 1.0))
    assert frame[:, :2] == pytest.approx(20.0 * np.eye(2), abs=1e-6)
