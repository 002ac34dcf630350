"""The sea: ranks of waves that peak and lean, larger to the front, with foam at the rock."""

from __future__ import annotations

import manifold3d as m3
import numpy as np

from .forms import FloatArray, noise, strand, union

FRONT, BACK = -14.0, 8.0
SHORE_LOW, HORIZON = -12.6, -1.0


def level(y: FloatArray) -> FloatArray:
    """Return the mean height of the sea: it rises to the horizon as on a stage."""
    f = (np.asarray(y) - FRONT) / (BACK - FRONT)
    return SHORE_LOW + (HORIZON - SHORE_LOW) * f


def sea(step: float = 0.11) -> m3.Manifold:
    """Return the sea as a closed slab with leaning crests and froth on them."""
    x = np.arange(-18.5, 18.5 + step, step)
    y = np.arange(FRONT - 1.0, BACK + step, step * 0.9)
    gx, gy = np.meshgrid(x, y)
    height, size, crest = _waves(gx, gy)
    # a shear that grows with the height maps space one to one: crests overhang, never cross
    tall = np.clip(height / size, 0, None)
    top = np.stack([gx + 0.30 * size * tall**2, gy - 0.22 * size * tall**2, level(gy) + height], -1)
    return union([_slab(top, level(gy) - 4.0), *_lips(top, size, tall, crest)])


def _lips(
    top: FloatArray, size: FloatArray, tall: FloatArray, crest: FloatArray
) -> list[m3.Manifold]:
    """Return the rolled lip of water along every crest, swelling at the cusps."""
    lips = []
    for number in np.unique(crest[crest >= 0]):
        rows = np.argmax(np.where(crest == number, tall, -1.0), axis=0)
        columns = np.arange(top.shape[1])
        high = np.where(np.any(crest == number, axis=0), tall[rows, columns], 0.0)
        inside = (high > 1.05) & (top[rows, columns, 1] < BACK - 0.8)
        for run in np.split(columns, np.flatnonzero(np.diff(inside.astype(int))) + 1):
            if len(run) < 9 or not inside[run[0]]:
                continue
            run = run[::4]
            path = top[rows[run], run]
            path = np.column_stack([_smoothed(c, 5) for c in path.T])
            bow = np.sin(np.pi * np.linspace(0, 1, len(run))) ** 0.6
            lips.append(strand(path, 0.03 + size[rows[run], run] * (0.04 + 0.20 * bow), 10))
    return lips


def _waves(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return height above the mean level, size of the waves there, and where crests are."""
    f = np.clip((y - FRONT) / (BACK - FRONT), -0.2, 1.0)
    sway = noise(np.stack([x, 0.4 * y], -1).reshape(-1, 2), 7.0, 5).reshape(x.shape)
    rank = 3.3 * f + 2.4 * f**2 + 0.35 * sway - 0.0022 * x**2
    number = np.floor(rank)
    phase = rank - number
    size = np.interp(y, (FRONT, BACK), (1.0, 0.24))
    # along the rank: cusps set alternately, like tiles
    run = x / (6.4 * size**0.8) + 0.5 * number + 0.11 * np.sin(2.4 * number)
    cusp = 1.0 - np.abs(np.sin(np.pi * run))
    peak = 0.42 + 0.58 * cusp**1.3
    # across the rank: a steep hollow face, a crest, a long back
    crest = 0.36
    face = np.clip(phase / crest, 0, 1) ** 1.8
    back = np.clip((1 - phase) / (1 - crest), 0, 1) ** 1.5
    shape = np.minimum(face, back)
    height = 3.1 * size * peak * shape
    # the water drawn up the hollow into the crest
    draw = np.sin(2 * np.pi * (4.0 * run + 0.5 * cusp)) * np.where(phase < crest, 1.0, 0.35)
    height += 0.13 * size * draw * np.sin(np.pi * np.clip(shape, 0, 1)) ** 0.7
    return height, size, np.where(np.abs(phase - crest) < 0.12, number, -1.0)


def _slab(top: FloatArray, under: FloatArray) -> m3.Manifold:
    """Close a sheet of (rows, cols, 3) points downwards to heights `under`."""
    rows, cols = top.shape[:2]
    n = rows * cols
    index = np.arange(n).reshape(rows, cols)
    a, b, c, d = index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]
    up = [np.stack(corners, -1).reshape(-1, 3) for corners in ((a, b, c), (a, c, d))]
    border = np.concatenate([index[0, :-1], index[:-1, -1], index[-1, :0:-1], index[:0:-1, 0]])
    after = np.roll(border, -1)
    rim = top.reshape(-1, 3)[border]
    rim[:, 2] = under.ravel()[border]
    low = n + np.arange(len(border))
    next_low = np.roll(low, -1)
    middle = np.full(len(border), n + len(border))
    walls = [
        np.column_stack(corners)
        for corners in (
            (border, low, next_low),
            (border, next_low, after),
            (low, middle, next_low),
        )
    ]
    triangles = np.concatenate([*up, *walls])
    vertices = np.vstack([top.reshape(-1, 3), rim, rim.mean(axis=0)])
    mesh = m3.Mesh64(vert_properties=vertices, tri_verts=triangles.astype(np.uint64))
    return m3.Manifold(mesh)


def surf(shore: FloatArray) -> m3.Manifold:
    """Return the line of broken water along (n, 3) points of a shore, in scallops."""
    step = np.linalg.norm(np.diff(shore, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(step)])
    at = np.arange(0.0, along[-1], 0.2)
    path = np.column_stack([_smoothed(np.interp(at, along, c), 7) for c in shore.T])
    way = np.gradient(path[:, :2], axis=0)
    way /= np.linalg.norm(way, axis=1, keepdims=True) + 1e-9
    scallop = np.abs(np.sin(np.pi * at / 1.5 + 1.5 * noise(path, 2.0, 11)))
    path[:, :2] += (0.1 + 0.4 * scallop)[:, None] * np.column_stack([way[:, 1], -way[:, 0]])
    return strand(path, 0.065 + 0.10 * scallop, 10)


def _smoothed(values: FloatArray, width: int) -> FloatArray:
    return np.convolve(np.pad(values, width // 2, "edge"), np.ones(width) / width, "valid")
