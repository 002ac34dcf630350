"""Coins as published, modelled from their sizes alone; densities are never tuned.

Sizes, masses and reeds of the United States coins: usmint.com, coin specifications; those of
the euro coins: the tables after Regulation (EU) 729/2014, Annex I, the 40 scallops of the 10
cent from the German Wikipedia, 'Euromünzen'; of the British ones: aber.ac.uk, 2017/03 (widths)
and royalmint.com (the twelve-sided one); thicknesses of the seven-sided ones, mass of the 20
pence and all widths of cores: values from memory. Densities of the elements: CRC column as
given by calqlata.com (copper 8.96, nickel 8.90, zinc 7.134, aluminium 2.70); iron 7.87, tin
7.287 and manganese 7.3 from memory; alloys by inverse mixing, 1/ρ = Σ wᵢ/ρᵢ (tmtpages.com,
specific gravity).
"""

import math

import numpy as np
import pytest
import shapely

from medalcore.context.tolerance import tolerance_for
from medalcore.elements.blank import build_blank
from medalcore.elements.blank.outline import outline_of
from medalcore.geometry.closure import closure, inner_bodies
from medalcore.geometry.solid import arrays_of, without
from medalcore.spec import spec_from_dict

DENSITY = {
    "copper": 8.96, "nickel": 8.90, "zinc": 7.134, "aluminium": 2.70, "iron": 7.87, "tin": 7.287,
    "manganese": 7.3,
}  # fmt: skip


def mixed(**parts):
    """Return the density of an alloy by inverse mixing, g/cm³."""
    return 1.0 / sum(share / DENSITY[name] for name, share in parts.items())


CLAD = mixed(nickel=0.0833, copper=0.9167)
CUPRONICKEL = mixed(copper=0.75, nickel=0.25)
NICKEL_BRASS = mixed(copper=0.75, zinc=0.20, nickel=0.05)
NORDIC_GOLD = mixed(copper=0.89, aluminium=0.05, zinc=0.05, tin=0.01)
COVERED_STEEL = mixed(iron=0.9435, copper=0.0565)

FLOWER = {
    "outline": "scalloped", "scallop_shape": "notches", "scallops": 7, "scallop_depth": 0.35,
    "scallop_width": 1.8, "corner_radius": 0.3,
}  # fmt: skip
FINE_SCALLOPS = {
    "outline": "scalloped", "scallop_shape": "notches", "scallop_depth": 0.2, "corner_radius": 0.1
}  # fmt: skip
SEVEN = {"outline": "constant-width", "sides": 7, "corner_radius": 1.0}
MILLED = {"finish": "reeded", "depth": 0.1}
WORDS = {"words": "FENNICK LIGHT 150 YEARS", "depth": 0.08}

