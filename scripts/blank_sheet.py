"""A sheet with pictures of twenty-four blanks, no two alike: ``python scripts/blank_sheet.py``."""

import math
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from sheet import built, draw_sheet, run

WAVE = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100"><path d="M50 3 '
    'C62 12 82 12 94 14 C98 48 90 78 50 98 C10 78 2 48 6 14 C18 12 38 12 50 3 Z"/></svg>'
)
"""A shield, drawn for this sheet."""

REEDED = {"finish": "reeded"}
PIECES: list[tuple[str, str, dict]] = [
    ("Round, dished, 150 reeds", "bronze", {
        "blank": {"diameter": 40, "thickness": 3.4, "rim": {"width": 1.5, "height": 0.4}},
        "edge": {**REEDED, "reeds": 150, "depth": 0.25},
        "obverse": {"field": {"dish": 0.25}}}),
    ("52 rounded notches, edge broken 0.5", "copper", {
        "blank": {"diameter": 25.4, "thickness": 2.5, "chamfer": 0.5},
        "edge": {**REEDED, "reeds": 52, "profile": "round", "depth": 0.35, "corner_radius": 0.3}}),
    ("Oval, hollow, rounded rim", "sterling-silver", {
        "blank": {"outline": "oval", "diameter": 42, "height": 30, "thickness": 3.2,
                  "rim": {"width": 2.6, "height": 0.7, "section": "rounded"},
                  "break_shape": "round"},
        "obverse": {"field": {"dish": 0.4}}}),
    ("Twelve sides, reeds on every other", "brass", {
        "blank": {"outline": "polygon", "sides": 12, "diameter": 30, "flats": 29.5,
                  "thickness": 3.2, "rim": {"width": 2.2, "height": 0.35}},
        "edge": {**REEDED, "pattern": "30 30", "start": 15.0, "pitch": 0.7, "depth": 0.2}}),
    ("Seven sides of constant width", "cupronickel", {
        "blank": {"outline": "constant-width", "sides": 7, "diameter": 34, "thickness": 2.6,
                  "corner_radius": 1.5, "rim": {"width": 1.6, "height": 0.3}}}),
    ("Twelve lobes", "brass", {
        "blank": {"outline": "scalloped", "scallops": 12, "scallop_depth": 1.5, "diameter": 36,
                  "thickness": 2.8, "corner_radius": 0.8}}),
    ("Seven hollows in a circle", "bronze", {
        "blank": {"outline": "scalloped", "scallop_shape": "notches", "scallops": 7,
                  "scallop_depth": 0.7, "scallop_width": 3.2, "diameter": 34, "thickness": 2.8,
                  "corner_radius": 0.5}}),
    ("Shield from a drawing, with a lug", "pewter", {
        "blank": {"outline": "drawing", "drawing": "WAVE", "diameter": 36, "thickness": 3.0,
                  "rim": {"width": 1.8, "height": 0.5, "section": "bevelled"},
                  "loop": {"kind": "lug", "hole": 3.4, "width": 1.6, "gap": 0.8}}}),
    ("Square hole with its own rim", "bronze", {
        "blank": {"diameter": 36, "thickness": 2.8,
                  "hole": {"shape": "square", "size": 9, "rim_width": 1.4, "rim_height": 0.4},
                  "rim": {"width": 1.8, "height": 0.4}}}),
    ("Bezel with a coin edge", "fine-gold", {
        "blank": {"diameter": 40, "thickness": 5.2, "rim": {"width": 0}, "chamfer": 0.5,
                  "hole": {"shape": "round", "size": 31, "rim_width": 0, "chamfer": 0.6}},
        "edge": {**REEDED, "reeds": 110, "profile": "round", "depth": 0.45}}),
    ("Words sunk in the edge", "bronze", {
        "blank": {"diameter": 40, "thickness": 5.5},
        "edge": {"text": {"words": "FENNICK LIGHT · 150 YEARS ·", "at": 92,
                          "fill": 350, "depth": 0.5, "cap_height": 3.0, "tracking": 20}},
        "obverse": {"field": {"circle": [{"radius": 14.5, "width": 0.5, "height": 0.2}]}}}),
    ("Raised words between reeds", "brass", {
        "blank": {"diameter": 38, "thickness": 5.0},
        "edge": {**REEDED, "pitch": 0.9, "depth": 0.25,
                 "text": {"words": "KEEP THE LIGHT", "form": "raised", "repeat": 2,
                          "cap_height": 2.8, "depth": 0.5, "draft": 15, "at": 178}}}),
    ("Two grooves and a stepped rim", "copper", {
        "blank": {"diameter": 38, "thickness": 4.6,
                  "rim": {"width": 3.2, "height": 0.8, "section": "stepped"}},
        "edge": {"finish": "grooved", "grooves": 2, "groove_width": 0.8, "groove_depth": 0.4}}),
    ("Slanted reeds, sunk panel", "brass", {
        "blank": {"diameter": 36, "thickness": 4.4},
        "edge": {**REEDED, "slant": 25, "pitch": 1.1, "depth": 0.35},
        "obverse": {"field": {"circle": [{"radius": 11, "width": 0, "height": -0.35},
                                         {"radius": 12.4, "width": 0.5, "height": 0.2}]}}}),
    ("Hexagon on an eye", "sterling-silver", {
        "blank": {"outline": "polygon", "sides": 6, "diameter": 34, "corner_radius": 2.0,
                  "thickness": 3.6, "turn": 30,
                  "loop": {"kind": "eye", "hole": 3.0, "width": 1.4, "gap": 0.7}}}),
    ("Ring and core, reeds in sections", "cupronickel", {
        "blank": {"diameter": 36, "thickness": 3.2,
                  "core": {"diameter": 23, "clearance": 0.1, "lock": 0.2, "metal": "brass"}},
        "edge": {**REEDED, "pattern": "60 60", "pitch": 0.7}}),
    ("Octagon, inner border and panel along it", "bronze", {
        "blank": {"outline": "polygon", "sides": 8, "diameter": 40, "corner_radius": 1.5,
                  "thickness": 3.6, "rim": {"width": 1.8, "height": 0.5}},
        "obverse": {"field": {"panel": [
            {"shape": "outline", "inset": 4.2, "width": 0.7, "height": 0.3},
            {"shape": "outline", "inset": 6.6, "height": -0.35}]}}}),
    ("Oval with a cartouche and a name plate", "sterling-silver", {
        "blank": {"outline": "oval", "diameter": 34, "height": 42, "thickness": 3.4,
                  "rim": {"width": 1.7, "height": 0.45, "section": "rounded"}},
        "obverse": {"field": {"panel": [
            {"shape": "oval", "size": 22, "tall": 23, "at": [0, 3.6], "height": -0.35},
            {"shape": "rectangle", "size": 15, "tall": 4.6, "corner_radius": 0.8,
             "at": [0, -12.4], "height": 0.3}]}}}),
    ("Dome of an oval, no rim, edge rounded", "fine-gold", {
        "blank": {"outline": "oval", "diameter": 38, "height": 30, "thickness": 4.2,
                  "rim": {"width": 0}, "chamfer": 0.7, "break_shape": "round"},
        "obverse": {"field": {"dish": -0.9}}}),
    ("Hollow of eight lobes, square hole", "copper", {
        "blank": {"outline": "scalloped", "scallops": 8, "scallop_depth": 1.8, "diameter": 38,
                  "corner_radius": 1.2, "thickness": 4.0, "rim": {"width": 1.5, "height": 0.5},
                  "hole": {"shape": "square", "size": 6.5, "rim_width": 1.1, "rim_height": 0.5}},
        "obverse": {"field": {"dish": 0.6}}}),
    ("Oval bezel with a coin edge", "gold-14k", {
        "blank": {"outline": "oval", "diameter": 40, "height": 31, "thickness": 5.0,
                  "rim": {"width": 0}, "chamfer": 0.5,
                  "hole": {"shape": "outline", "size": 33, "rim_width": 0, "chamfer": 0.6}},
        "edge": {**REEDED, "pitch": 1.1, "profile": "round", "depth": 0.4}}),
    ("Plaquette, hollow, rim with a fillet", "bronze", {
        "blank": {"outline": "rectangle", "diameter": 35, "height": 26, "corner_radius": 2.5,
                  "thickness": 3.6, "rim": {"width": 1.5, "height": 0.6, "fillet": 0.4}},
        "obverse": {"field": {"dish": 0.35}}}),
    ("Ring and core of one outline", "brass", {
        "blank": {"outline": "constant-width", "sides": 7, "diameter": 36, "corner_radius": 5,
                  "thickness": 3.0, "rim": {"width": 1.6, "height": 0.35},
                  "core": {"diameter": 24, "shape": "outline", "metal": "cupronickel",
                           "clearance": 0.1}}}),
    ("Panels about a hexagon", "sterling-silver", {
        "blank": {"diameter": 40, "thickness": 3.6, "rim": {"width": 1.8, "height": 0.5}},
        "obverse": {"field": {"panel": [
            {"shape": "polygon", "sides": 6, "size": 15, "height": 0.3, "corner_radius": 0.6},
            *({"size": 5.6, "height": -0.35, "at": [round(12.4 * math.sin(a * math.pi / 3), 3),
                                                   round(12.4 * math.cos(a * math.pi / 3), 3)]}
              for a in range(6))]}}}),
]  # fmt: skip
TILE = (480, 380)
SAMPLES = 2  # pixels drawn for each one of the sheet, along either side
TALLEST = 47.0  # mm that a tile is wide


