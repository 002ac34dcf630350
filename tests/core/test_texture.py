"""Textures of the field: measured on the finished piece, over every kind of field.

Depths along lines are read by casting rays with trimesh (a general-purpose library).
"""

import math

import numpy as np
import pytest
import trimesh

from medalcore import SpecError, StageCache, build, parse_spec
from medalcore.context.ground import Ground
from medalcore.elements.texture.sheet import Sheet, whole
from medalcore.geometry.closure import closure

BLANK = """
[blank]
diameter = 40
thickness = 3
chamfer = 0.0
[blank.rim]
width = 1.5
height = 0.5
"""
LEVEL = 1.0
KINDS = ("rays", "rings", "stipple", "matt")


def _spec(texture, blank=BLANK, extra=""):
    return parse_spec(f"{blank}\n[[obverse.texture]]\n{texture}\n{extra}")


def _made(texture, quality="fine", **more):
    medal = build(_spec(texture, **more), quality)
    return medal, medal.report["elements"]["obverse.texture[0]"]


def _heights(medal, points):
    """Return z of the obverse at (n, 2) points."""
    mesh = trimesh.Trimesh(medal.vertices, medal.triangles, process=False)
    origin = np.column_stack([points, np.full(len(points), 9.0)])
    ways = np.tile([0.0, 0.0, -1.0], (len(points), 1))
    where, ray, _ = mesh.ray.intersects_location(origin, ways, multiple_hits=False)
    z = np.full(len(points), np.nan)
    z[ray] = where[:, 2]
    return z


def _lows(z):
    """Return how many valleys there are along a line of heights."""
    low = z < 0.5 * (z.min() + z.max())
    return int(np.count_nonzero(low & ~np.roll(low, 1)))


def _texture(medal):
    zone = medal.zone == medal.zone_names.index("texture")
    return medal.vertices[np.unique(medal.triangles[zone])]


def test_there_is_no_texture_by_default():
    medal = build(parse_spec(BLANK), "draft")
    assert "texture" not in medal.zone_names


@pytest.mark.parametrize("section", ["vee", "round"])
def test_rings_take_what_pappus_says(section):
    """Pappus: each groove takes its section times the way of the section's middle.

    A triangle of width w and depth d holds wd/2; a parabola 2wd/3 (Archimedes), of which
    n chords hold all but 1/n² (trapezoidal rule). The bare trace over the whole texture,
    0.0022 mm for rings, goes besides.
    """
    medal, facts = _made(
        f'kind = "rings"\nsection = "{section}"\npitch = 0.8\ndepth = 0.08\ninner = 4\nouter = 16'
        "\nfade = 0.01"  # rings run out at both radii, as every texture
    )
    assert facts["count"] == 15
    assert facts["pitch_mm"] == pytest.approx(0.8)
    share = {"vee": 1 / 2, "round": 2 / 3 * (1 - 1 / 8**2)}[section]
    trace = 0.0022
    middles = 4 + 0.8 * (np.arange(15) + 0.5)
    wanted = np.sum(2 * np.pi * middles * 0.8 * (0.08 - trace) * share)
    wanted += np.pi * (16**2 - 4**2) * trace
    plain = build(parse_spec(BLANK)).volume_mm3
    assert plain - medal.volume_mm3 == pytest.approx(wanted, rel=0.008)


def test_rays_take_what_their_sections_say():
    """N triangles of width 2πr/N and of a depth that grows with r, added up over the radius.

    ∫ N (2πr/N) (d r/R) / 2 dr = π d (R³ − a³) / 3R (integral calculus).
    """
    medal, facts = _made(
        'section = "vee"\npitch = 0.5\ndepth = 0.08\ninner = 5\nouter = 16\nfade = 0.01'
    )
    trace = 0.002
    a, far = 5.0, 16.0
    wanted = np.pi * (0.08 - trace) * (far**3 - a**3) / (3 * far) + np.pi * (far**2 - a**2) * trace
    plain = build(parse_spec(BLANK)).volume_mm3
    assert plain - medal.volume_mm3 == pytest.approx(wanted, rel=0.005)
    assert facts["count"] == round(2 * math.pi * 16 / 0.5)


