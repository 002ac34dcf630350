"""Slanted reeds on round and other outlines, measured on level cuts."""

import math

import numpy as np
import pytest
import shapely
from counting import counted
from edge_cuts import made, notches_in, slice_at

from medalcore.context.tolerance import tolerance_for
from medalcore.elements.blank.outline import outline_of
from medalcore.geometry.closure import closure
from medalcore.inspect.collar import collar_findings


def test_slanted_reeds_are_slanted_and_warned_of():
    spec = {"edge": {"finish": "reeded", "reeds": 60, "slant": 20.0, "depth": 0.3}}
    _, v, f = made(spec, "draft")
    assert [x.rule for x in collar_findings(counted(spec))] == ["slanted-reeds"]
    cast = {**spec, "medal": {"process": "cast"}}
    assert not collar_findings(counted(cast))
    turns = []
    for z in (-0.8, 0.8):
        outline = slice_at(v, f, z)
        assert notches_in(outline, 20 - 0.15) == 60
        # Phase of the 60th harmonic of the edge: where its notches stand.
        angle = np.arctan2(outline[:, 1], outline[:, 0])
        order = np.argsort(angle)
        even = np.linspace(-np.pi, np.pi, 60 * 64, endpoint=False)
        r = np.interp(even, angle[order], np.hypot(*outline[order].T), period=2 * np.pi)
        turns.append(np.angle(np.sum(r * np.exp(-60j * even))) / -60)
    step = 2 * math.pi / 60
    turn = (turns[1] - turns[0] + step / 2) % step - step / 2
    expected = 1.6 * math.tan(math.radians(20.0)) / 20.0
    assert abs(turn) == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("slant", [20.0, -35.0])
def test_slanted_reeds_go_round_an_oval(slant):
    """By arc length: their shift between two heights, and the volume of upright ones."""
    oval = {"outline": "oval", "diameter": 40.0, "height": 30.0}
    edge = {"finish": "reeded", "reeds": 60, "depth": 0.3}
    blank, v, f = made({"blank": oval, "edge": {**edge, "slant": slant}})
    upright = made({"blank": oval, "edge": edge})
    assert closure(v, f).volume_mm3 == pytest.approx(closure(*upright[1:]).volume_mm3, rel=2e-4)
    assert not blank.findings
    t = np.linspace(0.0, 2.0 * np.pi, 4001)
    line = shapely.LinearRing(np.column_stack([20.0 * np.cos(t), 15.0 * np.sin(t)]))
    phases = []
    for z in (-0.8, 0.8):
        at = shapely.points(slice_at(v, f, z))
        s, deep = shapely.line_locate_point(line, at), shapely.distance(line, at)
        assert deep.max() == pytest.approx(0.3, abs=0.002)
        order = np.argsort(s)
        even = np.linspace(0.0, line.length, 60 * 64, endpoint=False)
        depth = np.interp(even, s[order], deep[order], period=line.length)
        phases.append(np.angle(np.sum(depth * np.exp(-2j * np.pi * 60 * even / line.length))))
    pitch = line.length / 60
    shift = -(phases[1] - phases[0]) / (2.0 * np.pi) * pitch
    off = shift - 1.6 * math.tan(math.radians(slant))
    assert (off + pitch / 2) % pitch - pitch / 2 == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize("outline", ["polygon", "constant-width", "drawing"])
def test_slanted_reeds_keep_off_corners(outline, tmp_path):
    """The outline stands at its corners from top to bottom."""
    blank = {"outline": outline, "sides": 5, "corner_radius": 0.2, "thickness": 3.0}
    if outline == "drawing":
        file = tmp_path / "square.svg"
        file.write_text('<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0H9V9H0Z"/></svg>')
        blank["drawing"] = str(file)
    spec = {"blank": blank, "edge": {"finish": "reeded", "pitch": 1.0, "slant": 30.0}}
    _, v, f = made(spec, "draft")
    plain = outline_of(counted(spec).blank, tolerance_for("draft"))[0]
    radius = np.hypot(*plain.T)
    for z in (-1.1, 0.0, 1.1):
        cut = slice_at(v, f, z)
        for corner in plain[radius > radius.max() - 1e-3]:
            assert np.hypot(*(cut - corner).T).min() < 0.02


def test_slanted_reeds_keep_off_words_at_every_height():
    edge = {"finish": "reeded", "pitch": 0.9, "slant": 45.0, "text": {"words": "I", "depth": 0.1}}
    blank, v, _ = made({"blank": {"thickness": 4.0}, "edge": edge}, "draft")
    wide = blank.facts["words_mm"]
    near = np.abs(v[:, 0]) < wide / 2 + 0.3
    foot = v[near & (v[:, 1] < 0.0) & (np.abs(v[:, 2]) < 1.69)]
    assert (20.0 - np.hypot(foot[:, 0], foot[:, 1])).max() < 0.11
