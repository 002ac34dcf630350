"""Coins as published, modelled from their sizes alone; densities are never tuned.

Sizes, masses and reeds of the United States coins: usmint.com, coin specifications; those of
the euro coins: the tables after Regulation (EU) 729/2014, Annex I; of the seven-sided coin:
aber.ac.uk, 2017/03 (width) and memory (thickness). Densities of the elements: CRC column as
given by calqlata.com (copper 8.96, nickel 8.90, zinc 7.134); alloys by inverse mixing,
1/ρ = Σ wᵢ/ρᵢ (tmtpages.com, specific gravity).
"""

import math

import numpy as np
import pytest

from medalcore.blank import build_blank
from medalcore.solid import arrays_of
from medalcore.spec import spec_from_dict
from medalcore.tolerance import tolerance_for
from medalcore.weld import closure

DENSITY = {"copper": 8.96, "nickel": 8.90, "zinc": 7.134}


def mixed(**parts):
    """Return the density of an alloy by inverse mixing, g/cm³."""
    return 1.0 / sum(share / DENSITY[name] for name, share in parts.items())


CLAD = mixed(nickel=0.0833, copper=0.9167)
COINS = {
    # name: diameter, thickness, mass, reeds, density
    "cent": (19.05, 1.52, 2.500, 0, mixed(zinc=0.975, copper=0.025)),
    "five cents": (21.21, 1.95, 5.000, 0, mixed(copper=0.75, nickel=0.25)),
    "dime": (17.91, 1.35, 2.268, 118, CLAD),
    "quarter": (24.26, 1.75, 5.670, 119, CLAD),
    "half dollar": (30.61, 2.15, 11.340, 150, CLAD),
}


def modelled(diameter, thickness, reeds):
    """Return the spec of a coin with the rim and reeds such coins have.

    Rim width, rim height and reed depth are not published; these are plain proportions.
    """
    edge = {"finish": "reeded", "reeds": reeds, "depth": 0.1} if reeds else {}
    return {
        "blank": {
            "diameter": diameter,
            "thickness": thickness,
            "chamfer": 0.15,
            "rim": {"width": 0.8, "height": 0.2},
        },
        "edge": edge,
    }


@pytest.mark.parametrize("name", list(COINS))
def test_a_published_coin_has_its_reeds_and_a_mass_between_field_and_cylinder(name):
    diameter, thickness, mass, reeds, density = COINS[name]
    spec = spec_from_dict(modelled(diameter, thickness, reeds))
    blank = build_blank(spec, tolerance_for("fine"))
    v, f, code, labels = arrays_of(blank.solid)
    proof = closure(v, f)
    assert proof.is_closed
    edge = v[np.unique(f[code == [x.zone for x in labels].index("edge")])]
    r = np.hypot(edge[:, 0], edge[:, 1])
    assert 2 * r.max() == pytest.approx(diameter, abs=0.002)
    assert np.ptp(v[:, 2]) == pytest.approx(thickness, abs=0.002)
    if reeds:
        deep = np.abs(r - (diameter / 2 - 0.1)) < 1e-6
        angle = np.sort(np.arctan2(edge[deep, 1], edge[deep, 0]))
        gaps = np.diff(angle, append=angle[0] + 2 * math.pi)
        assert np.count_nonzero(gaps > 0.5 * 2 * math.pi / reeds) == reeds
    cylinder = math.pi * diameter**2 / 4 * thickness * density / 1000
    field = math.pi * diameter**2 / 4 * (thickness - 0.4) * density / 1000
    weight = proof.volume_mm3 * density / 1000
    assert field < weight < cylinder
    # Real coins have wider hollows than these; a plain cylinder is still farther off.
    assert abs(weight - mass) < cylinder - mass


EURO = {
    # name: diameter, thickness, edge keys
    "one euro": (23.25, 2.33, {"finish": "reeded", "pattern": "60 60", "pitch": 0.6, "depth": 0.1}),
    "two cent": (18.75, 1.67, {"finish": "grooved", "groove_width": 0.5, "groove_depth": 0.2}),
    "one cent": (16.25, 1.67, {}),
}


@pytest.mark.parametrize("name", list(EURO))
def test_published_euro_edges_can_be_made(name):
    """Interrupted milling of three milled and three plain sectors; one groove; smooth."""
    diameter, thickness, edge = EURO[name]
    spec = {**modelled(diameter, thickness, 0), "edge": edge}
    blank = build_blank(spec_from_dict(spec), tolerance_for("fine"))
    v, f, _, _ = arrays_of(blank.solid)
    assert closure(v, f).is_closed
    assert np.hypot(v[:, 0], v[:, 1]).max() * 2 == pytest.approx(diameter, abs=0.002)


def test_a_spanish_flower_has_seven_hollows_on_a_circle():
    """20 cent: 22.25 mm across, seven indentations, otherwise plain (Regulation tables)."""
    spec = {
        "blank": {
            "outline": "scalloped",
            "diameter": 22.25,
            "thickness": 2.14,
            "scallops": 7,
            "scallop_shape": "notches",
            "scallop_depth": 0.35,
            "scallop_width": 1.8,
            "corner_radius": 0.3,
            "chamfer": 0.15,
            "rim": {"width": 0.8, "height": 0.15},
        }
    }
    blank = build_blank(spec_from_dict(spec), tolerance_for("fine"))
    v, f, _, _ = arrays_of(blank.solid)
    assert closure(v, f).is_closed
    wall = v[np.abs(v[:, 2]) > 2.14 / 2 - 0.15 - 1e-6]
    r = np.hypot(wall[:, 0], wall[:, 1])
    assert 2 * r.max() == pytest.approx(22.25, abs=0.002)
    deep = np.abs(r - (22.25 / 2 - 0.35)) < 1e-6
    angle = np.sort(np.arctan2(wall[deep, 1], wall[deep, 0]))
    assert np.count_nonzero(np.diff(angle, append=angle[0] + 2 * math.pi) > 0.5) == 7


def test_a_seven_sided_coin_weighs_between_field_and_full():
    """27.3 mm constant width, 1.78 mm, 8.00 g, Cu75Ni25: area 575.3223 mm² when sharp."""
    spec = modelled(27.3, 1.78, 0)
    spec["blank"] |= {"outline": "constant-width", "sides": 7, "corner_radius": 1.0}
    blank = build_blank(spec_from_dict(spec), tolerance_for("fine"))
    v, f, _, _ = arrays_of(blank.solid)
    proof = closure(v, f)
    assert proof.is_closed
    density = mixed(copper=0.75, nickel=0.25)
    full = 575.3223 * 1.78 * density / 1000
    weight = proof.volume_mm3 * density / 1000
    assert 575.3223 * 1.38 * density / 1000 < weight < full
    assert 8.00 < full