def picture_of(medal):
    """Return a picture of a piece that lies on paper, seen from half above."""
    import numpy as np
    from PIL import Image

    from medalcore.render.cast import cast_of, centred_grid
    from medalcore.render.paper import standing_on_paper
    from medalcore.render.render import rendered

    def about_x(degrees: float):
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])

    c, s = math.cos(math.radians(-14.0)), math.sin(math.radians(-14.0))
    roll = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    camera = about_x(36.0)
    rotation = camera @ about_x(-90.0) @ roll
    pixel = TALLEST / TILE[0] / SAMPLES
    cast = cast_of(medal, "obverse", pixel, rotation=rotation, studio=about_x(5.0))
    cast = with_clean_edge(cast, medal)
    low, high = cast.vertices.min(axis=0), cast.vertices.max(axis=0)
    grid = centred_grid((low + high) / 2.0, pixel, TILE[1] * SAMPLES, TILE[0] * SAMPLES)
    large = rendered([cast], grid, standing_on_paper([cast], camera[:, 1], grid))
    return np.asarray(Image.fromarray(large).resize(TILE, Image.Resampling.LANCZOS))


def with_clean_edge(cast, medal):
    """Return the piece with even toning down its edge.

    Toning is kept as maps of the face; what an upright edge reads from their border is
    chance, drawn out into streaks.
    """
    import dataclasses

    import numpy as np
    from PIL import Image, ImageFilter

    from medalcore.geometry.raster import top_surface

    heights, _ = top_surface(medal.vertices, medal.triangles, cast.grid)
    inside = Image.fromarray(np.where(np.isfinite(heights), 255, 0).astype(np.uint8))
    edge = np.asarray(inside.filter(ImageFilter.MinFilter(9))) == 0

    def even(values, level: float):
        return np.where(edge, np.float32(level), values)

    relief = dataclasses.replace(
        cast.relief,
        open_sky=even(cast.relief.open_sky, 0.9),
        ridge=even(cast.relief.ridge, 0.0),
        lit=tuple(even(lamp, 1.0) for lamp in cast.relief.lit),
    )
    uneven = even(cast.uneven, float(cast.uneven.mean()))
    return dataclasses.replace(cast, relief=relief, uneven=uneven)


def tiles() -> Iterator:
    """Yield caption and picture of every piece."""
    with tempfile.TemporaryDirectory() as folder:
        drawing = Path(folder) / "shield.svg"
        drawing.write_text(WAVE, encoding="utf-8")
        for title, metal, plain in PIECES:
            if plain["blank"].get("drawing"):
                plain["blank"]["drawing"] = str(drawing)
            medal = built(title, metal, plain)
            yield f"{title} · {medal.report['size']}", picture_of(medal)


def draw(target: Path) -> None:
    """Build all pieces and write the sheet."""
    draw_sheet(target, tiles(), len(PIECES), 4, 22)


if __name__ == "__main__":
    sys.exit(run(__file__, __doc__, draw))