COINS = {
    # name: diameter, thickness, mass, density (of ring and core), blank's keys, edge's keys
    "cent": (19.05, 1.52, 2.500, mixed(zinc=0.975, copper=0.025), {}, {}),
    "five cents": (21.21, 1.95, 5.000, CUPRONICKEL, {}, {}),
    "dime": (17.91, 1.35, 2.268, CLAD, {}, {**MILLED, "reeds": 118}),
    "quarter": (24.26, 1.75, 5.670, CLAD, {}, {**MILLED, "reeds": 119}),
    "half dollar": (30.61, 2.15, 11.340, CLAD, {}, {**MILLED, "reeds": 150}),
    "dollar": (
        26.49, 2.00, 8.1, mixed(copper=0.885, zinc=0.06, manganese=0.035, nickel=0.02), {},
        {"text": WORDS},
    ),
    "reeded dollar": (
        26.5, 2.00, 8.1, mixed(copper=0.885, zinc=0.06, manganese=0.035, nickel=0.02), {},
        {**MILLED, "reeds": 133},
    ),
    "2 euro": (
        25.75, 2.20, 8.50, (CUPRONICKEL, NICKEL_BRASS), {"core": {"diameter": 18.75}},
        {**MILLED, "pitch": 0.35, "depth": 0.06, "text": {**WORDS, "clear": False, "depth": 0.15}},
    ),
    "1 euro": (
        23.25, 2.33, 7.50, (NICKEL_BRASS, CUPRONICKEL), {"core": {"diameter": 16.25}},
        {**MILLED, "pattern": "60 60", "pitch": 0.6},
    ),
    "50 cent": (24.25, 2.38, 7.80, NORDIC_GOLD, {**FINE_SCALLOPS, "scallops": 54}, {}),
    "20 cent": (22.25, 2.14, 5.74, NORDIC_GOLD, FLOWER, {}),
    "10 cent": (19.75, 1.93, 4.10, NORDIC_GOLD, {**FINE_SCALLOPS, "scallops": 40}, {}),
    "5 cent": (21.25, 1.67, 3.92, COVERED_STEEL, {}, {}),
    "2 cent": (
        18.75, 1.67, 3.06, COVERED_STEEL, {},
        {"finish": "grooved", "groove_width": 0.5, "groove_depth": 0.2},
    ),
    "1 cent": (16.25, 1.67, 2.30, COVERED_STEEL, {}, {}),
    "50 pence": (27.3, 1.78, 8.00, CUPRONICKEL, SEVEN, {}),
    "20 pence": (21.4, 1.7, 5.0, CUPRONICKEL, SEVEN, {}),
    "1 pound": (
        23.43, 2.80, 8.75, (NICKEL_BRASS, CUPRONICKEL),
        {"outline": "polygon", "sides": 12, "flats": 23.03, "core": {"diameter": 15.2}},
        {**MILLED, "pattern": "30 30", "start": 15.0, "pitch": 0.5},
    ),
    "round pound": (22.5, 3.15, 9.50, NICKEL_BRASS, {}, {**MILLED, "pitch": 0.6}),
}  # fmt: skip


def spec_of(name):
    """Return the spec of a coin with the rim such coins have.

    Rim width, rim height and reed depth are not published; these are plain proportions.
    """
    diameter, thickness, _, _, blank, edge = COINS[name]
    rim = {"width": 0.8, "height": 0.2}
    plain = {"diameter": diameter, "thickness": thickness, "chamfer": 0.15, "rim": rim, **blank}
    return spec_from_dict({"blank": plain, "edge": edge})


def modelled(name):
    """Return vertices, triangles, the points of the edge, and the report's facts."""
    blank = build_blank(spec_of(name), tolerance_for("fine"))
    v, f, code, labels = arrays_of(without(blank.solid, blank.cutters))
    proof = closure(v, f)
    assert proof.is_closed, proof
    assert proof.bodies == (2 if "core" in COINS[name][4] else 1)
    edge = v[np.unique(f[code == [x.zone for x in labels].index("edge")])]
    return v, f, edge, blank.facts


def grams(v, f, density):
    """Return the mass of a coin whose ring and core have densities of their own."""
    corner = v[f]
    six = np.einsum("ij,ij->i", corner[:, 0], np.cross(corner[:, 1], corner[:, 2]))
    ring, core = density if isinstance(density, tuple) else (density, density)
    inner = inner_bodies(v, f) if ring != core else np.zeros(len(f), dtype=bool)
    return (six[~inner].sum() * ring + six[inner].sum() * core) / 6000.0


@pytest.mark.parametrize("name", list(COINS))
def test_a_published_coin_measures_as_published_and_weighs_between_field_and_cylinder(name):
    diameter, thickness, mass, density, _, _ = COINS[name]
    v, f, edge, _ = modelled(name)
    angle = np.radians(np.arange(0.0, 180.0, 0.5))
    across = np.ptp(edge[:, :2] @ np.stack([np.cos(angle), np.sin(angle)]), axis=0)
    assert across.max() == pytest.approx(diameter, abs=0.002)
    assert np.ptp(v[:, 2]) == pytest.approx(thickness, abs=0.002)
    area = shapely.Polygon(outline_of(spec_of(name).blank, tolerance_for("fine"))[0]).area
    light, heavy = (min(density), max(density)) if isinstance(density, tuple) else (density,) * 2
    cylinder = area * thickness * heavy / 1000.0
    field = area * (thickness - 0.4) * light / 1000.0
    weight = grams(v, f, density)
    assert field < weight < cylinder
    assert mass < cylinder
    if mass < 0.9 * cylinder:  # wider hollows than these; a plain cylinder is still farther off
        assert abs(weight - mass) < cylinder - mass


