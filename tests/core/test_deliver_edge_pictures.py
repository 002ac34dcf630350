"""Pictures of a standing piece: its edge is smooth where it is plain, and its words can be read."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

import medalcore
from medalcore.render.edge_maps import edge_maps
from medalcore.render.picture import standing

PIECE = """
[medal]
name = "Edge"
[blank]
diameter = 40.0
thickness = 4.0
[edge]
"""

WORDS = """
[edge.text]
words = "FENNICK LIGHT"
at = 270.0
cap_height = 2.4
depth = 0.2
"""


def medal(edge: str) -> medalcore.Medal:
    return medalcore.build(medalcore.parse_spec(PIECE + edge), quality="draft")


def edge_band(piece: medalcore.Medal) -> np.ndarray:
    """Return brightness along the middle of the left edge, top to bottom, (rows, 5)."""
    pixels = standing(piece, size=(1000, 600)).astype(float)
    warm = pixels[..., 0] - pixels[..., 2] > 25
    rows = np.flatnonzero(warm[:, :400].any(axis=1))
    middle = rows[int(len(rows) * 0.3) : int(len(rows) * 0.7)]
    first = np.argmax(warm[middle, :400], axis=1)
    return np.stack([pixels.mean(axis=2)[middle, first + k] for k in range(2, 7)], axis=1)


def roughness(band: np.ndarray) -> float:
    """Return the rms of what a Gaussian of 4 pixels along the edge takes away, 0 to 255."""
    return float((band - ndimage.gaussian_filter1d(band, 4.0, axis=0)).std())


def test_a_plain_edge_shows_no_stripes() -> None:
    """Its light runs evenly along it; the mesh is all long thin facets there."""
    assert roughness(edge_band(medal('finish = "plain"'))) < 1.5


def test_words_on_the_edge_can_be_read() -> None:
    """Sunk letters stand out from the same edge without them by far more than its own unrest."""
    plain, words = (edge_band(medal('finish = "plain"' + more)) for more in ("", WORDS))
    assert roughness(words) > 4.0 * roughness(plain)
    assert np.percentile(np.abs(words - plain), 90) > 10.0


@pytest.mark.parametrize("sides", [4, 7])
def test_edge_maps_follow_flat_sides(sides: int) -> None:
    """Radius of a regular polygon: apothem / cos of the angle from the middle of a side."""
    angle = 2.0 * np.pi * np.arange(sides) / sides
    ring = 10.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    points = np.vstack([np.column_stack([ring, np.full(sides, z)]) for z in (-1.0, 1.0)])
    k = np.arange(sides)
    following = (k + 1) % sides
    low = np.column_stack([k, following, following + sides])
    triangles = np.vstack([low, np.column_stack([k, following + sides, k + sides])])
    maps = edge_maps(points, triangles, 0.05)
    assert maps is not None
    middle = slice(200, -200)
    along = (maps.grid.left + maps.grid.pixel * np.arange(maps.grid.cols)) / maps.radius
    half = np.pi / sides
    expected = 10.0 * np.cos(half) / np.cos((along + 20.0 * half) % (2.0 * half) - half)
    over = (maps.shape - expected)[middle]  # hollows up to 4 mm wide are closed
    assert over.min() > -0.03
    assert over.max() < 10.0 * np.cos(half) * (1.0 / np.cos(2.0 / (10.0 * np.cos(half))) - 1.0)
    assert np.abs(maps.relief.open_sky[:, middle] - 1.0).max() < 0.05


def test_points_of_the_edge_find_their_place_on_its_maps() -> None:
    piece = medal('finish = "plain"')
    on_edge = piece.zone == piece.zone_names.index("edge")
    maps = edge_maps(piece.vertices, piece.triangles[on_edge], 0.1)
    assert maps is not None
    x, y, z = (np.array([v], dtype=np.float32) for v in (0.0, 19.5, 0.3))
    row, col, level = maps.places(x, y, z)
    assert maps.grid.left + maps.grid.pixel * (col[0] - 0.5) == pytest.approx(
        maps.radius * np.pi / 2.0, abs=1e-3
    )
    assert maps.grid.top - maps.grid.pixel * (row[0] - 0.5) == pytest.approx(0.3, abs=1e-4)
    assert level[0] == pytest.approx(-0.5, abs=0.02)
