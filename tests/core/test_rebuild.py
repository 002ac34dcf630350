"""A changed number costs what depends on it, and changes nothing else."""

import dataclasses

import msgspec
import numpy as np
import pytest
import trimesh
from models import lumpy_head
from PIL import Image

from medalcore import Model, StageCache, build
from medalcore.context.element import Context
from medalcore.context.ground import Ground
from medalcore.context.stages import Stages
from medalcore.context.tolerance import Tolerance
from medalcore.elements.relief import build as stage
from medalcore.elements.relief import build_relief
from medalcore.elements.relief.keys import CompressionKeys, DraftKeys, SourceKeys
from medalcore.spec import Relief, spec_from_dict
from medalcore.spec.relief import Crop, Cut, Flat, Picture

TOLERANCE = Tolerance(curve=0.02, surface=0.02, pixels=160)
GROUND = Ground(level=1.25, radius=18.0, dish=0.0, floor=-0.6)
WORK = ("see_source", "compress", "enforce_draft", "relief_shape")


def head() -> Model:
    made = lumpy_head()
    return Model(np.asarray(made.vertices, float), np.asarray(made.faces, np.int64))


def spec(**relief) -> Relief:
    return _piece(**relief).obverse.relief[0]


@pytest.fixture
def counted(monkeypatch):
    """Count how often the stages of a relief are really worked."""
    done = []
    for name in WORK:
        whole = getattr(stage, name)

        def once(*args, _whole=whole, _name=name, **more):
            done.append(_name)
            return _whole(*args, **more)

        monkeypatch.setattr(stage, name, once)
    return done


@pytest.mark.parametrize(
    ("relief", "ground", "again"),
    [
        ({}, {}, ()),
        ({}, {"level": 1.4}, ()),
        ({}, {"floor": -0.7, "radius": 17.0}, ()),
        ({}, {"outline": (((1.0, 0.0), (0.0, 1.0), (-1.0, -1.0)),)}, ()),
        ({"at": (1.0, -2.0)}, {}, ()),
        ({"draft": 14.0}, {}, ("enforce_draft", "relief_shape")),
        ({"height": 0.5}, {}, ("compress", "enforce_draft", "relief_shape")),
        ({"detail": 1.5}, {}, ("compress", "enforce_draft", "relief_shape")),
        ({}, {"dish": 0.2}, ("relief_shape",)),
        ({"turn": (0.0, 10.0, 0.0)}, {}, WORK),
        ({"crop": {"shape": "oval"}}, {}, WORK),
        ({"fit": 0.0}, {}, WORK),
    ],
)
def test_only_what_depends_on_a_change_is_worked_again(counted, relief, ground, again):
    """The solid is the same as one made from nothing, to the bit, wherever stages were kept."""
    models = {"object:head": head()}
    cache = StageCache()

    def made(table: Relief, on: Ground, kept: StageCache | None):
        context = Context(on, TOLERANCE, models, stages=Stages(kept, models))
        return build_relief(table, context)

    made(spec(), GROUND, cache)
    counted.clear()
    changed, on = spec(**relief), dataclasses.replace(GROUND, **ground)
    kept = made(changed, on, cache)
    assert tuple(counted) == again
    fresh = made(changed, on, None)
    for a, b in zip(_arrays(kept), _arrays(fresh), strict=True):
        assert np.array_equal(a, b)
    assert kept.facts == fresh.facts
    assert kept.findings == fresh.findings


def _arrays(built):
    mesh = built.parts[0].solid.manifold.to_mesh64()
    return np.array(mesh.vert_properties), np.array(mesh.tri_verts)


def _piece(**relief):
    table = {"source": "object:head", "fit": 22.0, "height": 0.6, **relief}
    return spec_from_dict({"obverse": {"relief": [table]}})


STAGES = {SourceKeys: WORK, CompressionKeys: WORK[1:], DraftKeys: WORK[2:]}
"""What is worked again when one of the keys that a stage is handed changes."""


def test_every_key_of_a_relief_is_handed_to_one_stage():
    handed = [name for keys in STAGES for name in keys.__struct_fields__]
    assert sorted(handed) == sorted(Relief.__struct_fields__)


