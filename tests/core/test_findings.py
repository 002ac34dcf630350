"""What is said of a piece follows how it is made, is said once, and asks for something."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import medalcore
from medalcore.context.element import Finding
from medalcore.inspect import inspect, worst_first

HIGH = """
[medal]
process = "{}"
[blank]
diameter = 30.0
thickness = 2.5
[[obverse.inscription]]
text = "I"
height = 0.8
"""


@pytest.fixture(scope="module")
def pieces() -> dict[str, medalcore.Medal]:
    """Return a piece whose letter stands 0.5 mm above its rim, by process."""
    ways = ("struck", "cast", "milled", "printed")
    return {
        way: medalcore.build(medalcore.parse_spec(HIGH.format(way)), quality="draft")
        for way in ways
    }


def test_only_struck_pieces_are_warned_of_what_stands_above_the_rim(
    pieces: dict[str, medalcore.Medal],
) -> None:
    """A press has nothing to rest on but the rim; other ways of making only lose stacking."""
    (warned,) = [f for f in pieces["struck"].findings if f.rule == "above-rim"]
    assert warned.severity == "warning"
    assert warned.measured == pytest.approx(0.5, abs=0.005)
    for way in ("cast", "milled", "printed"):
        assert not [f for f in pieces[way].findings if f.rule == "above-rim"]
        (remark,) = pieces[way].report["remarks"]
        assert (remark["rule"], remark["severity"]) == ("above-rim", "remark")
        assert "struck" not in remark["message"]


@pytest.mark.parametrize(
    ("way", "severity"),
    [("struck", "error"), ("milled", "error"), ("cast", "warning"), ("printed", "note")],
)
def test_an_undercut_weighs_by_process(
    pieces: dict[str, medalcore.Medal], way: str, severity: str
) -> None:
    """A letter widened at its top hangs over."""
    medal = pieces[way]
    points = medal.vertices.copy()
    top = points[:, 2] > 1.6
    points[top, :2] *= 1.8
    spec = medalcore.parse_spec(HIGH.format(way))
    (found,) = [f for f in inspect(replace(medal, vertices=points), spec) if f.rule == "undercut"]
    assert found.severity == severity
    assert ("die" in found.message) == (way == "struck")


def test_the_same_said_of_two_places_is_said_once() -> None:
    thin, other = Finding("thin", "note", "too thin", "a"), Finding("high", "error", "high", "c")
    assert worst_first([thin, replace(thin, where="b"), thin, other]) == (
        other, replace(thin, where="a, b"),
    )  # fmt: skip


def test_what_was_done_to_a_model_stands_in_the_report_only() -> None:
    """A dome with its underside open: used, and nothing for a person to do about it."""
    v = np.linspace(-1.0, 1.0, 9)
    grid = np.stack(np.meshgrid(v, v), axis=-1).reshape(-1, 2)
    points = np.column_stack([grid, 1.0 - 0.4 * (grid**2).sum(axis=1)])
    k = np.arange(81).reshape(9, 9)
    low = np.stack([k[:-1, :-1], k[:-1, 1:], k[1:, 1:]], axis=-1).reshape(-1, 3)
    high = np.stack([k[:-1, :-1], k[1:, 1:], k[1:, :-1]], axis=-1).reshape(-1, 3)
    spec = medalcore.parse_spec(
        '[medal]\nprocess = "cast"\n[[obverse.relief]]\nsource = "object:Dome"\nfit = 14.0\n'
    )
    model = medalcore.Model(points, np.vstack([low, high]))
    medal = medalcore.build(spec, quality="draft", models={"object:Dome": model})
    assert not medal.findings
    assert "relief-source" in {f["rule"] for f in medal.report["remarks"]}


def test_the_report_names_things_plainly(pieces: dict[str, medalcore.Medal]) -> None:
    assert pieces["struck"].report["holes_through"] == 0
    assert "genus" not in pieces["struck"].report
