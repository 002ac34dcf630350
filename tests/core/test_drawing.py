"""Drawings: what is seen of every colour, checked against plane geometry and shapely."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from lightness import lightness

from medalcore.errors import SourceError
from medalcore.geometry.contour import area, bounds
from medalcore.svg.drawing import Colour, read_drawing
from medalcore.svg.stroke import Pen, stroked

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '


def drawn(tmp_path, body, view="0 0 100 100", fit=100.0, bare=("#ffffff",), **more):
    """Return the drawing of an SVG body."""
    file = tmp_path / "drawing.svg"
    file.write_text(f'{HEAD}viewBox="{view}">{body}</svg>', encoding="utf-8")
    return read_drawing(str(file), fit, 0.001, frozenset(bare), **more)


def areas(drawing):
    return {c.name: area(c.contours) for c in drawing.colours}


def as_shapely(contours):
    """Return contours as a shapely area by symmetric difference, whatever their order."""
    whole = shapely.Polygon()
    for c in contours:
        whole = whole.symmetric_difference(shapely.Polygon(c))
    return whole


def test_true_size_and_middle(tmp_path):
    """A drawing's larger side is what was asked for, in mm, with its middle at the origin."""
    drawing = drawn(tmp_path, '<rect x="3" y="7" width="40" height="10"/>', fit=16.0)
    assert np.allclose(bounds(drawing.contours), [(-8, -2), (8, 2)], atol=1e-9)
    upright = drawn(tmp_path, '<rect width="40" height="10"/>', fit=16.0, upright=True)
    assert np.allclose(bounds(upright.contours), [(-32, -8), (32, 8)], atol=1e-9)


def test_up_is_up(tmp_path):
    """What is at the head of the drawing is at the head of the face."""
    drawing = drawn(
        tmp_path, '<path d="M0 0H10V10Z" fill="red"/><rect y="90" width="10" height="10"/>'
    )
    red = next(c for c in drawing.colours if c.name == "#ff0000")
    assert bounds(red.contours)[0, 1] > 0


def test_both_fill_rules(tmp_path):
    """A pentagram: nonzero fills its middle, evenodd leaves it (SVG 1.1, section 11.3)."""
    points = [
        (50 + 50 * math.sin(0.8 * math.pi * k), 50 - 50 * math.cos(0.8 * math.pi * k))
        for k in range(5)
    ]
    d = "M" + "L".join(f"{x:.9f} {y:.9f}" for x, y in points) + "Z"
    inner = 50 * math.cos(math.radians(72)) / math.cos(math.radians(36))
    middle = 2.5 * inner**2 * math.sin(math.radians(72))
    nonzero = areas(drawn(tmp_path, f'<path d="{d}"/>'))["#000000"]
    evenodd = areas(drawn(tmp_path, f'<path d="{d}" fill-rule="evenodd"/>'))["#000000"]
    scale = 100.0 / (2 * 50 * math.sin(math.radians(72)))
    assert nonzero - evenodd == pytest.approx(middle * scale**2, rel=1e-4)


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ('<circle cx="50" cy="50" r="50"/>', math.pi * 2500),
        ('<ellipse cx="50" cy="50" rx="50" ry="20"/>', math.pi * 1000),
        ('<path d="M0 50A50 50 0 0 1 100 50Z"/>', math.pi * 1250),
        ('<rect width="100" height="40" rx="10"/>', 4000 - (4 - math.pi) * 100),
        ('<g transform="scale(2)"><rect width="50" height="30"/></g>', 6000),
        ('<g transform="rotate(90 50 50)"><rect width="100" height="30"/></g>', 3000),
        ('<g transform="skewX(45)"><rect width="50" height="50"/></g>', 2500),
        ('<defs><rect id="a" width="10" height="10"/></defs><use xlink:href="#a"/>'
         '<use xlink:href="#a" x="90"/>', 200),
        ('<polygon points="0,0 100,0 0,100"/>', 5000),
        ('<path d="M0 0q50 100 100 0z"/>', 2 / 3 * 100 * 50),  # Archimedes: parabola segment
    ],
)  # fmt: skip
def test_shapes_and_transforms_have_their_areas(tmp_path, body, expected):
    """Plane geometry, each scaled so that its larger side is 100."""
    assert areas(drawn(tmp_path, body))["#000000"] == pytest.approx(expected, rel=1e-4)


def test_later_paint_covers_earlier(tmp_path):
    """What is covered is not seen, and bare colours cover without leaving anything."""
    drawing = drawn(
        tmp_path,
        '<rect width="100" height="100" fill="red"/><rect width="100" height="50" fill="blue"/>'
        '<rect x="40" width="20" height="100" fill="white"/>',
    )
    assert areas(drawing) == pytest.approx({"#ff0000": 4000.0, "#0000ff": 4000.0}, rel=1e-6)


def test_style_sheets_and_inheritance(tmp_path):
    """Colours come from attributes, styles, classes and groups alike."""
    drawing = drawn(
        tmp_path,
        "<style>.b{fill:#00f}</style><g fill='#123456'><rect width='10' height='100'/>"
        "<rect class='b' x='20' width='10' height='10'/>"
        "<rect style='fill:rgb(1,2,3)' x='40' width='60' height='10'/></g>",
    )
    assert areas(drawing) == pytest.approx({"#123456": 1000, "#0000ff": 100, "#010203": 600})


