"""Lettering: typefaces, shaping, setting on arcs and lines, and letter solids."""

from .exergue import build_exergue
from .legend import build_legend
from .lines import build_inscription

__all__ = ["build_exergue", "build_inscription", "build_legend"]
