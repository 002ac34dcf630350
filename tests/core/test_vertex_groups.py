"""Vertex groups of a model say where a relief is modelled more, and where less."""

import numpy as np
import pytest
import trimesh
from models import lumpy_head

from medalcore import Model, SourceError, StageCache, build, parse_spec
from medalcore.context.element import Context
from medalcore.context.ground import Ground
from medalcore.context.tolerance import Tolerance
from medalcore.elements.relief import build_relief, model_relief
from medalcore.elements.relief.compression.emphasis import soften
from medalcore.elements.relief.depth.source_depth import see_source
from medalcore.elements.relief.sources.model import source_mesh
from medalcore.geometry.grid import Grid, HeightField
from medalcore.spec import Relief, spec_from_dict

GROUND = Ground(level=1.25, radius=18.0, dish=0.0, floor=-0.6)
TOLERANCE = Tolerance(curve=0.02, surface=0.02, pixels=200)
NAME = "object:head"


def relief(**more) -> Relief:
    table = {"source": NAME, "fit": 20.0, "height": 0.6, **more}
    return spec_from_dict({"obverse": {"relief": [table]}}).obverse.relief[0]


def head(**weights) -> Model:
    made = lumpy_head()
    points = np.asarray(made.vertices, float)
    given = {name: rule(*points.T) for name, rule in weights.items()}
    return Model(points, np.asarray(made.faces, np.int64), given)


def soft(x, y, z):
    """Return a group that is a plane function of place: interpolation must not change it."""
    return 0.5 + 0.25 * x + 0.2 * y


@pytest.mark.parametrize(
    "more",
    [
        {},
        {"crease": 0.0},
        {"mirror": True, "turn": (0.0, 0.0, 35.0), "at": (2.0, -3.0)},
        {"cut": {"foot": 0.25, "slant": 10.0, "back": 0.4}},
        {"crop": {"shape": "oval", "width": 12.0, "height": 9.0}},
    ],
)
def test_weights_lie_where_the_model_has_them(more):
    """A group that is linear in the model's own place is found so at every pixel."""
    spec = relief(more_on="soft", **more)
    found = see_source(spec, GROUND, 200, {NAME: head(soft=soft)})
    grid, mask = found.field.grid, found.field.mask
    matrix = found.frame()
    face = np.stack(np.meshgrid(grid.u(), grid.v()), axis=-1)
    own = (face - matrix[:, 2]) @ np.linalg.inv(matrix[:, :2]).T
    flat = np.asarray(lumpy_head().vertices)[:, :2]
    low, high = flat.min(axis=0), flat.max(axis=0)
    at = own * (high - low).max() + (low + high) / 2
    wanted = 1.0 + soft(at[..., 0], at[..., 1], 0.0)
    off = np.abs(found.weight - wanted)[mask]
    assert np.quantile(off, 0.98) < 2e-6  # carried on, not extrapolated, along the outline
    assert off.max() < 0.05
    assert (found.weight[~mask & (np.abs(found.weight - wanted) > 1e-5)] == 1.0).all()


def test_a_face_gets_more_and_a_shoulder_less():
    """Slopes grow where more is asked, die down where less is; the height is met all the same."""

    def right(x, y, z):
        return np.clip(0.5 + 4.0 * x, 0.0, 1.0)

    models = {NAME: head(right=right)}
    steep = {}
    for key in ("", "more_on", "less_on"):
        spec = relief(**({key: "right"} if key else {}))
        made = model_relief(spec, Context(GROUND, TOLERANCE, models))
        heights, mask = made.bare.heights, made.bare.mask
        assert heights.max() == pytest.approx(0.6, abs=1e-4)
        assert heights[mask].min() > 0.02
        deep = mask.copy()  # away from the outline, which is pulled down whatever the weight
        for axis in (0, 1):
            for way in (-8, 8):
                deep &= np.roll(mask, way, axis)
        slope = np.hypot(*np.gradient(heights, made.bare.grid.pixel))
        u = made.bare.grid.u()[None, :]
        sides = (deep & (u > 2.5), deep & (u < -2.5) & (u > -7.0))
        steep[key] = [float(np.median(slope[side])) for side in sides]
    assert steep["more_on"][0] / steep["more_on"][1] > 1.25 * steep[""][0] / steep[""][1]
    assert steep["less_on"][0] < 0.65 * steep[""][0]


def test_a_group_nobody_has_is_told():
    """The line names the source, the group and what there is instead."""
    context = Context(GROUND, TOLERANCE, {NAME: head(cheek=soft, brow=soft)})
    with pytest.raises(SourceError, match=r"object:head: .*'nose'.*'brow', 'cheek'"):
        build_relief(relief(less_on="nose"), context)
    flat = HeightField(
        Grid(-1, 1, 0.1, 21, 21), np.ones((21, 21), np.float32), np.ones((21, 21), bool)
    )
    with pytest.raises(SourceError, match="no vertices, so no vertex group 'nose'"):
        build_relief(relief(more_on="nose"), Context(GROUND, TOLERANCE, {NAME: flat}))