def test_what_is_left_out_is_said(tmp_path):
    """Text, pictures and gradients are named and counted; hidden things are not."""
    drawing = drawn(
        tmp_path,
        '<defs><linearGradient id="g"/></defs><rect width="9" height="9"/><text>a</text>'
        '<text>b</text><image width="2" height="2" href="a.png"/>'
        '<circle r="4" fill="url(#g)"/><rect width="3" height="2" visibility="hidden"/>'
        '<path d="M0 0h5" stroke="red" stroke-dasharray="1 1"/>',
    )
    said = " ".join(drawing.left_out)
    for what in ("2 text", "1 picture", "1 fill by gradient", "1 dashes"):
        assert what in said


@pytest.mark.parametrize(
    "body", ["", "<text>no path</text>", '<rect width="9" height="9" fill="#fff"/>']
)
def test_nothing_drawn_is_an_error(tmp_path, body):
    """The error names the file and, where it helps, what was left out."""
    with pytest.raises(SourceError, match=r"drawing\.svg.*mark"):
        drawn(tmp_path, body)


def test_broken_files_are_one_line(tmp_path):
    """A missing file and a file that is no SVG say so."""
    with pytest.raises(SourceError, match="no such file"):
        read_drawing(str(tmp_path / "none.svg"), 1.0, 0.01, frozenset())
    bad = tmp_path / "bad.svg"
    bad.write_text("<svg><g></svg>", encoding="utf-8")
    with pytest.raises(SourceError, match="cannot be read as SVG"):
        read_drawing(str(bad), 1.0, 0.01, frozenset())


CAPS = {"butt": "flat", "round": "round", "square": "square"}
CORNERS = {"miter": "mitre", "round": "round", "bevel": "bevel"}


@pytest.mark.parametrize("cap", CAPS)
@pytest.mark.parametrize("corner", CORNERS)
@given(seed=st.integers(0, 10_000), closed=st.booleans())
@settings(max_examples=15, deadline=None)
def test_strokes_are_shapely_buffers(cap, corner, seed, closed):
    """Area and outline of strokes agree with another library's buffers."""
    random = np.random.default_rng(seed)
    points = np.cumsum(random.uniform((-0.4, -1), (1.6, 1), (6, 2)), axis=0) * 10
    pen = Pen(1.5, cap, corner, 20.0)
    # a round corner's whole disc reaches beyond a butt end that is nearer than its radius
    assume(np.hypot(*np.diff(points, axis=0).T).min() > pen.width)
    ours = as_shapely(stroked(((points, closed),), pen, 1e-4, 1e-6))
    line = shapely.LinearRing(points) if closed else shapely.LineString(points)
    style = {"cap_style": CAPS[cap], "join_style": CORNERS[corner], "mitre_limit": 20.0}
    theirs = line.buffer(0.75, quad_segs=64, **style)
    sharp = _sharpest(points, closed)
    if corner == "miter" and 1.0 / math.sin(sharp / 2) > 19.0:
        return  # cut-off mitres are bevels in SVG, clipped mitres in shapely
    assert ours.symmetric_difference(theirs).area < 2e-3 * theirs.area


def _sharpest(points, closed):
    """Return the smallest angle between neighbouring edges, rad."""
    p = np.vstack([points, points[:2]]) if closed else points
    a, b = p[:-2] - p[1:-1], p[2:] - p[1:-1]
    cos = np.sum(a * b, 1) / (np.hypot(*a.T) * np.hypot(*b.T))
    return float(np.arccos(np.clip(cos, -1, 1)).min())


def test_mitre_limit_is_svg_s():
    """Mitre length over width is 1 / sin(θ/2) (SVG 1.1, section 11.4): limit 4 is 28.96 degrees."""
    for degrees, mitred in ((29.5, True), (28.5, False)):
        a = math.radians(degrees)
        points = np.array([(10.0, 0.0), (0.0, 0.0), (10 * math.cos(a), 10 * math.sin(a))])
        shape = stroked(((points, False),), Pen(1.0), 1e-4, 1e-6)
        tip = float(np.hypot(*np.concatenate(shape).T).max(initial=0, where=_left(shape)))
        assert (tip > 1.9) == mitred


def _left(contours):
    return np.concatenate(contours)[:, 0] < 0


def test_dots_of_zero_length():
    """A line of no length is a dot with round ends and nothing with flat ones."""
    points = np.array([(1.0, 1.0), (1.0, 1.0)])
    dot = stroked(((points, False),), Pen(2.0, "round"), 1e-4, 1e-6)
    assert area(dot) == pytest.approx(math.pi, rel=1e-3)
    assert stroked(((points, False),), Pen(2.0), 1e-4, 1e-6) == ()


@pytest.mark.parametrize(
    "name", ["#000000", "#ffffff", "#ff0000", "#0000ff", "#777777", "#010101", "#0b0a12", "#1a2b3c"]
)
def test_lightness(name):
    """CIE 1976 L* of sRGB colours, dark ones by their straight part too."""
    assert 100 * Colour(name, ()).lightness == pytest.approx(lightness(name), abs=1e-3)