@pytest.mark.parametrize("radius", [8.0, 12.0, 15.0])
def test_rays_are_counted_on_the_piece(radius):
    medal, facts = _made("pitch = 1.0\ndepth = 0.06\ninner = 5\nouter = 16")
    angle = np.linspace(0, 2 * np.pi, 20001)[:-1] + 1e-4
    z = _heights(medal, radius * np.column_stack([np.cos(angle), np.sin(angle)]))
    assert _lows(z) == facts["count"] == 101
    # as much shallower as they are narrower: the deepest is where the outer fade begins
    assert LEVEL - z.min() == pytest.approx(0.06 * radius / 15.4, abs=0.001)


def test_rings_are_counted_on_the_piece():
    medal, facts = _made('kind = "rings"\npitch = 0.5\ndepth = 0.05\ninner = 4\nouter = 16')
    r = np.linspace(4.0, 16.0, 20001)[1:-1]
    z = _heights(medal, np.column_stack([r * math.cos(0.3), r * math.sin(0.3)]))
    assert _lows(z) == facts["count"] == 24
    assert LEVEL - z.min() == pytest.approx(0.05, abs=2e-4)


@pytest.mark.parametrize("kind", KINDS)
def test_the_depth_is_the_deepest_place(kind):
    medal, facts = _made(f'kind = "{kind}"\ndepth = 0.05\npitch = 0.5')
    deepest = LEVEL - _texture(medal)[:, 2].min()
    assert deepest == pytest.approx(facts["depth_mm"], abs=1e-6)
    # of dots and grains, only the largest comes near to it
    assert deepest == pytest.approx(0.05, abs=0.003 if kind in ("stipple", "matt") else 1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("quality", ["draft", "fine"])
@pytest.mark.parametrize("dish", [0.0, 0.4, -0.4])
@pytest.mark.parametrize("kind", KINDS)
def test_it_closes_under_letters_on_every_field(kind, dish, quality):
    extra = f'[obverse.field]\ndish = {dish}\n[[obverse.legend]]\ntext = "FENNICK LIGHT · 1876"\n'
    medal, _ = _made(f'kind = "{kind}"\npitch = 0.8\ndepth = 0.07', quality, extra=extra)
    proof = closure(medal.vertices, medal.triangles)
    assert proof.is_closed
    assert proof.bodies == 1
    assert proof.genus == 0  # no groove runs through below a letter
    assert {"texture", "legend", "field"} <= set(medal.zone_names)


@pytest.mark.slow
@pytest.mark.parametrize(
    "blank",
    [
        'outline = "polygon"\nsides = 7\n',
        'outline = "oval"\nheight = 30\n',
        'outline = "scalloped"\n',
    ],
)
@pytest.mark.parametrize("kind", KINDS)
def test_it_fills_a_field_of_any_outline(kind, blank):
    text = BLANK.replace("diameter = 40\n", f"diameter = 40\n{blank}")
    medal, _ = _made(f'kind = "{kind}"\npitch = 0.8\nat = [1.0, 2.0]', "draft", blank=text)
    assert medal.is_closed
    round_one, _ = _made(f'kind = "{kind}"\npitch = 0.8\nat = [1.0, 2.0]', "draft")
    share = [m.report["area_mm2"]["texture"] / (m.report["area_mm2"]["texture"]
             + m.report["area_mm2"]["field"] / 2) for m in (medal, round_one)]  # fmt: skip
    assert share[0] == pytest.approx(share[1], abs=0.08)


@pytest.mark.parametrize("kind", KINDS)
def test_it_stays_where_it_belongs(kind):
    """Between the radii about its middle, in its sector, clear of the rim."""
    medal, _ = _made(
        f'kind = "{kind}"\npitch = 0.6\nat = [0, -6]\ninner = 4\nmargin = 0.5\n'
        "towards = 30\nsweep = 80\n"
    )
    points = _texture(medal)[:, :2]
    away = points - (0, -6)
    angle = np.degrees(np.arctan2(away[:, 0], away[:, 1]))
    assert np.abs(angle - 30).max() < 40 + 1e-3
    assert np.hypot(*away.T).min() > 4 - 1e-3
    rim = 18.5
    assert np.hypot(*points.T).max() < rim - 0.5 + 1e-3
    assert np.hypot(*points.T).max() > rim - 0.5 - 1.2


def test_a_whole_turn_may_begin_anywhere():
    one, _ = _made("pitch = 1.0\ntowards = 0")
    two, _ = _made("pitch = 1.0\ntowards = 90")
    assert one.volume_mm3 == pytest.approx(two.volume_mm3, rel=1e-7)


def test_letters_and_reliefs_stand_as_they_stood():
    """Only the field is worked: what stands on it keeps its top and its volume above."""
    extra = '[[obverse.legend]]\ntext = "FENNICK"\ncap_height = 4\nheight = 0.4\n'
    plain = build(parse_spec(BLANK + extra), "fine")
    medal, _ = _made('kind = "stipple"\npitch = 0.8\ndepth = 0.08', extra=extra)
    tops = [_top_of(m, "legend") for m in (plain, medal)]
    assert tops[0] == pytest.approx(tops[1], rel=1e-4)
    assert tops[0] > 5


def _top_of(medal, name):
    """Return the area of what is level in a zone."""
    some = medal.triangles[medal.zone == medal.zone_names.index(name)]
    corner = medal.vertices[some]
    cross = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    level = cross[:, 2] > 0.999 * np.linalg.norm(cross, axis=1)
    return float(np.linalg.norm(cross[level], axis=1).sum() / 2)


def test_steps_of_the_field_are_left_alone():
    step = "[[obverse.field.circle]]\nradius = 11\nwidth = 1.0\nheight = 0.25\n"
    for kind in KINDS:
        medal, _ = _made(f'kind = "{kind}"\npitch = 0.6\ndepth = 0.05', extra=step)
        assert medal.is_closed
        assert _texture(medal)[:, 2].max() <= LEVEL + 0.25 + 1e-6
        # the circle's height is there where it was
        z = _heights(medal, np.array([[10.5, 0.3], [-10.9, 0.4]]))
        assert np.all(np.abs(z - LEVEL - 0.25) < 0.06)


@pytest.mark.parametrize("middle", [(0.0, 0.0), (5.0, 3.0)])
@pytest.mark.parametrize("kind", KINDS)
def test_the_rim_of_a_hole_is_left_alone(kind, middle):
    hole = BLANK + "[blank.hole]\nshape = 'round'\nsize = 7\nrim_width = 1\nrim_height = 0.4\n"
    plain = build(parse_spec(hole), "draft")
    medal, _ = _made(f'kind = "{kind}"\npitch = 0.8\nat = {list(middle)}', "draft", blank=hole)
    assert medal.is_closed
    assert medal.report["holes_through"] == 1
    areas = [m.report["area_mm2"]["rim"] for m in (plain, medal)]
    assert areas[0] == pytest.approx(areas[1], rel=1e-6)
    away = np.hypot(*_texture(medal)[:, :2].T)
    assert away.min() > 3.5 + 1.0 + 0.1


def test_triangles_that_meet_in_a_corner_only_are_left_out():
    """A closed solid has no point at which it is pinched together."""
    uv = np.array([[0, 0], [1, 0], [1, 1], [0, 1], [-1, 0], [-1, -1], [0, -1]], dtype=float)
    triangles = np.array([[0, 1, 2], [0, 2, 3], [0, 4, 5], [0, 5, 6]])
    flat = Ground(level=1.0, radius=15.0, dish=0.0, floor=0.2)
    sheet = Sheet(uv, np.full(7, 0.01), triangles)
    keep = np.ones(7, dtype=bool)
    assert len(whole(sheet, keep, flat).triangles) == 0
    keep[6] = False
    keep[4] = False
    assert len(whole(sheet, keep, flat).triangles) == 2


def test_dots_are_as_many_as_the_area_holds():
    """A triangular lattice has one point in pitch² √3/2 (plane geometry)."""
    _, facts = _made('kind = "stipple"\npitch = 0.5\nouter = 15')
    assert facts["count"] == pytest.approx(np.pi * 15**2 / (0.25 * math.sqrt(0.75)), rel=0.08)


def test_grain_is_even_in_depth():
    """Depths even from 0 to the whole have their mean at half (probability calculus)."""
    medal, facts = _made('kind = "matt"\npitch = 0.4\ndepth = 0.06\nfade = 0.01')
    plain = build(parse_spec(BLANK)).volume_mm3
    mean = (plain - medal.volume_mm3) / facts["area_mm2"]
    assert mean == pytest.approx(0.5 * (0.06 + 0.0026), rel=0.03)


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_spec_gives_the_same_bytes(kind):
    text = f'kind = "{kind}"\npitch = 0.7'
    one, two = (_made(text, "draft")[0] for _ in range(2))
    assert one.vertices.tobytes() == two.vertices.tobytes()
    assert one.triangles.tobytes() == two.triangles.tobytes()
    if kind in ("stipple", "matt"):
        other, _ = _made(text + "\narrangement = 1", "draft")
        assert other.vertices.tobytes() != one.vertices.tobytes()
    else:
        with pytest.raises(SpecError, match="arrangement: has no effect with kind"):
            _spec(text + "\narrangement = 1")


@pytest.mark.slow
def test_both_faces_and_two_textures_on_one():
    text = '[[{}.texture]]\nkind = "rings"\npitch = 0.7\n[[{}.texture]]\npitch = 0.9\n'
    cache = StageCache()
    spec = parse_spec(BLANK + text.format("obverse", "obverse") + text.format("reverse", "reverse"))
    medal = build(spec, "draft", cache=cache)
    assert medal.is_closed
    sides = medal.side[medal.zone == medal.zone_names.index("texture")]
    assert set(sides) == {-1, 1}


@pytest.mark.parametrize("kind", ["rays", "rings"])
def test_fine_work_stays_small(kind):
    """Lines 0.2 mm apart over a 40 mm piece."""
    medal, facts = _made(f'kind = "{kind}"\npitch = 0.2\ndepth = 0.03')
    assert facts["triangles"] < 160_000
    assert len(medal.triangles) < 300_000
    assert not [f for f in medal.findings if f.rule == "texture-fine"]


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_too_fine_a_pitch_names_one_that_would_do(kind):
    with pytest.raises(
        SpecError, match=r"obverse\.texture\[0\]\.pitch.*million triangles"
    ) as caught:
        _made(f'kind = "{kind}"\npitch = 0.02')
    least = float(str(caught.value).split("from about ")[1].split(" mm")[0])
    _, facts = _made(f'kind = "{kind}"\npitch = {least}')
    assert 50_000 < facts["triangles"] <= 300_000


def test_lines_too_narrow_to_make_are_told():
    medal, _ = _made("pitch = 0.3\ninner = 2")
    found = [f for f in medal.findings if f.rule == "texture-fine"]
    assert [f.severity for f in found] == ["warning"]
    assert found[0].measured == pytest.approx(0.3 * 2 / 18.2, rel=0.02)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("at = [25, 0]", r"texture\[0\]\.at.*off the field"),
        ("inner = 19", r"texture\[0\]\.inner.*leaves nothing"),
        ("inner = 9\nouter = 9.2", r"texture\[0\]\.inner.*leaves nothing"),
        ("depth = 0.2", r"texture\[0\]\.depth.*0\.09"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(text, what):
    with pytest.raises(SpecError, match=what) as caught:
        _made(text, "draft")
    assert "\n" not in str(caught.value)


def test_rings_run_out_over_the_fade_at_both_radii():
    """Depth in the middle of each ring, by trimesh's rays: in proportion to its way inside."""
    medal, _ = _made('kind = "rings"\npitch = 0.5\ninner = 5\nouter = 12\nfade = 2.0\ndepth = 0.06')
    middle = 5.25 + 0.5 * np.arange(14)
    z = _heights(medal, np.column_stack([0.001 * middle, middle]))
    inside = np.minimum(1.0, np.minimum(middle - 5.0, 12.0 - middle) / 2.0)
    np.testing.assert_allclose(LEVEL - z, 0.0022 + (0.06 - 0.0022) * inside, atol=0.0015)


def test_rays_are_deepest_where_they_begin_to_run_out():
    medal, facts = _made(
        'kind = "rays"\npitch = 1.0\ninner = 5\nouter = 12\nfade = 2.0\ndepth = 0.06'
    )
    angle = 2.0 * np.pi * 0.5 / facts["count"] - np.pi  # the middle of the first ray
    way = np.array([np.sin(angle), np.cos(angle)])
    radius = np.array([7.0, 8.5, 9.99, 11.0, 11.9])
    z = _heights(medal, radius[:, None] * way)
    expected = np.where(radius < 10.0, radius / 10.0, (12.0 - radius) / 2.0)
    np.testing.assert_allclose(LEVEL - z, 0.002 + (0.06 - 0.002) * expected, atol=0.002)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("fade", "told"), [(1.9, False), (3.5, True)])
def test_a_fade_too_long_for_its_texture_is_told(kind, fade, told):
    medal, _ = _made(f'kind = "{kind}"\npitch = 0.5\ninner = 8\nouter = 12\nfade = {fade}', "draft")
    assert ("texture-fade" in {f.rule for f in medal.findings}) == told
