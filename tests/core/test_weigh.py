"""A mass or a metal cost asked for is met by the thickness, to 0.1 mg of the finished piece."""

import io
import math

import numpy as np
import pytest
import trimesh

from medalcore import SpecError, build, parse_spec
from medalcore.context.materials import material_named

TROY_OUNCE_G = 31.1034768  # international yard and pound agreement, 1959: 480 grains

PIECE = """
[medal]
metal = "fine-silver"
price = 2.5
[blank]
diameter = 38.6
{aim}
[edge]
finish = "reeded"
reeds = 180
[[obverse.legend]]
text = "FENNICK LIGHT"
[[reverse.inscription]]
text = "ONE OUNCE"
"""


def test_one_troy_ounce_is_met_on_the_finished_mesh():
    medal = build(parse_spec(PIECE.format(aim=f"mass = {TROY_OUNCE_G}")))
    assert medal.mass_g == pytest.approx(TROY_OUNCE_G, abs=1e-4)
    assert medal.volume_mm3 * 10.49e-3 == pytest.approx(TROY_OUNCE_G, abs=1e-4)
    solved = medal.report["solved"]["thickness_mm"]
    assert medal.report["thickness_mm"] == pytest.approx(solved, abs=1e-6)
    assert solved != 3.0
    assert medal.is_closed


def test_a_metal_cost_is_met():
    medal = build(parse_spec(PIECE.format(aim="cost = 100.0")), "draft")
    assert medal.report["metal_cost"] == pytest.approx(100.0, abs=2.5e-4)
    assert medal.mass_g == pytest.approx(40.0, abs=1e-4)


@pytest.mark.parametrize(
    ("aim", "words"),
    [
        ("mass = 0.5", r"0\.5 g (is too little|would need a thickness)"),
        ("mass = 5.0\ncost = 3.0", "either"),
    ],
)
def test_what_cannot_be_met_says_so(aim, words):
    with pytest.raises(SpecError, match=words):
        build(parse_spec(PIECE.format(aim=aim)), "draft")


def test_a_cost_needs_a_price():
    with pytest.raises(SpecError, match=r"medal\.price"):
        build(parse_spec("[blank]\ncost = 5.0"), "draft")


def test_ring_and_core_are_weighed_each_in_its_own_metal():
    """Coaxial cylinders without rims: volumes by πr²t, densities from the table of materials."""
    text = """
    [medal]
    metal = "cupronickel"
    [blank]
    diameter = 26.0
    thickness = 2.0
    chamfer = 0.0
    rim = {width = 0.0}
    core = {diameter = 18.0, clearance = 0.1, metal = "brass"}
    """
    medal = build(parse_spec(text))
    ring, core = medal.report["parts"]
    assert (ring["part"], core["part"]) == ("ring", "core")
    assert core["volume_mm3"] == pytest.approx(math.pi * 9.0**2 * 2.0, rel=2e-4)
    assert ring["volume_mm3"] == pytest.approx(math.pi * (13.0**2 - 9.1**2) * 2.0, rel=2e-4)
    for part, metal in ((ring, "cupronickel"), (core, "brass")):
        assert part["mass_g"] == pytest.approx(
            part["volume_mm3"] * material_named(metal).density / 1000.0, abs=1e-5
        )
    assert medal.mass_g == pytest.approx(ring["mass_g"] + core["mass_g"], abs=1e-5)


def test_a_mass_of_two_metals_is_met():
    text = """
    [medal]
    metal = "fine-silver"
    [blank]
    mass = 20.0
    core = {diameter = 22.0, metal = "fine-gold", lock = 0.15}
    """
    medal = build(parse_spec(text), "draft")
    assert medal.mass_g == pytest.approx(20.0, abs=1e-4)


def test_a_mass_far_beyond_any_thickness_says_how_thick_it_would_be():
    with pytest.raises(SpecError, match=r"thickness of \d{4} mm; at most 200 mm"):
        build(parse_spec("[blank]\nmass = 90000.0"), "draft")


def test_a_cost_of_two_metals_is_met_at_both_prices():
    text = """
    [medal]
    metal = "fine-silver"
    price = 0.9
    [blank]
    cost = 300.0
    core = {diameter = 16.0, metal = "fine-gold", price = 60.0, shape = "polygon"}
    """
    medal = build(parse_spec(text), "draft")
    ring, core = medal.report["parts"]
    assert ring["mass_g"] * 0.9 + core["mass_g"] * 60.0 == pytest.approx(300.0, abs=2e-4)
    assert medal.report["metal_cost"] == pytest.approx(300.0, abs=2e-4)
    assert core["metal_cost"] == pytest.approx(core["mass_g"] * 60.0, abs=1e-3)
    with pytest.raises(SpecError, match=r"blank\.core\.price"):
        build(parse_spec(text.replace("price = 60.0, ", "")), "draft")


def test_nickel_in_the_core_alone_is_told_of():
    text = """
    [medal]
    metal = "bronze"
    [blank]
    core = {diameter = 16.0, metal = "cupronickel"}
    """
    found = [f for f in build(parse_spec(text), "draft").findings if f.rule == "nickel"]
    assert [f.where for f in found] == ["blank.core.metal"]


def test_files_hold_both_parts_and_both_metals():
    from medalcore.deliver.obj import mtl_bytes, obj_bytes
    from medalcore.deliver.threemf import threemf_bytes
    from medalcore.render.parts import by_metal

    text = """
    [medal]
    metal = "cupronickel"
    [blank]
    outline = "oval"
    core = {diameter = 16.0, metal = "bronze", shape = "outline"}
    hole = {shape = "round", size = 4.0, rim_width = 0.4}
    """
    medal = build(parse_spec(text.replace("16.0", "24.0")), "draft")
    ring, core = by_metal(medal)
    reach = [np.hypot(*medal.vertices[medal.triangles[p.triangles]].T[:2]).max()
             for p in (ring, core)]  # fmt: skip
    assert reach == pytest.approx([20.0, 12.0], abs=0.01)  # at draft
    scene = trimesh.load(io.BytesIO(threemf_bytes(medal)), file_type="3mf")
    bodies = {str(name).rpartition(", ")[2]: part for name, part in scene.geometry.items()}
    for part in medal.report["parts"]:
        body = bodies[part["part"]]
        assert body.is_watertight
        assert body.volume == pytest.approx(part["volume_mm3"], rel=1e-5)
    told = obj_bytes(medal, "x.mtl").decode()
    assert "usemtl field" in told
    assert "usemtl core-field" in told
    colours = {b.split("\n")[0]: b for b in mtl_bytes(medal).decode().split("newmtl ")[1:]}
    assert colours["field"].split("Kd")[1] != colours["core-field"].split("Kd")[1]
