"""A mass or a metal cost asked for is met by the thickness, to 0.1 mg of the finished piece."""

import pytest

from medalcore import SpecError, build, parse_spec

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
