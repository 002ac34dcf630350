"""Borders measured back from their meshes."""

import math

import numpy as np
import pytest

from medalcore.context.element import Context
from medalcore.context.ground import Ground
from medalcore.context.tolerance import tolerance_for
from medalcore.elements.border import build_border
from medalcore.errors import SpecError
from medalcore.geometry.closure import closure
from medalcore.geometry.solid import arrays_of, solid_from_manifold, united
from medalcore.spec import Border

FLAT = Ground(level=1.2, radius=18.9, dish=0.0, floor=-1.0)
GROUNDS = [FLAT, Ground(1.2, 18.9, 0.4, -1.0), Ground(1.2, 18.9, -0.4, -1.0)]
KINDS = ["beads", "denticles", "rope", "line"]


def made(ground=FLAT, quality="fine", **keys):
    """Return vertices, triangles, facts of a border."""
    built = build_border(Border(**keys), Context(ground, tolerance_for(quality)))
    (part,) = built.parts
    vertices, triangles, _, labels = arrays_of(part.solid)
    assert {label.zone for label in labels} == {"border"}
    return vertices, triangles, built.facts


def above(vertices, triangles, z):
    """Return volume above a level, mm³, cut exactly by the boolean library."""
    import manifold3d as m3

    mesh = m3.Mesh64(vertices, triangles.astype(np.uint64))
    return m3.Manifold(mesh).trim_by_plane((0, 0, 1), z).volume()


def leaning(vertices, triangles, ground):
    """Return the smallest angle of a surface above the field from upright, degrees."""
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    middle = (a + b + c) / 3.0
    stands = middle[:, 2] > ground.height(middle[:, :2])
    return float(np.degrees(np.arcsin(normal[stands, 2].min())))


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("quality", ["draft", "fine"])
@pytest.mark.parametrize("gap", [0.0, 110.0])
@pytest.mark.parametrize("offset", [0.0, 0.3])
@pytest.mark.parametrize("kind", KINDS)
def test_every_border_is_closed_and_free_of_undercut(kind, offset, gap, quality, ground):
    """No part of a border above the field leans back, and its draft is at least the asked."""
    vertices, triangles, _ = made(ground, quality, kind=kind, offset=offset, gap=gap, draft=9.0)
    proof = closure(vertices, triangles)
    assert proof.is_closed
    assert leaning(vertices, triangles, ground) >= 9.0 - 0.1


@pytest.mark.parametrize("height", [0.2, 0.3])
def test_beads_have_the_volume_of_spherical_caps(height):
    """V = πh(3a² + h²)/6 a cap (Harris and Stocker, Handbook of Mathematics, 4.8.4)."""
    vertices, triangles, facts = made(count=90, size=0.9, height=height)
    cap = math.pi * height * (3 * 0.45**2 + height**2) / 6.0
    assert above(vertices, triangles, 1.2) == pytest.approx(facts["count"] * cap, rel=0.004)


def test_steep_bead_is_a_sphere_on_a_cone():
    """Cone frustum and cap by the handbook; the sphere touches the cone where their slopes meet."""
    a, h, d = 0.45, 0.44, math.radians(12.0)
    r = (a - h * math.tan(d)) * math.cos(d) / (1.0 - math.sin(d))
    z = h - r + r * math.sin(d)
    top = r * math.cos(d)
    frustum = math.pi * z * (a * a + a * top + top * top) / 3.0
    cap = math.pi * (h - z) * (3.0 * top**2 + (h - z) ** 2) / 6.0
    vertices, triangles, facts = made(count=80, size=2 * a, height=h, draft=12.0)
    assert above(vertices, triangles, 1.2) == pytest.approx(
        facts["count"] * (frustum + cap), rel=0.004
    )


def test_line_has_the_volume_of_guldin():
    """V = 2πR·A of the drafted section, by the Pappus-Guldin theorem."""
    vertices, triangles, facts = made(kind="line", size=0.5, height=0.3, draft=10.0)
    area = 0.3 * (0.5 + 0.3 * math.tan(math.radians(10.0)))
    expected = 2.0 * math.pi * facts["radius_mm"] * area
    assert above(vertices, triangles, 1.2) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize(("kind", "count"), [("beads", 77), ("denticles", 61), ("rope", 83)])
def test_count_is_read_back_from_the_mesh(kind, count):
    """The strongest repeat of the height along the middle of the border is the count."""
    vertices, triangles, facts = made(kind=kind, count=count)
    turns = heights_round(vertices, triangles, facts["radius_mm"])
    power = np.abs(np.fft.rfft(turns - turns.mean()))
    assert int(np.argmax(power)) == count


