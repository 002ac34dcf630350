"""Strokes on a relief: added, kept through other changes, measured on the piece, dropped.

What is on the piece is measured by embree through trimesh (general-purpose libraries), not by
our own rasteriser.
"""

import math
from dataclasses import replace

import msgspec
import numpy as np
import pytest
import trimesh
from models import lumpy_head

from medalcore import Model, SourceError, StageCache, build, parse_spec
from medalcore.elements.relief.depth.source_depth import see_source
from medalcore.elements.relief.strokes import (
    on_grid,
    sheet,
    sheet_of,
    stroke_difference,
    with_strokes,
)
from medalcore.geometry.grid import Grid, HeightField
from medalcore.piece.sculpt import ReliefSheet, kept_strokes, relief_sheet, sheet_mesh

SPEC = """
[blank]
diameter = 34
thickness = 3
[[obverse.relief]]
source = "object:head"
fit = 20
height = 0.8
draft = 2
strokes = "strokes:one"
"""
PLAIN = SPEC.replace('strokes = "strokes:one"', "")
WIDE = 0.02  # of the larger side: standard deviation of the bumps


def _head():
    head = lumpy_head()
    return Model(np.array(head.vertices), np.array(head.faces))


def _bumps(q, places=((0.05, 0.10, 0.05), (-0.12, -0.15, -0.04))):
    """Return the sum of round bumps at points (..., 2) of the relief's own frame, mm."""
    out = np.zeros(q.shape[:-1])
    for x, y, high in places:
        out += high * np.exp(-((q[..., 0] - x) ** 2 + (q[..., 1] - y) ** 2) / (2 * WIDE**2))
    return np.where(np.abs(out) < 1e-4, 0.0, out)


def _strokes(pitch=0.0015):
    n = round(0.8 / pitch)
    grid = Grid(-0.4, 0.4, pitch, n + 1, n + 1)
    heights = _bumps(np.stack(np.meshgrid(grid.u(), grid.v()), axis=-1))
    return HeightField(grid, heights.astype(np.float32), np.ones(grid.shape, bool))


MODELS = {"object:head": _head(), "strokes:one": _strokes()}


def _top(medal, points):
    """Return z of the obverse at (n, 2) points, by casting rays down."""
    mesh = trimesh.Trimesh(medal.vertices, medal.triangles, process=False)
    origin = np.column_stack([points, np.full(len(points), medal.vertices[:, 2].max() + 1.0)])
    ways = np.tile([0.0, 0.0, -1.0], (len(points), 1))
    where, ray, _ = mesh.ray.intersects_location(origin, ways, multiple_hits=False)
    top = np.full(len(points), -np.inf)
    np.maximum.at(top, ray, where[:, 2])
    return top


def _around(place, reach=2.5, count=30):
    """Return points of the relief's own frame round a bump."""
    side = np.linspace(-reach * WIDE, reach * WIDE, count)
    return np.stack(np.meshgrid(side, side), axis=-1).reshape(-1, 2) + place


def _measured(text, models=MODELS, to_face=lambda q: 20.0 * q, quality="fine"):
    """Return what strokes changed on the piece near both bumps, and what they should."""
    cache, bare = StageCache(), text.replace('strokes = "strokes:one"', "")
    with_them, without = (
        build(parse_spec(one), quality, models=models, cache=cache) for one in (text, bare)
    )
    q = np.concatenate([_around((0.05, 0.10)), _around((-0.12, -0.15))])
    points = to_face(q)
    return _top(with_them, points) - _top(without, points), _bumps(q), with_them


@pytest.mark.slow
def test_strokes_stand_on_the_finished_piece():
    """Both pieces may miss their height field by 5 micrometres (fine); 99 of 100 points."""
    change, wanted, medal = _measured(SPEC)
    assert np.abs(wanted).max() > 0.039
    assert np.quantile(np.abs(change - wanted), 0.99) < 0.010
    assert np.sqrt(np.mean((change - wanted) ** 2)) < 0.003
    facts = medal.report["elements"]["obverse.relief[0]"]
    assert facts["strokes_raised_mm"] == pytest.approx(0.05, abs=0.001)
    assert facts["strokes_lowered_mm"] == pytest.approx(0.04, abs=0.001)
    assert medal.is_closed