def test_groups_survive_welding():
    """Loose and collapsed triangles change nothing: weights go with their corners."""
    whole = head(soft=soft)
    loose = Model(
        whole.vertices[whole.triangles].reshape(-1, 3),
        np.vstack([np.arange(3 * len(whole.triangles)).reshape(-1, 3), [[0, 0, 1]]]),
        {"soft": whole.weights["soft"][whole.triangles].ravel()},
    )
    made = source_mesh(loose.vertices, loose.triangles, NAME, loose.weights)
    assert made.topology.collapsed == 1
    assert len(made.vertices) == len(whole.vertices)
    assert made.weights["soft"] == pytest.approx(soft(*made.vertices.T), abs=1e-12)


@pytest.mark.parametrize("values", [np.ones(3), np.ones((4, 2))])
def test_a_group_of_another_length_is_told(values):
    box = trimesh.creation.box()
    with pytest.raises(SourceError, match=f"'side' has {values.size} weights; give 8"):
        source_mesh(box.vertices, box.faces, "box", {"side": values})


@pytest.mark.parametrize("binary", [True, False])
def test_groups_are_read_from_ply(tmp_path, binary):
    """A number for each vertex of a PLY file is a group; the format is the Stanford PLY's."""
    made = head(soft=soft)
    path = tmp_path / "head.ply"
    _write_ply(path, made, binary)
    given = see_source(relief(more_on="left cheek"), GROUND, 120, {NAME: Model(
        made.vertices, made.triangles, {"left cheek": made.weights["soft"]}
    )})  # fmt: skip
    read = see_source(relief(more_on="left cheek", source=str(path)), GROUND, 120, {})
    assert np.abs(read.weight - given.weight).max() < 1e-5


def _write_ply(path, model, binary):
    kind = "binary_little_endian" if binary else "ascii"
    head = (
        f"ply\nformat {kind} 1.0\nelement vertex {len(model.vertices)}\n"
        "property float x\nproperty float y\nproperty float z\n"
        "property uchar red\nproperty float group_left%20cheek\n"
        f"element face {len(model.triangles)}\nproperty list uchar int vertex_indices\n"
        "end_header\n"
    )
    w = model.weights["soft"]
    if not binary:
        lines = [f"{x!r} {y!r} {z!r} 7 {v!r}" for (x, y, z), v in zip(
            model.vertices.tolist(), w.tolist(), strict=True)]  # fmt: skip
        lines += ["3 " + " ".join(map(str, t)) for t in model.triangles.tolist()]
        path.write_text(head + "\n".join(lines) + "\n")
        return
    at = np.zeros(len(w), [("p", "<f4", 3), ("red", "u1"), ("w", "<f4")])
    at["p"], at["w"] = model.vertices, w
    face = np.zeros(len(model.triangles), [("n", "u1"), ("c", "<i4", 3)])
    face["n"], face["c"] = 3, model.triangles
    path.write_bytes(head.encode() + at.tobytes() + face.tobytes())


def test_a_repainted_group_is_built_anew():
    """The weights of a model count in the store of stages, not only its shape."""
    spec = parse_spec(
        f'[[obverse.relief]]\nsource = "{NAME}"\nfit = 20.0\nheight = 0.6\nless_on = "soft"\n'
    )
    cache, volumes = StageCache(), []
    for rule in (soft, lambda x, y, z: 0.0 * x):
        models = {NAME: head(soft=rule)}
        volumes.append(build(spec, "draft", models=models, cache=cache).volume_mm3)
    assert abs(volumes[0] - volumes[1]) > 1.0


def test_a_hard_edge_is_softened_within_the_silhouette():
    """Like a Gaussian of 1 % of the larger side, whatever the pixel; constants stay as they are."""
    from scipy.ndimage import gaussian_filter1d

    for size in (400, 1600):
        mask = np.zeros((size + 40, size + 40), bool)
        mask[20:-20, 20:-20] = True
        weight = np.ones(mask.shape, np.float32)
        weight[:, 20 + size // 2 :] = 2.0
        soft = soften(weight, mask)
        row = soft[size // 2, 20:-20]
        wanted = gaussian_filter1d(
            np.where(np.arange(size) < size // 2, 1.0, 2.0), 0.01 * size + 0.5
        )
        assert np.abs(row - wanted).max() < 0.02
        assert (soft[~mask] == 1.0).all()
        assert row[-1] == pytest.approx(2.0, abs=1e-6)
        weight[:] = 0.3
        assert soften(weight, mask)[mask] == pytest.approx(0.3, abs=1e-6)
