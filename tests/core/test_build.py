"""The whole chain: from a spec to one closed solid with true numbers."""

import math
import re
from dataclasses import replace

import msgspec
import numpy as np
import pytest

from medalcore import MedalError, SpecError, StageCache, build, parse_spec
from medalcore.context.ground import placement
from medalcore.errors import Cancelled
from medalcore.geometry.closure import closure

PLAIN = """
[medal]
metal = "copper"
[blank]
diameter = 30.0
thickness = 3.0
chamfer = 0.0
[blank.rim]
width = 0.0
height = 0.0
"""
WORDS = '\n[[obverse.legend]]\ntext = "FENNICK"\n[[reverse.legend]]\ntext = "LIGHT"\n'


def test_a_plain_disc_has_the_volume_and_mass_of_a_cylinder():
    """Cylinder formula; density of copper 8.96 g/cm³ (CRC Handbook column of elements)."""
    medal = build(parse_spec(PLAIN))
    volume = math.pi * 15.0**2 * 3.0
    assert medal.volume_mm3 == pytest.approx(volume, rel=2e-4)
    assert medal.volume_mm3 < volume  # chords lie inside the circle
    assert medal.mass_g == pytest.approx(volume * 8.96e-3, rel=2e-4)


def test_a_broken_edge_takes_what_pappus_says():
    """Pappus: a triangle of c²/2 whose centroid lies at R − c/3, turned once, twice."""
    plain = build(parse_spec(PLAIN)).volume_mm3
    broken = build(parse_spec(PLAIN.replace("chamfer = 0.0", "chamfer = 0.5"))).volume_mm3
    assert plain - broken == pytest.approx(2 * 2 * math.pi * (15 - 0.5 / 3) * 0.125, rel=1e-3)


def test_the_result_holds_what_is_promised(head_file):
    text = WORDS + f'[[obverse.relief]]\nsource = "{head_file.as_posix()}"\nfit = 16\n'
    medal = build(parse_spec(text), "draft")
    n, m = len(medal.vertices), len(medal.triangles)
    assert medal.vertices.shape == (n, 3)
    assert medal.triangles.shape == (m, 3)
    assert medal.zone.shape == medal.side.shape == (m,)
    assert {"field", "rim", "edge", "legend", "relief"} == set(medal.zone_names)
    assert np.array_equal(medal.vertices, medal.vertices.astype(np.float32))
    proof = closure(medal.vertices, medal.triangles)
    assert proof.is_closed
    assert proof.bodies == 1
    assert medal.is_closed
    wanted = (
        "name diameter_mm thickness_mm volume_mm3 mass_g metal closed triangles area_mm2 "
        "findings seconds"
    )
    assert set(wanted.split()) <= set(medal.report)
    assert medal.report["triangles"] == m
    assert set(medal.report["area_mm2"]) == set(medal.zone_names)
    assert medal.report["diameter_mm"] == pytest.approx(40.0, abs=0.002)
    assert medal.report["thickness_mm"] == pytest.approx(3.0, abs=1e-6)


def test_zones_lie_where_they_belong(head_file):
    text = WORDS + f'[[obverse.relief]]\nsource = "{head_file.as_posix()}"\nfit = 16\n'
    medal = build(parse_spec(text), "draft")
    middle = medal.vertices[medal.triangles].mean(axis=1)
    legend = medal.zone == medal.zone_names.index("legend")
    assert np.array_equal(np.sign(middle[legend, 2]), medal.side[legend])
    edge = medal.zone == medal.zone_names.index("edge")
    assert np.all(medal.side[edge] == 0)
    assert np.hypot(*middle[edge, :2].T).min() > 19
    relief = medal.zone == medal.zone_names.index("relief")
    assert np.all(medal.side[relief] == 1)


@pytest.mark.parametrize(
    ("alignment", "axis"), [("medal", (0, 1, 0)), ("coin", (1, 0, 0)), (30.0, (0.5, 0.75**0.5, 0))]
)
def test_the_reverse_is_turned_about_its_axis(alignment, axis):
    """A half turn leaves its axis where it is and turns the face over."""
    turn = placement(alignment, -1)[:, :3]
    assert turn @ np.array(axis) == pytest.approx(np.array(axis), abs=1e-12)
    assert turn @ np.array([0, 0, 1.0]) == pytest.approx(np.array([0, 0, -1.0]))
    assert np.linalg.det(turn) == pytest.approx(1.0)
    assert np.array_equal(placement(alignment, 1), np.eye(3, 4))


def test_the_reverse_legend_stands_at_its_own_top():
    """With medal alignment both tops point the same way, with coin alignment opposite ways."""
    for alignment, sign in (("medal", 1), ("coin", -1)):
        text = f'[medal]\nalignment = "{alignment}"\n[[reverse.legend]]\ntext = "TOP"\n'
        medal = build(parse_spec(text), "draft")
        letters = medal.triangles[medal.zone == medal.zone_names.index("legend")]
        assert sign * medal.vertices[letters][..., 1].mean() > 5


