"""A relief as its maker would judge it, looked at with embree and not with our own eyes."""

import numpy as np
import pytest
from embree import top_seen

from medalcore import Model, build, parse_spec


def _sunk(points, radius, dish):
    """Return how far a field lies below its rim: a sphere through rim and sagitta."""
    if not dish:
        return 0.0
    deep = abs(dish)
    big = (radius**2 + deep**2) / (2 * deep)
    r2 = np.minimum((points[:, :2] ** 2).sum(axis=1), radius**2)
    return np.sign(dish) * (np.sqrt(big**2 - r2) - (big - deep))


def check_relief(vertices, triangles, diameter, height, face="obverse", dish=0.0):
    """Build a model as relief and hold the piece against all that was asked of it."""
    fit = 0.62 * diameter
    text = f"""
[blank]
diameter = {diameter}
thickness = {0.08 * diameter + 2}
[blank.rim]
width = {0.03 * diameter}
height = {height + 0.1}
[{face}.field]
dish = {dish}
[[{face}.relief]]
source = "object:model"
fit = {fit}
height = {height}
"""
    spec = parse_spec(text)
    medal = build(spec, "fine", models={"object:model": Model(vertices, triangles)})
    assert medal.is_closed
    assert medal.report["bodies"] == 1
    assert "undercut" not in {f.rule for f in medal.findings}
    relief = medal.zone == medal.zone_names.index("relief")
    side = 1 if face == "obverse" else -1
    turned = medal.vertices * (1, 1, 1) if side == 1 else medal.vertices * (-1, 1, -1)
    level = spec.blank.thickness / 2 - spec.blank.rim.height
    points = turned[np.unique(medal.triangles[relief])]
    radius = diameter / 2 - spec.blank.rim.width
    assert (points[:, 2] - level + _sunk(points, radius, dish)).max() == pytest.approx(
        height, abs=0.01
    )
    # nothing of the silhouette lost: where the model is seen, the relief stands, and its walls
    # beside it, so that all is as wide at the field as asked
    left, below, right, above = medal.report["elements"][f"{face}.relief[0]"]["walls_reach_mm"]
    assert max(left, below, right, above) <= height * np.tan(np.radians(10.0)) + 1e-4
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    larger = int(np.argmax((high - low)[:2]))
    scale = (fit - (left + right, below + above)[larger]) / (high - low)[larger]
    placed = (vertices - (low + high) / 2) * scale
    placed[:, :2] += 0.5 * np.array([left - right, below - above])
    grid = np.linspace(-fit / 2, fit / 2, 240)
    where = np.stack(np.meshgrid(grid, grid), axis=-1).reshape(-1, 2)
    seen = where[np.isfinite(top_seen(placed, triangles, where))]
    faces = medal.triangles if side == 1 else medal.triangles[:, ::-1]
    stands = top_seen(turned, faces, seen)
    assert np.mean(stands - level + _sunk(seen, radius, dish) >= 0.03) >= 0.9995
