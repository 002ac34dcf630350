"""The tables of a spec, two values of each key, and the files they name: for trials of keys."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from PIL import Image

from medalcore import height_field

Data = dict[str, Any]

SQUARES = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 40">'
    '<path d="M0 0H60V24L44 40H0Z" fill="{}"/>{}</svg>'
)
INNER = '<rect x="8" y="8" width="12" height="20" fill="{}"/>'

SHIELD = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 40">'
    '<path d="M0 0H60V20L30 40L0 20Z" fill="#202020"/></svg>'
)

FILES = {"model": "bump.stl", "picture": "bump.png", "drawing": "crest.svg", "array": "array:bump"}
"""What stands for each kind of source of a relief; `make_files` writes them."""

PLACES: Mapping[str, Data] = {
    "medal": {},
    "blank": {},
    "blank.rim": {},
    "blank.hole": {},
    "blank.drill": {},
    "blank.loop": {},
    "blank.core": {},
    "edge": {},
    "edge.text": {},
    "obverse.field": {},
    "obverse.field.circle[0]": {"obverse": {"field": {"circle": [{"radius": 6.0}]}}},
    "obverse.field.panel[0]": {"obverse": {"field": {"panel": [{"size": 8.0, "tall": 6.0}]}}},
    "obverse.rim": {"obverse": {"rim": {}}},
    "obverse.legend[0]": {"obverse": {"legend": [{"text": "AVATO", "cap_height": 2.5}]}},
    "obverse.inscription[0]": {"obverse": {"inscription": [{"text": "AVA"}]}},
    "obverse.exergue[0]": {"obverse": {"exergue": [{"text": "AV", "cap_height": 1.2}]}},
    "obverse.border[0]": {"obverse": {"border": [{}]}},
    "obverse.emblem[0]": {"obverse": {"emblem": [{"drawing": "crest.svg", "fit": 8.0}]}},
    "obverse.texture[0]": {"obverse": {"texture": [{"pitch": 1.0, "inner": 2.0}]}},
    **{
        f"obverse.relief[0]{inner}": {"obverse": {"relief": [{"source": "bump.stl", "fit": 8.0}]}}
        for inner in ("", ".cut", ".crop", ".picture", ".flat")
    },
}
"""Every table, and the least spec that has it."""

VALUES: Mapping[tuple[str, str], tuple[Any, Any]] = {
    ("Identity", "alignment"): ("medal", 30.0),
    ("Identity", "metal"): ("bronze", "fine-silver"),
    ("Blank", "height"): (14.0, 16.0),
    ("Blank", "flats"): (18.0, 18.5),
    ("Blank", "drawing"): ("crest.svg", "shield.svg"),
    ("Blank", "mass"): (8.0, 9.0),
    ("Blank", "cost"): (8.0, 9.0),
    ("Blank", "sides"): (7, 9),
    ("Blank", "scallop_width"): (2.0, 2.4),
    ("Blank", "turn"): (0.0, 10.0),
    ("Rim", "fillet"): (0.05, 0.1),
    ("Hole", "size"): (6.0, 6.5),
    ("Hole", "turn"): (0.0, 10.0),
    ("Hole", "corner_radius"): (0.3, 0.5),
    ("Drill", "diameter"): (2.0, 2.2),
    ("Loop", "thickness"): (1.5, 1.7),
    ("Loop", "gap"): (0.5, 0.6),
    ("Core", "diameter"): (12.0, 13.0),
    ("Core", "corner_radius"): (0.4, 0.6),
    ("Core", "tall"): (8.0, 9.0),
    ("Core", "drawing"): ("crest.svg", "shield.svg"),
    ("Core", "metal"): ("copper", "fine-silver"),
    ("Core", "lock"): (0.1, 0.15),
    ("Edge", "reeds"): (60, 70),
    ("Edge", "pitch"): (0.9, 1.0),
    ("Edge", "width"): (0.3, 0.35),
    ("Edge", "pattern"): ("60 60", "45 45"),
    ("Edge", "groove_heights"): ("-0.4 0.4", "-0.5 0.3"),
    ("Edge", "groove_width"): (0.4, 0.5),
    ("Edge", "groove_depth"): (0.2, 0.25),
    ("Edge", "start"): (0.0, 20.0),
    ("EdgeText", "words"): ("AVA", "TO"),
    ("EdgeText", "cap_height"): (0.8, 0.9),
    ("EdgeText", "fill"): (40.0, 50.0),
    ("EdgeText", "font"): ("sans-bold", "serif-bold"),
    ("EdgeText", "repeat"): (1, 2),
    ("EdgeText", "depth"): (0.12, 0.15),
    ("Field", "dish"): (0.1, 0.2),
    ("Panel", "corner_radius"): (0.3, 0.5),
    ("Panel", "width"): (0.8, 0.9),
    ("Panel", "height"): (-0.2, 0.2),
    ("Panel", "size"): (8.0, 8.5),
    ("Panel", "tall"): (6.0, 6.5),
    ("Panel", "drawing"): ("crest.svg", "shield.svg"),
    ("Panel", "inset"): (4.0, 4.5),
    ("Circle", "radius"): (6.0, 6.5),
    ("Border", "drawing"): ("crest.svg", "shield.svg"),
    ("Border", "count"): (30, 32),
    ("Border", "pitch"): (1.5, 1.8),
    ("Border", "size"): (0.6, 0.7),
    ("Border", "width"): (0.3, 0.35),
    ("Border", "space"): (0.3, 0.35),
    ("Border", "lines"): (1, 2),
    ("Border", "height"): (0.15, 0.2),
    ("Border", "radius"): (6.0, 6.5),
    ("Border", "gap"): (40.0, 60.0),
    ("Border", "gap_at"): ("bottom", 40.0),
    ("Border", "draft"): (30.0, 35.0),
    ("Emblem", "drawing"): ("crest.svg", "shield.svg"),
    ("Emblem", "fit"): (8.0, 9.0),
    ("Emblem", "bare"): ("#ffffff", "#808080"),
    ("Emblem", "depth"): (0.2, 0.3),
    ("Emblem", "wall"): (0.3, 0.4),
    ("Texture", "land"): (0.1, 0.3),
    ("Texture", "inner"): (2.0, 2.5),
    ("Texture", "outer"): (6.0, 7.0),
    ("Texture", "sweep"): (120.0, 150.0),
    ("Texture", "margin"): (0.3, 0.5),
    ("Texture", "depth"): (0.05, 0.06),
    ("Texture", "pitch"): (1.0, 1.4),
    ("Relief", "source"): ("bump.stl", "slab.stl"),
    ("Relief", "fit"): (8.0, 9.0),
    ("Relief", "height"): (0.4, 0.5),
    ("Relief", "turn"): ((0.0, 0.0, 0.0), (0.0, 0.0, 30.0)),
    ("Relief", "crease"): (65.0, 0.0),
    ("Relief", "emphasis"): ("", "weight.png"),
    ("Relief", "foot"): (0.05, 0.6),
    ("Relief", "blend"): (0.3, 0.5),
    ("Relief", "detail"): (1.0, 2.0),
    ("Relief", "edges"): (0.0, 2.0),
    ("Cut", "foot"): (0.2, 0.3),
    ("Cut", "slant"): (0.0, 15.0),
    ("Cut", "back"): (0.2, 0.4),
    ("Crop", "width"): (5.0, 4.0),
    ("Crop", "height"): (4.0, 3.0),
    ("Picture", "black"): (0.0, 0.2),
    ("Picture", "white"): (1.0, 1.5),
    ("Flat", "bare"): ("#ffffff", "#808080"),
    ("Flat", "shoulder"): (0.5, 1.0),
    ("Flat", "edge"): (0.3, 0.6),
    ("Legend", "radius"): (5.0, 5.5),
    ("Legend", "at"): ("top", 40.0),
    ("Legend", "reading"): ("auto", "counter-clockwise"),
    ("Legend", "sweep"): (120.0, 140.0),
    ("Legend", "arc_length"): (14.0, 16.0),
    ("Legend", "separator"): ("star", "dot"),
    ("Legend", "tracking"): (60.0, 200.0),
    ("Inscription", "within"): (6.0, 5.0),
    ("Inscription", "turn"): (0.0, 20.0),
    ("Exergue", "level"): (4.0, 4.5),
    ("Exergue", "cap_height"): (0.6, 0.7),
    ("Exergue", "text"): ("AV", "TO"),
    **{
        (words, name): values
        for words in ("Legend", "Inscription", "Exergue")
        for name, values in {
            "font": ("serif-bold", "sans-bold"),
            "kerning": ("AV=-100", "AV=100"),
            "axes": ("", "wght=650"),
            "features": ("", "kern=0"),
            "clear": (0.2, 0.6),
        }.items()
    },
}
"""Two values of a key, where its default and something larger do not do."""

BESIDE: Mapping[tuple[str, str], Data] = {
    ("Identity", "alignment"): {"/reverse": {"inscription": [{"text": "AVA"}]}},
    ("Blank", "cost"): {"/medal.price": 1.0},
    ("Blank", "flats"): {"sides": 6},
    ("Blank", "mass"): {"rim.width": 1.2},
    ("Core", "round_corners"): {"corner_radius": 0.5},
    ("Core", "price"): {"metal": "copper"},
    ("Relief", "emphasis"): {},
    ("Relief", "foot"): {"flat.shoulder": 0.5, "flat.edge": 0.05},
    ("Inscription", "within"): {"text": "AVATO TO AV TOVA", "cap_height": 1.2},
    ("Inscription", "leading"): {"text": "AVATO TO AV TOVA", "cap_height": 1.2},
    ("Inscription", "align"): {"text": "AVATO TO AV TOVA", "cap_height": 1.2},
    ("Exergue", "fit"): {"cap_height": 3.0},
    **{(words, "clear"): {"^border": [{"radius": 6.5, "offset": 0.2}]}
       for words in ("Legend", "Exergue")},
    ("Inscription", "clear"): {"^border": [{"radius": 2.4}]},
}  # fmt: skip
"""What else a key needs to show: something to keep clear of, a price to reckon with."""

TOLD_ONLY = {
    ("Identity", "name"), ("Identity", "process"), ("Identity", "metal"), ("Identity", "price"),
    ("Core", "metal"), ("Core", "price"), ("Emblem", "density"),
}  # fmt: skip
"""Keys that change what the report says and not the mesh."""

LEFT_OUT = {
    ("Relief", "strokes"), ("Relief", "more_on"), ("Relief", "less_on"),
    ("Emblem", "overlap"), ("Emblem", "to_rim"),
    *((words, name) for words in ("Legend", "Inscription", "Exergue")
      for name in ("axes", "language", "features", "overlap")),
}  # fmt: skip
"""Keys that need a sculpted sheet, vertex groups, a font of their kind, or elements that meet:
tried by their own tests."""


def make_files(folder: Path) -> dict[str, Any]:
    """Write the files the trials name; return the sources in memory."""
    dark = INNER.format("#808080")
    (folder / "crest.svg").write_text(SQUARES.format("#000000", dark))
    (folder / "shield.svg").write_text(SHIELD)
    y, x = np.mgrid[-1:1:64j, -1:1:64j]
    height = np.clip(1.0 - x * x - y * y, 0.0, None) + 0.3 * (np.hypot(x - 0.3, y) < 0.3)
    Image.fromarray((height / height.max() * 65535).astype(np.uint16)).save(folder / "bump.png")
    Image.fromarray((np.tile(np.linspace(0, 255, 64), (64, 1))).astype(np.uint8)).save(
        folder / "weight.png"
    )
    ball = trimesh.creation.icosphere(2, 10.0)
    small = trimesh.creation.icosphere(2, 4.0).apply_translation((5.0, 3.0, 8.0))
    trimesh.util.concatenate([ball, small]).export(folder / "bump.stl")
    trimesh.creation.box((20.0, 14.0, 6.0)).export(folder / "slab.stl")
    shell = np.where(np.hypot(x, y) < 1.0, height, np.nan)
    return {"array:bump": height_field(shell, pixel=0.1)}
