"""Whatever is asked for: a closed blank, or one line that says why not."""

import pytest
from counting import counted
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from medalcore.context.tolerance import tolerance_for
from medalcore.elements.blank import build_blank
from medalcore.errors import SpecError
from medalcore.geometry.closure import closure, mend
from medalcore.geometry.solid import arrays_of, without


def part(*values):
    return st.sampled_from(values)


@st.composite
def pieces(draw):
    """Return a spec with everything in proportion to the piece, good or not."""
    d = draw(part(12.0, 19.05, 25.4, 40.0, 63.7))
    t = round(d * draw(st.floats(0.05, 0.14)), 3)
    blank = {
        "diameter": d,
        "thickness": t,
        "outline": draw(
            part("round", "oval", "rectangle", "polygon", "constant-width", "scalloped")
        ),
        "height": round(d * draw(st.floats(0.6, 1.2)), 3),
        "sides": draw(part(3, 5, 7, 12)),
        "corner_radius": d * draw(part(0.0, 0.02, 0.1)),
        "scallop_shape": draw(part("lobes", "notches")),
        "scallop_depth": 0.02 * d,
        "chamfer": t * draw(part(0.0, 0.04, 0.2)),
        "break_shape": draw(part("chamfer", "round")),
        "rim": {
            "width": d * draw(part(0.0, 0.01, 0.06)),
            "height": t * draw(part(0.05, 0.15)),
            "section": draw(part("flat", "rounded", "bevelled", "stepped")),
            "slope": draw(part(0.0, 0.001, 10.0, 30.0)),
            "fillet": draw(part(0.0, 0.02)),
        },
        "hole": {
            "shape": draw(part("none", "none", "round", "square", "polygon", "outline")),
            "size": d * draw(part(0.15, 0.4)),
            "rim_height": 0.05 * t,
        },
        "drill": {"diameter": d * draw(part(0.0, 0.0, 0.06)), "inset": 0.14 * d},
        "loop": {
            "kind": draw(part("none", "none", "lug", "eye")),
            "hole": 0.08 * d,
            "width": min(0.03 * d, 0.4 * t),
            "gap": 0.15,
        },
    }
    edge = {
        "finish": draw(part("plain", "reeded", "grooved", "reeded and grooved")),
        "pitch": draw(part(0.0, 0.8, 2.0)),
        "profile": draw(part("vee", "round", "square")),
        "depth": draw(part(0.1, 0.3)),
        "corner_radius": draw(part(0.0, 0.05)),
        "pattern": draw(part("", "60 60", "30 15")),
        "groove_width": 0.15 * t,
        "groove_depth": 0.1,
        "text": {"words": draw(part("", "", "LIT 7")), "form": draw(part("sunk", "raised"))},
    }
    if draw(part(0, 0, 1)):
        blank["core"] = {
            "diameter": d * draw(part(0.4, 0.6)),
            "shape": draw(part("round", "oval", "rectangle", "polygon", "outline")),
            "tall": 0.4 * d,
            "clearance": 0.05,
            "lock": t * draw(part(0.0, 0.05)),
        }
    fields = [
        {"dish": t * draw(part(0.0, 0.1, -0.1)), "panel": [panel(draw, d, t) for _ in range(n)]}
        for n in (draw(part(0, 1, 2)), draw(part(0, 1)))
    ]
    return {
        "blank": blank,
        "edge": edge,
        "obverse": {"field": fields[0]},
        "reverse": {"field": fields[1]},
    }


def panel(draw, d, t):
    """Return a panel or border in proportion to a piece, somewhere on it."""
    return {
        "shape": draw(part("round", "oval", "rectangle", "polygon", "outline")),
        "size": d * draw(part(0.1, 0.16)),
        "tall": 0.12 * d,
        "corner_radius": 0.01 * d,
        "at": [d * draw(part(0.0, 0.18, -0.18)), d * draw(part(0.0, 0.15, -0.15))],
        "inset": d * draw(part(0.12, 0.2)),
        "width": d * draw(part(0.0, 0.02)),
        "height": t * draw(part(0.05, -0.08)),
        "slope": draw(part(1.0, 10.0, 45.0)),
    }


def tried(plain):
    """Return the blank or the refusal of a spec."""
    try:
        return build_blank(counted(plain), tolerance_for("draft")), None
    except SpecError as error:
        return None, error


@pytest.mark.slow
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(pieces())
def test_any_piece_is_one_closed_body_or_one_line(plain):
    blank, refusal = tried(plain)
    if refusal is not None:
        assert refusal.key
        assert "\n" not in str(refusal)
        return
    v, f, code, _ = arrays_of(without(blank.solid, blank.cutters))
    if not closure(v, f).is_closed:  # as the assembly does after every cut
        v, f, _ = mend(v, f, code)
    proof = closure(v, f)
    assert proof.is_closed, proof
    assert proof.bodies == blank.bodies


def test_a_solid_error_never_stands_for_a_bad_spec():
    """Rims, breaks and holes pushed to their limits give lines with keys, not broken solids."""
    for rim in (0.001, 0.5, 5.0, 9.99, 19.0):
        for hole in ("none", "square"):
            spec = {"blank": {"rim": {"width": rim}, "hole": {"shape": hole}, "outline": "polygon"}}
            _, refusal = tried(spec)
            assert refusal is None or refusal.key
