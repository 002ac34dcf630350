"""Borders measured on finished pieces by trimesh's cuts and shapely."""

import re
from itertools import product

import numpy as np
import pytest
import shapely
import trimesh
from level_cuts import finished, rings_at

from medalcore import SpecError, build
from medalcore.spec import spec_from_dict

LEAF = '<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0 L9 4 L10 12 L2 16 Z"/></svg>'
OVAL = {"outline": "oval", "diameter": 40.0, "height": 30.0}


def built(border, blank=None, quality="draft", **face):
    """Return a finished piece, its mesh, and the level of its field."""
    spec = {"blank": {"rim": {"height": 0.6}, **(blank or {})}}
    medal, mesh = finished(spec | {"obverse": {"border": [border], **face}}, quality)
    return medal, mesh, medal.report["elements"]["blank"]["field_level_mm"][0]


def regions(mesh, z):
    """Return what a level cut holds that is not the rim, whose outside and inside are largest."""
    return rings_at(mesh, z)[2:]


def seen(polygons, towards):
    """Return the angle free about a direction, clockwise from the top, on either side, degrees."""
    points = np.vstack([shapely.get_coordinates(p) for p in polygons])
    angle = np.degrees(np.arctan2(points[:, 0], points[:, 1])) - towards
    angle = (angle + 180.0) % 360.0 - 180.0
    return -angle[angle < 0.0].max(), angle[angle > 0.0].min()


@pytest.mark.parametrize("kind", ["beads", "denticles", "rope", "line", "motif", "wreath"])
@pytest.mark.parametrize("blank", [{}, OVAL], ids=["round", "oval"])
@pytest.mark.parametrize(("count", "gap", "at"), [(40, 40.0, 180.0), (0, 75.0, 60.0)])
def test_a_gap_is_as_wide_as_asked_on_both_sides(kind, blank, count, gap, at, tmp_path):
    """Measured at the field, where a border is widest; two borders with one gap end alike."""
    keys = {"kind": kind, "size": 0.8, "gap": gap, "gap_at": at, "offset": 1.2}
    if kind != "line":
        keys["count"] = count
    if kind in ("motif", "wreath"):
        (tmp_path / "leaf.svg").write_text(LEAF)
        keys |= {"drawing": str(tmp_path / "leaf.svg"), "kind": "motif", "size": 1.4}
        keys |= {"mirrored": kind == "wreath"}
    medal, mesh, field = built(keys, blank)
    free = seen(regions(mesh, field + 0.001), at)
    assert free == pytest.approx((gap / 2.0, gap / 2.0), abs=0.03)
    if count and kind not in ("line", "rope"):
        assert medal.report["elements"]["obverse.border[0]"]["count"] == count
        assert len(regions(mesh, field + 0.05)) == count


TOO_STEEP = ("constant-width", 0.45, 40.0)


@pytest.mark.parametrize(
    ("outline", "height", "draft"),
    [
        *product(["round"], [0.3, 0.45], [0.0, 8.0, 25.0, 30.0, 40.0]),
        ("oval", 0.45, 30.0),
        ("constant-width", 0.45, 30.0),
    ],
)
def test_a_rope_keeps_its_draft(draft, height, outline):
    """Its steepest facet above the field, by trimesh's normals; and its strands show."""
    keys = {"kind": "rope", "size": 1.0, "height": height, "draft": draft, "offset": 0.5}
    medal, mesh, field = built(keys, {"outline": outline})
    rope = np.array(medal.zone_names)[medal.zone] == "border"
    above = mesh.triangles[..., 2].max(axis=1) > field + 1e-4
    lean = np.degrees(np.arcsin(mesh.face_normals[rope & above, 2].min()))
    assert lean >= draft - 0.02
    assert mesh.vertices[np.unique(mesh.faces[rope]), 2].max() - field == pytest.approx(
        height, abs=0.002
    )
    assert medal.report["elements"]["obverse.border[0]"]["groove_mm"] >= 0.08 * height


def test_a_rope_that_cannot_keep_its_draft_says_what_would_fit():
    outline, height, draft = TOO_STEEP
    keys = {"kind": "rope", "size": 1.0, "height": height, "offset": 0.5}
    with pytest.raises(SpecError, match=r"at most 3[5-9] degrees") as caught:
        built({**keys, "draft": draft}, {"outline": outline})
    most = float(re.search(r"at most (\d+) degrees", caught.value.plain)[1])
    built({**keys, "draft": most}, {"outline": outline})


@pytest.mark.parametrize(("kind", "draft"), [("beads", 45.0), ("rope", 45.0)])
def test_walls_that_come_to_a_point_below_the_height_are_refused(kind, draft):
    with pytest.raises(SpecError, match=r"height up to 0\.48 mm"):
        built({"kind": kind, "size": 1.0, "height": 0.5, "draft": draft})


@pytest.mark.parametrize("gap", [0.0, 60.0])
@pytest.mark.parametrize("dish", [0.3, -0.3])
@pytest.mark.parametrize("blank", [OVAL, {"outline": "rectangle"}], ids=["oval", "rectangle"])
def test_lines_are_as_high_as_asked_all_along_a_hollow_or_domed_field(blank, dish, gap):
    """Heights over the bare piece, by trimesh's rays; the field tilts a little under a line."""
    keys = {"kind": "line", "lines": 2, "size": 0.8, "height": 0.25, "offset": 0.5, "gap": gap}
    medal, mesh, _ = built(keys, blank, field={"dish": dish})
    low = {"blank": {"rim": {"height": 0.6}, **blank}, "obverse": {"field": {"dish": dish}}}
    bare = build(spec_from_dict(low), quality="draft")
    line = np.array(medal.zone_names)[medal.zone] == "border"
    v = mesh.vertices[np.unique(mesh.faces[line])]
    # The ends at the gap, which is at the foot, have walls of their own.
    v = v[np.degrees(np.arctan2(np.abs(v[:, 0]), -v[:, 1])) > gap / 2.0 + (3.0 if gap else -1.0)]
    field = trimesh.Trimesh(bare.vertices, bare.triangles, process=False)
    start = np.column_stack([v[:, :2], np.full(len(v), 9.0)])
    hit, ray, _ = field.ray.intersects_location(
        start, np.tile([0.0, 0.0, -1.0], (len(v), 1)), multiple_hits=False
    )
    high = v[ray, 2] - hit[:, 2]
    high = high[high > 0.1]
    assert len(high) > 100
    assert 0.25 - 0.05 < high.min()
    assert high.max() < 0.25 + 0.05
