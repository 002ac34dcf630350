"""Drawings as they come, and all that is asked of models asked of them too."""

from __future__ import annotations

import math

import numpy as np
import pytest
from drawn_reliefs import (
    DISC,
    GREY,
    GROUND,
    HEAD,
    from_circle,
    height_at,
    lines_at,
    maker_in,
    surface_of,
)
from msgspec.structs import replace

from medalcore.context.element import Context
from medalcore.context.tolerance import TOLERANCES
from medalcore.elements.relief import build_relief, model_relief
from medalcore.errors import MedalError, SourceError, SpecError
from medalcore.geometry.closure import closure
from medalcore.geometry.solid import arrays_of
from medalcore.piece.sculpt import kept_strokes, relief_sheet, sheet_mesh
from medalcore.spec import Crop, Cut, Face, Flat, MedalSpec, Relief


@pytest.fixture
def make(tmp_path):
    """Return a function that builds the relief of an SVG body."""
    return maker_in(tmp_path)


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
    frame = model_relief(spec, Context(GROUND, TOLERANCES["draft"])).source.frame()
    assert frame[:, 2] == pytest.approx((2.0, 1.0))
    assert frame[:, :2] == pytest.approx(20.0 * np.eye(2), abs=1e-6)