def dips(edge, diameter, depth):
    """Return the angles at which the edge has a deepest place, one for each notch."""
    r = np.hypot(edge[:, 0], edge[:, 1])
    deep = np.sort(np.arctan2(*edge[np.abs(r - (diameter / 2 - depth)) < 1e-6, 1::-1].T))
    gaps = np.diff(deep, append=deep[0] + 2 * math.pi)
    return deep, gaps


@pytest.mark.parametrize(
    ("name", "count"),
    [("dime", 118), ("quarter", 119), ("half dollar", 150), ("reeded dollar", 133)],
)
def test_the_published_reeds_are_counted_back(name, count):
    _, _, edge, facts = modelled(name)
    _, gaps = dips(edge, COINS[name][0], 0.1)
    assert np.count_nonzero(gaps > math.pi / count) == count
    assert facts["reeds"] == count
    # Published pitches: 0.477, 0.640 and 0.641 mm (circumference over count).
    assert facts["pitch_mm"] == pytest.approx(math.pi * COINS[name][0] / count, abs=1e-5)


@pytest.mark.parametrize(
    ("name", "depth", "count"), [("20 cent", 0.35, 7), ("10 cent", 0.2, 40), ("50 cent", 0.2, 54)]
)
def test_scallops_and_hollows_are_counted_back(name, depth, count):
    _, _, edge, _ = modelled(name)
    edge = edge[np.abs(edge[:, 2]) < COINS[name][1] / 2 - 0.15 + 1e-6]
    _, gaps = dips(edge, COINS[name][0], depth)
    assert np.count_nonzero(gaps > math.pi / count) == count


def test_milling_in_three_sectors_leaves_three_plain_ones():
    _, _, edge, facts = modelled("1 euro")
    _, gaps = dips(edge, 23.25, 0.1)
    assert np.count_nonzero(gaps > math.radians(50.0)) == 3
    assert facts["reeds"] % 3 == 0


def test_milling_stands_on_every_other_of_twelve_sides():
    """Roots of notches lie in the edge break, whose 0.15 mm are more than their depth."""
    _, _, edge, _ = modelled("1 pound")
    line = shapely.LinearRing(outline_of(spec_of("1 pound").blank, tolerance_for("fine"))[0])
    edge = edge[(np.abs(edge[:, 2]) < 1.351) & (np.hypot(edge[:, 0], edge[:, 1]) > 11.0)]
    deep = line.distance(shapely.points(edge[:, :2])) > 0.05
    bearing = np.degrees(np.arctan2(edge[deep, 0], edge[deep, 1])) % 360.0
    sides = np.unique(np.round(bearing / 30.0).astype(int) % 12)
    assert len(sides) == 6
    assert len(set((sides % 2).tolist())) == 1


def test_a_sharp_heptagon_of_27_3_mm_has_the_area_of_its_formula():
    """(w²/2)(π − n·tan(π/2n)) = 575.3223 mm² for 27.3 mm, 353.5196 for 21.4 (plane geometry)."""
    for name, width, area in (("50 pence", 27.3, 575.3223), ("20 pence", 21.4, 353.5196)):
        eased = shapely.Polygon(outline_of(spec_of(name).blank, tolerance_for("fine"))[0]).area
        disc = math.pi * width**2 / 4.0
        assert area < eased < disc  # eased corners lie nearer to the circle
        assert eased == pytest.approx(area, rel=3e-3)
