"""The piece every maker of such tools is asked for first, measured back from its mesh.

Common practice, no source: 25.4 mm across, 2.5 mm thick, edge broken 0.5 mm, 52 notches
with corners rounded 0.3 mm, words along an arc 28.472 mm long at the foot.
"""

import numpy as np
import pytest

from medalcore import build, parse_spec

SPEC = """
[medal]
name = "Reference"
[blank]
diameter = 25.4
thickness = 2.5
chamfer = 0.5
[blank.rim]
width = 1.0
height = 0.3
[edge]
finish = "reeded"
reeds = 52
profile = "round"
depth = 0.3
corner_radius = 0.3
[[obverse.legend]]
text = "LANTERN OVER THE SEA"
cap_height = 1.6
at = "bottom"
arc_length = 28.472
height = 0.25
"""


@pytest.fixture(scope="module")
def medal():
    return build(parse_spec(SPEC))


def test_sizes(medal):
    assert medal.is_closed
    assert medal.report["diameter_mm"] == pytest.approx(25.4, abs=0.002)
    assert medal.report["thickness_mm"] == pytest.approx(2.5, abs=0.002)


def _section(medal, z):
    """Return angle and radius of the cut of the edge zone with the plane z."""
    edge = medal.triangles[medal.zone == medal.zone_names.index("edge")]
    corner = medal.vertices[edge]
    a, b = corner, np.roll(corner, -1, axis=1)
    crosses = (a[..., 2] - z) * (b[..., 2] - z) < 0
    a, b = a[crosses], b[crosses]
    t = (z - a[:, 2]) / (b[:, 2] - a[:, 2])
    cut = a[:, :2] + t[:, None] * (b - a)[:, :2]
    order = np.argsort(np.arctan2(cut[:, 1], cut[:, 0]))
    return np.arctan2(*cut[order].T[::-1]), np.hypot(*cut[order].T)


def test_notches_counted_from_the_profile(medal):
    """Count how often the profile goes down through half depth."""
    _, radius = _section(medal, 0.013)
    half = (radius.max() + radius.min()) / 2
    below = radius < half
    assert np.count_nonzero(below & ~np.roll(below, 1)) == 52
    assert radius.max() == pytest.approx(12.7, abs=0.002)
    assert radius.max() - radius.min() == pytest.approx(0.3, abs=0.004)


def test_the_edge_is_broken_by_half_a_millimetre(medal):
    """At the top plane of the rim the outline has drawn in by 0.5 mm."""
    rim_or_edge = [medal.zone_names.index(n) for n in ("rim", "edge")]
    points = medal.vertices[np.unique(medal.triangles[np.isin(medal.zone, rim_or_edge)])]
    top = points[np.isclose(points[:, 2], 1.25, atol=1e-5)]
    assert np.hypot(*top[:, :2].T).max() == pytest.approx(12.2, abs=0.002)


def test_words_fill_the_arc(medal):
    """From the first letter's ink to the last letter's, along the baseline, on the mesh."""
    letters = medal.triangles[medal.zone == medal.zone_names.index("legend")]
    points = medal.vertices[np.unique(letters)]
    facts = medal.report["elements"]["obverse.legend[0]"]
    baseline = facts["baseline_radius_mm"]
    top = points[points[:, 2] > points[:, 2].max() - 0.01]
    radius = np.hypot(*top.T[:2])
    feet = top[abs(radius - baseline) < 0.06]  # L and A end on serifs that stand on the line
    angle = np.arctan2(feet[:, 0], -feet[:, 1])  # 0 at the foot of the piece
    assert np.ptp(angle) * baseline == pytest.approx(28.472, abs=0.02)
    assert abs(angle.max() + angle.min()) / 2 < np.radians(0.1)
    assert radius.max() == pytest.approx(baseline, abs=0.05)
