"""What is asked for: plain frozen data, read from TOML, Python or Blender's panel."""

from .base import Table
from .blank import Blank, Circle, Core, Drill, Hole, Loop, Rim
from .border import Border
from .describe import Key, json_schema, keys_of, walk
from .edge import Edge, EdgeText
from .emblem import Emblem
from .files import parse_spec, read_spec, spec_from_dict, spec_to_dict, write_spec
from .lettering import Exergue, Inscription, Legend
from .medal import Face, Field, Identity, MedalSpec
from .relief import Crop, Cut, Picture, Relief
from .texture import Texture

__all__ = [
    "Blank",
    "Border",
    "Circle",
    "Core",
    "Crop",
    "Cut",
    "Drill",
    "Edge",
    "EdgeText",
    "Emblem",
    "Exergue",
    "Face",
    "Field",
    "Hole",
    "Identity",
    "Inscription",
    "Key",
    "Legend",
    "Loop",
    "MedalSpec",
    "Picture",
    "Relief",
    "Rim",
    "Table",
    "Texture",
    "json_schema",
    "keys_of",
    "parse_spec",
    "read_spec",
    "spec_from_dict",
    "spec_to_dict",
    "walk",
    "write_spec",
]