def test_a_changed_key_works_again_the_stages_from_the_one_it_is_handed_to(counted, tmp_path):
    """Each key there is; `at` alone moves what was worked in the middle."""
    painted = tmp_path / "painted.png"
    Image.fromarray(np.full((8, 8), 200, np.uint8)).save(painted)
    plain = dataclasses.replace(head(), weights={"face": np.ones(len(head().vertices))})
    sheet = Model(np.array([[-0.2, 0, 0.1], [0.2, 0, 0.1], [0, 0.2, 0.1]]), np.array([[0, 1, 2]]))
    models = {"object:head": plain, "object:twin": head(), "strokes:mark": sheet}
    coarse = dataclasses.replace(TOLERANCE, pixels=64)
    changed = {
        "source": "object:twin", "turn": (0.0, 10.0, 0.0), "mirror": True, "fit": 20.0,
        "at": (1.0, -2.0), "cut": Cut(back=0.2), "crop": Crop(shape="oval", width=9, height=9),
        "crease": 50.0, "picture": Picture(white=1.0), "flat": Flat(shoulder=1.0),
        "more_on": "face", "less_on": "face", "height": 0.5, "compression": "linear",
        "detail": 1.5, "edges": 0.5, "emphasis": str(painted), "foot": 0.1, "blend": 0.5,
        "settle": not spec().settle, "draft": 14.0, "strokes": "strokes:mark",
    }  # fmt: skip
    for keys, again in STAGES.items():
        for name in keys.__struct_fields__:
            stages = Stages(StageCache(), models)
            context = Context(GROUND, coarse, models, stages=stages)
            build_relief(spec(), context)
            counted.clear()
            build_relief(msgspec.structs.replace(spec(), **{name: changed[name]}), context)
            assert tuple(counted) == (() if name == "at" else again), name


def test_a_relief_filling_the_field_grows_with_it(counted):
    """With fit = 0 the radius of the field counts, and is not taken from a store."""
    models, cache = {"object:head": head()}, StageCache()
    sizes = []
    for radius in (18.0, 15.0):
        ground = dataclasses.replace(GROUND, radius=radius)
        context = Context(ground, TOLERANCE, models, stages=Stages(cache, models))
        sizes.append(max(build_relief(spec(fit=0.0), context).facts["size_mm"]))
    assert sizes[1] / sizes[0] == pytest.approx(15.0 / 18.0, rel=1e-3)


def test_a_relief_stands_where_it_was_put():
    """Moved or not, its solid lies round its place and rises from the level of the field."""
    models = {"object:head": head()}
    for ground in (GROUND, dataclasses.replace(GROUND, dish=0.3)):
        context = Context(ground, TOLERANCE, models)
        at = {}
        for place in ((0.0, 0.0), (2.0, -1.5)):
            points = _arrays(build_relief(spec(at=place, draft=0.0), context))[0]
            at[place] = (points[:, :2].min(axis=0) + points[:, :2].max(axis=0)) / 2
            assert points[:, 2].max() == pytest.approx(
                ground.height(np.array(place)) + 0.6, abs=0.1 if ground.dish else 1e-5
            )
        assert at[2.0, -1.5] - at[0.0, 0.0] == pytest.approx([2.0, -1.5], abs=0.02)


def test_a_changed_model_is_seen(tmp_path):
    """The content of a model counts, not its name: an object or a file may have changed."""
    path = tmp_path / "model.stl"
    cache, volumes = StageCache(), []
    for high in (1.0, 2.0):
        trimesh.creation.box((1, high, 1)).export(path)
        piece = _piece(source=str(path))
        volumes.append(build(piece, "draft", cache=cache).volume_mm3)
    assert volumes[0] > volumes[1] + 1.0


def test_a_store_keeps_only_so_much():
    """Large stages are forgotten sooner, and never more than asked for is kept."""
    cache, made = StageCache(size=3), []

    def make(n):
        return cache.get(bytes([n]), lambda: made.append(n) or n, "heights")

    for n in (1, 2, 3, 4, 1, 4):
        assert make(n) == n
    assert made == [1, 2, 3, 4, 1]