def heights_round(vertices, triangles, radius, places=2880):
    """Return the height at places round a circle, by upright rays of another library."""
    import trimesh

    angle = 2 * np.pi * np.arange(places) / places
    start = np.column_stack([radius * np.sin(angle), radius * np.cos(angle), np.full(places, 9.0)])
    mesh = trimesh.Trimesh(vertices, triangles, process=False)
    hit, ray, _ = mesh.ray.intersects_location(
        start, np.tile([0.0, 0.0, -1.0], (places, 1)), multiple_hits=False
    )
    heights = np.full(places, vertices[:, 2].min())
    heights[ray] = hit[:, 2]
    return heights


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("ground", GROUNDS)
def test_height_and_place_are_as_asked(kind, ground):
    """The top lies the height above the field, the outer foot the offset inside the rim."""
    vertices, _, facts = made(ground, kind=kind, height=0.3, size=1.1, offset=0.35)
    middle = ground.height(np.array([facts["radius_mm"], 0.0]))
    assert vertices[:, 2].max() - middle == pytest.approx(0.3, abs=0.002)
    outer = ground.radius - 0.35
    radius = np.hypot(*vertices[:, :2].T)
    standing = radius[vertices[:, 2] > middle + 1e-6]
    assert standing.max() <= outer + 0.003
    assert radius.max() >= outer - 0.003


@pytest.mark.parametrize("kind", KINDS)
def test_gap_is_free_and_everything_else_is_filled(kind):
    """Nothing stands in the gap, and the border comes near to it on both sides."""
    vertices, _, facts = made(kind=kind, gap=80.0, gap_at=90.0)
    high = vertices[vertices[:, 2] > 1.25]
    angle = np.degrees(np.arctan2(high[:, 0], high[:, 1])) % 360.0
    assert np.count_nonzero((angle > 50.0) & (angle < 130.0)) == 0
    near = math.degrees(1.2 / facts["radius_mm"])
    assert np.any((angle > 50.0 - near) & (angle <= 50.0))
    assert np.any((angle >= 130.0) & (angle < 130.0 + near))


@pytest.mark.parametrize("kind", ["beads", "denticles"])
def test_first_one_stands_at_the_top(kind):
    """With no gap one bead's middle is exactly above the middle of the face."""
    vertices, _, _ = made(kind=kind, count=31)
    top = vertices[vertices[:, 2] >= vertices[:, 2].max() - 1e-9]
    angle = np.degrees(np.arctan2(top[:, 0], top[:, 1]))
    near = angle[np.abs(angle) < 180.0 / 31]
    assert near.min() + near.max() == pytest.approx(0.0, abs=1e-6)


def test_pitch_closes_to_the_nearest_whole_count():
    """Every pitch is made a whole count, and the report says the pitch that came out."""
    _, _, facts = made(kind="beads", pitch=1.5, radius=17.0)
    assert facts["count"] == round(2 * math.pi * 17.0 / 1.5)
    assert facts["pitch_mm"] == pytest.approx(2 * math.pi * 17.0 / facts["count"], abs=1e-6)


@pytest.mark.parametrize("kind", KINDS)
def test_union_with_a_blank_closes_as_float32(kind):
    """A border united with a disc is one closed body in the numbers a file holds."""
    import manifold3d as m3

    disc = m3.Manifold.cylinder(2.2, 20.0, 20.0, 400).translate((0, 0, -1.0))
    border = build_border(Border(kind=kind), Context(FLAT, tolerance_for("fine"))).parts[0].solid
    vertices, triangles, _, _ = arrays_of(united([solid_from_manifold(disc, "field"), border]))
    proof = closure(vertices, triangles)
    assert proof.is_closed
    assert proof.bodies == 1
    assert vertices[:, 2].min() == pytest.approx(-1.0)


@pytest.mark.parametrize(
    ("keys", "key", "word"),
    [
        ({"count": 200, "size": 0.9}, "count", "at most 127"),
        ({"pitch": 0.5, "size": 0.9}, "pitch", "at most"),
        ({"size": 0.6, "height": 0.5}, "height", "overhang"),
        ({"radius": 19.5}, "radius", "past the field"),
        ({"offset": 18.8}, "offset", "does not fit"),
        ({"kind": "rope", "count": 2}, "count", "at least 3"),
    ],
)
def test_what_does_not_fit_is_said(keys, key, word):
    """Every refusal names its key and what would be right."""
    with pytest.raises(SpecError, match=word) as caught:
        made(**keys)
    assert caught.value.key == key


