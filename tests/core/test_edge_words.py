"""Words round the edge, measured back from the mesh."""

import math

import numpy as np
import pytest
import uharfbuzz as hb
from counting import counted

from medalcore.context.tolerance import tolerance_for
from medalcore.elements.blank import build_blank
from medalcore.elements.lettering.fonts import find_typeface
from medalcore.errors import MedalError, SpecError
from medalcore.geometry.closure import closure
from medalcore.geometry.solid import arrays_of

THICK = {"diameter": 40.0, "thickness": 5.0, "chamfer": 0.4}


def made(edge, blank=THICK, quality="fine"):
    """Return the blank, and the vertices of the words."""
    built = build_blank(counted({"blank": blank, "edge": edge}), tolerance_for(quality))
    v, f, code, labels = arrays_of(built.solid)
    proof = closure(v, f)
    assert proof.is_closed, proof
    assert proof.bodies == 1
    picked = [i for i, x in enumerate(labels) if x.zone == "legend"]
    return built, v[np.unique(f[np.isin(code, picked)])]


@pytest.mark.parametrize("form", ["sunk", "raised"])
def test_letters_have_their_height_and_depth(form):
    built, points = made({"text": {"words": "HIHIH", "form": form, "depth": 0.25, "draft": 8.0}})
    r = np.hypot(points[:, 0], points[:, 1])
    # As drawn where one sees it: sunk letters at the edge's surface, raised ones on their face.
    face = r > (20 if form == "sunk" else 20 + 0.25) - 0.002
    assert (20 - r.min() if form == "sunk" else r.max() - 20) == pytest.approx(0.25, abs=0.002)
    cap = built.facts["words_cap_height_mm"]
    assert cap == pytest.approx(2.1)
    assert np.ptp(points[face, 2]) == pytest.approx(cap, abs=0.002)
    assert points[face, 2].max() == pytest.approx(cap / 2, abs=0.002)


@pytest.mark.parametrize("form", ["sunk", "raised"])
@pytest.mark.parametrize("diameter", [20.0, 40.0])
def test_the_faces_of_letters_are_true_within_2_micron_all_over(form, diameter):
    """Middles of triangles too: the strokes of an E are wide flats bent round the edge."""
    text = {"words": "FENNICK O LIGHT", "form": form, "depth": 0.25, "cap_height": 2.0}
    blank = {**THICK, "diameter": diameter}
    built = build_blank(counted({"blank": blank, "edge": {"text": text}}), tolerance_for("fine"))
    v, f, _, _ = arrays_of(built.solid)
    middle = v[f].mean(axis=1)
    normal = np.cross(v[f][:, 1] - v[f][:, 0], v[f][:, 2] - v[f][:, 0])
    r = np.hypot(middle[:, 0], middle[:, 1])
    out = np.sum(normal[:, :2] * middle[:, :2], axis=1) / r / np.linalg.norm(normal, axis=1)
    meant = diameter / 2 + (0.25 if form == "raised" else -0.25)
    face = (out > 0.97) & (np.abs(r - meant) < 0.05)
    assert np.count_nonzero(face) > 500
    np.testing.assert_allclose(r[face], meant, atol=0.002)


def test_words_are_as_long_as_harfbuzz_says():
    """HarfBuzz's own advances and extents, scaled by the cap height; no tracking."""
    words = "HENHOUSE"
    built, points = made({"text": {"words": words, "tracking": 0.0, "draft": 0.0}})
    typeface = find_typeface("sans-bold")
    face = hb.Face(hb.Blob.from_file_path(str(typeface.file)))
    font = hb.Font(face)
    buffer = hb.Buffer()
    buffer.add_str(words)
    buffer.guess_segment_properties()
    hb.shape(font, buffer, {"liga": False})
    glyphs, places = buffer.glyph_infos, buffer.glyph_positions
    first = font.get_glyph_extents(glyphs[0].codepoint)
    last = font.get_glyph_extents(glyphs[-1].codepoint)
    long = sum(p.x_advance for p in places[:-1]) + last.x_bearing + last.width - first.x_bearing
    scale = built.facts["words_cap_height_mm"] / typeface.cap_units
    angle = np.arctan2(points[:, 0], -points[:, 1])  # from the foot of the piece
    assert np.ptp(angle) * 20.0 == pytest.approx(long * scale, abs=0.002)
    assert angle.max() == pytest.approx(-angle.min(), abs=0.01 / 20)


def test_words_read_from_left_to_right_with_their_heads_to_the_obverse():
    """An L has its foot at the right; from outside, obverse up, that is counter-clockwise."""
    built, points = made({"text": {"words": "L"}})
    assert points[:, 1].max() < 0  # at the foot of the piece
    low = points[points[:, 2] < -0.5]
    high = points[points[:, 2] > 0.5]
    # From the foot of the piece, counter-clockwise is towards +x.
    assert low[:, 0].max() > high[:, 0].max() + 0.3
    turned = made({"text": {"words": "L", "heads": "reverse"}})[1]
    np.testing.assert_allclose(np.sort(turned[:, 2]), np.sort(-points[:, 2]), atol=5e-3)
    high = turned[turned[:, 2] > 0.5]
    low = turned[turned[:, 2] < -0.5]
    assert high[:, 0].min() < low[:, 0].min() - 0.3
    assert built.facts["words_mm"] > 0.5