@pytest.mark.slow
@pytest.mark.parametrize(
    ("change", "to_face"),
    [
        ("height = 0.5", lambda q: 20 * q),
        ("detail = 1.6", lambda q: 20 * q),
        ("fit = 14", lambda q: 14 * q),
        ("at = [2.0, -1.0]", lambda q: 20 * q + (2.0, -1.0)),
        ("mirror = true", lambda q: 20 * q * (-1, 1)),
        ("turn = [0, 0, 90]", lambda q: 20 * q[:, ::-1] * (-1, 1)),
        ('crop = { shape = "oval", width = 14, height = 17 }', lambda q: 20 * q),
    ],
)
def test_strokes_go_with_the_relief_when_something_else_changes(change, to_face):
    name = change.split(" = ")[0]
    lines = [x for x in SPEC.strip().splitlines() if not x.startswith(name)]
    change_, wanted, _ = _measured("\n".join([*lines, change]), to_face=to_face)
    # height and detail make other slopes, on which two surfaces may differ more
    assert np.quantile(np.abs(change_ - wanted), 0.97) < 0.010
    assert np.corrcoef(change_, wanted)[0, 1] > 0.98


@pytest.mark.slow
def test_a_model_moved_or_scaled_as_a_whole_takes_its_strokes_along():
    moved = Model(
        MODELS["object:head"].vertices * 3.7 + (5, -9, 2), MODELS["object:head"].triangles
    )
    change, wanted, _ = _measured(SPEC, {**MODELS, "object:head": moved})
    assert np.quantile(np.abs(change - wanted), 0.99) < 0.010


@pytest.mark.slow
def test_a_cut_of_the_foot_leaves_strokes_where_they_are_on_the_model():
    """What is cut away makes the rest larger; strokes grow with it."""
    own = np.ptp(MODELS["object:head"].vertices, axis=0)
    share = own[1] / own[:2].max()
    left = 0.8 * share
    assert left > 0.5
    scale = 20 / max(left, own[0] / own[:2].max())
    change, wanted, _ = _measured(
        SPEC + "cut = { foot = 0.2 }\n", to_face=lambda q: scale * (q - (0.0, 0.5 * 0.2 * share))
    )
    assert np.quantile(np.abs(change - wanted), 0.97) < 0.010
    assert np.corrcoef(change, wanted)[0, 1] > 0.98


def test_dropped_strokes_leave_the_same_bytes():
    before = build(parse_spec(PLAIN), "draft", models=MODELS)
    cache = StageCache()
    with_them = build(parse_spec(SPEC), "draft", models=MODELS, cache=cache)
    after = build(parse_spec(PLAIN), "draft", models=MODELS, cache=cache)
    assert after.vertices.tobytes() == before.vertices.tobytes()
    assert after.triangles.tobytes() == before.triangles.tobytes()
    assert with_them.vertices.tobytes() != before.vertices.tobytes()


def test_other_strokes_of_the_same_name_are_built_anew():
    cache = StageCache()
    one = build(parse_spec(SPEC), "draft", models=MODELS, cache=cache)
    half = _strokes()
    half = replace(half, heights=half.heights * np.float32(0.5))
    two = build(parse_spec(SPEC), "draft", models={**MODELS, "strokes:one": half}, cache=cache)
    assert one.vertices.tobytes() != two.vertices.tobytes()


def test_strokes_from_a_depth_picture_lie_as_those_from_a_model():
    """The frame of a height field of the same model must be the model's own."""
    frames = []
    from medalcore.context.ground import Ground

    ground = Ground(level=1.0, radius=15.0, dish=0.0, floor=0.2)
    spec = parse_spec(SPEC).obverse.relief[0]
    field = see_source(spec, ground, 512, MODELS).field
    models = {**MODELS, "object:field": field}
    for turn, mirror in ((0.0, False), (35.0, False), (20.0, True)):
        asked = msgspec.structs.replace(spec, turn=(0.0, 0.0, turn), mirror=mirror, at=(1.0, 2.0))
        two = [
            see_source(msgspec.structs.replace(asked, source=s), ground, 256, models).frame()
            for s in ("object:head", "object:field")
        ]
        frames.append(np.abs(two[0] - two[1]).max())
    assert max(frames) < 2.5 * field.grid.pixel


def test_nothing_sinks_below_the_least_height_and_nothing_grows_outside():
    grid = Grid(-1.0, 1.0, 0.1, 21, 21)
    u, v = np.meshgrid(grid.u(), grid.v())
    mask = np.hypot(u, v) < 0.8
    heights = np.where(mask, 0.3, 0.0).astype(np.float32)
    heights[10, 10] = 0.01  # lower than the least already
    field = HeightField(grid, heights, mask)
    down = HeightField(grid, np.full(grid.shape, -1.0, np.float32), np.ones(grid.shape, bool))
    low = with_strokes(field, down, 0.05)
    assert low.heights[mask].min() == np.float32(0.01)
    assert np.sort(low.heights[mask])[1] == np.float32(0.05)
    up = with_strokes(field, HeightField(grid, -down.heights, down.mask), 0.05)
    assert not up.heights[~mask].any()
    assert up.mask is field.mask
    assert up.heights[mask].max() == np.float32(1.3)


