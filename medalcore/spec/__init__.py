"""What is asked for: plain frozen data, read from TOML, Python or Blender's panel."""

from .base import Auto, Table
from .blank import Blank, Drill, Hole, Loop, Rim
from .border import Border
from .core import Core
from .describe import Key, json_schema, keys_of, walk
from .edge import Edge, EdgeText
from .emblem import Emblem
from .field import Circle, Field, Panel
from .files import parse_spec, read_spec, spec_from_dict, spec_to_dict, write_spec
from .lettering import Exergue, Inscription, Legend
from .medal import Face, Identity, MedalSpec
from .relief import Crop, Cut, Flat, Picture, Relief
from .texture import Texture
from .unused import TreeView, Unused, refuse_unused, unused

__all__ = [
    "Auto",
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
    "Flat",
    "Hole",
    "Identity",
    "Inscription",
    "Key",
    "Legend",
    "Loop",
    "MedalSpec",
    "Panel",
    "Picture",
    "Relief",
    "Rim",
    "Table",
    "Texture",
    "TreeView",
    "Unused",
    "json_schema",
    "keys_of",
    "parse_spec",
    "read_spec",
    "refuse_unused",
    "spec_from_dict",
    "spec_to_dict",
    "unused",
    "walk",
    "write_spec",
]
