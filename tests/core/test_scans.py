"""Real models as relief on real pieces: closed, one body, as high as asked, nothing lost.

Each piece is looked at with embree through trimesh (general-purpose libraries), not with
our own rasteriser.
"""

import numpy as np
import pytest
import trimesh
from models import lumpy_head, scans
from relief_check import check_relief

PIECES = [(20.0, 0.3), (40.0, 0.6), (90.0, 1.5)]


@pytest.mark.once
@pytest.mark.parametrize(("diameter", "height"), PIECES)
@pytest.mark.parametrize("model", scans())
def test_scans(model, diameter, height):
    mesh = trimesh.load_mesh(model, process=False)
    check_relief(np.asarray(mesh.vertices), np.asarray(mesh.faces), diameter, height)


@pytest.mark.slow
@pytest.mark.parametrize(("diameter", "height"), PIECES)
def test_loose_shells_with_overhangs(diameter, height):
    head = lumpy_head()
    check_relief(np.asarray(head.vertices), np.asarray(head.faces), diameter, height)


@pytest.mark.slow
@pytest.mark.parametrize("dish", [0.3, -0.3])
def test_on_dished_and_domed_fields_of_the_reverse(dish):
    head = lumpy_head()
    check_relief(np.asarray(head.vertices), np.asarray(head.faces), 40.0, 0.6, "reverse", dish)


@pytest.mark.slow
def test_inside_out_and_open_models_are_used_as_they_are():
    head = lumpy_head()
    triangles = np.asarray(head.faces)[:, ::-1]
    check_relief(np.asarray(head.vertices), triangles[: len(triangles) - 40], 40.0, 0.6)