def test_what_is_sculpted_is_what_is_told():
    """A sheet of other triangles than the grid's, moved up by a known bump."""
    grid = Grid(-3.0, 3.0, 0.02, 301, 301)
    u, v = np.meshgrid(grid.u(), grid.v())
    mask = np.hypot(u, v) < 2.5
    base = np.where(mask, 0.4 - 0.03 * (u**2 + v**2), 0.0)
    before = HeightField(grid, base.astype(np.float32), mask)
    side = np.linspace(-2.9, 2.9, 251) + 0.0031
    x, y = (a.ravel() for a in np.meshgrid(side, side))
    high = 0.1 * np.exp(-((x - 0.7) ** 2 + y**2) / (2 * 0.3**2))
    z = 0.4 - 0.03 * (x**2 + y**2) + high
    from scipy.spatial import Delaunay

    triangles = Delaunay(np.column_stack([x, y])).simplices
    found = stroke_difference(before, np.column_stack([x, y, z]), triangles)
    wanted = 0.1 * np.exp(-((u - 0.7) ** 2 + v**2) / (2 * 0.3**2))
    # chords of 0.023 mm miss a curve of radius 0.3²/0.1 by pitch² / 8 r, and the base's as well
    assert np.abs(found.heights - wanted)[mask].max() < 2e-4
    assert not found.heights[~mask].any()
    assert np.array_equal(found.mask, found.heights != 0.0)


def test_an_untouched_surface_gives_no_strokes():
    """Coordinates of float32 are good to 1e-6 mm here; that is no stroke."""
    grid = Grid(-3.0, 3.0, 0.02, 301, 301)
    u, v = np.meshgrid(grid.u(), grid.v())
    base = HeightField(
        grid, (1.2 + 0.1 * np.sin(3 * u) * v).astype(np.float32), np.ones(grid.shape, bool)
    )
    index = np.arange(301 * 301).reshape(301, 301)
    a, b, c, d = (index[i : 300 + i, j : 300 + j].ravel() for i in (0, 1) for j in (0, 1))
    triangles = np.concatenate([np.stack([a, c, b], 1), np.stack([b, c, d], 1)])
    points = np.stack([u, v, base.heights], axis=-1).reshape(-1, 3).astype(np.float32)
    found = stroke_difference(base, points.astype(np.float64), triangles)
    assert not found.mask.any()
    assert len(sheet(found).triangles) == 0


def test_a_sheet_laid_back_on_its_grid_is_the_difference():
    strokes = _strokes()
    grid = Grid(-7.0, 8.0, 0.02, 700, 720)
    angle = math.radians(31.0)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    frame = np.column_stack([17.0 * turn, [0.4, -0.3]])
    on_face = on_grid(sheet(strokes), frame, grid)
    back = on_grid(sheet(on_face, frame), frame, grid)
    assert np.abs(back.heights - on_face.heights).max() < 1e-6
    uv = np.stack(np.meshgrid(grid.u(), grid.v()), axis=-1)
    wanted = _bumps(((uv - frame[:, 2]) @ turn) / 17.0)
    assert np.abs(on_face.heights - wanted).max() < 3e-4


def test_strokes_saved_as_a_model_file_build_the_same(tmp_path):
    kept = sheet(_strokes(0.003))
    path = tmp_path / "strokes.stl"
    trimesh.Trimesh(kept.vertices, kept.triangles, process=False).export(path)
    text = SPEC.replace("strokes:one", path.as_posix())
    filed = build(parse_spec(text), "draft", models=MODELS)
    memory = build(parse_spec(SPEC), "draft", models={**MODELS, "strokes:one": kept})
    q = np.concatenate([_around((0.05, 0.10)), _around((-0.12, -0.15))])
    assert np.abs(_top(filed, 20 * q) - _top(memory, 20 * q)).max() < 0.02


def _triangles(squares):
    return np.concatenate([squares[:, [0, 1, 2]], squares[:, [0, 2, 3]]])