def test_fill_and_repeat_close_round_the_edge():
    built, points = made({"text": {"words": "KEEP LIT ", "repeat": 3, "fill": 110.0}})
    assert built.facts["words_mm"] == pytest.approx(110 / 360 * math.pi * 40, rel=1e-3)
    angle = np.sort(np.degrees(np.arctan2(points[:, 0], -points[:, 1])) % 120)
    assert np.diff(angle).max() == pytest.approx(
        np.diff(np.append(angle, angle[0] + 120)).max(), abs=30
    )
    for third in range(3):
        part = np.degrees(np.arctan2(points[:, 0], -points[:, 1])) - 120 * (third - 1)
        part = part[np.abs(part) < 60]
        assert np.ptp(part) == pytest.approx(110.0, abs=0.3)


@pytest.mark.parametrize("clear", [True, False])
def test_words_stand_between_or_over_reeds(clear):
    edge = {"finish": "reeded", "reeds": 150, "text": {"words": "LIT", "clear": clear}}
    built, points = made(edge)
    assert (built.facts["reeds"] < 150) == clear
    assert len(points)


@pytest.mark.parametrize("outline", ["oval", "constant-width", "scalloped"])
@pytest.mark.parametrize("form", ["sunk", "raised"])
def test_words_follow_any_outline(outline, form):
    blank = {**THICK, "outline": outline, "corner_radius": 2.0}
    made({"text": {"words": "FENNICK LIGHT", "form": form}}, blank, "draft")


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        ({"words": "FENNICK LIGHT " * 9}, "edge.text.words", "would fit"),
        ({"words": "FENNICK LIGHT", "fill": 10.0}, "edge.text.words", "would fit"),
        ({"words": "A", "cap_height": 4.5}, "edge.text.cap_height", "at most"),
    ],
)
def test_words_that_do_not_fit_say_what_would(text, key, words):
    with pytest.raises(SpecError) as caught:
        made({"text": text})
    assert caught.value.key == key
    assert words in str(caught.value)


def test_a_character_the_font_lacks_is_named():
    with pytest.raises(MedalError, match="⛯"):
        made({"text": {"words": "LIGHT ⛯"}})


def test_letters_stand_square_to_a_flat_side_between_sharp_corners():
    """All floors of letters on one side of a square lie as deep as asked, to a micrometre."""
    text = {"words": "LIGHT", "cap_height": 2.0, "depth": 0.2, "draft": 0.0}
    square = {"outline": "polygon", "sides": 4, "corner_radius": 0.0, "thickness": 4.0}
    _, words = made({"text": text}, square)
    side = -40.0 / math.sqrt(2.0) / 2.0
    depth = words[:, 1] - side
    assert depth.max() == pytest.approx(0.2, abs=1e-3)
    floor = depth > 0.185  # with a few points of the walls
    assert np.ptp(words[floor, 0]) > 5.0
    assert np.mean(np.abs(depth[floor] - 0.2) < 1e-3) > 0.98


def test_long_words_along_the_flat_side_of_a_plaque_leave_no_skin_over_a_letter():
    """Letters stay as plain as drawn where the edge does not bend; all are open at fine."""
    text = {"words": "FENNICK LIGHT TRUST · CAST AT THE HARBOUR FOUNDRY", "cap_height": 2.5}
    plaque = {"outline": "rectangle", "diameter": 90.0, "height": 60.0, "corner_radius": 3.0}
    built, _ = made({"text": {**text, "depth": 0.3}}, {**plaque, "thickness": 6.0})
    vertices, triangles, code, labels = arrays_of(built.solid)
    picked = [i for i, x in enumerate(labels) if x.zone == "legend"]
    middle = vertices[triangles[np.isin(code, picked)]].mean(axis=1)
    assert np.count_nonzero(np.abs(middle[:, 0]) < 40.0) < 10_000


def test_words_sit_in_the_plain_band_between_grooves():
    edge = {"finish": "grooved", "grooves": 2, "groove_width": 0.5, "text": {"words": "LIGHT"}}
    blank, words = made(edge, {"thickness": 4.0})
    assert blank.facts["words_cap_height_mm"] == pytest.approx((3.4 / 2 - 0.5) / 2, abs=1e-3)
    assert np.abs(words[:, 2]).max() < 3.4 / 4 - 0.25


@pytest.mark.parametrize("form", ["sunk", "raised"])
def test_letters_on_a_bend_too_tight_for_them_are_refused(form):
    """Sunk letters fold on a sharp crest, raised ones in a sharp hollow."""
    blank = {"outline": "scalloped", "scallops": 40, "scallop_depth": 0.5, "corner_radius": 0.1}
    if form == "sunk":
        blank |= {"scallop_shape": "notches", "scallop_depth": 0.25}
    edge = {"text": {"words": "FENNICK LIGHT", "form": form, "depth": 0.3}}
    with pytest.raises(SpecError, match="fold where the edge bends") as caught:
        made(edge, blank)
    assert caught.value.key == "edge.text.depth"
