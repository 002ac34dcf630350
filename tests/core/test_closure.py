"""The float32 closure proof, against trimesh and against meshes broken on purpose."""

import numpy as np
import pytest
import trimesh

from medalcore.geometry.closure import closure, mend, weld


def _sphere():
    mesh = trimesh.creation.icosphere(3, 20.0)
    return np.asarray(mesh.vertices), np.asarray(mesh.faces)


def test_closed_meshes_pass_and_agree_with_trimesh():
    """Volume and watertightness as trimesh (general-purpose library) sees them."""
    for mesh in (trimesh.creation.icosphere(3, 20.0), trimesh.creation.torus(10, 3)):
        proof = closure(np.asarray(mesh.vertices), np.asarray(mesh.faces))
        assert proof.is_closed
        assert proof.bodies == 1
        assert proof.volume_mm3 == pytest.approx(mesh.volume, rel=1e-6)
        assert mesh.is_watertight
        assert proof.genus == (2 - mesh.euler_number) // 2


def test_two_bodies_are_counted():
    one = trimesh.creation.icosphere(2, 5.0)
    two = one.copy()
    two.apply_translation([20, 0, 0])
    both = trimesh.util.concatenate([one, two])
    assert closure(np.asarray(both.vertices), np.asarray(both.faces)).bodies == 2


def test_a_missing_a_turned_and_a_doubled_triangle_are_found():
    points, tri = _sphere()
    assert closure(points, tri[1:]).bad_edges == 3
    turned = tri.copy()
    turned[0] = turned[0][::-1]
    assert not closure(points, turned).is_closed
    assert closure(points, np.vstack([tri, tri[:1]])).bad_edges > 0


def test_inside_out_is_not_closed():
    points, tri = _sphere()
    assert closure(points, tri[:, ::-1]).volume_mm3 < 0
    assert not closure(points, tri[:, ::-1]).is_closed


def test_what_float32_cannot_tell_apart_collapses():
    """A step of float32 at 20 mm is 2**-19 mm (IEEE 754 binary32: 24 bits of significand)."""
    step = float(np.spacing(np.float32(20.0)))
    assert step == 2.0**-19
    points, tri = _sphere()
    edge = tri[0, :2]
    near = points.copy()
    there = near[edge[1]].astype(np.float32)
    near[edge[0]] = there.astype(float) + np.abs(np.spacing(there)) / 8
    proof = closure(near, tri)
    assert proof.collapsed == 2
    assert not proof.is_closed


def test_a_triangle_without_area_is_found():
    points, tri = _sphere()
    a, b, c = tri[0]
    points = points.copy()
    points[c] = (points[a] + points[b]) / 2
    points[[a, b]] = np.round(points[[a, b]])
    points[c] = (points[a] + points[b]) / 2
    assert closure(points, tri).flat >= 1


def test_welding_keeps_first_appearance_and_joins_minus_zero():
    points = np.array([[1.0, 0, 0], [0.0, 1, 0], [1.0, -0.0, 0]])
    welded, tri = weld(points, np.array([[0, 1, 2]]))
    assert len(welded) == 2
    assert tri.tolist() == [[0, 1, 0]]


def test_mending_takes_out_what_float32_flattens_and_moves_nothing():
    """Squeeze an edge, put a corner onto an edge, and lay two sheets back to back."""
    points, tri = _sphere()
    code = np.arange(len(tri))
    near = points.copy()
    near[tri[0, 0]] = near[tri[0, 1]]
    middle = points.copy().round(2)
    a, b, c = tri[5]
    middle[a], middle[b] = np.round(points[a]), np.round(points[a]) + np.array([2.0, 0, 0])
    middle[c] = middle[a] + np.array([1.0, 0, 0])
    for case, expected in ((near, len(tri) - 2), (middle, len(tri))):
        assert not closure(case, tri).is_closed
        fixed, faces, kept = mend(case, tri, code)
        assert closure(fixed, faces).is_closed
        assert len(faces) == len(kept) == expected
        assert closure(fixed, faces).volume_mm3 == pytest.approx(
            closure(case, tri).volume_mm3, rel=1e-9
        )
    doubled = np.vstack([tri, [[0, 1, 2], [0, 2, 1]]])
    fixed, faces, _ = mend(points, doubled, np.arange(len(doubled)))
    assert closure(fixed, faces).is_closed


def test_mending_leaves_a_hole_a_hole():
    points, tri = _sphere()
    fixed, faces, _ = mend(points, tri[1:], np.arange(len(tri) - 1))
    assert closure(fixed, faces).bad_edges == 3