@pytest.mark.parametrize("face", ["obverse", "reverse"])
def test_a_sheet_gives_back_what_is_sculpted_on_it(face):
    """On the reverse, up is down: the sheet lies in the coordinates of the piece."""
    spec = parse_spec(PLAIN.replace("obverse", face))
    made = relief_sheet(spec, face, 0, MODELS)
    points, squares, pixel = sheet_mesh(made)
    normal = np.cross(points[squares[:, 1]] - points[squares[:, 0]],
                      points[squares[:, 3]] - points[squares[:, 0]])  # fmt: skip
    assert np.sign(normal[:, 2]).sum() * {"obverse": 1, "reverse": -1}[face] > 0.9 * len(squares)
    assert len(kept_strokes(made, points, _triangles(squares)).triangles) == 0
    out = made.placement[:, 2]
    on_face = (points - made.placement[:, 3]) @ made.placement[:, :3]
    raised = points + _bumps(on_face[:, :2] / 20.0)[:, None] * out
    found = kept_strokes(made, raised, _triangles(squares))
    wanted = _bumps(found.vertices[:, :2])
    assert np.abs(found.vertices[:, 2] - wanted).max() < 3e-4
    assert found.vertices[:, 2].max() == pytest.approx(0.05, abs=0.001)
    assert np.count_nonzero(pixel >= 0) == np.count_nonzero(made.surface.mask)


@pytest.mark.slow
def test_strokes_are_added_to_those_before_and_end_up_on_the_piece():
    """Sculpted twice; the piece then stands as the sheet was left."""
    spec = parse_spec(SPEC)
    made = relief_sheet(spec, "obverse", 0, MODELS, pixels=1024)
    points, squares, _ = sheet_mesh(made)
    more = 0.08 * np.exp(-((points[:, 0] + 2) ** 2 + (points[:, 1] - 4) ** 2) / 0.5)
    points[:, 2] += more
    kept = kept_strokes(made, points, _triangles(squares))
    medal = build(spec, models={**MODELS, "strokes:one": kept})
    q = np.concatenate([_around((0.05, 0.10)), _around((-0.12, -0.15)), _around((-0.1, 0.2))])
    left = trimesh.Trimesh(points, _triangles(squares), process=False)
    origin = np.column_stack([20 * q, np.full(len(q), 9.0)])
    hit, ray, _ = left.ray.intersects_location(
        origin, np.tile([0.0, 0.0, -1.0], (len(q), 1)), multiple_hits=False
    )
    wanted = np.full(len(q), np.nan)
    wanted[ray] = hit[:, 2]
    assert np.quantile(np.abs(_top(medal, 20 * q) - wanted), 0.98) < 0.008
    assert more.max() > 0.079


def test_a_stroke_in_a_hollow_that_draft_has_filled_begins_at_the_filling():
    """Else draft would swallow it; a stroke downwards draft fills again, whatever is done."""
    grid = Grid(-1.0, 1.0, 0.1, 21, 21)
    surface = HeightField(grid, np.ones(grid.shape, np.float32), np.ones(grid.shape, bool))
    filled = np.zeros(grid.shape, np.float32)
    filled[:, 11:] = 0.03
    frame = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    made = ReliefSheet(surface, np.full(grid.shape, 0.01, np.float32), filled, frame, np.eye(3, 4))
    points, squares, pixel = sheet_mesh(made)
    for rise, wanted in ((0.05, (0.06, 0.09)), (-0.05, (-0.04, -0.04))):
        moved = points + (pixel >= 0)[:, None] * np.array([0.0, 0.0, rise])
        kept = on_grid(kept_strokes(made, moved, _triangles(squares)), frame, grid).heights
        assert kept[10, 3] == pytest.approx(wanted[0], abs=1e-4)
        assert kept[10, 17] == pytest.approx(wanted[1], abs=1e-4)


def test_strokes_above_the_asked_height_are_told():
    high = HeightField(
        _strokes().grid, _strokes().heights * np.float32(20), np.ones(_strokes().grid.shape, bool)
    )
    medal = build(parse_spec(SPEC), "draft", models={**MODELS, "strokes:one": high})
    found = [f for f in medal.findings if f.rule == "relief-strokes"]
    assert len(found) == 1
    assert found[0].severity == "note"
    assert found[0].measured > 1.0
    assert found[0].limit == 0.8
    level = 1.5 - parse_spec(SPEC).blank.rim.height
    relief = medal.zone == medal.zone_names.index("relief")
    top = medal.vertices[np.unique(medal.triangles[relief])][:, 2].max() - level
    assert top == pytest.approx(found[0].measured, abs=0.02)


def test_strokes_beside_the_relief_and_strokes_that_are_not_there_are_told():
    off = Grid(0.9, 0.9, 0.01, 5, 5)
    aside = HeightField(off, np.full((5, 5), 0.1, np.float32), np.ones((5, 5), bool))
    medal = build(parse_spec(SPEC), "draft", models={**MODELS, "strokes:one": aside})
    assert [f.severity for f in medal.findings if f.rule == "relief-strokes"] == ["warning"]
    with pytest.raises(SourceError, match=r"obverse\.relief\[0\].*strokes:one: there are no such"):
        build(parse_spec(SPEC), "draft", models={"object:head": MODELS["object:head"]})
    with pytest.raises(SourceError, match="no such strokes"):
        sheet_of("picture.png", {})