def test_two_ropes_twist_opposite_ways():
    """Right and left twists are mirror images."""
    right, _, _ = made(kind="rope", twist="right", count=60)
    left, _, _ = made(kind="rope", twist="left", count=60)

    def key(v):
        return sorted(map(tuple, np.round(v, 6)))

    assert key(right) != key(left)
    assert np.allclose(sorted(right[:, 2]), sorted(left[:, 2]))


LEAF = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 24">
<path d="M10 0C16 6 16 14 10 20C4 14 4 6 10 0Z"/>
<path d="M10 19V24" stroke="#000" stroke-width="2"/>
</svg>"""


@pytest.mark.parametrize("gap", [0.0, 120.0])
def test_motifs_from_a_drawing(tmp_path, gap):
    """As many copies as fit stand round the face, each of its drawing's size, heads outwards."""
    file = tmp_path / "leaf.svg"
    file.write_text(LEAF, encoding="utf-8")
    vertices, triangles, facts = made(
        kind="motif", drawing=str(file), size=2.4, gap=gap, gap_at="top", height=0.3
    )
    proof = closure(vertices, triangles)
    assert proof.is_closed
    assert proof.bodies == facts["count"]
    assert leaning(vertices, triangles, FLAT) >= 8.0 - 0.1
    top = vertices[vertices[:, 2] > 1.5 - 1e-9]
    radius = np.hypot(*top[:, :2].T)
    assert radius.max() == pytest.approx(facts["radius_mm"] + 1.2, abs=0.002)
    assert radius.min() == pytest.approx(facts["radius_mm"] - 1.2, abs=0.002)


TWIG = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 30 20">
<path d="M28 11 H12 C2 11 2 5 0 2 C8 2 12 6 14 9 H28 Z"/></svg>"""


@pytest.mark.parametrize("gap", [0.0, 60.0])
@pytest.mark.parametrize("gap_at", ["top", 90.0])
def test_a_wreath_is_its_own_mirror_image(tmp_path, gap, gap_at):
    """Two branches, alike about the middle of the gap; each other motif would lean on."""
    file = tmp_path / "twig.svg"
    file.write_text(TWIG, encoding="utf-8")

    def tops(**keys):
        vertices, triangles, facts = made(
            kind="motif", drawing=str(file), size=2.0, gap=gap, gap_at=gap_at, **keys
        )
        assert closure(vertices, triangles).is_closed
        top = vertices[vertices[:, 2] > vertices[:, 2].max() - 1e-6, :2]
        angle = 0.0 if gap_at == "top" else math.radians(gap_at)
        along = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
        return top @ along, facts  # its first axis across the gap

    def apart(points):
        mirrored = points * (-1.0, 1.0)
        return np.linalg.norm(points[:, None] - mirrored[None], axis=2).min(axis=1).max()

    points, facts = tops(mirrored=True)
    assert facts["count"] % 2 == 0
    assert apart(points) < 1e-4
    points, _ = tops(mirrored=False)
    assert apart(points) > 0.3


def test_motif_without_a_drawing_is_said():
    """The key that is missing is named."""
    with pytest.raises(SpecError) as caught:
        made(kind="motif")
    assert caught.value.key == "drawing"


def test_tooth_is_as_wide_and_long_as_asked():
    """The top of the tooth at 12 o'clock, measured across and along the border."""
    vertices, _, facts = made(kind="denticles", count=60, size=1.3, width=0.7)
    top = vertices[vertices[:, 2] > vertices[:, 2].max() - 1e-9]
    tooth = top[(np.abs(top[:, 0]) < 0.6) & (top[:, 1] > 0)]
    assert np.ptp(tooth[:, 0]) == pytest.approx(0.7, abs=1e-6)
    assert tooth[:, 1].max() == pytest.approx(facts["radius_mm"] + 0.65, abs=1e-6)
    assert tooth[:, 1].min() == pytest.approx(facts["radius_mm"] - 0.65, abs=0.003)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("diameter", [18.0, 40.0, 90.0])
def test_defaults_suit_every_size(kind, diameter):
    """With nothing but its kind given, a border raises no finding on small and large pieces."""
    from medalcore.piece.build import build
    from medalcore.spec import spec_from_dict

    face = {"border": [{"kind": kind}]}
    blank = {"diameter": diameter, "thickness": 0.08 * diameter}
    medal = build(spec_from_dict({"blank": blank, "obverse": face}), "draft")
    assert medal.is_closed
    assert not [f.message for f in medal.findings if "above the rim" in f.message]
