"""A second measure of what a relief shows, by lights that its compression knows nothing of.

`reading_score` lights by Lambert's law from the two angles that the compression is derived from.
Here every side has a tall light, of two lamps, 15 and 35 degrees above the relief and 35 and 60
above the model, from other sides, and what stands before a lamp throws its shadow: rays by
Embree. The pictures are compared in the same way.
"""

from __future__ import annotations

import numpy as np
import reading_score as score
import trimesh
from embree import unhindered
from numpy.typing import NDArray

Array = NDArray[np.float64]

MODEL_LIGHTS, RELIEF_LIGHTS = (35.0, 60.0), (15.0, 35.0)  # degrees above the field
SIDES = (20.0, 110.0, 200.0, 290.0)  # degrees, where the lights come from


def lit(heights: Array, pixel: float, lights: tuple[float, ...], side: float) -> Array:
    """Return the brightness under a tall light, 1 on level ground that nothing stands before."""
    rows, cols = heights.shape
    v, u = np.mgrid[:rows, :cols] * pixel
    points = np.column_stack([u.ravel(), -v.ravel(), np.asarray(heights, float).ravel()])
    k = np.arange(rows * cols).reshape(rows, cols)
    low = np.stack([k[:-1, :-1], k[1:, :-1], k[1:, 1:]], axis=-1).reshape(-1, 3)
    high = np.stack([k[:-1, :-1], k[1:, 1:], k[:-1, 1:]], axis=-1).reshape(-1, 3)
    mesh = trimesh.Trimesh(points, np.concatenate([low, high]), process=False)
    above = np.array([0.0, 0.0, 0.02 * pixel])
    total = np.zeros(heights.shape)
    for light in lights:
        e, a = np.radians(light), np.radians(side)
        way = np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])
        clear = unhindered(mesh, points + above, way).reshape(heights.shape)
        total += clear * score.shaded(heights, pixel, light, side)
    return total / np.sin(np.radians(lights)).sum()


def pictures(model: Array, pixel: float) -> list[Array]:
    """Return a model under the lights from each side."""
    return [lit(model, pixel, MODEL_LIGHTS, side) for side in SIDES]


def shadowed_score(
    models: list[Array], relief: Array, mask: NDArray[np.bool_], pixel: float
) -> float:
    """Return the mean similarity inside the mask to `pictures` of the model."""
    sigma = score.WINDOW * max(mask.shape)
    grey = np.sin(np.radians(score.MODEL_LIGHT))  # level ground as bright as in the first measure
    total = np.zeros(mask.shape)
    for model, side in zip(models, SIDES, strict=True):
        seen = lit(relief, pixel, RELIEF_LIGHTS, side)
        total += score.similarity(grey * model, grey * seen, sigma)
    return float(total[mask].mean()) / len(SIDES)
