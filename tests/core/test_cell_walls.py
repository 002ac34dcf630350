"""Metal beside enamel cells, measured by shapely on the finished mesh."""

import numpy as np
import pytest
import shapely
from counting import counted

from medalcore import StageCache, build
from medalcore.errors import SpecError

DISC = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100"><circle cx="50" cy="50" r="50"'
    ' fill="#1b3a6b"/></svg>'
)
WIDE = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 60"><rect width="100" height="60"'
    ' fill="#1b3a6b"/></svg>'
)
SPLIT = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100"><g fill="#1b3a6b">'
    '<rect width="100" height="49"/><rect y="50" width="100" height="50"/></g></svg>'
)
RIM = {"width": 1.0, "height": 0.4}
ROUND = {"diameter": 20, "thickness": 2.4, "chamfer": 0.0, "rim": RIM}
CACHE = StageCache()


@pytest.fixture
def piece(tmp_path):
    """Return a function that builds a piece with cells of SVG text."""

    def built(text, blank, field=None, **keys):
        file = tmp_path / "cells.svg"
        file.write_text(text, encoding="utf-8")
        emblem = {"drawing": str(file), "work": "cells", "depth": 0.3, **keys}
        face = {"emblem": [emblem], "field": field or {}}
        return build(counted({"blank": blank, "obverse": face}), "draft", cache=CACHE)

    return built


def parts(medal):
    """Return the cells as one shapely area, and the edges seen from above of all that ends it.

    That is rim, edge, holes and joints, and what of the field is not level.
    """
    names = np.array(medal.zone_names)[medal.zone]
    corner = medal.vertices[medal.triangles]
    up = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    plan = corner[..., :2]
    cell = (names == "emblem") & (up[:, 2] > 1e-9)
    cells = shapely.union_all(shapely.polygons(plan[cell]), grid_size=1e-6)
    level = np.ptp(corner[..., 2], axis=1) < 1e-4
    ends = np.isin(names, ["rim", "edge"]) | ((names == "field") & ~level)
    ends &= corner[..., 2].max(axis=1) > 0.0
    closed = plan[ends][:, [0, 1, 2, 0]]
    return cells, shapely.MultiLineString(list(closed))


@pytest.mark.parametrize("wall", [0.25, 0.6])
@pytest.mark.parametrize(
    ("text", "blank", "field", "keys"),
    [
        (DISC, ROUND, {}, {"fit": 17.7}),
        (DISC, {**ROUND, "rim": {"width": 0.0}, "chamfer": 0.2}, {}, {"fit": 19.5}),
        (DISC, {**ROUND, "hole": {"shape": "round", "size": 4.0}}, {}, {"fit": 17.7}),
        (
            DISC,
            {**ROUND, "hole": {"size": 4.0, "shape": "square", "rim_width": 0.5}},
            {},
            {"fit": 17.7},
        ),
        (
            DISC,
            {**ROUND, "drill": {"diameter": 1.5, "inset": 3.4, "chamfer": 0.2}},
            {},
            {"fit": 17.0},
        ),
        (DISC, {**ROUND, "core": {"diameter": 9.0}}, {}, {"fit": 17.0}),
        (WIDE, {**ROUND, "outline": "rectangle", "diameter": 24, "height": 15}, {}, {"fit": 21.0}),
        (DISC, {**ROUND, "outline": "scalloped", "scallops": 8}, {}, {"fit": 15.8}),
        (DISC, ROUND, {"panel": [{"size": 10.0, "height": -0.2}]}, {"fit": 16.0}),
        (DISC, ROUND, {"panel": [{"size": 10.0, "height": 0.2}]}, {"fit": 16.0}),
        (DISC, ROUND, {"circle": [{"radius": 6.0, "width": 0.5}]}, {"fit": 16.0}),
    ],
)
def test_the_wall_of_metal_holds_everywhere(piece, text, blank, field, keys, wall):
    medal = piece(text, blank, field, wall=wall, **keys)
    cells, ends = parts(medal)
    assert medal.is_closed
    assert cells.area > 10.0
    assert wall - 1e-4 <= cells.distance(ends) <= wall + 0.03


def test_the_wall_holds_between_cells_of_one_colour(piece):
    """Two areas of one colour drawn 0.12 mm apart."""
    medal = piece(SPLIT, ROUND, fit=12.0, wall=0.4)
    one, two = parts(medal)[0].geoms
    assert one.distance(two) == pytest.approx(0.4, abs=0.01)


def test_cells_run_up_to_the_rim_if_they_may(piece):
    """No field is left beside the rim, and the rim's wall is cut by hundredths only.

    A disc drawn a little smaller than the field leaves no thin ring either; one that stays off
    the rim by more than a wall stays as drawn.
    """
    medal = piece(DISC, ROUND, fit=17.7, wall=0.5, to_rim=True)
    cells, _ = parts(medal)
    names = np.array(medal.zone_names)[medal.zone]
    corner = medal.vertices[medal.triangles]
    rim = 10.0 - 1.0 - 0.4 * np.tan(np.radians(10.0))  # foot of its wall at the usual slope
    assert medal.is_closed
    assert cells.area == pytest.approx(np.pi * (rim + 0.02) ** 2, rel=3e-3)
    upper = corner[..., 2].min(axis=1) > 0.0
    assert not np.any(upper & (names == "field"))
    off = parts(piece(DISC, ROUND, fit=16.0, wall=0.5, to_rim=True))[0]
    assert off.area == pytest.approx(np.pi * 64.0, rel=3e-3)
    with pytest.raises(SpecError, match="no rim along the edge") as caught:
        piece(DISC, {**ROUND, "rim": {"width": 0.0}}, fit=17.0, to_rim=True)
    assert caught.value.key == "obverse.emblem[0].to_rim"


def test_cells_that_are_drawn_back_are_told(piece):
    """A disc of radius 8.85 mm beside a rim whose foot is at 8.93 mm loses (r - 0.42) / r."""
    found = [f for f in piece(DISC, ROUND, fit=17.7, wall=0.5).findings if f.rule == "cells"]
    inside = 8.93 - 0.5 - 0.01
    assert [f.severity for f in found] == ["note"]
    assert found[0].measured == pytest.approx(1.0 - (inside / 8.85) ** 2, abs=3e-3)
    assert not [f for f in piece(DISC, ROUND, fit=15.0).findings if f.rule == "cells"]


@pytest.mark.parametrize("at", [(0.0, 0.0), (3.0, -1.0)])
def test_a_drawing_that_reaches_too_far_says_what_would_fit(piece, at):
    """By how much by plane geometry; the fit it names is accepted, a little more is not."""
    with pytest.raises(SpecError, match="past the edge of the field") as caught:
        piece(DISC, ROUND, fit=20.0, at=at)
    told = caught.value.plain
    rim = 10.0 - 1.0 - 0.4 * np.tan(np.radians(10.0))
    far = float(told.split("reaches ")[1].split(" mm")[0])
    fits = float(told.split("a fit of ")[1].split(" mm")[0])
    assert far == pytest.approx(np.hypot(*at) + 10.0 - rim, abs=0.02)
    assert fits == pytest.approx(2.0 * (rim - np.hypot(*at)), abs=0.03)
    assert piece(DISC, ROUND, fit=fits, at=at).is_closed
    with pytest.raises(SpecError):
        piece(DISC, ROUND, fit=fits + 0.05, at=at)