def test_the_same_spec_gives_the_same_piece_with_and_without_a_cache(head_file):
    text = WORDS + f'[[obverse.relief]]\nsource = "{head_file.as_posix()}"\nfit = 16\n'
    spec = parse_spec(text)
    cache = StageCache()
    first = build(spec, "draft", cache=cache)
    legend = msgspec.structs.replace(spec.obverse.legend[0], cap_height=1.5)
    face = msgspec.structs.replace(spec.obverse, legend=(legend,))
    changed = msgspec.structs.replace(spec, obverse=face)
    with_cache = build(changed, "draft", cache=cache)
    without = build(changed, "draft")
    again = build(spec, "draft", cache=cache)
    assert np.array_equal(first.vertices, again.vertices)
    assert np.array_equal(first.triangles, again.triangles)
    assert np.array_equal(with_cache.vertices, without.vertices)
    assert np.array_equal(with_cache.triangles, without.triangles)
    assert len(first.vertices) != len(without.vertices)


def test_a_changed_model_file_is_noticed_by_the_cache(head_file, tmp_path):
    import trimesh

    path = tmp_path / "model.stl"
    spec = parse_spec(f'[[obverse.relief]]\nsource = "{path.as_posix()}"\nfit = 10\n')
    cache = StageCache()
    path.write_bytes(head_file.read_bytes())
    first = build(spec, "draft", cache=cache)
    trimesh.creation.icosphere(4, 3.0).export(path)
    assert build(spec, "draft", cache=cache).volume_mm3 != first.volume_mm3


def test_progress_goes_up_and_can_stop_the_work():
    seen = []
    build(parse_spec(WORDS), "draft", lambda fraction, label: seen.append(fraction))
    assert seen == sorted(seen)
    assert seen[-1] == 1.0

    def stop(fraction, label):
        if fraction > 0.3:
            raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        build(parse_spec(WORDS), "draft", stop)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[medal]\nmetal = "bronce"', ["medal.metal", "bronce", "'bronze'"]),
        ('[[obverse.relief]]\nsource = "no/such.stl"', ["obverse.relief[0]", "no/such.stl"]),
        ('[[obverse.legend]]\ntext = "A"\n[[obverse.legend]]\ntext = "\\ue123"',
         ["obverse.legend[1]", "U+E123"]),
        ('[[reverse.legend]]\ntext = "A"\nfont = "no-such-family"', ["reverse.legend[0]", "font"]),
        ("[blank]\nchamfer = 5", ["chamfer"]),
        ("[blank.rim]\nwidth = 30", ["rim", "width"]),
    ],
)  # fmt: skip
def test_what_cannot_be_built_says_where_and_why(text, words):
    with pytest.raises(MedalError) as caught:
        build(parse_spec(text), "draft")
    for word in words:
        assert word in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("at", ["[40, 0]", "[0, 16]"])
def test_a_relief_beyond_the_edge_is_told_by_how_much(head_file, at):
    text = f'[[obverse.relief]]\nsource = "{head_file.as_posix()}"\nfit = 10\nat = {at}\n'
    with pytest.raises(SpecError) as caught:
        build(parse_spec(text), "draft")
    assert str(caught.value).startswith("obverse.relief[0]: reaches ")
    if at == "[0, 16]":  # 10 mm wide over the ears, so 9.09 high: 16 + 4.55 − 20
        reach = float(re.search(r"reaches ([0-9.]+) mm", str(caught.value))[1])
        assert reach == pytest.approx(0.55, abs=0.06)


def test_an_unknown_quality_names_the_known():
    with pytest.raises(SpecError, match="draft, fine"):
        build(parse_spec(""), "superb")  # type: ignore[arg-type]


def test_findings_tell_of_the_size_of_euro_coins():
    """Regulation (EC) 2182/2004: 25.75 × 2.20 mm lies inside the band, 30 × 2.5 outside."""
    inside = build(parse_spec("[blank]\ndiameter = 25.75\nthickness = 2.2"), "draft")
    outside = build(parse_spec("[blank]\ndiameter = 30.0\nthickness = 2.5"), "draft")
    assert "coin-size" in {f.rule for f in inside.findings}
    assert "coin-size" not in {f.rule for f in outside.findings}


def test_an_undercut_is_found_when_there_is_one():
    """The check must be able to fail: bend a letter's wall inwards and look again."""
    from medalcore.inspect import inspect

    spec = parse_spec(WORDS)
    medal = build(spec, "draft")
    assert "undercut" not in {f.rule for f in medal.findings}
    z = medal.vertices[:, 2]
    top = z > z[medal.triangles[medal.zone == 0]].max() + 0.05
    vertices = medal.vertices.copy()
    vertices[top, :2] += 0.4
    assert "undercut" in {f.rule for f in inspect(replace(medal, vertices=vertices), spec)}


def test_a_finding_names_the_very_words_it_is_about():
    """Of two legends on one face, the one that is set too small for its strokes."""
    legends = (
        'medal.process = "cast"\n'
        '[[obverse.legend]]\ntext = "LARGE"\ncap_height = 4.0\n[[obverse.legend]]\ntext = "small"\n'
        'at = "bottom"\ncap_height = 1.2\n[[reverse.exergue]]\ntext = "FOOT"\ncap_height = 1.0'
    )
    medal = build(parse_spec(legends), "draft")
    thin = {f.where for f in medal.findings if f.rule == "thin-stroke"}
    assert thin == {"obverse.legend[1]", "reverse.exergue[0]"}
